/* The timeline for programs: one object a line, words that do not change. */
#include "adapters/timeline.h"

#include "adapters/fhir_out.h"
#include "adapters/fhir_time.h"

#include <math.h>

/* ---- words ---------------------------------------------------------------- */

static const char *const act_words[TIMELINE_ACTS] = {
    [TIMELINE_OPENED] = "opened",         [TIMELINE_RAISED] = "raised",
    [TIMELINE_CORRECTED] = "corrected",   [TIMELINE_PUT_AGAIN] = "put-again",
    [TIMELINE_ENDED] = "ended",           [TIMELINE_RECORDED] = "recorded",
    [TIMELINE_NOT_NEEDED] = "not-needed", [TIMELINE_TAKEN] = "taken",
    [TIMELINE_ON_HOLD] = "on-hold",       [TIMELINE_DECLINED] = "declined",
    [TIMELINE_COMPLETED] = "completed",   [TIMELINE_SET_ASIDE] = "set-aside",
};

static const char *const deed_words[] = {
    [SHEET_CREATED] = "created",       [SHEET_OUTFLOW] = "outflow-treated",
    [SHEET_INFLOW] = "inflow-treated", [SHEET_BANDED] = "banded",
    [SHEET_STRETCHED] = "stretched",   [SHEET_RELEASED] = "released",
    [SHEET_CLOSED] = "closed",
};

static const char *const reason_words[] = {
    [END_CLEARED] = "cleared",       [END_WITHDRAWN] = "withdrawn",
    [END_SUPERSEDED] = "superseded", [END_STAGE] = "stage",
    [END_INACTIVE] = "inactive",     [END_MERGED] = "merged",
    [END_ELSEWHERE] = "elsewhere",   [END_DECEASED] = "deceased",
};

static const char *const use_words[] = {
    [SHEET_USED] = "used",
    [SHEET_BLANKED] = "after-treatment",
    [SHEET_EARLY] = "preliminary",
    [SHEET_APART] = "contradictory",
};

static const char *bound_word(enum bound b)
{
    static const char *const words[] = {
        [BOUND_NONE] = NULL,     [BOUND_BELOW] = "<", [BOUND_AT_MOST] = "<=",
        [BOUND_AT_LEAST] = ">=", [BOUND_ABOVE] = ">",
    };

    return words[b];
}

/* ---- members -------------------------------------------------------------- */

static void or_null(struct buf *out, const char *key, const char *text)
{
    if (text != NULL && text[0] != '\0')
        fhir_out_text(out, key, text);
    else
        fhir_out_raw(out, key, "null", 4);
}

static void number(struct buf *out, const char *key, double value,
                   double rounded_to)
{
    if (isfinite(value))
        fhir_out_decimal(out, key, round(value / rounded_to) * rounded_to);
    else
        fhir_out_raw(out, key, "null", 4);
}

static void instant(struct buf *out, const char *key, int64_t at_s, bool known)
{
    char text[FHIR_TIME_SIZE];

    fhir_time_write(at_s, text);
    or_null(out, key, known ? text : NULL);
}

static void day(const struct timeline_source *s, struct buf *out,
                const char *key, int64_t at_s)
{
    char text[FHIR_TIME_SIZE];

    fhir_date_write(at_s, s->zone, text);
    or_null(out, key, at_s != INT64_MIN ? text : NULL);
}

static void begin(struct buf *out, const char *kind, int64_t at_s)
{
    buf_puts(out, "{");
    fhir_out_text(out, "kind", kind);
    instant(out, "at", at_s, true);
}

static void end(struct buf *out)
{
    buf_puts(out, "}\n");
}

/* ---- objects -------------------------------------------------------------- */

static void write_access(const struct timeline_source *s,
                         const struct timeline *t, struct buf *out)
{
    buf_puts(out, "{");
    fhir_out_text(out, "kind", "access");
    or_null(out, "access", s->access);
    or_null(out, "patient_number", s->patient_number);
    instant(out, "from", t->count > 0 ? t->entries[0].at_s : 0, t->count > 0);
    instant(out, "to", s->history->now_s, true);
    fhir_out_int(out, "lost", (long long)t->lost);
    end(out);
}

static void write_flow(const struct timeline_entry *e, struct buf *out)
{
    begin(out, "flow", e->at_s);
    number(out, "value", e->flow.value, 1);
    or_null(out, "bound", bound_word(e->flow.bound));
    or_null(out, "method", method_code(e->flow.method));
    fhir_out_int(out, "readings", (long long)e->flow.readings);
    fhir_out_text(out, "use", use_words[e->flow.use]);
    end(out);
}

static void write_treatment(const struct timeline_entry *e, struct buf *out)
{
    const struct timeline_change *c = &e->change;
    bool before = isfinite(c->before_ml_min), after = isfinite(c->after_ml_min);

    begin(out, "treatment", e->at_s);
    fhir_out_text(out, "treatment", deed_words[e->treatment.deed]);
    number(out, "size_mm", e->treatment.size_mm, 0.01);
    fhir_out_int(out, "steps", e->treatment.steps);
    number(out, "before", c->before_ml_min, 1);
    number(out, "after", c->after_ml_min, 1);
    instant(out, "before_at", c->before_s, before);
    instant(out, "after_at", c->after_s, after);
    or_null(out, "before_method",
            before ? method_code(c->before_method) : NULL);
    or_null(out, "after_method", after ? method_code(c->after_method) : NULL);
    number(out, "change_pct", c->pct, 0.1);
    end(out);
}

static void write_sign(const struct timeline_entry *e, struct buf *out)
{
    begin(out, "sign", e->at_s);
    fhir_out_text(out, "code",
                  e->sign != SIGN_NONE ? sign_info(e->sign)->code
                                       : quantity_info(e->quantity)->code);
    fhir_out_int(out, "times", e->times);
    fhir_out_bool(out, "preliminary", e->preliminary);
    end(out);
}

static void write_rules(unsigned rules, struct buf *out)
{
    fhir_out_open(out, "rules", '[');
    for (int n = 0; n < RULE_COUNT; n++) {
        enum rule rule = rule_by_order(n);

        if ((rules & 1U << rule) != 0)
            fhir_out_text(out, NULL, rule_info(rule)->id);
    }
    fhir_out_close(out, ']');
}

/* People say no urgency and no reason of these. */
static void write_said(const struct timeline_source *s,
                       const struct timeline_said *said, struct buf *out)
{
    bool ours = said->act < TIMELINE_TAKEN && !said->reminder;

    begin(out, said->reminder ? "reminder" : "suggestion", said->at_s);
    fhir_out_text(out, "group", group_word(said->group));
    fhir_out_int(out, "number", said->number);
    fhir_out_text(out, "act", act_words[said->act]);
    write_rules(said->rules, out);
    or_null(out, "urgency", ours ? urgency_word(said->urgency) : NULL);
    or_null(out, "reason",
            ours && said->act == TIMELINE_ENDED ? reason_words[said->reason]
                                                : NULL);
    day(s, out, "due", said->due_s);
    or_null(out, "task", said->task);
    fhir_out_bool(out, "silent", said->silent);
    end(out);
}

static void write_overdue(const struct timeline_entry *e, struct buf *out)
{
    begin(out, "overdue", e->at_s);
    fhir_out_text(out, "group", group_word(e->reminder.group));
    fhir_out_int(out, "number", e->reminder.number);
    fhir_out_int(out, "days", e->days);
    fhir_out_bool(out, "open", e->reminder.open);
    fhir_out_bool(out, "missed", e->reminder.missed);
    or_null(out, "task", e->reminder.task);
    end(out);
}

static void write_gap(const struct timeline_entry *e, struct buf *out)
{
    begin(out, "gap", e->at_s);
    instant(out, "from", e->gap_from_s, true);
    instant(out, "to", e->gap_to_s, true);
    fhir_out_int(out, "days", e->days);
    fhir_out_bool(out, "open", e->gap_goes_on);
    end(out);
}

static void write_entry(const struct timeline_source *s,
                        const struct timeline_entry *e, struct buf *out)
{
    switch (e->kind) {
    case TIMELINE_FLOW:
        write_flow(e, out);
        break;
    case TIMELINE_TREATMENT:
        write_treatment(e, out);
        break;
    case TIMELINE_SIGN:
        write_sign(e, out);
        break;
    case TIMELINE_SAID:
        write_said(s, &e->said, out);
        break;
    case TIMELINE_OVERDUE:
        write_overdue(e, out);
        break;
    case TIMELINE_GAP:
        write_gap(e, out);
        break;
    }
}

/* what: "suggestion", "reminder", or "visit": a time for one begins or ends,
 * which is no Task yet. */
static void write_next(const struct timeline_source *s, const char *what,
                       const struct timeline_open *o, int64_t due_s,
                       struct buf *out)
{
    buf_puts(out, "{");
    fhir_out_text(out, "kind", "next");
    fhir_out_text(out, "what", what);
    or_null(out, "group", group_word(o != NULL ? o->group : GROUP_FOLLOW_UP));
    if (o != NULL)
        fhir_out_int(out, "number", o->number);
    else
        fhir_out_raw(out, "number", "null", 4);
    day(s, out, "due", due_s);
    fhir_out_int(out, "days", timeline_days(s->history->now_s, due_s, s->zone));
    fhir_out_bool(out, "taken", o != NULL && o->taken);
    or_null(out, "task", o != NULL ? o->task : NULL);
    fhir_out_bool(out, "silent", o != NULL && o->silent);
    end(out);
}

void timeline_json(const struct timeline_source *source,
                   const struct timeline *t, struct buf *out)
{
    size_t list[TIMELINE_NEXT_MAX];
    size_t n = timeline_next(source, list, TIMELINE_NEXT_MAX);

    write_access(source, t, out);
    for (size_t i = 0; i < t->count; i++)
        write_entry(source, &t->entries[i], out);
    for (size_t i = 0; i < n; i++) {
        const struct timeline_open *o = &source->open[list[i]];

        write_next(source, o->reminder ? "reminder" : "suggestion", o, o->due_s,
                   out);
    }
    if (source->follow_up_s != INT64_MAX)
        write_next(source, "visit", NULL, source->follow_up_s, out);
}
