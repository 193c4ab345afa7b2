#!/bin/sh
# Builds the Java peers into target/ beside this file: peers.jar, the
# libraries in lib/, and archives of loaded classes (*.jsa), with which
# the programs start in two thirds of the time.  Done already: ends at once.
# Maven is asked offline first, and online only if something is missing.
# usage: build.sh [--clean]
set -eu
cd "$(dirname "$0")"
[ "${1:-}" = --clean ] && rm -rf target

for tool in java mvn; do
    if ! command -v "$tool" >/dev/null; then
        echo "java peers: $tool is not installed (Java 17, Maven 3)" >&2
        exit 1
    fi
done

wanted=$({ cat pom.xml build.sh; find src -type f | LC_ALL=C sort |
    xargs cat; java -version 2>&1; } | sha256sum)
[ -f target/stamp ] && [ "$(cat target/stamp)" = "$wanted" ] && exit 0

# One build at a time: tests may be started side by side.
mkdir -p target
exec 9>target/lock
flock -w 900 9
[ -f target/stamp ] && [ "$(cat target/stamp)" = "$wanted" ] && exit 0
rm -rf target/stamp target/lib target/classes target/*.jsa

echo 'java peers: building' >&2
log=target/build.log
if ! mvn -B -q -o package >"$log" 2>&1; then
    echo 'java peers: something is missing, asking Maven online' >&2
    if ! mvn -B -q package >"$log" 2>&1; then
        tail -n 30 "$log" >&2
        echo "java peers: Maven failed, see tests/peers/java/$log" >&2
        exit 1
    fi
fi

# The archive only saves time: without it the server starts all the same.
archive=-XX:ArchiveClassesAtExit=$PWD/target
JAVA_MORE=$archive/server.jsa ./run.sh server --port 0 --once \
    >"$log" 2>&1 || echo 'java peers: no archive for the server' >&2
echo '{"resourceType":"Basic","code":{"text":"warm-up"}}' |
    JAVA_MORE=$archive/validate.jsa ./run.sh validate \
    >"$log" 2>&1 || echo 'java peers: no archive for the validator' >&2
printf '%s\n' "$wanted" >target/stamp
