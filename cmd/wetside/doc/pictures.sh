#!/usr/bin/env bash
# The three pictures of the README, taken of the running program on an X server
# without a screen: bash cmd/wetside/doc/pictures.sh  (about four minutes)
# Needs: xvfb, xterm, xdotool, imagemagick, fonts-dejavu-core.
set -euo pipefail
doc=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
tmp=$(mktemp -d)
go build -o "$tmp/wetside" "$doc/.."
trap 'rm -rf "$tmp"' EXIT

# scene NAME: a server, a terminal and the program, each of its own.
scene() {
  pids=()
  trap 'kill "${pids[@]}" 2>/dev/null || true; wait' EXIT # of this scene's own shell
  Xvfb -displayfd 3 -screen 0 900x700x24 -nolisten tcp 3>"$tmp/$1.display" 2>/dev/null &
  pids+=($!)
  until [ -s "$tmp/$1.display" ]; do sleep 0.1; done
  export DISPLAY=:$(cat "$tmp/$1.display")
  mkdir -p "$tmp/$1/config/wetside"
  printf '[panel]\nfilm = 0.02 # a red film lies over the screen\n' >"$tmp/$1/config/wetside/settings.toml"
  env -u TMUX -u STY HOME="$tmp/$1" XDG_DATA_HOME="$tmp/$1/data" XDG_CONFIG_HOME="$tmp/$1/config" XDG_STATE_HOME="$tmp/$1/state" \
    xterm -tn xterm-256color -fa 'DejaVu Sans Mono' -fs 11 -geometry 80x${rows:-24}+0+0 -bg black -fg black -b 0 -bw 0 \
    -xrm 'XTerm*directColor: true' -e env COLORTERM=truecolor "$tmp/wetside" --sound none &
  pids+=($!)
  until window=$(xdotool search --class xterm 2>/dev/null | head -1) && [ -n "$window" ]; do sleep 0.1; done
  sleep 3
}
key() { for k; do xdotool windowfocus "$window" key "$k"; sleep 0.7; done; }
text() { xdotool windowfocus "$window" type --delay 60 "$1"; sleep 0.7; }
# shot NAME: the window as it is, in 32 reds: small, and read in any viewer.
shot() { import -silent -window "$window" png:- | convert - -colors 32 -strip "PNG8:$doc/$1.png"; }
# sheet NAME LIGHT: the line is on the name.
# What adds it leads back there.
sheet() { text "$1"; key Down Down; key ctrl+u; [ -z "$2" ] || text "$2"; key Down Down Return; }

field() {
  scene field
  key 1
  key Down Down Right Down Down
  sheet "signal arm" 4m20s
  key Up Up Right Down Down
  sheet "lever frame" 31m
  key Up Up Right Down Down
  sheet "platform" 7m15s
  key Tab 2 space; sleep 20
  key 1 space; sleep 40
  key 1 c; sleep 15
  key c; sleep 20
  shot field
}

trays() {
  scene trays
  key 1
  key Down Down Left Down Down # no camera: the sheets come to be developed
  for name in "signal arm" "lever frame" platform; do sheet "$name" ""; done
  key Tab Tab
  key space; sleep 95
  key space; sleep 11
  key space; sleep 62
  key space; sleep 9
  key space; sleep 41
  shot trays
}

# written NUM NAME CLOCK SECONDS EV STOPS SEEN: a sheet of the workshop, as an export has it.
written() {
  cat <<END
{"id":"0197b2a4-0000-7000-8000-00000000000$1","sitting":"0197b2a4-0000-7000-8000-000000000099","num":$1,"name":"$2",
 "paper":{"key":"direct-positive-fb","name":"Direct-positive FB paper, ISO 3","base":"FB","response":"lighter","area_cm2":108},
 "camera":"tea-caddy","process":"three-trays","process_name":"Three trays","light":"EV $5","base_s":$4,
 "reckoned":{"lit":{"ev":$5,"doubt_stops":0.3,"from":"EV $5","as":"EV $5"},"hole":1,"box":1,"f_number":150,"iso":3,"reciprocity":"p 0.86 from 1 s"},
 "begun":"2026-05-09T$3:05+02:00","ended":"2026-05-09T$3:59+02:00","state":"finished","washed":true,"emerged_s":32,
 "exposure":{"begun":"2026-05-09T$3:05+02:00","ended":"2026-05-09T$3:40+02:00","planned_s":$4,"actual_s":$4,"share":1,"spells":[{"ev":$5,"for_s":$4}]},
 "stages":[
  {"stage":"develop","bath":"developer","in":"2026-05-09T$3:41+02:00","out":"2026-05-09T$3:42+02:00","at_least_s":90,"at_most_s":180,"actual_s":131,"over_s":0,"serial":1},
  {"stage":"stop","bath":"stop","in":"2026-05-09T$3:43+02:00","out":"2026-05-09T$3:44+02:00","at_least_s":10,"at_most_s":10,"actual_s":12,"over_s":2,"serial":2},
  {"stage":"fix","bath":"fixer","in":"2026-05-09T$3:45+02:00","out":"2026-05-09T$3:46+02:00","at_least_s":60,"at_most_s":60,"actual_s":74,"over_s":14,"serial":3},
  {"stage":"wash","bath":"wash tray","in":"2026-05-09T$3:47+02:00","out":"2026-05-09T$3:48+02:00","at_least_s":1800,"at_most_s":1800,"actual_s":1801,"over_s":1,"serial":4}],
 "safelight_s":130,"safelight_allowed_s":360,"judgements":[{"at":"2026-05-10T10:0$1:00+02:00","stops":$6,"seen":"$7"}]}
END
}

notebook() {
  mkdir -p "$tmp/notebook"
  {
    echo '{"format":"wetside sheets","version":1,"sheets":['
    written 1 "signal arm" 10:20 95 13 0.33 "the post is lost"; echo ,
    written 2 "lever frame" 11:05 420 12 0.5 "levers too dark"; echo ,
    written 3 "platform" 12:10 60 14 0 "right"; echo ,
    written 4 "kettle" 14:30 1500 10 0.67 "steam only"; echo ,
    written 5 "stairs" 15:45 800 11 0.5 "sky is grey"
    echo ']}'
  } >"$tmp/notebook/sheets.json"
  env HOME="$tmp/notebook" XDG_DATA_HOME="$tmp/notebook/data" XDG_CONFIG_HOME="$tmp/notebook/config" XDG_STATE_HOME="$tmp/notebook/state" \
    "$tmp/wetside" import "$tmp/notebook/sheets.json"
  rows=32 scene notebook
  key shift+Tab shift+Tab Return
  shot notebook
}

field & one=$!
trays & two=$!
notebook & three=$!
wait $one && wait $two && wait $three
ls -l "$doc"/*.png
