# The factor method: the image is seen 9 s after the sheet went in, the factor
# is 15, so it is lifted out at 135 s. B. E. Jones (ed.), Cyclopaedia of
# Photography, 1911, "Factorial development" (read in an online reprint; the
# edition from memory).

process
develop 1:00..4:00 factor=15
stop 0:10
----
ok

at 0:00 add tin
----
ok

at 0:00 seen tin
----
sheet 1 is not in the developer

at 0:00 press tin
----
ok

view 0:05
----
1 tin: wet, develop, 0:05 so far, 3:55 left; leave it in; next stop; safelight 0:05 of 0:00
need: tin

at 0:09 seen tin
----
ok

at 0:11 seen tin
----
the image of sheet 1 was seen already

view 0:11
----
1 tin: wet, develop, 0:11 so far, 2:04 left; leave it in; next stop; safelight 0:11 of 0:00
need: tin

cues 0:09 2:30
----
0:09 image seen (develop) left 2:06
0:15 minutes left (develop) left 2:00
1:15 minutes left (develop) left 1:00
1:45 thirty seconds (develop) left 0:30
2:05 ten seconds (develop) left 0:10
2:12 pip (develop) to stop
2:13 pip (develop) to stop
2:14 pip (develop) to stop
2:15 move now (develop) to stop
2:23 call again (develop) to stop over 0:08

# Inside at-least and at-most: seen after 20 s would ask for 5:00.
at 0:00 add slow
----
ok

at 10:00 press slow
----
ok

at 10:20 seen slow
----
ok

view 10:20
----
1 tin: wet, develop, 10:20 so far, over by 8:05; move on; next stop; safelight 10:20 of 0:00
2 slow: wet, develop, 0:20 so far, 3:40 left; leave it in; next stop; safelight 0:20 of 0:00
need: tin slow
