# Moves are taken back one by one, and the clock goes on from where it would
# have been; no visit's number is used twice.

process
develop 2:00 drain=10s
stop 0:10
fix 1:00
----
ok

at 0:00 add hatbox
----
ok

at 0:00 undo hatbox
----
sheet 1 has no move to take back

at 0:00 press hatbox
----
ok

at 1:50 press hatbox
----
ok

view 1:52
----
1 hatbox: wet, stop, 0:02 so far, 0:08 left; leave it in; next fix; safelight 1:52 of 0:00
need: hatbox

at 1:53 undo hatbox
----
ok

view 1:53
----
1 hatbox: wet, develop, 1:53 so far, 0:07 left; lift and drain; next stop; safelight 1:53 of 0:00
need: hatbox

cues 1:53 2:10
----
1:53 move taken back (develop)
1:57 pip (develop) to stop
1:58 pip (develop) to stop
1:59 pip (develop) to stop
2:00 move now (develop) to stop
2:08 call again (develop) to stop over 0:08

# Another program took back the same move at the same moment.
at 1:53 undo hatbox from=2
----
sheet 1 has moved on already

# The press of another program that still saw the stop bath.
at 1:54 move hatbox from=2
----
sheet 1 has moved on already

at 2:00 press hatbox
----
ok

cues 2:00 2:11
----
2:00 stage begins (stop) for 0:10
2:07 pip (stop) to fix
2:08 pip (stop) to fix
2:09 pip (stop) to fix
2:10 move now (stop) to fix

at 2:10 press hatbox
----
ok

at 3:10 press hatbox
----
ok

view 3:10
----
1 hatbox: finished; safelight 3:10 of 0:00

at 3:12 undo hatbox
----
ok

view 3:12
----
1 hatbox: wet, fix, 1:02 so far, over by 0:02; move on; safelight 3:12 of 0:00
need: hatbox

at 3:15 undo hatbox
----
ok

at 3:16 undo hatbox
----
ok

at 3:17 undo hatbox
----
ok

view 3:18
----
1 hatbox: fresh; next develop; safelight 3:18 of 0:00
