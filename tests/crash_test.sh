#!/bin/sh
# usage: crash_test.sh HEADGATE [SEED]
#
# Kills a running headgate with SIGKILL at random instants while several
# clients send readings, starts it again, and looks: is every reading there
# that was acknowledged, and no Task doubled?  Needs curl.
set -eu

headgate=$1
seed=${2:-$$}
config=$(dirname "$0")/../config/demo.ini
rounds=20 clients=4 each=40
dir=$(mktemp -d)
passed=0 failed=0 acknowledged=0 kills=0
service=

# What the service was doing when a client sent its last bytes is chance; what
# is chosen here is repeatable.
random_ms() {
    seed=$(((seed * 1103515245 + 12345) % 2147483648))
    echo $((seed / 65536 % 450))
}

clean_up() {
    status=$?
    [ -z "$service" ] || kill -9 "$service" 2>/dev/null || true
    rm -rf "$dir"
    exit "$status"
}
trap clean_up EXIT
trap 'exit 1' INT TERM

check() {
    if [ "$2" = "$3" ]; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        echo "FAILED: $1: $2, not $3"
    fi
}

# Start it and wait for the line that says where it listens: $url
start() {
    : >"$dir/ready"
    "$headgate" serve --config "$config" --set store.path="$dir/t.db" \
        --set http.port=0 --set mllp.enabled=false --set mllp.port=0 \
        >"$dir/ready" 2>>"$dir/log" &
    service=$!
    tries=0
    while ! grep -q '^headgate ready' "$dir/ready"; do
        tries=$((tries + 1))
        if [ "$tries" -gt 500 ] || ! kill -0 "$service" 2>/dev/null; then
            echo "FAILED: it does not start"
            tail -5 "$dir/log"
            exit 1
        fi
        sleep 0.02
    done
    url=$(sed -n 's/^headgate ready //p' "$dir/ready")
}

# What one client sends in one round, as a file for curl.  Odd clients name
# their readings themselves (PUT), even ones leave that to the service.
write_requests() {
    client=$1 round=$2
    day=$(date -u -d "$((rounds + 1 - round)) days ago" +%Y-%m-%d)
    awk -v url="$url" -v client="$client" -v round="$round" -v day="$day" \
        -v each="$each" 'BEGIN {
        for (n = 1; n <= each; n++) {
            id = "c" client "-r" round "-n" n
            put = client % 2 == 1
            if (n > 1)
                print "next"
            print "url = \"" url "/Observation" (put ? "/" id : "") "\""
            print "request = \"" (put ? "PUT" : "POST") "\""
            print "header = \"Content-Type: application/fhir+json\""
            body = "{\\\"resourceType\\\":\\\"Observation\\\"," \
                (put ? "\\\"id\\\":\\\"" id "\\\"," : "") \
                "\\\"identifier\\\":[{\\\"system\\\":" \
                "\\\"https://site.example/ids/obs\\\",\\\"value\\\":\\\"" id \
                "\\\"}],\\\"status\\\":\\\"final\\\",\\\"code\\\":{" \
                "\\\"coding\\\":[{\\\"system\\\":\\\"https://headgate.example" \
                "/fhir/CodeSystem/av-observation\\\",\\\"code\\\":" \
                "\\\"access-flow\\\"}]},\\\"subject\\\":{\\\"reference\\\":" \
                "\\\"Patient/p-" client "\\\"},\\\"focus\\\":[{" \
                "\\\"reference\\\":\\\"BodyStructure/acc-" client "\\\"}]," \
                "\\\"effectiveDateTime\\\":\\\"" day "T08:" \
                sprintf("%02d", n - 1) ":00Z\\\",\\\"valueQuantity\\\":{" \
                "\\\"value\\\":" 2200 + n ",\\\"system\\\":" \
                "\\\"http://unitsofmeasure.org\\\",\\\"code\\\":" \
                "\\\"mL/min\\\"}}"
            print "data = \"" body "\""
            print "output = \"/dev/null\""
            print "write-out = \"%{http_code} %header{location}\\n\""
        }
    }'
}

# Keep the paths of what was acknowledged, without the address of this start.
send() {
    curl -s --max-time 20 -K "$dir/requests-$1" 2>/dev/null |
        sed -n 's|^20[01] .*/\(Observation/[^/]*\)/_history/.*|\1|p' \
            >"$dir/acks-$1" || true
}

# How many of the paths on standard input are not there?
missing() {
    sed "s|.*|url = \"$url/&\"\noutput = \"/dev/null\"|" >"$dir/look"
    if [ ! -s "$dir/look" ]; then
        echo 0
        return
    fi
    curl -s -w '%{http_code}\n' -K "$dir/look" | grep -cv '^200$' || true
}

# Until no access waits for its review.
settle() {
    tries=0
    while ! curl -s "${url%/fhir}/metrics" |
        grep -q '^headgate_reviews_waiting 0$'; do
        tries=$((tries + 1))
        [ "$tries" -lt 500 ] || return 0
        sleep 0.02
    done
}

# All Tasks, one line each; how many accesses have more than one?
doubled() {
    settle
    curl -s "$url/Task?_count=500" | tr '{' '\n' |
        sed -n 's/^"reference":"\(BodyStructure[^"]*\)".*/\1/p' |
        sort >"$dir/tasks"
    uniq -d "$dir/tasks" | wc -l | tr -d ' '
}

: >"$dir/all"
echo "    seed $seed"
start
for round in $(seq "$rounds"); do
    for client in $(seq "$clients"); do
        write_requests "$client" "$round" >"$dir/requests-$client"
    done
    sending=
    for client in $(seq "$clients"); do
        send "$client" &
        sending="$sending $!"
    done
    sleep "$(printf '0.%03d' "$(random_ms)")"
    kill -9 "$service"
    wait "$service" 2>/dev/null || true
    kills=$((kills + 1))
    wait $sending
    start
    cat "$dir"/acks-* >"$dir/acks"
    cat "$dir/acks" >>"$dir/all"
    check "round $round: acknowledged and lost" "$(missing <"$dir/acks")" 0
    check "round $round: accesses with two Tasks" "$(doubled)" 0
done

# What was not acknowledged is sent again, as a client does: now all is there.
for client in $(seq "$clients"); do
    for round in $(seq "$rounds"); do
        write_requests "$client" "$round"
        echo next
    done | sed '$d' >"$dir/requests-$client"
    send "$client"
    check "client $client: acknowledged when sent again" \
        "$(sort -u "$dir/acks-$client" | wc -l | tr -d ' ')" \
        $((rounds * each))
    cat "$dir/acks-$client" >>"$dir/again"
done
acknowledged=$(wc -l <"$dir/all" | tr -d ' ')
check "acknowledged in all rounds and lost" "$(missing <"$dir/all")" 0
# the same reading has the same name as before
check "acknowledged before under another name" \
    "$(sort -u "$dir/again" "$dir/all" | wc -l | tr -d ' ')" \
    $((clients * rounds * each))
check "accesses with two Tasks" "$(doubled)" 0
check "accesses with a Task" "$(wc -l <"$dir/tasks" | tr -d ' ')" "$clients"

kill -TERM "$service"
ended=0
wait "$service" || ended=$?
service=
check "exit status when it is asked to stop" "$ended" 0
checked=0
"$headgate" check --config "$config" --set store.path="$dir/t.db" \
    >/dev/null 2>&1 || checked=$?
check "exit status of check" "$checked" 0

echo "    $kills kills, $acknowledged readings acknowledged before them"
[ "$acknowledged" -gt 0 ] || check "anything acknowledged" no yes
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
