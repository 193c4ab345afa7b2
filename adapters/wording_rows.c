/* The rows of the policy that a rule used, and how strong their sources are. */
#include "adapters/wording_work.h"

#include <math.h>
#include <string.h>
#include <strings.h>

static bool has_quantity(const struct wording *w, const struct finding *f,
                         enum quantity q)
{
    for (size_t i = 0; i < f->evidence_count; i++) {
        if (w->history->readings[f->evidence[i]].quantity == q)
            return true;
    }
    return false;
}

static bool has_lesser_sign(const struct wording *w, const struct finding *f)
{
    for (size_t i = 0; i < f->evidence_count; i++) {
        const struct reading *r = &w->history->readings[f->evidence[i]];

        if (r->quantity == Q_ACCESS_SIGN && r->sign != SIGN_ARM_SWELLING)
            return true;
    }
    return false;
}

static bool is_used(const struct wording *w, const struct finding *f,
                    const struct used_row *row)
{
    switch (row->when) {
    case ALWAYS:
        return true;
    case IF_SEVERE:
        return f->severe;
    case IF_PLAIN:
        return !f->severe;
    case IF_SIGN:
        return f->with_sign;
    case IF_LOST:
        return seen_thrill_lost(w, f);
    case IF_LESSER_SIGN:
        return f->with_sign && !seen_thrill_lost(w, f);
    case IF_NO_SIGN:
        return !f->with_sign;
    case IF_CROSSED:
        return f->limit == row->param;
    case IF_SOON:
        return policy_urgency(w->policy, row->param) == f->urgency;
    case IF_DOSE:
        return f->limit == P_PB2_DOSE_FALL || has_quantity(w, f, Q_SPKTV);
    case IF_CONTRADICTORY:
        return f->disagree;
    case IF_LOW_PRESSURE:
        return f->low_pressure;
    case IF_STENOSIS:
        return f->stenosis;
    case IF_PRESSURE:
        return !isnan(f->usual_pressure_mmhg);
    case IF_MEASURED:
        return f->quantity != Q_THRILL;
    case IF_OPENING:
        return seen_is_predicted(w, PREDICT_OPENING);
    case IF_RISING:
        return seen_is_predicted(w, PREDICT_RISE);
    case IF_PUMP:
        return has_quantity(w, f, Q_PUMP_FLOW);
    case IF_SUCTION:
        return has_quantity(w, f, Q_ARTERIAL_LINE_PRESSURE);
    case IF_BLEEDING:
        return seen_has_flag(w, f, Q_BLEEDING_PROLONGED);
    case IF_SIGNS:
        return has_lesser_sign(w, f);
    case IF_STANDARD:
        return seen_dose_quantity(f) == Q_STDKTV;
    case IF_SINGLE_POOL:
        return seen_dose_quantity(f) == Q_SPKTV;
    case IF_CLOSE:
        return f->limit == P_PB1_INTERVAL_CLOSE_D;
    case IF_SHARE:
        return say_limit_is_share(f->limit);
    case IF_RISEN:
        return !f->still_high;
    case IF_STILL_HIGH:
        return f->still_high;
    case IF_HAND:
        return f->limit != P_PB3_FALL_PCT && f->quantity != Q_ACCESS_FLOW;
    }
    return false;
}

static const struct {
    const char *mark, *words;
} marks[] = {
    { "F", "found in the published source" },
    { "F2", "from a secondary page" },
    { "M", "from memory, to be checked" },
    { "C", "computed" },
    { "P", "default proposed without a direct source" },
};

static const char *mark_words(const char *mark)
{
    for (size_t i = 0; i < COUNT(marks); i++) {
        if (strcmp(marks[i].mark, mark) == 0)
            return marks[i].words;
    }
    return "strength of the source not stated";
}

void say_marks(struct buf *out)
{
    buf_puts(out, "Marks of the limits: ");
    for (size_t i = 0; i < COUNT(marks); i++)
        buf_printf(out, "%s%s %s", i > 0 ? "; " : "", marks[i].mark,
                   marks[i].words);
    buf_puts(out, ".\n");
}

/* The keys of a row's sources, each noted as named. */
static void say_keys(const struct wording *w, enum param p,
                     struct named_sources *named, struct buf *out)
{
    const char *at = w->policy->values[p].source;

    for (;;) {
        size_t len;

        at += strspn(at, " ");
        len = strcspn(at, " ");
        if (len == 0)
            break;
        buf_puts(out, " ");
        buf_add(out, at, len);
        for (size_t i = 0; i < w->policy->source_count; i++) {
            const char *key = w->policy->sources[i].key;

            if (strlen(key) == len && memcmp(key, at, len) == 0)
                named->is[i] = true;
        }
        at += len;
    }
}

void say_strength(const struct wording *w, enum param p,
                  struct named_sources *named, struct buf *out)
{
    const struct policy_value *row = &w->policy->values[p];

    buf_printf(out, " (%s", mark_words(row->mark));
    /* a proposed default may still lean on something */
    if (row->source[strspn(row->source, " ")] != '\0')
        buf_puts(out, strcmp(row->mark, "P") == 0 ? "; see" : ":");
    say_keys(w, p, named, out);
    buf_puts(out, ")");
}

static void say_row(const struct wording *w, const struct used_row *row,
                    struct named_sources *named, struct buf *out)
{
    buf_puts(out, row->before);
    say_limit(w, row->param, out);
    buf_puts(out, row->after);
    say_strength(w, row->param, named, out);
    buf_puts(out, ".\n");
}

void say_rows(const struct wording *w, const struct finding *f,
              struct named_sources *named, struct buf *out)
{
    bool said[PARAM_TOTAL] = { false };
    const struct used_row *row;

    for (size_t i = 0; (row = used_row(i)) != NULL; i++) {
        if (row->rule != f->rule || said[row->param] || !is_used(w, f, row))
            continue;
        said[row->param] = true; /* two grounds may use the same row */
        say_row(w, row, named, out);
    }
}

/* A limit, not how often or how soon, nor what is only looked at beside it. */
static bool is_limit(const struct used_row *row)
{
    enum param p = row->param;
    enum param_kind kind = param_info(p)->kind;

    if (row->when == IF_CONTRADICTORY || row->when == IF_LOW_PRESSURE ||
        row->when == IF_STENOSIS)
        return false;
    return kind == PARAM_NUMBER || kind == PARAM_GRADE || kind == PARAM_EKTV ||
           p == P_HF5_TREATMENTS || p == P_IS1_TERRITORIES ||
           p == P_LF6_BLEEDING_SESSIONS;
}

/* " (F: BAS08 GER20)" */
static void say_mark(const struct wording *w, enum param p,
                     struct named_sources *named, struct buf *out)
{
    const struct policy_value *row = &w->policy->values[p];

    buf_puts(out, " (");
    say_clean(out, row->mark);
    buf_puts(out, row->source[strspn(row->source, " ")] != '\0' ? ":" : "");
    say_keys(w, p, named, out);
    buf_puts(out, ")");
}

/* "Limit: " and "Limit of a graft: " in a list of limits */
static const char *within_limits(const char *before)
{
    static const char *const starts[] = { "Limit: ", "Limit " };

    for (size_t i = 0; i < COUNT(starts); i++) {
        if (strncmp(before, starts[i], strlen(starts[i])) == 0)
            return before + strlen(starts[i]);
    }
    return before;
}

/* Where a rule has a row for each of several cases, all are said, the same
 * row of the policy once. */
void say_rule_rows(const struct wording *w, enum rule rule,
                   struct named_sources *named, struct buf *out)
{
    bool said[PARAM_TOTAL] = { false }, any = false;
    const struct used_row *row;

    for (size_t i = 0; (row = used_row(i)) != NULL; i++) {
        if (row->rule != rule || said[row->param] || !is_limit(row))
            continue;
        said[row->param] = true;
        buf_puts(out, any ? "; " : "Limits: ");
        any = true;
        say_lower(out, within_limits(row->before));
        say_limit(w, row->param, out);
        buf_puts(out, row->after);
        say_mark(w, row->param, named, out);
    }
    buf_puts(out, any ? ".\n" : "");
}

void say_sources(const struct wording *w, const struct named_sources *named,
                 struct buf *out)
{
    bool any = false;

    for (size_t i = 0; i < w->policy->source_count; i++) {
        const struct policy_source *source = &w->policy->sources[i];

        if (!named->is[i])
            continue;
        buf_puts(out, any ? "" : "\nSources:\n");
        any = true;
        say_clean(out, source->key);
        buf_puts(out, ": ");
        say_clean(out, source->citation);
        buf_puts(out, "\n");
    }
}

/* Where the approver's row says that there is none, what follows is said of
 * the limits and not of the approval; NULL where somebody approved them. */
static const char *not_approved(const char *approver)
{
    static const char none[] = "not approved";

    if (strncasecmp(approver, none, strlen(none)) != 0)
        return NULL;
    approver += strlen(none);
    return approver + strspn(approver, ":,; ");
}

static void say_approver(const char *approver, const char *by, const char *none,
                         struct buf *out)
{
    const char *rest = not_approved(approver);

    buf_puts(out, rest == NULL ? by : none);
    if (rest == NULL) {
        say_clean(out, approver);
    } else if (rest[0] != '\0') {
        buf_puts(out, " (");
        say_clean(out, rest);
        buf_puts(out, ")");
    }
}

void wording_approver(const char *approver, struct buf *out)
{
    say_approver(approver, "approved by: ", "NOT APPROVED", out);
}

void say_policy(const struct wording *w, struct buf *out)
{
    buf_puts(out, "\nLimits: policy version ");
    say_clean(out, w->policy->version);
    buf_puts(out, " of ");
    say_clean(out, w->policy->date);
    buf_puts(out, "; approval: ");
    say_approver(w->policy->approver, "", "none yet", out);
    buf_puts(out, ".\n");
}
