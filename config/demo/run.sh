#!/bin/sh
# The demo: builds headgate, starts it on this machine alone, sends it an
# invented year of readings through its HTTP endpoint, prints the referral
# queue, and leaves the service running until Ctrl-C (or ends: --once).
#
#     sh config/demo/run.sh [--once] [--port N]
set -eu
cd "$(dirname "$0")/../.."

once=no port=8480
while [ $# -gt 0 ]; do
    case $1 in
    --once) once=yes ;;
    --port) port=$2; shift ;;
    *) echo "usage: $0 [--once] [--port N]" >&2; exit 2 ;;
    esac
    shift
done

cmake --preset release >/dev/null
cmake --build --preset release --target headgate headgate-demo

# Another run that is still there serves run/demo.db: its store is not ours to
# remove, and its answers must not be shown as those of this run.
mkdir -p run
if [ -s run/pid ] && kill -0 "$(cat run/pid)" 2>/dev/null; then
    echo "$0: a demo runs already (process $(cat run/pid), see run/pid): end it first" >&2
    exit 1
fi
rm -f run/demo.db run/demo.db-wal run/demo.db-shm run/ready
build/headgate serve --config config/demo.ini --set http.port="$port" \
    >run/ready 2>run/log &
service=$!
echo "$service" >run/pid
trap 'kill "$service" 2>/dev/null || true; wait "$service" || true; rm -f run/pid' EXIT
trap 'exit 130' INT TERM

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

echo
echo "An invented year of sixty patients goes to $url"
build/headgate-demo >run/year.ndjson
build/headgate load --config config/demo.ini --to "$url" run/year.ndjson

# What came in is answered first and reviewed after, and plans take longest: wait
# until the queue has stood still for two seconds.
tries=0 still=0
until [ "$still" -ge 7 ] || [ "$tries" -ge 200 ]; do
    build/headgate queue --config config/demo.ini --json >run/queue.ndjson
    now=$(wc -l <run/queue.ndjson)
    if [ "$now" -gt 0 ] && [ "$now" = "${seen:-}" ]; then
        still=$((still + 1))
    else
        still=0
    fi
    seen=$now
    tries=$((tries + 1))
    sleep 0.3
done

echo
build/headgate queue --config config/demo.ini
echo
echo "Held back, to be looked at by a person:"
build/headgate quarantine --config config/demo.ini
if [ "$once" = yes ]; then
    exit 0
fi
cat <<END

The service runs at $url until you press Ctrl-C.  From another terminal:
    build/headgate queue --config config/demo.ini
    build/headgate review A-0103 --config config/demo.ini
    build/headgate decisions --config config/demo.ini
    build/headgate backtest --config config/demo.ini run/year.ndjson
    curl $url/Task?status=requested
What is true of each patient: config/demo/README.md
END
wait "$service"
