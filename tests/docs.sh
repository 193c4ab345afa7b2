#!/bin/sh
# Are the commands of the documents for people still right? Runs each block of
# commands that stands behind a line
#
#     <!-- try: word | several words -->
#
# in a folder with the demo's settings and a service that has the invented
# year, and looks that it ends with status 0 and prints those words.
#
#     sh tests/docs.sh HEADGATE HEADGATE-DEMO
#
# What is of this run and cannot stand in a document is put in its place:
# folders of the system, the demo's port, the number of a held reading, a day
# that is yet to come.
set -eu
headgate=$(cd "$(dirname "$1")" && pwd)/$(basename "$1")
demo=$(cd "$(dirname "$2")" && pwd)/$(basename "$2")
root=$(cd "$(dirname "$0")/.." && pwd)

work=$(mktemp -d)
service=
end() {
    [ -z "$service" ] || kill "$service" 2>/dev/null || true
    rm -rf "$work"
}
trap end EXIT
trap 'exit 130' INT TERM

mkdir "$work/bin" "$work/run" "$work/blocks"
cp -R "$root/config" "$work/config"
ln -s "$headgate" "$work/bin/headgate"
PATH=$work/bin:$PATH
export PATH
cd "$work"

# The ports of the demo may be in use: any that are free.
sed -i 's/^port = .*/port = 0/' config/demo.ini
headgate serve --config config/demo.ini >run/ready 2>run/log &
service=$!
echo "$service" >run/pid
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
host=${url#http://}
host=${host%/fhir}
"$demo" >run/year.ndjson
headgate load --config config/demo.ini --quiet --to "$url" run/year.ndjson

# Answered first, reviewed after; the unit's lists and the queue are then whole.
tries=0
until curl -s "http://$host/metrics" | grep -q '^headgate_reviews_waiting 0$'; do
    tries=$((tries + 1))
    [ "$tries" -lt 100 ] || exit 1
    sleep 0.2
done

# The flow that names none of the patient's two accesses (config/demo).
number=$(headgate quarantine --config config/demo.ini |
    sed -n 's/^\([0-9]*\) .*Fabled, Lapwing, 0110.*/\1/p')
day=$(date -u -d '+20 days' +%F)

# Each block becomes a file: its words first, then its lines.
for page in NURSE COORDINATOR INTERVENTIONALIST OPERATIONS; do
    awk -v page="blocks/$page" '
        /^<!-- try: .* -->$/ {
            words = substr($0, 11, length($0) - 14); wanted = 1; next
        }
        wanted && /^```sh$/ {
            file = sprintf("%s-%02d", page, ++count)
            print words >(file ".words"); inside = 1; wanted = 0; next
        }
        inside && /^```$/ { close(file ".sh"); inside = 0; next }
        inside { print >(file ".sh") }
        wanted && NF { print "no block behind: " words; exit 1 }
        END { if (count == 0 || inside) exit 1 }' "$root/config/$page.md"
done

failed=0 passed=0
for block in blocks/*.sh; do
    name=$(basename "$block" .sh)
    sed -i "s|/usr/local/share/headgate|$work/config|g
        s|/etc/headgate|$work/etc|g; s|/var/lib/headgate|$work/var|g
        s|127\\.0\\.0\\.1:8480|$host|g; s|2027-01-15|$day|g
        s|\\b3280\\b|$number|g" "$block"
    wrong=
    sh -eu "$block" >"blocks/$name.out" 2>&1 || wrong="ends with status $?"
    tr '|' '\n' <"blocks/$name.words" | sed 's/^ *//; s/ *$//' \
        >"blocks/$name.list"
    while read -r words; do
        grep -qF -- "$words" "blocks/$name.out" ||
            wrong="${wrong:+$wrong; }'$words' does not appear"
    done <"blocks/$name.list"
    if [ -z "$wrong" ]; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        echo "config/${name%-*}.md, block ${name##*-}: $wrong"
        sed 's/^/    /' "blocks/$name.out" | head -n 40
    fi
done

# A picture or a page that a document names has to be there.
for link in $(cd "$root/config" &&
    sed -n 's/[^]]*](\([^)#]*\))[^]]*/\1\n/gp' NURSE.md COORDINATOR.md \
        INTERVENTIONALIST.md OPERATIONS.md | grep -v '^$\|^https*:' | sort -u); do
    if [ ! -e "$root/config/$link" ]; then
        failed=$((failed + 1))
        echo "config/$link is named and not there"
    fi
done

echo "blocks of commands: $passed right, $failed wrong"
[ "$failed" -eq 0 ] && [ "$passed" -gt 0 ]
