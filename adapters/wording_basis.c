/*
 * What a suggestion rests on: for each rule its readings and the rows of the
 * policy (see wording_rows.c); then what would change it, what was not known,
 * cautions, sources, the policy.
 */
#include "adapters/wording_work.h"

#include <math.h>
#include <string.h>

/* ---- readings ------------------------------------------------------------------- */

static void say_readings(const struct wording *w, const struct finding *f,
                         struct buf *out)
{
    enum { LISTED_MAX = 8 };
    size_t from =
        f->evidence_count > LISTED_MAX ? f->evidence_count - LISTED_MAX : 0;

    buf_puts(out, "Readings used: ");
    for (size_t i = from; i < f->evidence_count; i++) {
        if (i > from)
            buf_puts(out, "; ");
        wording_reading(&w->history->readings[f->evidence[i]], w->zone, out);
    }
    if (from > 0)
        buf_printf(out, "; and %zu earlier", from);
    buf_puts(out, ".\n");
}

/* ---- what would end it ------------------------------------------------------------ */

/* The value that two readings in a row must reach, hysteresis and all. */
static void say_inside(const struct wording *w, enum param p, bool high,
                       struct buf *out)
{
    double share = policy_get(w->policy, P_HYSTERESIS_PCT) / 100.0;
    double limit =
        policy_get(w->policy, p) * (high ? 1.0 - share : 1.0 + share);
    enum quantity q = say_limit_quantity(p);

    buf_puts(out, high ? "below " : "at least ");
    if (q == Q_NONE)
        buf_printf(out, "%.3g %%", limit * 100.0);
    else if (q == Q_DIGITAL_BRACHIAL_INDEX)
        buf_printf(out, "%.3g", limit);
    else
        say_value(out, q, limit, BOUND_NONE, NAN);
}

static void say_until_number(const struct wording *w, const struct finding *f,
                             struct buf *out)
{
    struct point points[SEEN_MAX];
    size_t total;
    bool pressure = false;

    buf_puts(out, "Holds until two readings in a row by one method are ");
    if (f->rule != RULE_IS_5) {
        say_inside(w, f->limit, rule_info(f->rule)->group == GROUP_FLOW, out);
    } else {
        pressure = seen_points(w, f, Q_DIGITAL_PRESSURE, points, &total) > 0;
        if (pressure)
            say_inside(w, P_IS5_PRESSURE, false, out);
        if (seen_points(w, f, Q_DIGITAL_BRACHIAL_INDEX, points, &total) > 0) {
            buf_puts(out, pressure ? ", and of the index " : "");
            say_inside(w, P_IS5_INDEX, false, out);
        }
    }
    buf_printf(out, " (%.3g %% inside the limit), or until an intervention.\n",
               policy_get(w->policy, P_HYSTERESIS_PCT));
}

static void say_until(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    switch (f->rule) {
    case RULE_HF_1:
    case RULE_HF_2:
    case RULE_HF_3:
    case RULE_LF_1:
    case RULE_LF_2:
    case RULE_IS_5:
        say_until_number(w, f, out);
        break;
    case RULE_IS_2:
    case RULE_IS_3:
    case RULE_IS_4:
        buf_puts(out, "Holds until two later examinations grade the hand below "
                      "this, or find no complaint.\n");
        break;
    case RULE_IS_6:
    case RULE_IS_7:
    case RULE_COUNT:
        break; /* they go with the ischaemia */
    }
}

/* ---- what was not known, and cautions ------------------------------------------------ */

/* What all readings of the group have in common. */
struct traits {
    bool flow, methodless, day_only, sideless, preliminary, no_flow, finger;
};

static void look_at(const struct reading *r, struct traits *t)
{
    bool arm = quantity_info(r->quantity)->scope == SCOPE_ARM;

    t->flow = t->flow || r->quantity == Q_ACCESS_FLOW;
    t->methodless = t->methodless || (r->quantity == Q_ACCESS_FLOW &&
                                      r->method == METHOD_UNSTATED);
    t->day_only = t->day_only || r->precision == AT_DAY;
    t->sideless = t->sideless || (arm && r->side == SIDE_UNKNOWN);
    t->preliminary = t->preliminary || r->status == READING_PRELIMINARY;
}

static struct traits traits_of(const struct wording *w)
{
    struct traits t = { 0 };

    for (size_t i = 0; i < w->findings->count; i++) {
        const struct finding *f = &w->findings->list[i];

        if (!seen_is_ours(w, f))
            continue;
        t.no_flow = t.no_flow || f->flow_unknown;
        t.finger = t.finger || f->rule == RULE_IS_5;
        for (size_t k = 0; k < f->evidence_count; k++)
            look_at(&w->history->readings[f->evidence[k]], &t);
    }
    return t;
}

static void say_if(bool yes, const char *text, struct buf *out)
{
    if (yes)
        buf_puts(out, text);
}

static void say_unknown(const struct wording *w, const struct traits *t,
                        struct buf *out)
{
    bool typeless = w->history->access_type == SIGN_TYPE_UNKNOWN;

    if (!t->flow && !t->day_only && !t->sideless && !t->preliminary &&
        !t->no_flow && !typeless)
        return;
    buf_puts(out, "\nNot known, or not taken into account:\n");
    say_if(t->flow,
           "The minute of the session at which the flow was measured was not "
           "taken into account.\n"
           "The usual blood pressure was not taken into account; a flow falls "
           "with the pressure.\n",
           out);
    say_if(t->methodless,
           "The method of a flow was not stated; such readings are compared "
           "with each other only.\n",
           out);
    say_if(t->day_only, "Of some readings only the day is known.\n", out);
    say_if(t->sideless, "The side of a reading of the hand was not stated.\n",
           out);
    say_if(t->preliminary,
           "A reading is preliminary; signs of emergency are believed at "
           "once.\n",
           out);
    say_if(t->no_flow, "The access flow near in time is not known.\n", out);
    say_if(typeless,
           "The type of the access is not known: the limits for low flow, "
           "which depend on it, were not applied.\n",
           out);
}

static void say_cautions(const struct wording *w, const struct traits *t,
                         struct buf *out)
{
    const struct finding *first = seen_leading(w);

    buf_puts(out, "\nCautions:\n");
    say_if(t->flow,
           "Two readings by the same method can differ by a third or more by "
           "chance between sessions. A change smaller than that may not be "
           "real.\n",
           out);
    if (first->rule == RULE_HF_1 || first->rule == RULE_HF_2) {
        buf_puts(out, "Guidelines disagree on the flow at which an access "
                      "without symptoms should be reduced. This site has "
                      "chosen ");
        say_limit(w, first->limit, out);
        buf_puts(out, ".\n");
    }
    say_if(t->finger,
           "Low digital pressure without symptoms is common after access "
           "creation and is not by itself a reason to treat.\n",
           out);
    say_if(w->group == GROUP_LOW_FLOW,
           "A surveillance finding without clinical signs is not by itself a "
           "reason for angioplasty.\n",
           out);
    buf_puts(out,
             "Absence of a flag does not mean the access or the hand is "
             "safe. " WORDING_HAND "\n"
             "This message may be delayed by the systems that carry it. It "
             "must not replace direct calling for emergencies.\n");
}

/* ---- the whole ---------------------------------------------------------------------- */

/* The approver of the limits; where the row says that there is none, what
 * follows is said of the limits and not of the approval. */
static void say_approval(const struct wording *w, struct buf *out)
{
    static const char none[] = "not approved: ";
    const char *approver = w->policy->approver;

    if (strncmp(approver, none, strlen(none)) != 0) {
        say_clean(out, approver);
        return;
    }
    buf_puts(out, "none yet (");
    say_clean(out, approver + strlen(none));
    buf_puts(out, ")");
}

static void say_policy(const struct wording *w, struct buf *out)
{
    buf_puts(out, "\nLimits: policy version ");
    say_clean(out, w->policy->version);
    buf_puts(out, " of ");
    say_clean(out, w->policy->date);
    buf_puts(out, "; approval: ");
    say_approval(w, out);
    buf_puts(out, ".\n");
}

static void say_block(const struct wording *w, const struct finding *f,
                      struct named_sources *named, struct buf *out)
{
    buf_printf(out, "%s, %s%s\n", rule_info(f->rule)->id,
               rule_info(f->rule)->name,
               f->confirmed ? "" : " (one measurement so far)");
    say_readings(w, f, out);
    say_rows(w, f, named, out);
    say_until(w, f, out);
}

void wording_basis(const struct wording *w, struct buf *out)
{
    struct traits traits = traits_of(w);
    struct named_sources named = { { false } };

    if (seen_leading(w) == NULL)
        return;
    buf_puts(out, "What this suggestion rests on, as of ");
    say_date(w, w->history->now_s, out);
    buf_puts(out, "\n");
    for (size_t i = 0; i < w->findings->count; i++) {
        const struct finding *f = &w->findings->list[i];

        if (!seen_is_ours(w, f))
            continue;
        buf_puts(out, "\n");
        say_block(w, f, &named, out);
    }
    buf_puts(out, "\nIt changes as well when a reading is corrected or "
                  "withdrawn.\n");
    say_unknown(w, &traits, out);
    say_cautions(w, &traits, out);
    say_sources(w, &named, out);
    say_policy(w, out);
    buf_puts(
        out,
        "This is a suggestion made by fixed rules from the readings listed "
        "above. It is not a diagnosis. A qualified clinician must examine "
        "the patient and decide; local policy stands above it.");
}
