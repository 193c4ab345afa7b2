/* What stands between an access and a band plan, in words. */
#include "adapters/wording_work.h"

#include <math.h>

struct bit_row {
    unsigned bit;
    const char *words;
};

static const struct bit_row exclusion_rows[] = {
    { EXCLUDE_CHILD, N_("the patient is under 18 years") },
    { EXCLUDE_SITE, N_("the access is in the thigh or on the chest wall") },
    { EXCLUDE_INFECTION, N_("infection of the access is suspected (IN-1)") },
    { EXCLUDE_LOW_FLOW_HAND,
      N_("the hand is short of blood at a normal or low flow (IS-7): less flow "
         "would not help it") },
    { EXCLUDE_NERVES,
      N_("ischaemic monomelic neuropathy is suspected (IS-1): the surgeon "
         "decides on closure") },
    { EXCLUDE_TISSUE,
      N_("tissue loss of the hand is, or was, extended (grade 4b)") },
    { EXCLUDE_DISTAL,
      N_("the finger stays short of blood while the access is pressed shut: "
         "arterial disease further down") },
    { EXCLUDE_BLEEDING,
      N_("the access bleeds or threatens to rupture (BL-1)") },
    { EXCLUDE_CATHETER, N_("the access is a catheter") },
};

static const struct bit_row caution_rows[] = {
    { CAUTION_GRAFT, N_("a graft: bands of grafts are poorly validated") },
    { CAUTION_BAND_BEFORE, N_("there was a band before") },
    { CAUTION_PULMONARY, N_("pulmonary hypertension") },
    { CAUTION_ARM_DIFFERENCE,
      N_("the systolic pressures of the arms differ: the inflow artery may be "
         "diseased, and an index is not reliable") },
    { CAUTION_OUTFLOW,
      N_("a known outflow stenosis is untreated: treat it and measure again "
         "before any band is planned") },
    { CAUTION_AGE_UNKNOWN, N_("the age of the patient is not known") },
    { CAUTION_THRILL, N_("the thrill was weak or lost when last examined") },
};

/* text: with {what} */
static void say_bits(const struct bit_row *rows, size_t count, unsigned set,
                     const char *text, struct buf *out)
{
    struct fill s = { 0 };

    for (size_t i = 0; i < count; i++) {
        if ((set & rows[i].bit) == 0)
            continue;
        fill_text(&s, "what", gettext(rows[i].words));
        fill_say(&s, text, out);
        buf_puts(out, "\n");
    }
}

static const char *candidate_words(enum candidate c)
{
    switch (c) {
    case CANDIDATE_NO_GROUND:
        return _("There is no ground to plan a band: neither a high flow nor "
                 "ischaemia of the hand with one is confirmed.");
    case CANDIDATE_YES:
        return _(
            "Reducing the flow is a candidate treatment. Whether a band is "
            "placed is for the operator to decide.");
    case CANDIDATE_NO:
        return _("No band is to be planned.");
    case CANDIDATE_UNKNOWN:
        break;
    }
    return _(
        "Not known: the hand is short of blood, and there is no usable flow "
        "beside it, which decides.");
}

static const char *condition_words(enum condition c)
{
    static const char *const words[CONDITION_COUNT] = {
        [CONDITION_FLOW_PAIR] = N_("Two flows by one method that agree"),
        [CONDITION_INFLOW_IMAGED] = N_(
            "Inflow artery imaged from chest to hand, no significant stenosis"),
        [CONDITION_OUTFLOW_IMAGED] =
            N_("Outflow imaged, no significant stenosis"),
        [CONDITION_FINGER] = N_(
            "Finger pressure or index, with and without the access compressed"),
        [CONDITION_INDICATION] = N_(
            "Indication: the hand, the heart, or the pressure in the outflow"),
        [CONDITION_TARGET] = N_("Target window of the flow, and its floor"),
        [CONDITION_OPERATOR] = N_("Anticoagulation and infection checked"),
    };

    return gettext(words[c]);
}

static const char *state_words(enum condition_state s)
{
    switch (s) {
    case CONDITION_MET:
        return _("met");
    case CONDITION_MISSING:
        return _("MISSING");
    case CONDITION_NOT_NEEDED:
        return _("not needed");
    case CONDITION_BY_OPERATOR:
        break;
    }
    return _("for the operator");
}

/* " (hand, heart)" */
static void say_indication(const struct readiness *r, struct buf *out)
{
    const struct {
        bool is;
        const char *words;
    } rows[] = { { r->hand, _("hand") },
                 { r->heart, _("heart") },
                 { r->outflow_pressure, _("outflow") } };
    bool any = false;

    for (size_t i = 0; i < COUNT(rows); i++) {
        if (!rows[i].is)
            continue;
        buf_printf(out, "%s%s", any ? list_comma() : " (", rows[i].words);
        any = true;
    }
    buf_puts(out, any ? ")" : "");
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
    buf_printf(out, "%s\n",
               r->complete ? _("Nothing is missing but the operator's part.")
                           : _("A plan would be incomplete."));
}

static const char *compression_text(enum compression c)
{
    switch (c) {
    case COMPRESSION_CONTRIBUTES:
        return _("Finger pressure rises while the access is pressed shut: the "
                 "access takes the blood{values}.");
    case COMPRESSION_SMALL:
        return _("Finger pressure hardly rises while the access is pressed "
                 "shut{values}.");
    case COMPRESSION_DISTAL:
        return _("Finger pressure stays low while the access is pressed shut: "
                 "this suggests arterial disease{values}.");
    case COMPRESSION_UNKNOWN:
        break;
    }
    return _("Finger pressure with and without compression in one session: not "
             "recorded{values}.");
}

static void say_compression(const struct readiness *r, struct buf *out)
{
    struct fill s = { 0 }, values = { 0 };
    bool known =
        !isnan(r->finger_open_mmhg) && !isnan(r->finger_compressed_mmhg);

    if (r->conditions[CONDITION_FINGER] == CONDITION_NOT_NEEDED &&
        r->compression == COMPRESSION_UNKNOWN)
        return;
    fill_number(&values, "open", r->finger_open_mmhg, 0);
    fill_number(&values, "compressed", r->finger_compressed_mmhg, 0);
    fill_say(&values,
             known ? _(" ({open} mmHg, compressed {compressed} mmHg)") : "",
             fill_at(&s, "values"));
    fill_say(&s, compression_text(r->compression), out);
    buf_puts(out, "\n");
}

/* What no reading tells.  Risks of steal: Huber et al., J Vasc Surg
 * 2016;64:1050-8, for diabetes, sex and coronary disease; the others, and that
 * two of them are many: common practice, no source. */
static void say_operator_checks(struct buf *out)
{
    buf_puts(
        out,
        _("For the operator to check, since no reading tells it. No plan in "
          "pregnancy, or with an aneurysm at the band site. Caution with two "
          "outflows, a functioning transplant, a second patent access on the "
          "same arm, an access on the other arm (an index is then not valid), "
          "or a mammary-artery graft on that side with angina (the access may "
          "steal from it). Risks of steal: brachial or femoral inflow, "
          "diabetes, female sex, coronary or peripheral arterial disease, "
          "earlier steal; with two or more of them ask about the hand at every "
          "session (diabetes, sex and coronary disease: Huber et al., J Vasc "
          "Surg 2016;64:1050-8)."));
    buf_puts(out, "\n");
}

void say_readiness(const struct wording *w, const struct readiness *r,
                   struct buf *out)
{
    bool may_be =
        r->candidate == CANDIDATE_YES || r->candidate == CANDIDATE_UNKNOWN;

    (void)w;
    buf_printf(out, "\n%s\n%s\n", _("Band plan"),
               candidate_words(r->candidate));
    say_bits(exclusion_rows, COUNT(exclusion_rows), r->exclusions,
             _("Excluded: {what}."), out);
    if (may_be)
        say_conditions(r, out);
    say_compression(r, out);
    say_bits(caution_rows, COUNT(caution_rows), r->cautions,
             _("Caution: {what}."), out);
    if (may_be)
        say_operator_checks(out);
}
