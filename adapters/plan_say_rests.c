/* What a plan lacks; the limits that it keeps to, and their sources. */
#include "adapters/plan_say.h"

#include "planner/policy.h"

#include <math.h>
#include <string.h>
#include <strings.h>

/* ---- conditions --------------------------------------------------------------- */

static const char *say_target_needs(const struct plan_document *d)
{
    bool typed = d->from->access_type == SIGN_TYPE_AVF ||
                 d->from->access_type == SIGN_TYPE_AVG;
    bool pumped = isfinite(d->from->in.prescribed_pump_ml_min);

    return typed == pumped
               ? _("what the target needs: the type of the access and the "
                   "prescribed pump flow")
           : typed ? _("what the target needs: the prescribed pump flow")
                   : _("what the target needs: the type of the access");
}

const char *plan_say_condition(const struct plan_document *d,
                               enum condition condition)
{
    const struct plan_phrases *c = plan_phrases(PLAN_PHRASES_CONDITION);

    if (condition == CONDITION_TARGET)
        return say_target_needs(d);
    for (size_t i = 0; i < c->count; i++) {
        if (c->rows[i].key == (unsigned)condition)
            return _(c->rows[i].text);
    }
    return "";
}

/* ---- limits -------------------------------------------------------------------- */

static const struct limit_row {
    enum param row;
    const char *words, *unit;
} limit_rows[] = {
    { P_PLAN_FLOOR_FISTULA, N_("floor of the flow, fistula"), "mL/min" },
    { P_PLAN_FLOOR_GRAFT, N_("floor of the flow, graft"), "mL/min" },
    { P_PLAN_PUMP_MARGIN, N_("above the prescribed pump flow"), "mL/min" },
    { P_PLAN_SHARE_LOW_PCT, N_("least share of the baseline to leave"), "%" },
    { P_PLAN_SHARE_HIGH_PCT, N_("greatest share to leave"), "%" },
    { P_PLAN_CAP, N_("most flow to leave"), "mL/min" },
    { P_PLAN_WINDOW_HIGH, N_("upper end of the window"), "mL/min" },
    { P_PLAN_INDEX_LEAST, N_("index of the hand"), "" },
    { P_PLAN_PRESSURE_LEAST, N_("finger pressure"), "mmHg" },
    { P_PLAN_TIGHT_MOST_PCT, N_("most chance of too tight a first band"), "%" },
    { P_PLAN_FLOOR_FIRST_MOST_PCT,
      N_("most chance of a flow below the floor, first tie"), "%" },
    { P_PLAN_FLOOR_MOST_PCT,
      N_("most chance of a flow below the floor, later ties"), "%" },
    { P_PLAN_RISK_INDEX, N_("index of risk when the outflow is opened"), "" },
    { P_PLAN_RISK_INDEX_MOST_PCT,
      N_("most chance of an index below it when the outflow is opened"), "%" },
    { P_PLAN_RISK_FALL, N_("fall of the index that is a risk"), "" },
    { P_PLAN_RISK_FALL_MOST_PCT, N_("most chance of such a fall"), "%" },
    { P_PLAN_VALID_D, N_("days that a baseline holds"), "" },
};

/* Limits of the other type of access say nothing here. */
static bool concerns(const struct plan_document *d, enum param row)
{
    if (row == P_PLAN_FLOOR_FISTULA)
        return d->from->access_type != SIGN_TYPE_AVG;
    if (row == P_PLAN_FLOOR_GRAFT)
        return d->from->access_type != SIGN_TYPE_AVF;
    if (row == P_PLAN_RISK_INDEX || row == P_PLAN_RISK_INDEX_MOST_PCT ||
        row == P_PLAN_RISK_FALL || row == P_PLAN_RISK_FALL_MOST_PCT)
        return d->plan != NULL && d->plan->outflow.known;
    if (row == P_PLAN_WINDOW_HIGH)
        return d->from->in.lead == PLAN_BY_WINDOW;
    return true;
}

static int decimals_of(double value)
{
    return fabs(value - round(value)) < 0.0005            ? 0
           : fabs(10 * value - round(10 * value)) < 0.005 ? 1
                                                          : 2;
}

bool plan_next_limit(struct words *w, const struct plan_document *d, size_t *i,
                     struct plan_limit *limit)
{
    const struct policy_value *v;

    while (*i < COUNT(limit_rows) && !concerns(d, limit_rows[*i].row))
        ++*i;
    if (*i == COUNT(limit_rows))
        return false;
    v = &d->policy->values[limit_rows[*i].row];
    *limit = (struct plan_limit){
        .name = _(limit_rows[*i].words),
        .value = words_number(w, v->value, decimals_of(v->value)),
        .unit = limit_rows[*i].unit,
        .mark = v->mark,
        .source = v->source[0] != '\0' ? words_typed(w, v->source) : "",
    };
    /* TRANSLATORS: a number and its unit; the space does not break */
    if (limit->unit[0] != '\0')
        limit->value =
            words_say(w, _("%1$s\u00a0%2$s"), limit->value, limit->unit);
    ++*i;
    return true;
}

/* ---- sources --------------------------------------------------------------------- */

/* Is this key one of several, with blanks between? */
static bool is_named(const char *keys, const char *key)
{
    for (size_t len; *keys != '\0'; keys += len + strspn(keys + len, " ")) {
        len = strcspn(keys, " ");
        if (strlen(key) == len && memcmp(key, keys, len) == 0)
            return true;
    }
    return false;
}

static bool is_source(const struct plan_document *d, const char *key)
{
    for (size_t i = 0; i < COUNT(limit_rows); i++) {
        enum param row = limit_rows[i].row;

        if (concerns(d, row) && is_named(d->policy->values[row].source, key))
            return true;
    }
    return false;
}

bool plan_next_source(const struct plan_document *d, size_t *i,
                      const char **key, const char **citation)
{
    const struct policy *p = d->policy;

    while (*i < p->source_count && !is_source(d, p->sources[*i].key))
        ++*i;
    if (*i == p->source_count)
        return false;
    *key = p->sources[*i].key;
    *citation = p->sources[*i].citation;
    ++*i;
    return true;
}

static const char not_approved[] = "not approved";

const char *plan_say_approval(struct words *w, const struct policy *policy)
{
    const char *approver = words_typed(w, policy->approver);
    const char *rest;

    if (strncasecmp(approver, not_approved, strlen(not_approved)) != 0)
        return words_say(w, _("approved by: %s"), approver);
    rest = approver + strlen(not_approved);
    rest += strspn(rest, ":,; ");
    if (rest[0] == '\0')
        return _("NOT APPROVED for use on patients");
    return words_say(w, _("NOT APPROVED for use on patients (%s)"), rest);
}
