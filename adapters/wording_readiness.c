/* What stands between an access and a band plan, in words. */
#include "adapters/wording_work.h"

#include <math.h>

struct bit_row {
    unsigned bit;
    const char *words;
};

static const struct bit_row exclusion_rows[] = {
    { EXCLUDE_CHILD, "the patient is under 18 years" },
    { EXCLUDE_SITE, "the access is in the thigh or on the chest wall" },
    { EXCLUDE_INFECTION, "infection of the access is suspected (IN-1)" },
    { EXCLUDE_LOW_FLOW_HAND,
      "the hand is short of blood at a normal or low flow (IS-7): less flow "
      "would not help it" },
    { EXCLUDE_NERVES,
      "ischaemic monomelic neuropathy is suspected (IS-1): the surgeon "
      "decides on closure" },
    { EXCLUDE_TISSUE,
      "tissue loss of the hand is, or was, extended (grade 4b)" },
    { EXCLUDE_DISTAL,
      "the finger stays short of blood while the access is pressed shut: "
      "arterial disease further down" },
    { EXCLUDE_BLEEDING, "the access bleeds or threatens to rupture (BL-1)" },
    { EXCLUDE_CATHETER, "the access is a catheter" },
};

static const struct bit_row caution_rows[] = {
    { CAUTION_GRAFT, "a graft: bands of grafts are poorly validated" },
    { CAUTION_BAND_BEFORE, "there was a band before" },
    { CAUTION_PULMONARY, "pulmonary hypertension" },
    { CAUTION_ARM_DIFFERENCE,
      "the systolic pressures of the arms differ: the inflow artery may be "
      "diseased, and an index is not reliable" },
    { CAUTION_OUTFLOW,
      "a known outflow stenosis is untreated: treat it and measure again "
      "before any band is planned" },
    { CAUTION_AGE_UNKNOWN, "the age of the patient is not known" },
    { CAUTION_THRILL, "the thrill was weak or lost when last examined" },
};

static void say_bits(const struct bit_row *rows, size_t count, unsigned set,
                     const char *before, struct buf *out)
{
    for (size_t i = 0; i < count; i++) {
        if ((set & rows[i].bit) != 0)
            buf_printf(out, "%s: %s.\n", before, rows[i].words);
    }
}

static const char *candidate_words(enum candidate c)
{
    switch (c) {
    case CANDIDATE_NO_GROUND:
        return "There is no ground to plan a band: neither a high flow nor "
               "ischaemia of the hand with one is confirmed.";
    case CANDIDATE_YES:
        return "Reducing the flow is a candidate treatment. Whether a band is "
               "placed is for the operator to decide.";
    case CANDIDATE_NO:
        return "No band is to be planned.";
    case CANDIDATE_UNKNOWN:
        break;
    }
    return "Not known: the hand is short of blood, and there is no usable flow "
           "beside it, which decides.";
}

static const char *condition_words(enum condition c)
{
    static const char *const words[CONDITION_COUNT] = {
        [CONDITION_FLOW_PAIR] = "Two flows by one method that agree",
        [CONDITION_INFLOW_IMAGED] =
            "Inflow artery imaged from chest to hand, no significant stenosis",
        [CONDITION_OUTFLOW_IMAGED] = "Outflow imaged, no significant stenosis",
        [CONDITION_FINGER] =
            "Finger pressure or index, with and without the access compressed",
        [CONDITION_INDICATION] =
            "Indication: the hand, the heart, or the pressure in the outflow",
        [CONDITION_TARGET] = "Target window of the flow, and its floor",
        [CONDITION_OPERATOR] = "Anticoagulation and infection checked",
    };

    return words[c];
}

static const char *state_words(enum condition_state s)
{
    switch (s) {
    case CONDITION_MET:
        return "met";
    case CONDITION_MISSING:
        return "MISSING";
    case CONDITION_NOT_NEEDED:
        return "not needed";
    case CONDITION_BY_OPERATOR:
        break;
    }
    return "for the operator";
}

static void say_indication(const struct readiness *r, struct buf *out)
{
    bool any = false;

    if (!r->hand && !r->heart && !r->outflow_pressure)
        return;
    buf_puts(out, " (");
    if (r->hand) {
        buf_puts(out, "hand");
        any = true;
    }
    if (r->heart) {
        buf_puts(out, any ? ", heart" : "heart");
        any = true;
    }
    if (r->outflow_pressure)
        buf_puts(out, any ? ", outflow" : "outflow");
    buf_puts(out, ")");
}

static void say_conditions(const struct readiness *r, struct buf *out)
{
    for (int c = 0; c < CONDITION_COUNT; c++) {
        buf_printf(out, "%s: %s", condition_words((enum condition)c),
                   state_words(r->conditions[c]));
        if (c == CONDITION_INDICATION)
            say_indication(r, out);
        buf_puts(out, ".\n");
    }
    buf_puts(out, r->complete ? "Nothing is missing but the operator's part.\n"
                              : "A plan would be incomplete.\n");
}

static const char *compression_words(enum compression c)
{
    switch (c) {
    case COMPRESSION_CONTRIBUTES:
        return "rises while the access is pressed shut: the access takes the "
               "blood";
    case COMPRESSION_SMALL:
        return "hardly rises while the access is pressed shut";
    case COMPRESSION_DISTAL:
        return "stays low while the access is pressed shut: this suggests "
               "arterial disease";
    case COMPRESSION_UNKNOWN:
        break;
    }
    return "with and without compression in one session: not recorded";
}

static void say_compression(const struct readiness *r, struct buf *out)
{
    if (r->conditions[CONDITION_FINGER] == CONDITION_NOT_NEEDED &&
        r->compression == COMPRESSION_UNKNOWN)
        return;
    buf_printf(out, "Finger pressure %s", compression_words(r->compression));
    if (!isnan(r->finger_open_mmhg) && !isnan(r->finger_compressed_mmhg))
        buf_printf(out, " (%.0f mmHg, compressed %.0f mmHg)",
                   r->finger_open_mmhg, r->finger_compressed_mmhg);
    buf_puts(out, ".\n");
}

/* What no reading tells.  Risks of steal: Huber et al., J Vasc Surg
 * 2016;64:1050-8, for diabetes, sex and coronary disease; the others, and that
 * two of them are many: common practice, no source. */
static void say_operator_checks(struct buf *out)
{
    buf_puts(
        out,
        "For the operator to check, since no reading tells it. No plan in "
        "pregnancy, or with an aneurysm at the band site. Caution with two "
        "outflows, a functioning transplant, a second patent access on the "
        "same arm, an access on the other arm (an index is then not valid), "
        "or a mammary-artery graft on that side with angina (the access may "
        "steal from it). Risks of steal: brachial or femoral inflow, "
        "diabetes, female sex, coronary or peripheral arterial disease, "
        "earlier steal; with two or more of them ask about the hand at every "
        "session (diabetes, sex and coronary disease: Huber et al., J Vasc "
        "Surg 2016;64:1050-8).\n");
}

void say_readiness(const struct wording *w, const struct readiness *r,
                   struct buf *out)
{
    bool may_be =
        r->candidate == CANDIDATE_YES || r->candidate == CANDIDATE_UNKNOWN;

    (void)w;
    buf_printf(out, "\nBand plan\n%s\n", candidate_words(r->candidate));
    say_bits(exclusion_rows, COUNT(exclusion_rows), r->exclusions, "Excluded",
             out);
    if (may_be)
        say_conditions(r, out);
    say_compression(r, out);
    say_bits(caution_rows, COUNT(caution_rows), r->cautions, "Caution", out);
    if (may_be)
        say_operator_checks(out);
}
