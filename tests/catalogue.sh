#!/bin/sh
# Each text that is marked for translation is in each catalogue, no catalogue
# holds one that is gone, and the places of a translation are those of the
# English text (GNU gettext's own checks, and one for {named} places).
#
#     catalogue.sh [--merge]   --merge: bring the catalogues up to the sources,
#                              what is new comes in empty
set -eu
cd "$(dirname "$0")/.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
wrong=0

xgettext --from-code=UTF-8 --keyword=_ --keyword=N_ --keyword=WORDS --keyword=ngettext:1,2 \
    --flag=_:1:pass-c-format --flag=N_:1:pass-c-format \
    --add-comments=TRANSLATORS --sort-by-file --package-name=headgate \
    -o "$work/headgate.pot" planner/*.c adapters/*.c service/*.c
# The {places} of a translation are those of the English text; gettext knows of
# %-places only.  What is not translated has none, and is told of by msgcmp.
check_places() {
    msgcat --no-wrap --no-location "$1" | awk '
        function places(text,   list, one) {
            list = ""
            while (match(text, /[{][A-Za-z0-9_]+[}]/)) {
                one = substr(text, RSTART, RLENGTH)
                if (index(list, one) == 0)
                    list = list one
                text = substr(text, RSTART + RLENGTH)
            }
            return list
        }
        function differ(a, b,   one) {
            a = places(a)
            b = places(b)
            if (length(a) != length(b))
                return 1
            while (match(a, /[{][A-Za-z0-9_]+[}]/)) {
                one = substr(a, RSTART, RLENGTH)
                if (index(b, one) == 0)
                    return 1
                a = substr(a, RSTART + RLENGTH)
            }
            return 0
        }
        /^#~/ { next }
        /^msgid / { id = $0; next }
        /^msgid_plural / { next }
        /^msgstr/ {
            if ($0 !~ /^msgstr(\[[0-9]+\])? ""$/ && differ(id, $0)) {
                print "places differ: " id "\n               " $0
                wrong = 1
            }
        }
        END { exit wrong }' >&2
}

for po in config/po/*.po; do
    if [ "${1-}" = --merge ]; then
        msgmerge --quiet --no-fuzzy-matching --no-location --update \
            --backup=none "$po" "$work/headgate.pot"
        msgattrib --no-obsolete --no-location -o "$po" "$po"
    fi
    msgfmt --check --output-file=/dev/null "$po" || wrong=$((wrong + 1))
    check_places "$po" || wrong=$((wrong + 1))
    msgcmp "$po" "$work/headgate.pot" || wrong=$((wrong + 1))
    # and the other way round: nothing that no source says any more
    msgmerge --quiet --no-fuzzy-matching -o "$work/merged.po" "$po" \
        "$work/headgate.pot"
    if msgattrib --only-obsolete "$work/merged.po" | grep -q '^#~ msgid'; then
        echo "catalogue: $po holds texts that are in no source" >&2
        msgattrib --only-obsolete "$work/merged.po" | grep '^#~ msgid' >&2
        wrong=$((wrong + 1))
    fi
done
[ "$wrong" -eq 0 ] || exit 1
echo "catalogue: $(grep -c '^msgid ' "$work/headgate.pot") texts, each in" \
    "$(ls config/po/*.po | wc -l) catalogues"
