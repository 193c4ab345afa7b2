/* What a plan says in words: each fact with its stable word and its
 * sentence. */
#include "adapters/plan_words.h"

#include "adapters/catalogue.h"

#include <math.h>

static const struct plan_phrase missing_rows[] = {
    { PLAN_NO_MAP, "mean-pressure",
      N_("the mean arterial pressure at the baseline") },
    { PLAN_NO_CVP, "central-venous-pressure",
      N_("the central venous pressure") },
    { PLAN_NO_HAEMATOCRIT, "haematocrit", N_("the haematocrit") },
    { PLAN_NO_CONDUIT, "conduit-diameter",
      N_("the inner diameter of the access where the band is to lie") },
    { PLAN_NO_ARTERY, "feeding-artery-diameter",
      N_("the diameter of the feeding artery") },
    { PLAN_NO_INDEX, "digital-brachial-index",
      N_("the digital-brachial index (finger over the arm without the "
         "access)") },
    { PLAN_NO_INDEX_COMPRESSED, "digital-brachial-index-compressed",
      N_("the same index while the access is pressed shut: of all that is "
         "optional it tells most") },
    { PLAN_NO_STATIC, "static-access-pressure",
      N_("the static pressure inside the access, pump off, with a common zero "
         "at "
         "the height of the heart (0.78 mmHg for each cm of difference)") },
    { PLAN_NO_REPEAT, "second-baseline-flow",
      N_("a second reading of the baseline in the same session") },
    { PLAN_NO_TABLE, "on-table-baseline",
      N_("a pair of flows, with the pressure, on the table just before the "
         "band: "
         "anaesthesia and a nerve block change the flow") },
    { PLAN_NO_LOWEST_MAP, "lowest-mean-pressure",
      N_("the lowest usual mean pressure during dialysis") },
    { PLAN_NO_STAGE_MAP, "stage-mean-pressure",
      N_("the mean pressure with the flows after a tie") },
    { PLAN_NO_METHOD, "flow-method",
      N_("the method by which the flow was "
         "measured") },
};

/* What stands above every number first. */
static const struct plan_phrase warning_rows[] = {
    { PLAN_HAND_WORSE, "hand-worse",
      N_("THE HAND IS WORSE than at the baseline, although less flow through "
         "the access should leave it more pressure: loosen, and look at the "
         "inflow and at where the band lies. No smaller dowel.") },
    { PLAN_HAND_LOW, "hand-low",
      N_("THE HAND IS BELOW ITS LIMIT with the band, and not shown to be "
         "better than before it: loosen, and look at the inflow and at where "
         "the band lies. No smaller dowel.") },
    { PLAN_PRESSURE_OFF, "pressure-changed",
      /* xgettext:no-c-format */
      N_("The mean pressure after the last step is more than 10 % away from "
         "that at the baseline, and the flow changed with it: restore it and "
         "measure again before anything is tied or accepted.") },
    { PLAN_READS_APART, "readings-apart",
      N_("Two readings of one measurement differ by more than chance explains: "
         "take a third before anything is decided.") },
    { PLAN_OUTSIDE, "outside-prediction",
      N_("A measured flow lies outside what was predicted for it. Measure "
         "again "
         "and look at the knot; the model, not the arm, may be wrong.") },
    { PLAN_CONFLICT, "data-conflict",
      N_("What was measured contradicts itself or the model: no advice is "
         "given.") },
    { PLAN_ZONE_EMPTY, "zone-empty",
      N_("There is no flow to steer to: what would be left lies below the "
         "least "
         "flow, or the flow is in the wanted range already. No plan by "
         "flow.") },
    { PLAN_NO_DOWEL, "no-dowel",
      N_("No size keeps to the limits of chance: none is named.") },
    { PLAN_DISTAL, "distal-disease",
      N_("The index is low although the access is pressed shut: disease "
         "further "
         "down the arm is likely, and a band cannot mend it.") },
    { PLAN_HAND_AT_RISK, "hand-at-risk",
      N_("Opening the outflow may take the blood from the hand: plan the band "
         "before it is opened.") },
    { PLAN_OUTFLOW_FIRST, "outflow-first",
      N_("An outflow stenosis is known: open it, measure a pair of flows, and "
         "choose the size then. The sizes below are for the access as it "
         "is.") },
    { PLAN_HAND_SHORT, "hand-short",
      N_("No size that keeps to the limits is expected to bring the hand to "
         "its "
         "limit.") },
    { PLAN_PROVISIONAL, "provisional",
      N_("Provisional: the baseline was not measured on the table just before. "
         "Measure a pair there, and plan again.") },
    { PLAN_LADDER_ENDS, "ladder-ends",
      N_("Some flows are accepted only because the ladder ends: a smaller "
         "dowel, "
         "or another procedure, would be needed to come to the target.") },
    { PLAN_GRAFT_PRIOR, "graft-model",
      N_("A graft: its wall folds less than a vein's, so the band is probably "
         "less tight than predicted.") },
    { PLAN_MANY_STAGES, "many-stages",
      N_("More ties than the model was made for: rely on what is measured.") },
    { PLAN_HAND_BY_FLOW, "hand-by-flow",
      N_("The hand is the ground, but its index is not known: the plan steers "
         "by "
         "flow. Measure the finger, with and without the access pressed "
         "shut.") },
    { PLAN_STRAINED, "hardly-together",
      N_("The index of the finger and the pressures hardly go together. "
         "Measure "
         "both again; check that the cuff, the zero of the static pressure and "
         "the side are right.") },
    { PLAN_OTHER_METHOD, "other-method",
      N_("Flows by another method than that of the baseline were measured and "
         "are not used: two methods may differ by more than a band changes.") },
    { PLAN_BASELINE_APART, "baseline-apart",
      N_("The readings of the baseline differ by more than chance: were some "
         "measured through a band that was typed late, or not at all?") },
};

/* Pre-conditions, by enum condition. */
static const struct plan_phrase condition_rows[] = {
    { CONDITION_FLOW_PAIR, "flow-pair",
      N_("flows of two sessions, by one method, that agree") },
    { CONDITION_INFLOW_IMAGED, "inflow-imaged",
      N_("an image of the inflow from the chest to the hand without "
         "significant "
         "stenosis") },
    { CONDITION_OUTFLOW_IMAGED, "outflow-imaged",
      N_("an image of the outflow without an untreated significant stenosis") },
    { CONDITION_FINGER, "finger-compressed",
      N_("finger pressure or index with and without the access pressed shut, "
         "in "
         "one session") },
    { CONDITION_INDICATION, "indication",
      N_("a confirmed indication: the hand, the heart, or the pressure in the "
         "outflow") },
    { CONDITION_TARGET, "target",
      N_("what the target needs: the type of the access and the prescribed "
         "pump "
         "flow") },
    { CONDITION_OPERATOR, "operator",
      N_("the operator's check of anticoagulation and infection") },
};

static const struct plan_phrase exclusion_rows[] = {
    { EXCLUDE_CHILD, "child", N_("the patient is under 18 years") },
    { EXCLUDE_SITE, "site",
      N_("the access is in the thigh or on the chest wall") },
    { EXCLUDE_INFECTION, "infection",
      N_("infection of the access is suspected (IN-1)") },
    { EXCLUDE_LOW_FLOW_HAND, "low-flow-ischaemia",
      N_("the hand is short of blood at a normal or low flow (IS-7): less flow "
         "would not help it") },
    { EXCLUDE_NERVES, "nerves",
      N_("ischaemic monomelic neuropathy is suspected (IS-1): the surgeon "
         "decides "
         "on closure") },
    { EXCLUDE_TISSUE, "tissue-loss",
      N_("tissue loss of the hand is, or was, extended (grade 4b)") },
    { EXCLUDE_DISTAL, "distal-disease",
      N_("the finger stays short of blood while the access is pressed shut: "
         "arterial disease further down") },
    { EXCLUDE_BLEEDING, "bleeding",
      N_("the access bleeds or threatens to rupture (BL-1)") },
    { EXCLUDE_CATHETER, "catheter", N_("the access is a catheter") },
};

static const struct plan_phrase caution_rows[] = {
    { CAUTION_GRAFT, "graft",
      N_("A graft: bands of grafts are poorly "
         "validated.") },
    { CAUTION_BAND_BEFORE, "band-before", N_("There was a band before.") },
    { CAUTION_PULMONARY, "pulmonary-hypertension",
      N_("Pulmonary hypertension.") },
    { CAUTION_ARM_DIFFERENCE, "arm-difference",
      N_("The systolic pressures of the arms differ: the inflow artery may be "
         "diseased, and an index is not reliable.") },
    { CAUTION_OUTFLOW, "outflow-stenosis",
      N_("A known outflow stenosis is untreated.") },
    { CAUTION_AGE_UNKNOWN, "age-unknown",
      N_("The age of the patient is not known.") },
    { CAUTION_THRILL, "thrill",
      N_("The thrill was weak or lost when last examined.") },
};

/* With every plan. */
static const struct plan_phrase always_rows[] = {
    { 0, "estimate",
      N_("These are estimates of a simple model, made from measured values. No "
         "published series validates them patient by patient. The operator "
         "confirms the flow during the procedure and may choose another "
         "size.") },
    { 0, "imaging",
      N_("Not to be used unless inflow and outflow have been imaged.") },
    { 0, "one-method",
      N_("Measure before and after by one and the same method; never mix "
         "two.") },
    { 0, "pressure-of-the-moment",
      N_("Write down the mean pressure of the moment with every measurement of "
         "the flow.") },
    { 0, "outside-the-card",
      N_("A flow outside the range of the card: measure again before "
         "acting.") },
    { 0, "narrow-ligature",
      /* xgettext:no-c-format */
      N_("The model holds for a narrow ligature. A cuff as long as it is wide "
         "takes away about 40 % less: not to be planned with this.") },
    { 0, "hand-not-safe",
      N_("No arm is called safe: what the hand shows outweighs every number "
         "here.") },
    { 0, "operator-checks",
      N_("The operator checks anticoagulation and infection. No reading tells "
         "of "
         "pregnancy or of an aneurysm at the band site: no plan then. Take "
         "care "
         "with two outflows (the band lies before the "
         "fork), a functioning transplant, a second patent access on the arm, "
         "an "
         "access on the other arm (an index is then not valid), or a "
         "mammary-artery graft on this side with angina.") },
    { 0, "decides",
      N_("Decision support, not an order: the licensed operator and local "
         "policy "
         "decide.") },
};

static const struct plan_phrase offer_rows[] = {
    { PLAN_OFFERED, "offered", "" },
    { PLAN_EXCLUDED, "excluded", "" },
    { PLAN_INACTIVE, "not-in-use", N_("the access is no longer in use") },
    { PLAN_OTHER_FORM, "other-band-form",
      N_("a cuff is recorded as the form of the band, and the model holds for "
         "a "
         "narrow ligature") },
    { PLAN_NO_GROUND, "no-ground",
      N_("neither a high flow nor ischaemia of the hand with one is "
         "confirmed") },
    { PLAN_NO_FLOW, "no-flow",
      N_("no flow is known of the access as it is now; measure a pair by one "
         "method") },
    { PLAN_FLOW_UNFIT, "flow-not-usable",
      N_("the newest flow is only a bound (more or less than a number), or "
         "contradicts the values it is computed from; measure again") },
    { PLAN_FLOW_OLD, "flow-too-old",
      N_("the newest flow is too old to plan with; measure a pair") },
    { PLAN_ORDER, "order-not-known",
      N_("the order of what was done to the band and what was measured is not "
         "known: record each step with its time") },
    { PLAN_SIZE, "dowel-not-known",
      N_("a band of this procedure is recorded without the diameter of its "
         "dowel") },
    { PLAN_STAGES_FULL, "too-many-steps",
      N_("more was done to the band in one procedure than can be planned "
         "with") },
    { PLAN_BANDED, "banded",
      N_("a band is in place, and the sizes of the model are those of a first "
         "one: what a second leaves has no source. If the one in place is cut, "
         "record that, measure a pair of flows, and plan again; if it stays, "
         "image it, measure after each step, and decide by that") },
    { PLAN_DECEASED, "deceased",
      N_("the patient is recorded as deceased; if that is wrong, have it put "
         "right in the record") },
    { PLAN_UNFIT, "not-usable", N_("a value cannot be used") },
};

#define SET(rows)                                                              \
    {                                                                          \
        rows, COUNT(rows)                                                      \
    }

static const struct plan_phrases sets[PLAN_PHRASES_COUNT] = {
    [PLAN_PHRASES_MISSING] = SET(missing_rows),
    [PLAN_PHRASES_WARNING] = SET(warning_rows),
    [PLAN_PHRASES_CONDITION] = SET(condition_rows),
    [PLAN_PHRASES_EXCLUSION] = SET(exclusion_rows),
    [PLAN_PHRASES_CAUTION] = SET(caution_rows),
    [PLAN_PHRASES_ALWAYS] = SET(always_rows),
    [PLAN_PHRASES_OFFER] = SET(offer_rows),
};

_Static_assert(COUNT(missing_rows) == PLAN_MISSING_COUNT, "one each");
_Static_assert(COUNT(warning_rows) == PLAN_WARNING_COUNT, "one each");
_Static_assert(COUNT(condition_rows) == CONDITION_COUNT, "one each");
_Static_assert(COUNT(offer_rows) == PLAN_OFFER_COUNT, "one each");

const struct plan_phrases *plan_phrases(enum plan_phrase_set set)
{
    return &sets[set];
}

static const struct plan_phrase *find(enum plan_phrase_set set, unsigned key)
{
    for (size_t i = 0; i < sets[set].count; i++) {
        if (sets[set].rows[i].key == key)
            return &sets[set].rows[i];
    }
    return NULL;
}

const struct plan_phrase *plan_offer_phrase(enum plan_offer o)
{
    return find(PLAN_PHRASES_OFFER, o);
}

/* ---- what now --------------------------------------------------------------- */

double plan_standing_mm(const struct plan_input *in)
{
    double mm = NAN;

    for (size_t i = 0; i < in->stage_count; i++) {
        if (in->stages[i].step == PLAN_TIED)
            mm = in->stages[i].dowel_mm;
        else if (in->stages[i].step == PLAN_RELEASED)
            mm = NAN;
    }
    return mm;
}

/* The next size of the ladder; NAN: none is looser. */
static double looser_than(const struct plan *plan, double mm)
{
    double found = NAN;

    for (size_t i = 0; i < plan->rung_count; i++) {
        double size_mm = plan->rungs[i].dowel_mm;

        if (size_mm > mm && !(found <= size_mm))
            found = size_mm;
    }
    return found;
}

/* Holds although the numbers contradict each other. */
static bool stands_above(const struct plan *plan)
{
    return plan->next == PLAN_LOOSEN ||
           plan->next_reason == PLAN_REASON_HAND_WORSE ||
           plan->next_reason == PLAN_REASON_HAND_LOW ||
           plan->next_reason == PLAN_REASON_PRESSURE;
}

struct plan_what_now plan_what_now(const struct plan_document *d)
{
    const struct plan_input *in = &d->from->in;
    struct plan_what_now now = { .action = PLAN_REMEASURE, .dowel_mm = NAN };

    if (d->plan == NULL || in->stage_count == 0)
        return now;
    if (in->stages[in->stage_count - 1].weak_thrill)
        return (struct plan_what_now){
            true, PLAN_LOOSEN, looser_than(d->plan, plan_standing_mm(in)),
            PLAN_REASON_THRILL
        };
    if (!stands_above(d->plan) &&
        (d->plan->warnings & (PLAN_CONFLICT | PLAN_ZONE_EMPTY | PLAN_DISTAL)) !=
            0)
        return now;
    return (struct plan_what_now){ true, d->plan->next, d->plan->next_dowel_mm,
                                   d->plan->next_reason };
}
