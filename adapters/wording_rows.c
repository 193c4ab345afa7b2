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
    { "F", N_("found in the published source") },
    { "F2", N_("from a secondary page") },
    { "M", N_("from memory, to be checked") },
    { "C", N_("computed") },
    { "P", N_("default proposed without a direct source") },
};

const char *wording_mark(const char *mark)
{
    for (size_t i = 0; i < COUNT(marks); i++) {
        if (strcmp(marks[i].mark, mark) == 0)
            return gettext(marks[i].words);
    }
    return _("strength of the source not stated");
}

void say_marks(struct buf *out)
{
    struct fill s = { 0 };
    struct buf *list = fill_at(&s, "list");

    for (size_t i = 0; i < COUNT(marks); i++)
        buf_printf(list, "%s%s %s", i > 0 ? list_semicolon() : "",
                   marks[i].mark, gettext(marks[i].words));
    fill_say(&s, _("Marks of the limits: {list}."), out);
    buf_puts(out, "\n");
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
    struct fill s = { 0 };

    fill_text(&s, "mark", wording_mark(row->mark));
    say_keys(w, p, named, fill_at(&s, "keys"));
    /* a proposed default may still lean on something */
    if (row->source[strspn(row->source, " ")] == '\0')
        fill_say(&s, "{mark}", out);
    else if (strcmp(row->mark, "P") == 0)
        /* TRANSLATORS: keys: of sources, each with a blank before it */
        fill_say(&s, _("{mark}; see{keys}"), out);
    else
        fill_say(&s, "{mark}:{keys}", out);
}

static void say_row(const struct wording *w, const struct used_row *row,
                    struct named_sources *named, struct buf *out)
{
    struct fill s = { 0 };

    fill_limit(&s, "limit", w, row->param);
    fill_say(&s, gettext(row->text), out);
    say_strength(w, row->param, named, fill_at(&s, "source"));
    fill_say(&s, " ({source}).\n", out);
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

/* The row of the limit that was crossed, else the first limit that the rule
 * used; NULL where it has none. */
static const struct used_row *limit_row(const struct wording *w,
                                        const struct finding *f)
{
    const struct used_row *row, *first = NULL;

    if (f->rule == RULE_PB_1) /* a day is due, and no limit is crossed */
        return NULL;
    for (size_t i = 0; (row = used_row(i)) != NULL; i++) {
        if (row->rule != f->rule || !is_used(w, f, row) || !is_limit(row))
            continue;
        if (row->param == f->limit)
            return row;
        first = first == NULL ? row : first;
    }
    return first;
}

bool say_limit_source(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    const struct used_row *row = limit_row(w, f);
    struct named_sources named = { { false } };
    struct fill s = { 0 };

    if (row == NULL)
        return false;
    say_strength(w, row->param, &named, fill_at(&s, "source"));
    fill_say(&s, _("Source of the limit: {source}."), out);
    return true;
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
static const char *within_limits(const char *text)
{
    /* TRANSLATORS: what the texts of limits begin with, as "Limit: {limit} or
     * more" and "Limit of a graft: ..."; it is left out in a list of them */
    const char *const starts[] = { _("Limit: "), _("Limit ") };

    for (size_t i = 0; i < COUNT(starts); i++) {
        if (strncmp(text, starts[i], strlen(starts[i])) == 0)
            return text + strlen(starts[i]);
    }
    return text;
}

static void say_limit_row(const struct wording *w, const struct used_row *row,
                          struct named_sources *named, struct buf *out)
{
    const char *text = gettext(row->text);
    struct fill s = { 0 };
    struct buf said;

    buf_init(&said, WORDING_SIZE_MAX);
    fill_limit(&s, "limit", w, row->param);
    fill_say(&s, within_limits(text), &said);
    if (text == row->text)
        say_lower(out, said.data);
    else /* a translation stands as it is */
        buf_puts(out, said.data);
    say_mark(w, row->param, named, out);
    buf_clear(&said);
}

/* Where a rule has a row for each of several cases, all are said, the same
 * row of the policy once. */
void say_rule_rows(const struct wording *w, enum rule rule,
                   struct named_sources *named, struct buf *out)
{
    bool said[PARAM_TOTAL] = { false }, any;
    const struct used_row *row;
    struct fill s = { 0 };
    struct buf *list = fill_at(&s, "list");

    for (size_t i = 0; (row = used_row(i)) != NULL; i++) {
        if (row->rule != rule || said[row->param] || !is_limit(row))
            continue;
        said[row->param] = true;
        buf_puts(list, list->len > 0 ? list_semicolon() : "");
        say_limit_row(w, row, named, list);
    }
    any = list->len > 0;
    fill_say(&s, any ? _("Limits: {list}.") : "", out);
    buf_puts(out, any ? "\n" : "");
}

void say_sources(const struct wording *w, const struct named_sources *named,
                 struct buf *out)
{
    bool any = false;

    for (size_t i = 0; i < w->policy->source_count; i++) {
        const struct policy_source *source = &w->policy->sources[i];

        if (!named->is[i])
            continue;
        if (!any)
            buf_printf(out, "\n%s\n", _("Sources:"));
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

/* yes, none, none_so: with {who} and {why} */
static void say_approver(const char *approver, const char *yes,
                         const char *none, const char *none_so, struct fill *s,
                         struct buf *out)
{
    const char *rest = not_approved(approver);

    if (rest == NULL) {
        say_clean(fill_at(s, "who"), approver);
        fill_say(s, yes, out);
    } else if (rest[0] != '\0') {
        say_clean(fill_at(s, "why"), rest);
        fill_say(s, none_so, out);
    } else {
        fill_say(s, none, out);
    }
}

void wording_approver(const char *approver, struct buf *out)
{
    struct fill s = { 0 };

    say_approver(approver, _("approved by: {who}"), _("NOT APPROVED"),
                 _("NOT APPROVED ({why})"), &s, out);
}

void say_policy(const struct wording *w, struct buf *out)
{
    struct fill s = { 0 };

    say_clean(fill_at(&s, "version"), w->policy->version);
    say_clean(fill_at(&s, "date"), w->policy->date);
    buf_puts(out, "\n");
    say_approver(
        w->policy->approver,
        _("Limits: policy version {version} of {date}; approval: {who}."),
        _("Limits: policy version {version} of {date}; approval: none yet."),
        _("Limits: policy version {version} of {date}; approval: none yet "
          "({why})."),
        &s, out);
    buf_puts(out, "\n");
}
