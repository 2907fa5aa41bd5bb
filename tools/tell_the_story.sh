#!/bin/sh
# The main job on the demonstration project, in four commands. `make demo` runs this.
# A forecast that finds something out of limits exits with 1: that is part of the story here.
set -u
folder=$1
rm -rf "$folder"
mkdir -p "$(dirname "$folder")"

say() { printf '\n$ %s\n' "$*"; }
run() {
    say "$@"
    "$@"
    status=$?
    [ "$status" -le 1 ] || exit "$status"
}

run dryfit demo "$folder"
run dryfit forecast "$folder" --brief
run dryfit orient "$folder" --write --brief
run dryfit forecast "$folder" --brief --what-if tall.skew_xz_deg=0
[ "$status" -eq 0 ] || { echo "the demonstration should end clear" >&2; exit 1; }
