# Read by run.sh and java.sh: checks one after another, and others that go on
# beside them.  Before it is read: $build.  AT_ONCE: how many go on (4).
# shellcheck shell=sh
passed=0 failed=0
begun=0 shown=0 queued=0 at_once=${AT_ONCE:-4}
# what runs beside would not be stopped by the keyboard
trap 'trap - TERM; kill 0' INT TERM HUP

# Say how a check ended; what it printed stands above.
verdict() {
    if [ "$2" = 0 ]; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        echo "--- FAILED: $1"
    fi
}

# Run one check, and meanwhile begin what is to go on beside it.
check() {
    name=$1
    shift
    echo "--- $name"
    "$@" &
    child=$!
    while kill -0 "$child" 2>/dev/null; do
        go_on
        sleep 0.1
    done
    status=0
    wait "$child" || status=$?
    verdict "$name" "$status"
}

# The same for a check that mostly waits: it goes on beside what comes after
# it, and beside others of its kind.  What it prints is shown as a whole, in
# the order of these lines.  The longest ones first.
later() {
    queued=$((queued + 1))
    at=$build/later-$queued
    rm -f "$at.status" "$at.pid"
    echo "$1" >"$at.name"
    shift
    for word; do
        printf "'%s' " "$(printf '%s' "$word" | sed "s/'/'\\\\''/g")"
    done >"$at.sh"
}

begin() {
    begun=$((begun + 1))
    at=$build/later-$begun
    (
        said=0
        sh -c ". '$at.sh'" >"$at.out" 2>&1 || said=$?
        echo "$said" >"$at.said"
        mv "$at.said" "$at.status"
    ) &
    echo $! >"$at.pid"
}

# One that was killed leaves no status: it has failed.
ended() {
    at=$build/later-$1
    [ ! -f "$at.status" ] || return 0
    ! kill -0 "$(cat "$at.pid")" 2>/dev/null || return 1
    [ -f "$at.status" ] || echo 1 >"$at.status"
}

go_on() {
    n=$shown running=0
    while [ "$n" -lt "$begun" ]; do
        n=$((n + 1))
        ended "$n" || running=$((running + 1))
    done
    while [ "$begun" -lt "$queued" ] && [ "$running" -lt "$at_once" ]; do
        begin
        running=$((running + 1))
    done
}

# All that is left of them, to the end; and what each printed.
collect() {
    while [ "$shown" -lt "$queued" ]; do
        go_on
        if [ "$shown" -lt "$begun" ] && ended $((shown + 1)); then
            shown=$((shown + 1))
            echo "--- $(cat "$build/later-$shown.name")"
            cat "$build/later-$shown.out"
            verdict "$(cat "$build/later-$shown.name")" \
                "$(cat "$build/later-$shown.status")"
        else
            sleep 0.2
        fi
    done
}
