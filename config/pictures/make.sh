#!/bin/sh
# Makes the pictures of the documents for people, from the demo: starts a
# service in a temporary folder, sends it the invented year, prints worksheets
# and a part of the queue, and writes them beside this script.
#
#     sh config/pictures/make.sh [BUILD]      (a build folder; else build)
#
# The clock stands at a fixed day (faketime), so that the same program and the
# same fonts give the same pictures on any day.  Nobody who is shown exists.
# Needs faketime, poppler-utils, python3 and fonts-dejavu-core.
set -eu
pictures=$(cd "$(dirname "$0")" && pwd)
root=$(cd "$pictures/../.." && pwd)
build=$(cd "${1:-$root/build}" && pwd)
day=2026-11-26
most=153600 # bytes of a picture

for tool in faketime pdftoppm python3; do
    command -v "$tool" >/dev/null || {
        echo "$0: $tool is missing" >&2
        exit 2
    }
done

work=$(mktemp -d)
service=
end() {
    [ -z "$service" ] || kill "$service" 2>/dev/null || true
    rm -rf "$work"
}
trap end EXIT
trap 'exit 130' INT TERM

# The library itself, and not the command faketime: that stays in between, and
# its number would not be the service's.
library=$(faketime -f '+0' sh -c 'echo "$LD_PRELOAD"')
at() {
    day_and_time=$1
    shift
    LD_PRELOAD=$library FAKETIME="@$day_and_time" DONT_FAKE_MONOTONIC=1 \
        TZ=UTC "$@"
}

cp -R "$root/config" "$work/config"
mkdir "$work/run"
cd "$work"
LD_PRELOAD=$library FAKETIME="@$day 09:30:00" DONT_FAKE_MONOTONIC=1 TZ=UTC \
    "$build/headgate" serve --config config/demo.ini --set http.port=0 \
    --set mllp.port=0 --set mllp.enabled=false >run/ready 2>run/log &
service=$!
tries=0
until grep -q '^headgate ready' run/ready; do
    tries=$((tries + 1))
    if [ "$tries" -gt 100 ] || ! kill -0 "$service" 2>/dev/null; then
        cat run/log >&2
        exit 1
    fi
    sleep 0.1
done
url=$(sed -n 's/^headgate ready //p' run/ready)
"$build/headgate-demo" --end "$day" >run/year.ndjson
at "$day 09:30:00" "$build/headgate" load --config config/demo.ini --quiet \
    --to "$url" run/year.ndjson

# What came in is answered first and reviewed after.
tries=0 seen=
until at "$day 09:30:00" "$build/headgate" queue --config config/demo.ini \
    --json >run/queue.ndjson &&
    [ "$(wc -l <run/queue.ndjson)" -gt 20 ] &&
    [ "$(wc -l <run/queue.ndjson)" = "$seen" ]; do
    seen=$(wc -l <run/queue.ndjson)
    tries=$((tries + 1))
    [ "$tries" -lt 60 ] || exit 1
    sleep 0.5
done

# A page, or a part of it: NAME, then what pdftoppm is to cut out.
picture() {
    name=$1
    shift
    pdftoppm -gray -singlefile "$@" "run/$name.pdf" "run/$name"
    python3 "$pictures/grey.py" "run/$name.pgm" "$pictures/$name.png"
    if [ "$(wc -c <"$pictures/$name.png")" -gt "$most" ]; then
        echo "$0: $name.png has more than $most bytes" >&2
        exit 1
    fi
}

# 1. A band candidate, before the procedure.
at "$day 09:30:00" "$build/headgate" plan --config config/demo.ini A-0101 \
    --pdf run/worksheet.pdf
picture worksheet -r 96

# 2. The card of a case under way: the right half of the page.
at "2026-03-06 10:00:00" "$build/headgate" plan --config config/demo.ini \
    --from config/demo/plan-case.json --pdf run/card.pdf
part="-r 110 -x 406 -y 508 -W 474 -H 392"
# shellcheck disable=SC2086
pdftotext $part -layout run/card.pdf run/card.txt
for words in "Now: Tie anew" "LOOSEN NOW" "Accept only if" "No border is sharp"; do
    grep -q "$words" run/card.txt || {
        echo "$0: the card is no longer where it was: '$words' is cut off" >&2
        exit 1
    }
done
# shellcheck disable=SC2086
picture card $part

# 3. Of the queue what one unit has.  Ids of Tasks are drawn by chance, and
# stand here as dots.
at "$day 09:30:00" "$build/headgate" queue --config config/demo.ini \
    --unit "Corvane Heath Dialysis" |
    sed 's/Task [0-9a-f]\{32\}/Task .../' >"$pictures/queue.txt"
ls -l "$pictures"
