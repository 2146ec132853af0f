# Two washes that a clock ends, looked at after a sleep: the sheet that came second
# set the first one's clock back, though by then both ends have passed.

process
hypo-clear 2:00 ends=clock
wash 5:00 batch bath=tray ends=clock
stop 1:00
----
ok

at 0:00 add one
----
ok

at 0:00 add two
----
ok

at 0:00 press one
----
ok

auto 3:00
----
2:00 moved one

at 4:00 press two
----
ok

auto 20:00
----
6:00 moved two
11:00 moved one
11:00 moved two
