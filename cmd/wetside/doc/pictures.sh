#!/usr/bin/env bash
# The two pictures of the README, taken of the running program on an X server
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
  Xvfb -displayfd 3 -screen 0 900x600x24 -nolisten tcp 3>"$tmp/$1.display" 2>/dev/null &
  pids+=($!)
  until [ -s "$tmp/$1.display" ]; do sleep 0.1; done
  export DISPLAY=:$(cat "$tmp/$1.display")
  env -u TMUX -u STY HOME="$tmp/$1" XDG_DATA_HOME="$tmp/$1/data" XDG_CONFIG_HOME="$tmp/$1/config" XDG_STATE_HOME="$tmp/$1/state" \
    xterm -tn xterm-256color -fa 'DejaVu Sans Mono' -fs 11 -geometry 80x24+0+0 -bg black -fg black -b 0 -bw 0 \
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

field & one=$!
trays & two=$!
wait $one && wait $two
ls -l "$doc"/*.png
