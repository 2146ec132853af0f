# An unwashed sheet sets the whole batch's clock back. The wash is short only
# after a hypo-clear that was done in full.

process
fix 1:00
hypo-clear 2:00
wash 30m short=10m batch bath=tray
----
ok

at 0:00 add one
----
ok

at 0:00 add two
----
ok

at 0:00 add three
----
ok

at 0:00 press one
----
ok

at 0:30 press two
----
ok

at 1:00 press one
----
ok

at 1:30 press two
----
ok

at 3:00 press one
----
ok

view 3:00
----
1 one: wet, wash, 0:00 so far, 10:00 left; leave it in; safelight 1:00 of 0:00
2 two: wet, hypo-clear, 1:30 so far, 0:30 left; leave it in; next wash; safelight 1:00 of 0:00
3 three: fresh; next fix
need: two one

# Two leaves the hypo-clear after 1:00 of its 2:00, and waits in holding water.
at 2:30 hold two
----
ok

at 3:30 press two
----
ok

at 4:00 hold two
----
only a sheet that is due for the wash can wait in holding water

at 5:00 undo two
----
ok

at 6:00 press two
----
ok

view 6:00
----
1 one: wet, wash, 3:00 so far, 10:00 left; leave it in; safelight 1:00 of 0:00
2 two: wet, wash, 0:00 so far, 30:00 left; leave it in; safelight 1:00 of 0:00
3 three: fresh; next fix
need: one two

cues 5:59 8:00
----
6:00 sheet 2: stage begins (wash) for 30:00
6:02.400 sheet 2: wash begins again (wash) for 10:00
7:00 sheet 1: minutes left (wash) left 9:00
7:02.500 sheet 2: minutes left (wash) left 29:00

at 10:00 press one
----
ok

view 36:01
----
1 one: finished; safelight 1:00 of 0:00
2 two: wet, wash, 30:01 so far, over by 0:01; move on; safelight 1:00 of 0:00
3 three: fresh; next fix
need: two
