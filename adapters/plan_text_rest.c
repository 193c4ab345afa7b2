/* Target, outflow, what is missing, and what a plan rests on. */
#include "adapters/plan_text.h"

#include "adapters/wording.h"

#include <math.h>
#include <string.h>

/* ---- target ------------------------------------------------------------------- */

static void say_floor(const struct plan_document *d, struct buf *out)
{
    const struct plan_input *in = &d->from->in;

    buf_printf(out, "Floor: a flow of less than %.0f mL/min is not to be left",
               d->plan->target.floor_ml_min);
    if (isnan(in->prescribed_pump_ml_min))
        buf_puts(out, " (the prescribed pump flow is not known: it may have "
                      "to be more).\n");
    else
        buf_printf(out,
                   " (%.0f for this type of access, and at least %.0f above "
                   "the prescribed pump flow of %.0f).\n",
                   in->limits.floor_ml_min, in->limits.pump_margin_ml_min,
                   in->prescribed_pump_ml_min);
}

static void say_why(const struct plan_document *d, struct buf *out)
{
    const struct plan_limits *l = &d->from->in.limits;

    switch (d->plan->target.lead) {
    case PLAN_BY_SHARE:
        buf_printf(out,
                   "Why: this site leaves %.0f to %.0f %% of the flow before a "
                   "band, but no more than %.0f mL/min (then %.0f to %.0f), "
                   "and nothing below the floor.\n",
                   100.0 * l->share_low, 100.0 * l->share_high, l->cap_ml_min,
                   l->cap_low_ml_min, l->cap_ml_min);
        return;
    case PLAN_BY_WINDOW:
        buf_printf(out,
                   "Why: the window of flow was asked for, %.0f to %.0f "
                   "mL/min.\n",
                   l->window_low_ml_min, l->window_high_ml_min);
        return;
    case PLAN_BY_REDUCTION:
        buf_puts(out, "Why: this reduction was asked for.\n");
        return;
    case PLAN_BY_HAND:
        break;
    }
    buf_printf(out,
               "Why: the hand is the ground. The loosest band that brings its "
               "index to %.2f is wanted (finger pressure at least %.0f mmHg), "
               "with the flow above the floor.\n",
               l->index_least, l->pressure_least_mmhg);
}

void text_target(const struct plan_document *d, struct buf *out)
{
    const struct plan_target *t = &d->plan->target;

    text_title(out, "Target");
    if ((d->plan->warnings & PLAN_ZONE_EMPTY) != 0)
        buf_puts(out, "None: there is no flow to steer to.\n");
    else if (t->lead == PLAN_BY_HAND)
        buf_printf(out,
                   "The hand: index %.2f or more, at a flow of %.0f "
                   "mL/min or more.\n",
                   t->index_least, t->low_ml_min);
    else
        buf_printf(out,
                   "Leave %.0f to %.0f mL/min, that is %.0f to %.0f %% less "
                   "than the baseline.\n",
                   t->low_ml_min, t->high_ml_min, 100.0 * t->low_frac,
                   100.0 * t->high_frac);
    say_why(d, out);
    say_floor(d, out);
}

/* ---- outflow -------------------------------------------------------------------- */

static void say_opening(const struct plan_document *d, struct buf *out)
{
    const struct plan_limits *l = &d->from->in.limits;
    const struct plan_outflow *o = &d->plan->outflow;
    char low[8], falls[8];

    if (!o->by_pressure) {
        buf_printf(out,
                   "The static pressure inside the access is not known, and "
                   "how narrow a stenosis looks does not tell what it takes: "
                   "opening it may leave the flow as it is or raise it up to "
                   "%.1f times.\n",
                   o->surge_most);
        return;
    }
    buf_printf(out,
               "By the static pressure the stenosis takes %.0f %% of the "
               "pressure from artery to vein. Opened, the flow is expected to "
               "be ",
               100.0 * o->lesion_frac);
    text_range(out, &o->flow_ml_min, 0, " mL/min, ");
    text_range(out, &o->surge, 2, " times what it is");
    buf_printf(out, " (bounds %.2f to %.2f).\n", o->surge_least, o->surge_most);
    buf_puts(out, "The index of the hand goes from ");
    text_range(out, &o->index_before, 2, "");
    buf_puts(out, " to ");
    text_range(out, &o->index, 2, "");
    text_chance(low, o->p_index_low);
    text_chance(falls, o->p_index_falls);
    buf_printf(out,
               "; chance of an index below %.2f: %s %%, of a fall by more than "
               "%.2f: %s %%.\n",
               l->risk_index, low, l->risk_fall, falls);
}

void text_outflow(const struct plan_document *d, struct buf *out)
{
    const struct plan_outflow *o = &d->plan->outflow;

    if (!o->known)
        return;
    text_title(out, "If the outflow stenosis is opened (provisional)");
    buf_puts(out, "First open it, then measure a pair of flows, then choose "
                  "the size: the flow of today is not the flow of then.\n");
    say_opening(d, out);
    if (o->flagged)
        buf_puts(out, "THE HAND IS AT RISK: plan the band before the stenosis "
                      "is opened.\n");
    if (isfinite(o->holding_dowel_mm)) {
        buf_puts(out, "To hold the flow near what it is, ");
        text_tie(out, "tie", o->holding_dowel_mm);
        buf_puts(out, ": flow ");
        text_range(out, &o->holding_flow_ml_min, 0, " mL/min, index ");
        text_range(out, &o->holding_index, 2, "");
        buf_puts(out, ".\n");
    }
    if (isfinite(o->zone_dowel_mm)) {
        buf_puts(out, "To come to the target after opening, first ");
        text_tie(out, "tie", o->zone_dowel_mm);
        buf_puts(out, ".\n");
    }
}

/* ---- missing, warnings ------------------------------------------------------------ */

static void say_set(const struct plan_phrases *p, unsigned set, struct buf *out)
{
    for (size_t i = 0; i < p->count; i++) {
        if ((set & p->rows[i].key) != 0)
            buf_printf(out, "- %s\n", p->rows[i].text);
    }
}

void text_missing(const struct plan_document *d, struct buf *out)
{
    const struct plan_phrases *c = plan_phrases(PLAN_PHRASES_CONDITION);
    const struct plan_phrases *m = plan_phrases(PLAN_PHRASES_MISSING);
    unsigned missing = d->plan != NULL ? d->plan->missing : 0;
    size_t before;

    if (d->plan == NULL && d->from->offer == PLAN_EXCLUDED)
        return;
    text_title(out, "Missing before a plan is complete");
    before = out->len;
    for (size_t i = 0; i < c->count; i++) {
        if (d->from->readiness.conditions[c->rows[i].key] == CONDITION_MISSING)
            buf_printf(out, "- %s\n", c->rows[i].text);
    }
    say_set(m, missing & PLAN_MISSING_NEEDED, out);
    if (out->len == before)
        buf_puts(out, "Nothing but the operator's part.\n");
    if ((missing & ~PLAN_MISSING_NEEDED) == 0)
        return;
    text_title(out, "Not known: left out, or taken from what is usual, which "
                    "widens the figures");
    say_set(m, missing & ~PLAN_MISSING_NEEDED, out);
}

void text_warnings(const struct plan_document *d, struct buf *out)
{
    if (d->plan->warnings == 0)
        return;
    text_title(out, "Warnings");
    say_set(plan_phrases(PLAN_PHRASES_WARNING), d->plan->warnings, out);
}

/* ---- what it rests on ---------------------------------------------------------------- */

static const struct limit_row {
    enum param row;
    const char *words, *unit;
} limit_rows[] = {
    { P_PLAN_FLOOR_FISTULA, "floor of the flow, fistula", " mL/min" },
    { P_PLAN_FLOOR_GRAFT, "floor of the flow, graft", " mL/min" },
    { P_PLAN_PUMP_MARGIN, "above the prescribed pump flow", " mL/min" },
    { P_PLAN_SHARE_LOW_PCT, "least share of the baseline to leave", " %" },
    { P_PLAN_SHARE_HIGH_PCT, "greatest share to leave", " %" },
    { P_PLAN_CAP, "most flow to leave", " mL/min" },
    { P_PLAN_WINDOW_HIGH, "upper end of the window", " mL/min" },
    { P_PLAN_INDEX_LEAST, "index of the hand", "" },
    { P_PLAN_PRESSURE_LEAST, "finger pressure", " mmHg" },
    { P_PLAN_TIGHT_MOST_PCT, "most chance of too tight a first band", " %" },
    { P_PLAN_FLOOR_FIRST_MOST_PCT,
      "most chance of a flow below the floor, first tie", " %" },
    { P_PLAN_FLOOR_MOST_PCT, "the same at later ties", " %" },
    { P_PLAN_RISK_INDEX, "index of risk when the outflow is opened", "" },
    { P_PLAN_RISK_FALL, "fall of the index that is a risk", "" },
    { P_PLAN_VALID_D, "a baseline holds for", " days" },
};

static const char *mark_words(const char *mark)
{
    return strcmp(mark, "F") == 0    ? "found in the source"
           : strcmp(mark, "F2") == 0 ? "found on a secondary page"
           : strcmp(mark, "M") == 0  ? "from memory, to be checked"
           : strcmp(mark, "C") == 0  ? "computed"
                                     : "proposed default, no direct source";
}

/* Limits of the other type of access say nothing here. */
static bool concerns(const struct plan_document *d, enum param row)
{
    if (row == P_PLAN_FLOOR_FISTULA)
        return d->from->access_type != SIGN_TYPE_AVG;
    if (row == P_PLAN_FLOOR_GRAFT)
        return d->from->access_type != SIGN_TYPE_AVF;
    if (row == P_PLAN_RISK_INDEX || row == P_PLAN_RISK_FALL)
        return d->plan != NULL && d->plan->outflow.known;
    if (row == P_PLAN_WINDOW_HIGH)
        return d->from->in.lead == PLAN_BY_WINDOW;
    return true;
}

/* The keys that are named, each once. */
struct named {
    bool is[POLICY_SOURCES_MAX];
};

static void name_sources(const struct policy *policy, const char *keys,
                         struct named *named)
{
    for (size_t len; *keys != '\0'; keys += len + strspn(keys + len, " ")) {
        len = strcspn(keys, " ");
        for (size_t i = 0; i < policy->source_count; i++) {
            if (strlen(policy->sources[i].key) == len &&
                memcmp(policy->sources[i].key, keys, len) == 0)
                named->is[i] = true;
        }
    }
}

static void say_limits(const struct plan_document *d, struct named *named,
                       struct buf *out)
{
    for (size_t i = 0; i < COUNT(limit_rows); i++) {
        const struct limit_row *r = &limit_rows[i];
        const struct policy_value *v = &d->policy->values[r->row];

        if (!concerns(d, r->row))
            continue;
        buf_printf(out, "- %s: %.4g%s (%s%s%s)\n", r->words, v->value, r->unit,
                   mark_words(v->mark), v->source[0] != '\0' ? ": " : "",
                   v->source);
        name_sources(d->policy, v->source, named);
    }
}

void text_rests_on(const struct plan_document *d, struct buf *out)
{
    const struct policy *p = d->policy;
    struct named named = { { false } };

    text_title(out, "What it rests on");
    buf_printf(out,
               "Model version %s with the %s beliefs about technique; the "
               "readings named above. Limits of policy %s of %s, ",
               PLAN_MODEL_VERSION, d->from->in.prior->name, p->version,
               p->date);
    wording_approver(p->approver, out);
    buf_puts(out, ":\n");
    say_limits(d, &named, out);
    buf_puts(out, "The forward model is a circuit of resistances fitted to one "
                  "figure of common practice (2500 mL/min falls by some 45 % "
                  "over a 4 mm dowel; no source). No table of flow by dowel "
                  "has been published.\n");
    for (size_t i = 0; i < p->source_count; i++) {
        if (named.is[i])
            buf_printf(out, "%s = %s\n", p->sources[i].key,
                       p->sources[i].citation);
    }
}
