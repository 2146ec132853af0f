# Time under the safelight: from the bag until fixed, summed over visits; once
# exposed, the shorter figure holds.

process
develop 1:00
fix 1:00
wash 5:00
----
ok

paper safe=8m safe-exposed=4m
----
ok

at 0:00 add one
----
ok

at 0:00 out one
----
ok

at 1:00 away one
----
ok

view 2:00
----
1 one: fresh; next develop; safelight 1:00 of 8:00

at 2:00 expose one planned=1m
----
ok

at 3:00 end one
----
ok

at 4:00 press one
----
ok

cues 4:00 20:00
----
4:00 stage begins (develop) for 1:00
4:30 thirty seconds (develop) left 0:30
4:50 ten seconds (develop) left 0:10
4:57 pip (develop) to fix
4:58 pip (develop) to fix
4:59 pip (develop) to fix
5:00 move now (develop) to fix
5:02.500 safelight half left 2:00
5:08 call again (develop) to fix over 0:08
5:20 call again (develop) to fix over 0:20
5:38 call again (develop) to fix over 0:38
6:00 over by (develop) to fix over 1:00
6:05 call again (develop) to fix over 1:05
6:45 call again (develop) to fix over 1:45
7:00 safelight all
7:03 over by (develop) to fix over 2:00
7:45 call again (develop) to fix over 2:45
8:00 over by (develop) to fix over 3:00
8:45 call again (develop) to fix over 3:45
9:00 over by (develop) to fix over 4:00
9:45 call again (develop) to fix over 4:45
10:00 over by (develop) to fix over 5:00
10:45 call again (develop) to fix over 5:45
11:00 over by (develop) to fix over 6:00
11:45 call again (develop) to fix over 6:45
12:00 over by (develop) to fix over 7:00
12:45 call again (develop) to fix over 7:45
13:00 over by (develop) to fix over 8:00
13:45 call again (develop) to fix over 8:45
14:00 over by (develop) to fix over 9:00
14:45 call again (develop) to fix over 9:45
15:00 over by (develop) to fix over 10:00
15:45 call again (develop) to fix over 10:45
16:00 over by (develop) to fix over 11:00
16:45 call again (develop) to fix over 11:45
17:00 over by (develop) to fix over 12:00
17:45 call again (develop) to fix over 12:45
18:00 over by (develop) to fix over 13:00
18:45 call again (develop) to fix over 13:45
19:00 over by (develop) to fix over 14:00
19:45 call again (develop) to fix over 14:45

at 4:30 lamp-off
----
ok

at 4:40 lamp-on
----
ok

at 5:10 press one
----
ok

at 6:10 press one
----
ok

view 7:00
----
1 one: wet, wash, 0:50 so far, 4:10 left; leave it in; safelight 3:00 of 4:00
need: one

cues 6:10 11:10
----
6:10 stage begins (wash) for 5:00
7:10 minutes left (wash) left 4:00
8:10 minutes left (wash) left 3:00
9:10 minutes left (wash) left 2:00
10:10 minutes left (wash) left 1:00
10:40 thirty seconds (wash) left 0:30
11:00 ten seconds (wash) left 0:10
11:07 pip (wash)
11:08 pip (wash)
11:09 pip (wash)

at 7:00 undo one
----
ok

view 7:00
----
1 one: wet, fix, 1:50 so far, over by 0:50; move on; next wash; safelight 3:50 of 4:00
need: one
