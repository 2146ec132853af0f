# Two cameras in the open. The first is covered for a walker and its light
# halves: the share already given is kept. 2 min of 8 is 0.25; the rest, at
# 16 min for the whole, takes 12 min.

process
develop 2:00
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

at 1:00 expose hatbox planned=3m
----
ok

cues 0:00 9:00
----
0:00 sheet 1: exposure begins (expose) for 8:00
1:00 sheet 2: exposure begins (expose) for 3:00
2:30 sheet 2: exposure half (expose) left 1:30
3:00 sheet 2: minutes left (expose) left 1:00
3:50 sheet 2: ten seconds (expose) left 0:10
3:57 sheet 2: pip (expose)
3:58 sheet 2: pip (expose)
3:59 sheet 2: pip (expose)
4:00 sheet 2: exposure done (expose)
4:02.500 sheet 1: exposure half (expose) left 4:00
4:08 sheet 2: call again (expose) over 0:08
4:20 sheet 2: call again (expose) over 0:20
4:38 sheet 2: call again (expose) over 0:38
5:00 sheet 2: over by (expose) over 1:00
5:05 sheet 2: call again (expose) over 1:05
5:45 sheet 2: call again (expose) over 1:45
6:00 sheet 2: over by (expose) over 2:00
6:45 sheet 2: call again (expose) over 2:45
7:00 sheet 1: minutes left (expose) left 1:00
7:02.500 sheet 2: over by (expose) over 3:00
7:45 sheet 2: call again (expose) over 3:45
7:50 sheet 1: ten seconds (expose) left 0:10
7:57 sheet 1: pip (expose)
7:58 sheet 1: pip (expose)
7:59 sheet 1: pip (expose)
8:00 sheet 1: exposure done (expose)
8:02.500 sheet 2: over by (expose) over 4:00
8:08 sheet 1: call again (expose) over 0:08
8:20 sheet 1: call again (expose) over 0:20
8:38 sheet 1: call again (expose) over 0:38
8:45 sheet 2: call again (expose) over 4:45

at 1:30 cover caddy
----
ok

at 1:30 cover caddy
----
the pinhole of sheet 1 is covered already

view 2:00
----
1 caddy: exposing, expose, 1:30 so far, 6:30 left, share 0.188; pinhole covered; next develop
2 hatbox: exposing, expose, 1:00 so far, 2:00 left, share 0.333; pinhole open; next develop
need: hatbox caddy

at 2:00 uncover caddy
----
ok

cues 1:00 2:01
----
1:00 sheet 2: exposure begins (expose) for 3:00
1:30 sheet 1: pinhole covered (expose)
2:00 sheet 1: pinhole open (expose) left 6:30

at 2:30 light caddy stops=-1 planned=16m
----
ok

view 2:30
----
1 caddy: exposing, expose, 2:00 so far, 12:00 left, share 0.250; pinhole open; next develop
2 hatbox: exposing, expose, 1:30 so far, 1:30 left, share 0.500; pinhole open; next develop
need: hatbox caddy

cues 2:30 20:00
----
2:30 sheet 1: light changed (expose) left 12:00
2:32.400 sheet 2: exposure half (expose) left 1:30
3:00 sheet 2: minutes left (expose) left 1:00
3:50 sheet 2: ten seconds (expose) left 0:10
3:57 sheet 2: pip (expose)
3:58 sheet 2: pip (expose)
3:59 sheet 2: pip (expose)
4:00 sheet 2: exposure done (expose)
4:08 sheet 2: call again (expose) over 0:08
4:20 sheet 2: call again (expose) over 0:20
4:38 sheet 2: call again (expose) over 0:38
5:00 sheet 2: over by (expose) over 1:00
5:05 sheet 2: call again (expose) over 1:05
5:45 sheet 2: call again (expose) over 1:45
6:00 sheet 2: over by (expose) over 2:00
6:30 sheet 1: exposure half (expose) left 8:00
6:45 sheet 2: call again (expose) over 2:45
7:00 sheet 2: over by (expose) over 3:00
7:45 sheet 2: call again (expose) over 3:45
8:00 sheet 2: over by (expose) over 4:00
8:45 sheet 2: call again (expose) over 4:45
9:00 sheet 2: over by (expose) over 5:00
9:45 sheet 2: call again (expose) over 5:45
10:00 sheet 2: over by (expose) over 6:00
10:45 sheet 2: call again (expose) over 6:45
11:00 sheet 2: over by (expose) over 7:00
11:45 sheet 2: call again (expose) over 7:45
12:00 sheet 2: over by (expose) over 8:00
12:45 sheet 2: call again (expose) over 8:45
13:00 sheet 2: over by (expose) over 9:00
13:30 sheet 1: minutes left (expose) left 1:00
13:45 sheet 2: call again (expose) over 9:45
14:00 sheet 2: over by (expose) over 10:00
14:20 sheet 1: ten seconds (expose) left 0:10
14:27 sheet 1: pip (expose)
14:28 sheet 1: pip (expose)
14:29 sheet 1: pip (expose)
14:30 sheet 1: exposure done (expose)
14:38 sheet 1: call again (expose) over 0:08
14:45 sheet 2: call again (expose) over 10:45
14:50 sheet 1: call again (expose) over 0:20
15:00 sheet 2: over by (expose) over 11:00
15:08 sheet 1: call again (expose) over 0:38
15:30 sheet 1: over by (expose) over 1:00
15:35 sheet 1: call again (expose) over 1:05
15:45 sheet 2: call again (expose) over 11:45
16:00 sheet 2: over by (expose) over 12:00
16:15 sheet 1: call again (expose) over 1:45
16:30 sheet 1: over by (expose) over 2:00
16:45 sheet 2: call again (expose) over 12:45
17:00 sheet 2: over by (expose) over 13:00
17:15 sheet 1: call again (expose) over 2:45
17:30 sheet 1: over by (expose) over 3:00
17:45 sheet 2: call again (expose) over 13:45
18:00 sheet 2: over by (expose) over 14:00
18:15 sheet 1: call again (expose) over 3:45
18:30 sheet 1: over by (expose) over 4:00
18:45 sheet 2: call again (expose) over 14:45
19:00 sheet 2: over by (expose) over 15:00
19:15 sheet 1: call again (expose) over 4:45
19:30 sheet 1: over by (expose) over 5:00
19:45 sheet 2: call again (expose) over 15:45

at 4:05 end hatbox
----
ok

at 4:10 press caddy
----
sheet 1 is still being exposed: end the exposure first

view 5:00
----
1 caddy: exposing, expose, 4:30 so far, 9:30 left, share 0.406; pinhole open; next develop
2 hatbox: exposed; waiting; next develop
need: caddy

at 14:30 end caddy
----
ok

view 15:00
----
1 caddy: exposed; waiting; next develop
2 hatbox: exposed; waiting; next develop
