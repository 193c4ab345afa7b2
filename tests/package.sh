#!/bin/sh
# The Debian package in the hands of dpkg: built, installed, started, upgraded
# with a changed setting, removed and purged, in a copy of this machine that is
# thrown away (an overlay over its files). Needs root. Outside: Debian Policy
# Manual, chapters 6 (maintainer scripts), 9.1.1 (filesystem) and 10.7
# (configuration files survive an upgrade and a removal).
#
#     sh tests/package.sh BUILD
set -eu
if [ "${2:-}" != inside ]; then
    build=$(cd "$1" && pwd)
    self=$(cd "$(dirname "$0")" && pwd)/$(basename "$0")
    work=$(mktemp -d)
    trap 'rm -rf "$work"' EXIT
    trap 'exit 130' INT TERM
    for release in 1 2; do
        cpack --config "$build/CPackConfig.cmake" -B "$build/package/$release" \
            -D CPACK_DEBIAN_PACKAGE_RELEASE=$release >/dev/null
    done
    # in a root that is no mount itself (chroot) nothing can be made private
    spread=private
    unshare --mount true 2>/dev/null || spread=unchanged
    unshare --mount --propagation "$spread" sh -c '
        set -e
        trap "umount -R \"$1\"" EXIT
        mount -t tmpfs tmpfs "$1"
        mkdir "$1/upper" "$1/work" "$1/root"
        mount -t overlay overlay "$1/root" \
            -o "lowerdir=/,upperdir=$1/upper,workdir=$1/work"
        mount -t proc proc "$1/root/proc"
        mount --bind /dev "$1/root/dev"
        mkdir "$1/root/package"
        cp "$2"/package/*/headgate_*.deb "$3" "$1/root/package/"
        chroot "$1/root" sh "/package/$(basename "$3")" /package inside' \
        - "$work" "$build" "$self"
    exit 0
fi

# ---- in the copy -------------------------------------------------------------

cd "$1"
export DEBIAN_FRONTEND=noninteractive LC_ALL=C.UTF-8
first=$(ls headgate_*-1_*.deb) second=$(ls headgate_*-2_*.deb)
service=

say() { echo "ok   $1"; }
fail() {
    echo "FAIL $1"
    [ ! -f log ] || cat log
    exit 1
}
expect() { # what COMMAND...
    what=$1
    shift
    "$@" || fail "$what"
}
end() { [ -z "$service" ] || kill "$service" 2>/dev/null || true; }
trap end EXIT

# As its unit file has it: that user, that mask, those settings.
start() {
    rm -f ready log
    setpriv --reuid headgate --regid headgate --init-groups --reset-env \
        sh -c 'umask 0077; exec /usr/bin/headgate serve --config /etc/headgate/headgate.ini' \
        >ready 2>log &
    service=$!
    tries=0
    until grep -q '^headgate ready' ready; do
        tries=$((tries + 1))
        if [ "$tries" -gt 100 ] || ! kill -0 "$service" 2>/dev/null; then
            fail "it starts"
        fi
        sleep 0.1
    done
    url=$(sed -n 's/^headgate ready //p' ready)
}
stop() {
    kill "$service"
    wait "$service" || fail "it ends with status 0"
    service=
}
mode_of() { stat -c '%a %U:%G' "$1"; }
status_of() { curl -s -o answer -w '%{http_code}' "$@"; }

# What dpkg, adduser and the loader keep of their own is not of the package.
everything() {
    find /etc /usr /lib /var -xdev \( -path /var/lib/dpkg -o -path /var/log \
        -o -path /var/cache -o -path '/var/lib/systemd' \) -prune -o -print |
        grep -v -e '^/etc/\(passwd\|group\|shadow\|gshadow\|sub[ug]id\)-\?$' |
        sort
}

everything >before
dpkg -i "$first" >dpkg.log 2>&1 || { cat dpkg.log; fail "it installs"; }
dpkg -V headgate >verified || true
expect "what is installed is what was packed" test ! -s verified
expect "a user of its own" test "$(getent passwd headgate | cut -d: -f7)" = \
    /usr/sbin/nologin
expect "the store is for that user alone" test \
    "$(mode_of /var/lib/headgate)" = "700 headgate:headgate"
expect "settings can be changed by root alone" test \
    "$(mode_of /etc/headgate/headgate.ini)" = "644 root:root"
expect "and are seen by that user alone" test "$(mode_of /etc/headgate)" = \
    "750 root:headgate"
expect "no token is there at first" test \
    "$(grep -cv '^#' /etc/headgate/tokens) $(tail -n 1 /etc/headgate/tokens)" = \
    "1 none"
expect "and they are seen by that user alone" test \
    "$(mode_of /etc/headgate/tokens)" = "640 root:headgate"
say "installs"

sed -i 's/^;port = 8480$/port = 0/' /etc/headgate/headgate.ini
start
expect "alive" test "$(status_of "${url%/fhir}/healthz")" = 200
expect "ready" test "$(status_of "${url%/fhir}/readyz")" = 200
grep -q 'silent mode' answer || fail "nothing goes out before a site says so"
expect "nobody may send" test "$(status_of -X POST -H \
    'Content-Type: application/fhir+json' -d '{"resourceType":"Patient"}' \
    "$url/Patient")" = 401
expect "the store's mode" test \
    "$(mode_of /var/lib/headgate/headgate.db)" = "600 headgate:headgate"
runuser -u headgate -- headgate queue --config /etc/headgate/headgate.ini \
    >queue || fail "a command as that user"
stop
runuser -u headgate -- headgate queue --config /etc/headgate/headgate.ini \
    --set site.language=de >german || fail "a command without the service"
expect "its texts in another language" grep -q Überweisungsliste german
say "starts, as its user, and answers"

sum=$(sha256sum </etc/headgate/headgate.ini)
dpkg -i --force-confdef "$second" >dpkg.log 2>&1 ||
    { cat dpkg.log; fail "it upgrades"; }
expect "the site's settings stand" test "$sum" = \
    "$(sha256sum </etc/headgate/headgate.ini)"
expect "the new version is there" test \
    "$(dpkg-query -W -f '${Version}' headgate | tail -c 2)" = -2
start
expect "on the same store" test "$(status_of "${url%/fhir}/readyz")" = 200
stop
say "upgrades"

dpkg -r headgate >dpkg.log 2>&1 || { cat dpkg.log; fail "it is removed"; }
expect "a removal leaves the settings" test -f /etc/headgate/headgate.ini
dpkg -P headgate >dpkg.log 2>&1 || { cat dpkg.log; fail "it is purged"; }
expect "a purge takes the settings" test ! -e /etc/headgate
expect "but no patient's data" test -f /var/lib/headgate/headgate.db
grep -q 'the store is left' dpkg.log || fail "and says so"
say "a store outlives the package"

rm -rf /var/lib/headgate
dpkg -i "$first" >dpkg.log 2>&1 || { cat dpkg.log; fail "it installs again"; }
dpkg -P headgate >dpkg.log 2>&1 || { cat dpkg.log; fail "it is purged"; }
everything >after
diff before after || fail "nothing is left"
expect "no user is left" sh -c '! getent passwd headgate'
say "purged, nothing is left"
