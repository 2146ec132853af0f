# Steps that the clock ends: what follows can be foreseen, and has the same
# keys and times once it came true.

process
develop 0:30 ends=clock
stop 0:10 ends=clock
fix 0:40
----
ok

at 0:00 add one
----
ok

at 0:00 press one
----
ok

cues 0:00 1:30
----
0:00 stage begins (develop) for 0:30
0:20 ten seconds (develop) left 0:10
0:30 stage begins (stop) for 0:10
0:40 stage begins (fix) for 0:40
0:50 thirty seconds (fix) left 0:30
1:10 ten seconds (fix) left 0:10
1:17 pip (fix)
1:18 pip (fix)
1:19 pip (fix)
1:20 move now (fix)
1:28 call again (fix) over 0:08

auto 1:00
----
0:30 moved one
0:40 moved one

cues 0:00 1:30
----
0:00 stage begins (develop) for 0:30
0:30 stage begins (stop) for 0:10
0:40 stage begins (fix) for 0:40
0:50 thirty seconds (fix) left 0:30
1:10 ten seconds (fix) left 0:10
1:17 pip (fix)
1:18 pip (fix)
1:19 pip (fix)
1:20 move now (fix)
1:28 call again (fix) over 0:08

view 1:00
----
1 one: wet, fix, 0:20 so far, 0:20 left; leave it in; safelight 1:00 of 0:00
need: one
