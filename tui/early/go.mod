module early.wetside

go 1.26.8
