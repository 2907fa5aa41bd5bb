#!/bin/sh
# The main job on the demonstration project: whether it goes together, and what comes of the parts as built.
# `make demo` runs this; a second argument of before or after tells one half only.
# A schedule, a check of the parts or a forecast that finds something wrong exits with 1: part of the story here.
set -u
folder=$1
half=${2:-both}
built=$(dirname "$folder")/as-built
rm -rf "$folder" "$built"
mkdir -p "$(dirname "$folder")"

say() {
    printf '\n$'
    for word; do
        case $word in *' '*) printf ' "%s"' "$word" ;; *) printf ' %s' "$word" ;; esac
    done
    printf '\n'
}
run() {
    say "$@"
    "$@"
    status=$?
    [ "$status" -le 1 ] || exit "$status"
}
# The same, of which the first lines are shown.
brief() {
    lines=$1
    shift
    say "$@"
    shown=$("$@")
    status=$?
    printf '%s\n' "$shown" | head -n "$lines"
    echo "..."
    [ "$status" -le 1 ] || exit "$status"
}
# The status that the story needs, and why.
ends() { [ "$status" -eq "$1" ] || { echo "$2" >&2; exit 1; }; }
before_printing() {
    run dryfit demo "$folder"
    run dryfit photo sizes -p "$folder"
    run dryfit schedule "$folder" --brief
    ends 1 "the schedule should name the guide"
    run dryfit parts "$folder" --brief
    ends 1 "parts that were modelled to the guide should be stopped"
    run dryfit forecast "$folder" --brief
    run dryfit orient "$folder" --write --brief
    run dryfit forecast "$folder" --brief --what-if tall.skew_xz_deg=0
    ends 0 "the demonstration should end clear"
}

as_built() {
    run dryfit demo "$built" --as-built
    run dryfit forecast "$built" --brief
    ends 0 "readings of four ribs should have cleared the ring"
    run dryfit read rib-4 "$built" --csv "$built/invented-readings-rib-4.csv"
    run dryfit forecast "$built" --brief
    ends 1 "rib-4 should be off"
    brief 15 dryfit remedy rib-4 "$built"
    run dryfit remedy rib-4 "$built" --take 1 --because "a quarter of an hour instead of a day"
    record=$(dryfit remedy rib-4 "$built" --decided | sed -n 's/.*record \([0-9]*\).*/\1/p')
    run dryfit remedy rib-4 "$built" --done "$record"
    brief 1 dryfit forecast "$built" --brief
    ends 0 "the shim should have mended it"
    brief 1 dryfit changes -p "$built"
    ends 0 "nothing printed should be lost yet"
    run dryfit observation add shutter-rib.rule -p "$built" --of shutter-rib.width --value "600 mm" --std "2 mm" --source "invented: a rule"
    brief 10 dryfit schedule "$built" --brief --without shutter-rib.engraving --because "drawn before the shutter was rebuilt"
    brief 9 dryfit changes -p "$built"
    ends 1 "the two ribs beside the shutter should be lost"
}

[ "$half" = after ] || before_printing
[ "$half" = before ] || as_built
