#!/usr/bin/env bash
# Compares whole processes on one disk: `twobin copy` against what a person would otherwise type. Cold caches, variants in
# turn, medians. Needs root (it drops caches), xxhsum, fio, /usr/bin/time and room: for four times the long takes, for thirteen times the frames.
#
#   LONG=12 FRAMES=20000 REPS=5 DESTS="3 2 1" CARDS="long frames" VARIANTS="twobin B1c B3 floor" PACED=1 SETTLE=65 BENCH_DIR=/somewhere testdata/bench/offload.sh
#
# DESTS="" measures the paced drives alone, PACED=0 leaves them out.
#
# Variants: twobin   twobin copy CARD --to D1 …      (copies, hash list, manifest, read-back from the device)
#           B1c      cp -a to each, caches dropped, xxhsum of card and every copy, compare
#           B3       one read through tee, caches dropped, xxhsum -c in all copies at once
#           floor    fio with the same traffic: card read, each copy written, flushed, read back
# Paced     drives of fixed rates in memory, against the least time that their rates allow (not this disk's mood)
set -euo pipefail
cd "$(dirname "$0")/../.."
LONG=${LONG:-12} FRAMES=${FRAMES:-20000} REPS=${REPS:-5} DESTS=${DESTS-"3 2 1"} CARDS=${CARDS:-"long frames"} VARIANTS=${VARIANTS:-"twobin B1c B3 floor"} PACED=${PACED:-1} SETTLE=${SETTLE:-65}
work=$(mktemp -d "${BENCH_DIR:-.}/twobin-bench.XXXXXX")
work=$(cd "$work" && pwd)
trap 'rm -rf "$work"' EXIT
go build -o "$work/twobin" .
mkdir "$work/long" "$work/frames" "$work/home" "$work/old"
if [ -n "$DESTS" ]; then
  go run testdata/bench/cards.go long "$LONG" "$work/long"
  go run testdata/bench/cards.go frames "$FRAMES" "$work/frames"
fi

drop() { sync; echo 3 >/proc/sys/vm/drop_caches; }
# ext4 does not give out again the inodes of files deleted in the last minute, and looks at each of them when it makes a
# new file: deleting 60,000 small files would slow the next variant by a sixth. They are kept while there is room for one
# more round.
fresh() { # card
  for i in 1 2 3; do
    if [ "$1" = frames ] && [ -d "$work/d$i" ]; then mv "$work/d$i" "$(mktemp -d "$work/old/XXXXXX")"; fi
    rm -rf "$work/d$i"; mkdir "$work/d$i"
  done
  drop
}
round() { # MiB that one round writes
  local free; free=$(df -m --output=avail "$work" | tail -1)
  if [ -n "$(ls "$work/old")" ] && [ "$free" -lt "$1" ]; then rm -rf "$work/old"; mkdir "$work/old"; sync; sleep "$SETTLE"; fi
}

v_twobin() { # card dests
  local to=(); for i in $(seq "$2"); do to+=(--to "$work/d$i"); done
  "$work/twobin" copy "$work/$1" "${to[@]}" --home "$work/home" >/dev/null 2>&1
}
v_B1c() {
  for i in $(seq "$2"); do mkdir "$work/d$i/$1"; cp -a "$work/$1/." "$work/d$i/$1"; drop; done
  for p in "$work" $(for i in $(seq "$2"); do echo "$work/d$i"; done); do
    (cd "$p/$1" && find . -type f -print0 | sort -z | xargs -0 xxhsum -q -H1 2>/dev/null) >"$work/list.$(basename "$p")"
    cmp -s "$work/list.$(basename "$work")" "$work/list.$(basename "$p")"
  done
}
v_B3() {
  for i in $(seq "$2"); do (cd "$work/$1" && find . -type d -print0) | (mkdir "$work/d$i/$1" && cd "$work/d$i/$1" && xargs -0 mkdir -p); done
  (cd "$work/$1" && find . -type f -print0 | sort -z) | while IFS= read -r -d '' f; do
    local out=(); for i in $(seq "$2"); do out+=("$work/d$i/$1/$f"); done
    h=$(tee "${out[@]}" <"$work/$1/$f" | xxhsum -q -H1 - 2>/dev/null); echo "${h%% *}  $f"
  done >"$work/list"
  drop
  local pids=(); for i in $(seq "$2"); do (cd "$work/d$i/$1" && xxhsum -q -c "$work/list" >/dev/null) & pids+=($!); done
  for p in "${pids[@]}"; do wait "$p"; done
}
v_floor() {
  local mb; mb=$(du -sm --apparent-size "$work/$1" | cut -f1)
  local o=(--size="${mb}M" --bs=4m --direct=1 --ioengine=libaio --iodepth=4 --fallocate=native --end_fsync=1 --minimal)
  local w=(); local r=()
  for i in $(seq "$2"); do w+=("--name=w$i" "--filename=$work/d$i/f" --rw=write); r+=("--name=r$i" "--filename=$work/d$i/f" --rw=read); done
  fio "${o[@]}" --name=r "--filename=$work/src.fio" --rw=read "${w[@]}" >/dev/null
  fio "${o[@]}" "${r[@]}" >/dev/null
}
export -f drop v_twobin v_B1c v_B3 v_floor; export work

median() { sort -g | awk '{a[NR]=$1} END {print a[int((NR+1)/2)]}'; }
for card in ${DESTS:+$CARDS}; do
  mb=$(du -sm --apparent-size "$work/$card" | cut -f1)
  fio --name=lay --filename="$work/src.fio" --size="${mb}M" --rw=write --bs=4m --direct=1 --minimal >/dev/null
  for n in $DESTS; do
    : >"$work/times"
    for _ in $(seq "$REPS"); do
      round $((mb * n * ($(wc -w <<<"$VARIANTS") + 1)))
      for v in $VARIANTS; do
        fresh "$card"
        /usr/bin/time -f "$v %e %U %S %M" -a -o "$work/times" bash -euo pipefail -c "v_$v $card $n"
      done
    done
    echo "== $card, $mb MiB, $n destinations, median of $REPS (fio's start, 0.27 s a call, is taken off the floor)"
    printf '%-8s %8s %8s %8s %8s %10s\n' variant seconds ratio user sys 'KiB, most'
    t=$(awk '$1=="twobin" {print $2}' "$work/times" | median)
    for v in $VARIANTS; do
      s=$(awk -v v=$v '$1==v {print $2}' "$work/times" | median)
      [ $v = floor ] && s=$(echo "$s" | awk '{print $1-0.54}')
      u=$(awk -v v=$v '$1==v {print $3}' "$work/times" | median)
      y=$(awk -v v=$v '$1==v {print $4}' "$work/times" | median)
      m=$(awk -v v=$v '$1==v {print $5}' "$work/times" | median)
      printf '%-8s %8.2f %8s %8.2f %8.2f %10d\n' $v "$s" "$(awk -v a="$t" -v b="$s" 'BEGIN {printf "%.2f", a/b}')" "$u" "$y" "$m"
    done
  done
  rm -f "$work/src.fio"
done

[ "$PACED" = 0 ] && exit
echo "== drives of fixed rates: time taken divided by the least that the rates allow, median of $REPS, and how far they spread"
go test -run '^$' -bench OffloadPaced -benchtime 1x -count "$REPS" ./guard/offload |
  awk '/of-bound/ {for (i=1; i<=NF; i++) if ($i=="of-bound") print $1, $(i-1)}' | sort -k1,1 -k2,2g |
  awk '{if ($1!=name) {show(); name=$1; n=0}; v[++n]=$2}
       function show() {if (n) printf "%-48s %6.3f  spread %4.1f %%\n", name, v[int((n+1)/2)], 100*(v[n]-v[1])/v[int((n+1)/2)]}
       END {show()}'
