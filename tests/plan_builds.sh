#!/bin/sh
# plan_builds - do two builds of the planner give the same plans, bit for bit?
#
#     sh tests/plan_builds.sh BUILD/tests/tool_plan OTHER/tests/tool_plan
#
# Asks both the same questions and compares every digit of the answers: 17 of
# each number, which is all there is.  Builds with the same libm must agree,
# whatever the compiler, its optimisation and its sanitizers; a plan that was
# made in the operating room must be the plan that is looked at afterwards.
# Ends with the number of questions and the checksum of the answers (cksum of
# POSIX), or with the first answers that differ and status 1.
set -eu

if [ $# -ne 2 ] || [ ! -x "$1" ] || [ ! -x "$2" ]; then
    echo "usage: plan_builds.sh TOOL_PLAN TOOL_PLAN" >&2
    exit 2
fi
tmp=$(mktemp -d)
trap 'rm -rf "$tmp"' EXIT

# Plans of every kind of question: leads, regions, priors, methods, hands,
# grafts, outflow lesions, stages; with much and with little known.
questions() {
    for flow in 700 1100 1530.5 2000,2150 2650,2550 3470,3600,3555 4500; do
        for of in "map_mmhg=95 on_table=1 method=ultrasound-dilution" \
            "map_mmhg=84 prior=reference conduit_mm=8.3 cvp_mmhg=12" \
            "method=duplex haematocrit_frac=0.28 lead=window" \
            "map_mmhg=101 graft=1 floor_ml_min=700 conduit_mm=6" \
            "region=wrist map_mmhg=90 lead=reduction artery_mm=3.4" \
            "map_mmhg=92 map_lowest_mmhg=71 index_open=0.42 ischaemia=1 lead=hand" \
            "map_mmhg=88 index_open=0.5 index_compressed=0.83 ischaemia=1 lead=hand" \
            "map_mmhg=95 dowels_mm=3,4.25,2.75,3.5,3.75,4,3.25,4.5" \
            "map_mmhg=98 stenosis_frac=0.7 static_mmhg=52 index_open=0.6"; do
            echo "plan flow_ml_min=$flow $of"
            echo "plan flow_ml_min=$flow $of stage=tied:4:${flow%%[.,]*}:90"
        done
    done
    three="stage=tied:4:1820,1760:93:0.6 stage=tied:3.5:1480,1420:97"
    echo "plan flow_ml_min=2650,2550 map_mmhg=95 $three"
    echo "plan flow_ml_min=2650,2550 map_mmhg=95 $three stage=stretched::1700"
    echo "plan flow_ml_min=2650,2550 map_mmhg=95 $three stage=released"
    echo "plan flow_ml_min=2650 stage=tied:4 stage=tied:3:700,720::0.8:weak"
    # Few guesses left, none left: the large sample, and no advice.
    echo "plan flow_ml_min=1500 map_mmhg=95 index_open=0.3 artery_mm=6 static_mmhg=60"
    echo "plan flow_ml_min=2000 map_mmhg=95 index_open=0.9 index_compressed=0.4"
    for haematocrit in 0.15 0.22 0.33 0.47 0.65; do
        echo "blood $haematocrit"
    done
    for u in 1e-300 1e-9 0.02 0.074999 0.5 0.925001 0.999999999; do
        echo "normal $u"
    done
    echo "circuit rf=0.004 kf=1.6e-6 ra=0.012 ka=6e-6 rd=0.2 rc=0.9 rh=1.3" \
        "map=95 cvp=8 kappa=0.0025 q0=2500"
}

questions >"$tmp/questions"
"$1" <"$tmp/questions" >"$tmp/one"
"$2" <"$tmp/questions" >"$tmp/two"
if ! cmp -s "$tmp/one" "$tmp/two"; then
    paste -d '\n' "$tmp/questions" "$tmp/one" "$tmp/two" |
        awk 'NR % 3 == 1 { q = $0 } NR % 3 == 2 { a = $0 }
             NR % 3 == 0 && a != $0 { print q; print a; print; exit }' >&2
    echo "plan_builds: the two builds give different plans" >&2
    exit 1
fi
# Nothing was compared if nothing was answered.
if [ "$(grep -c '"rungs"' "$tmp/one")" -lt 100 ]; then
    echo "plan_builds: hardly a plan among the answers" >&2
    exit 1
fi
echo "$(wc -l <"$tmp/one") answers alike, checksum $(cksum <"$tmp/one")"
