#!/bin/sh
# Are the alerts of config/alerts.yml right? By Prometheus' own tool: their
# form, when they fire (tests/alerts_test.yml), and the form of what a service
# says at /metrics that has all its sides on; each metric that an alert names
# must be there.
#
#     sh tests/alerts.sh HEADGATE
set -eu
headgate=$(cd "$(dirname "$1")" && pwd)/$(basename "$1")
root=$(cd "$(dirname "$0")/.." && pwd)

promtool check rules "$root/config/alerts.yml"
promtool test rules "$root/tests/alerts_test.yml"

work=$(mktemp -d)
service=
end() {
    [ -z "$service" ] || kill "$service" 2>/dev/null || true
    rm -rf "$work"
}
trap end EXIT
trap 'exit 130' INT TERM

mkdir "$work/drop"
openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 9 \
    -subj /CN=headgate.example -keyout "$work/mllp.key" -out "$work/mllp.pem" \
    2>/dev/null
openssl ecparam -name secp384r1 -genkey -noout |
    openssl pkcs8 -topk8 -nocrypt -out "$work/record.key"
: >"$work/revoked"
printf '[ca]\ndefault_ca = it\n[it]\ndatabase = %s\ndefault_md = sha256\n' \
    "$work/revoked" >"$work/ca.cnf"
openssl ca -config "$work/ca.cnf" -keyfile "$work/mllp.key" \
    -cert "$work/mllp.pem" -gencrl -crldays 9 -out "$work/mllp.crl" 2>/dev/null
chmod 600 "$work/record.key" "$work/mllp.key"
cat >"$work/headgate.ini" <<EOF
[http]
port = 0
anonymous = true
[store]
path = $work/store.db
[policy]
path = $root/config/policy.ini
[mllp]
enabled = true
any_sender = true
tls_certificate = $work/mllp.pem
tls_key = $work/mllp.key
tls_client_ca = $work/mllp.pem
tls_crl = $work/mllp.crl
[drop]
folder = $work/drop
[record]
url = http://127.0.0.1:9/fhir
poll = 60
smart_client_id = headgate
smart_key = $work/record.key
smart_scopes = system/Task.crus
EOF
"$headgate" serve --config "$work/headgate.ini" >"$work/ready" 2>"$work/log" &
service=$!
tries=0
until grep -q '^headgate ready' "$work/ready" 2>/dev/null; do
    tries=$((tries + 1))
    if [ "$tries" -gt 100 ] || ! kill -0 "$service" 2>/dev/null; then
        cat "$work/log" >&2
        exit 1
    fi
    sleep 0.1
done
url=$(sed -n 's/^headgate ready //p' "$work/ready")
# Each metric that an alert names is there, also where nothing waits.
look() {
    curl -sf "${url%/fhir}/metrics" >"$work/metrics"
    promtool check metrics <"$work/metrics"
    missing=0
    for name in $(sed -n 's/^ *expr: //p' "$root/config/alerts.yml" |
        grep -o 'headgate_[a-z_]*' | sort -u); do
        if ! grep -q "^$name[ {]" "$work/metrics"; then
            echo "config/alerts.yml: no metric is called $name ($1)"
            missing=1
        fi
    done
    [ "$missing" = 0 ]
}
look 'nothing waits'
for what in quarantine held; do
    if ! grep -qx "headgate_${what}_oldest_seconds 0" "$work/metrics"; then
        echo "headgate_${what}_oldest_seconds is not 0 where nothing waits"
        exit 1
    fi
done
# Then with something that waits for a person, by its reason: a value in a unit
# that is none, and a message without a patient.
curl -sf -o "$work/answer" -H 'Content-Type: application/fhir+json' -d '{
    "resourceType": "Bundle", "type": "collection", "entry": [{"resource": {
    "resourceType": "Observation", "status": "final",
    "code": {"coding": [{"code": "access-flow", "system":
        "https://headgate.example/fhir/CodeSystem/av-observation"}]},
    "subject": {"identifier": {"system": "https://site.example/ids/patient",
        "value": "1"}},
    "effectiveDateTime": "2026-01-02T03:04:05Z",
    "valueQuantity": {"value": 1, "unit": "furlong"}}}]}' "$url"
printf 'MSH|^~\\&|HALL|UNIT|||20260102030405+0000||ORU^R01|1|P|2.5.1\rPID|1\r' |
    curl -s -o "$work/answer" -H 'Content-Type: application/hl7-v2' \
        --data-binary @- "${url%/fhir}/hl7"
look 'something waits'
for what in quarantine held; do
    if grep -qx "headgate_${what}_oldest_seconds 0" "$work/metrics" ||
        ! grep -q "^headgate_${what}_oldest_seconds{" "$work/metrics"; then
        echo "headgate_${what}_oldest_seconds does not say what waits"
        exit 1
    fi
done
