# fish completion for wetside
function __wetside_complete
    set -l words (commandline -opc) (commandline -ct)
    wetside complete -- $words[2..] 2>/dev/null
end
complete -c wetside -f -a '(__wetside_complete | string match -v :files)'
complete -c wetside -n 'test "$(__wetside_complete)" = :files' -F
