# One sheet through three trays. Developed by inspection, pulled at 2:00; the
# drain lies inside the step; the user is a little late to the fixer.

process
develop 1:30..3:00 drain=10s rock=continuous
stop 0:10 drain=5s rock=continuous
fix 1:00 drain=10s first=10s rock=5s/30s
wash 30m batch
----
ok

at 0:00 add caddy
----
ok

cues 0:00 10:00
----

at 1:00 press caddy
----
ok

view 1:00
----
1 caddy: wet, develop, 0:00 so far, 3:00 left; rock; next stop
need: caddy

cues 1:00 6:00
----
1:00 stage begins (develop) for 1:30
1:02.500 agitate (develop) for 2:50
2:00 minutes left (develop) left 2:00
2:30 may be judged (develop) left 1:30
3:00 minutes left (develop) left 1:00
3:30 thirty seconds (develop) left 0:30
3:50 lift and drain (develop) for 0:10
3:57 pip (develop) to stop
3:58 pip (develop) to stop
3:59 pip (develop) to stop
4:00 move now (develop) to stop
4:08 call again (develop) to stop over 0:08
4:20 call again (develop) to stop over 0:20
4:38 call again (develop) to stop over 0:38
5:00 over by (develop) to stop over 1:00
5:05 call again (develop) to stop over 1:05
5:45 call again (develop) to stop over 1:45

view 2:31
----
1 caddy: wet, develop, 1:31 so far, 1:29 left; judge by eye; next stop; safelight 1:31 of 0:00
need: caddy

at 3:00 press caddy
----
ok

# A held key and a double tap are the same press.
at 3:00.1 press caddy
----
the same press still

at 3:00.8 press caddy
----
the same press still

at 3:01.7 press caddy
----
the same press still

view 3:04
----
1 caddy: wet, stop, 0:04 so far, 0:06 left; rock; next fix; safelight 2:04 of 0:00
need: caddy

cues 3:00 3:30
----
3:00 stage begins (stop) for 0:10
3:02.500 agitate (stop) for 0:05
3:05 lift and drain (stop) for 0:05
3:07 pip (stop) to fix
3:08 pip (stop) to fix
3:09 pip (stop) to fix
3:10 move now (stop) to fix
3:18 call again (stop) to fix over 0:08

view 3:12
----
1 caddy: wet, stop, 0:12 so far, over by 0:02; move on; next fix; safelight 2:12 of 0:00
need: caddy

at 3:14 press caddy
----
ok

cues 3:14 4:40
----
3:14 stage begins (fix) for 1:00
3:16.500 agitate (fix) for 0:10
3:24 agitation off (fix)
3:44 agitate (fix) for 0:05
3:44.500 thirty seconds (fix) left 0:30
3:49 agitation off (fix)
4:04 lift and drain (fix) for 0:10
4:11 pip (fix) to wash
4:12 pip (fix) to wash
4:13 pip (fix) to wash
4:14 move now (fix) to wash
4:22 call again (fix) to wash over 0:08
4:34 call again (fix) to wash over 0:20

view 3:26
----
1 caddy: wet, fix, 0:12 so far, 0:48 left; let it rest; next wash; safelight 2:26 of 0:00
need: caddy

view 3:46
----
1 caddy: wet, fix, 0:32 so far, 0:28 left; rock; next wash; safelight 2:46 of 0:00
need: caddy

at 4:14 press caddy
----
ok

cues 4:14 8:00
----
4:14 stage begins (wash) for 30:00
5:14 minutes left (wash) left 29:00
6:14 minutes left (wash) left 28:00
7:14 minutes left (wash) left 27:00

cues 4:14 6:00 all
----
4:14 stage begins (wash) for 30:00
4:44 alive (wash)
5:14 minutes left (wash) left 29:00
5:44 alive (wash)

at 34:14 press caddy
----
ok

cues 34:14 60:00
----
34:14 sheet done

view 40:00
----
1 caddy: finished; safelight 3:14 of 0:00

at 41:00 press caddy
----
sheet 1 is finished
