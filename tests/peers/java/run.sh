#!/bin/sh
# Runs a Java peer that build.sh has built, in place of this shell.
# usage: run.sh server --port N [--data FOLDER] [--log FILE] [--validate]
#                      [--lenient] [--stale]
#        run.sh validate [--codesystems FILE] [--least SEVERITY] [FILE ...]
#        run.sh validate --self-test --codesystems FILE
# JAVA_HEAP sets the heap (1g), JAVA_MORE gives further options of java.
set -eu
target=$(cd "$(dirname "$0")" && pwd)/target
kind=${1:?server or validate}
shift
if [ ! -f "$target/peers.jar" ]; then
    echo 'java peers: not built yet, run tests/peers/java/build.sh' >&2
    exit 2
fi
# C1 alone and one collector thread: these programs live for seconds, and
# share their cores with what they test.
options="-Xmx${JAVA_HEAP:-1g} -XX:TieredStopAtLevel=1 -XX:+UseSerialGC"
options="$options -Xlog:cds=off -Xlog:cds+dynamic=off ${JAVA_MORE:-}"
if [ -f "$target/$kind.jsa" ]; then
    options="$options -XX:SharedArchiveFile=$target/$kind.jsa"
fi
# shellcheck disable=SC2086 # options is a list of words
exec java $options -cp "$target/peers.jar:$target/lib/*" \
    "peer.$kind.Main" "$@"
