# What is taken back besides moves. A pinhole opened for the wrong camera: the
# light that fell counts, so 30 s of 8 min are given before the exposure begins.

process
develop 2:00
fix 1:00
----
ok

at 0:00 add caddy
----
ok

at 0:00 add hatbox
----
ok

at 0:00 expose caddy planned=8m
----
ok

at 0:30 undo caddy
----
ok

view 1:00
----
1 caddy: fresh; next develop
2 hatbox: fresh; next develop

cues 0:00 12:00
----
0:30 sheet 1: move taken back

at 1:00 undo caddy
----
sheet 1 has no move to take back

at 2:00 expose caddy planned=8m
----
ok

cues 1:00 9:40
----
2:00 sheet 1: exposure begins (expose) for 7:30
5:30 sheet 1: exposure half (expose) left 4:00
8:30 sheet 1: minutes left (expose) left 1:00
9:20 sheet 1: ten seconds (expose) left 0:10
9:27 sheet 1: pip (expose)
9:28 sheet 1: pip (expose)
9:29 sheet 1: pip (expose)
9:30 sheet 1: exposure done (expose)
9:38 sheet 1: call again (expose) over 0:08

view 5:30
----
1 caddy: exposing, expose, 4:00 so far, 4:00 left, share 0.500; pinhole open; next develop
2 hatbox: fresh; next develop
need: caddy

# Spoiled by a slip, while the pinhole is open: the light has gone on.
at 6:00 spoil caddy
----
ok

at 6:00 spoil caddy
----
sheet 1 is done already

at 6:05 spoil caddy why=slip
----
ok

view 6:10
----
1 caddy: spoiled; next develop
2 hatbox: fresh; next develop

at 6:30 undo caddy
----
ok

view 6:30
----
1 caddy: exposing, expose, 5:00 so far, 3:00 left, share 0.625; pinhole open; next develop
2 hatbox: fresh; next develop
need: caddy

cues 5:59 9:31
----
6:30 sheet 1: move taken back
8:30 sheet 1: minutes left (expose) left 1:00
9:20 sheet 1: ten seconds (expose) left 0:10
9:27 sheet 1: pip (expose)
9:28 sheet 1: pip (expose)
9:29 sheet 1: pip (expose)
9:30 sheet 1: exposure done (expose)

at 9:30 end caddy
----
ok

# Ended too soon: it goes on as if it had not ended.
at 9:32 undo caddy
----
ok

view 9:32
----
1 caddy: exposing, expose, 8:02 so far, over by 0:02, share 1.004; cover the pinhole; next develop
2 hatbox: fresh; next develop
need: caddy

at 9:33 cover caddy
----
ok

at 9:34 end caddy
----
ok

at 9:35 undo caddy
----
ok

view 9:40
----
1 caddy: exposing, expose, 8:03 so far, 0:00 left, share 1.006; pinhole covered; next develop
2 hatbox: fresh; next develop
need: caddy

at 9:45 end caddy
----
ok

# Spoiled in the bath: its clock has gone on, and the sheet is out again.
at 10:00 press caddy
----
ok

at 10:30 spoil caddy
----
ok

at 11:00 undo caddy
----
ok

view 11:00
----
1 caddy: wet, develop, 1:00 so far, 1:00 left; leave it in; next fix; safelight 1:00 of 0:00
2 hatbox: fresh; next develop
need: caddy

cues 10:29 12:01
----
11:00 sheet 1: move taken back (develop)
11:02.500 sheet 1: minutes left (develop) left 1:00
11:30 sheet 1: thirty seconds (develop) left 0:30
11:50 sheet 1: ten seconds (develop) left 0:10
11:57 sheet 1: pip (develop) to fix
11:58 sheet 1: pip (develop) to fix
11:59 sheet 1: pip (develop) to fix
12:00 sheet 1: move now (develop) to fix

# Spoiled again, and the move before it is not taken back in its place.
at 12:00 press caddy
----
ok

at 12:10 spoil caddy
----
ok

at 12:11 undo caddy
----
ok

at 12:12 undo caddy
----
ok

view 12:12
----
1 caddy: wet, develop, 2:12 so far, over by 0:12; move on; next fix; safelight 2:12 of 0:00
2 hatbox: fresh; next develop
need: caddy

at 12:13 spoil hatbox
----
ok

at 12:14 undo hatbox
----
ok

view 12:14
----
1 caddy: wet, develop, 2:14 so far, over by 0:14; move on; next fix; safelight 2:14 of 0:00
2 hatbox: fresh; next develop
need: caddy
