#include "service/cases.h"

#include "adapters/case_write.h"
#include "adapters/catalogue.h"
#include "adapters/fhir_time.h"
#include "planner/series.h"
#include "service/draft.h"
#include "service/explain.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    BUNDLE_MAX = 262144,
    LINES_MAX = 64,       /* of one case */
    NUMBER_SIZE = 48,     /* of a line */
    NIGHT_S = 6 * HOUR_S, /* a case may run over midnight */
    AHEAD_S = 120,        /* a clock may be so much behind the typist's */
    SYSTEM_SIZE = 512
};

static enum err refuse(struct case_call *call, int status, const char *text)
{
    call->status = status;
    buf_empty(&call->text);
    buf_printf(&call->text, "%s\n", text);
    return ERR_CONFLICT;
}

/* ---- into the store --------------------------------------------------------- */

/* What the intake said of the first that it refused. */
static void say_refusal(struct case_call *call, struct fhir_doc *doc,
                        const struct intake *in)
{
    for (size_t i = 0; i < fhir_doc_count(doc); i++) {
        const struct outcome *o = &fhir_doc_item(doc, i)->outcome;

        if (in->results[i].status < 400 || o->count == 0)
            continue;
        refuse(call, in->results[i].status, o->issues[0].text);
        return;
    }
    refuse(call, 422, _("this cannot be taken"));
}

/* What was kept and is not used would be missing in the plan unseen. */
static bool is_used(struct fhir_doc *doc)
{
    for (size_t i = 0; i < fhir_doc_count(doc); i++) {
        const struct outcome *o = &fhir_doc_item(doc, i)->outcome;

        for (size_t k = 0; k < o->count; k++) {
            if (strcmp(o->issues[k].word, "held") == 0)
                return false;
        }
    }
    return true;
}

static enum err apply(struct db *db, struct case_call *call,
                      struct fhir_doc *doc, const struct buf *body)
{
    struct intake in = { .doc = doc,
                         .reader = call->reader,
                         .body = body->data,
                         .len = body->len,
                         .source = SOURCE_HTTP,
                         .merge_implied = call->merge_implied,
                         .now_ms = call->now_ms,
                         .sender = "case",
                         .way = QUARANTINE_HTTP };
    enum err e;

    in.results = calloc(fhir_doc_count(doc) + 1, sizeof(*in.results));
    if (in.results == NULL)
        return ERR_MEMORY;
    e = intake_apply(db, &in);
    if (in.all_failed)
        say_refusal(call, doc, &in);
    else if (e == ERR_OK && !is_used(doc))
        e = refuse(call, 422,
                   _("this value would be kept and not used; look at it again "
                     "and at the access"));
    call->news = in.news;
    free(in.results);
    return e;
}

static enum err take(struct db *db, struct case_call *call,
                     const struct buf *body)
{
    struct outcome outcome = { .count = 0 };
    struct fhir_doc *doc = NULL;
    enum err e;

    if (buf_ok(body) != ERR_OK)
        return buf_ok(body);
    e = fhir_read(call->reader, body->data, body->len, &outcome, &doc);
    if (e == ERR_OK)
        e = apply(db, call, doc, body);
    else if (outcome.count > 0)
        e = refuse(call, 422, outcome.issues[0].text);
    fhir_doc_free(doc);
    return e;
}

/* ---- a line ------------------------------------------------------------------- */

/* The same minute of the day before, if that is hours ago only. */
static int64_t yesterday(const struct zone *zone, int64_t midnight_s,
                         const struct case_call *call, int64_t now_s,
                         int64_t today_s)
{
    int64_t at_s =
        zone_utc_s(zone, midnight_s - DAY_S + 60 * (int64_t)call->line.minute);

    return now_s - at_s <= NIGHT_S ? at_s : today_s;
}

/* Its first second: now, or in the minute that was typed, after all that is
 * known of then, so that the order of typing is that of the case. */
static enum err place_in_time(struct case_call *call, const struct look *look,
                              int64_t *at_s)
{
    const struct zone *zone = call->review->zone;
    int64_t now_s = call->now_ms / 1000, until_s = now_s + AHEAD_S;

    *at_s = now_s;
    if (call->line.minute >= 0) {
        int64_t local_s = now_s + zone_offset_s(zone, now_s);

        local_s -= (local_s % DAY_S + DAY_S) % DAY_S;
        *at_s = zone_utc_s(zone, local_s + 60 * (int64_t)call->line.minute);
        if (*at_s > now_s + AHEAD_S) /* of the evening before, at night */
            *at_s = yesterday(zone, local_s, call, now_s, *at_s);
        until_s = *at_s + 59;
    }
    if (*at_s > now_s + AHEAD_S)
        return refuse(call, 422, _("that time is still to come"));
    for (size_t i = 0; i < look->history.count; i++) {
        const struct reading *r = &look->history.readings[i];

        if (r->precision == AT_SECOND && r->start_s >= *at_s &&
            r->start_s <= until_s)
            *at_s = r->start_s + 1;
    }
    return ERR_OK;
}

static bool has_flow(const struct case_line *line)
{
    return line->count > 0 && line->entries[0].quantity == Q_ACCESS_FLOW;
}

/* Flows of a case are of one method: what is not said is that of before. */
static enum err find_method(struct case_call *call, const struct look *look)
{
    size_t index = 0;
    double newest = series_newest(&look->history, Q_ACCESS_FLOW,
                                  look->history.now_s, 400.0, &index);

    if (call->method != METHOD_UNSTATED || !has_flow(&call->line))
        return ERR_OK;
    if (!isnan(newest))
        call->method = look->history.readings[index].method;
    if (call->method != METHOD_UNSTATED)
        return ERR_OK;
    return refuse(call, 422,
                  _("by which method was the flow measured? Start headgate "
                    "case with --method, for example ultrasound-dilution"));
}

static enum err write_line(struct db *db, struct case_call *call,
                           const struct look *look, struct buf *body)
{
    const struct access *a = &look->access;
    const struct patient *p = &look->patient;
    char patient[ALIAS_SIZE], access[ALIAS_SIZE], number[FID_SIZE];
    struct case_statement s = { .base = call->review->base,
                                .number = number,
                                .by = call->by,
                                .method = call->method };
    enum err e = place_in_time(call, look, &s.at_s);

    new_fid(number);
    if (e == ERR_OK)
        e = draft_refer(db, "Patient", p->resource, p->anchor,
                        p->anchor_is_literal, patient, &s.patient);
    if (e == ERR_OK)
        e = draft_refer(db, "BodyStructure", a->resource, a->anchor,
                        a->anchor_is_literal, access, &s.access);
    if (e == ERR_OK)
        case_write(&s, &call->line, body);
    return e;
}

static enum err state(struct db *db, struct case_call *call,
                      const struct look *look)
{
    struct buf body;
    enum err e = find_method(call, look);

    if (e != ERR_OK)
        return e;
    buf_init(&body, BUNDLE_MAX);
    e = write_line(db, call, look, &body);
    if (e == ERR_OK)
        e = take(db, call, &body);
    buf_clear(&body);
    return e;
}

/* ---- what was typed ------------------------------------------------------------- */

/* Lines of the case, the oldest first. */
struct typed {
    size_t count;
    struct typed_line {
        char number[NUMBER_SIZE];
        int64_t at_s;
        struct buf text;
    } lines[LINES_MAX];
};

static void typed_clear(struct typed *t)
{
    for (size_t i = 0; i < t->count; i++)
        buf_clear(&t->lines[i].text);
}

/* Room for one more: of a full list the oldest goes. */
static struct typed_line *add_line(struct typed *t)
{
    if (t->count == LINES_MAX) {
        buf_clear(&t->lines[0].text);
        memmove(&t->lines[0], &t->lines[1],
                (LINES_MAX - 1) * sizeof(t->lines[0]));
        t->count--;
    }
    buf_init(&t->lines[t->count].text, 1024);
    return &t->lines[t->count++];
}

/* "0f...-2" is of the line "0f...". */
static void take_entry(struct db *db, struct typed *t)
{
    const enum query q = Q_CASE_ENTRIES;
    struct case_entry entry = { .quantity = (enum quantity)db_int(db, q, 2),
                                .value = db_double(db, q, 3),
                                .sign = (enum sign)db_int(db, q, 4) };
    const char *value = db_text(db, q, 0), *dash = strrchr(value, '-');
    struct typed_line *line = t->count > 0 ? &t->lines[t->count - 1] : NULL;
    size_t len = dash != NULL ? (size_t)(dash - value) : strlen(value);

    if (len >= NUMBER_SIZE)
        return;
    if (line == NULL || strlen(line->number) != len ||
        memcmp(line->number, value, len) != 0) {
        line = add_line(t);
        memcpy(line->number, value, len);
        line->number[len] = '\0';
        line->at_s = db_int(db, q, 1);
    } else {
        buf_puts(&line->text, ", ");
    }
    case_entry_say(&entry, &line->text);
}

static enum err read_typed(struct db *db, const struct case_call *call,
                           const struct look *look, struct typed *t)
{
    const enum query q = Q_CASE_ENTRIES;
    int hours = policy_count(call->review->policy, P_PLAN_CASE_H);
    int64_t from_s = call->now_ms / 1000 - (int64_t)hours * HOUR_S;
    char system[SYSTEM_SIZE];
    enum err e;

    t->count = 0;
    snprintf(system, sizeof(system), "%s%s", call->review->base, CASE_SYSTEM);
    e = db_query(db, q, "siii", system, look->access.id, look->patient.id,
                 from_s);
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK)
        take_entry(db, t);
    return e == ERR_ABSENT ? ERR_OK : e;
}

static void say_time(const struct case_call *call, int64_t at_s,
                     struct buf *out)
{
    int64_t local_s = at_s + zone_offset_s(call->review->zone, at_s);
    int64_t minute = (local_s % DAY_S + DAY_S) % DAY_S / 60;

    buf_printf(out, "%02d:%02d", (int)(minute / 60), (int)(minute % 60));
}

/* Numbered from the newest, as undo takes them. */
static void say_typed(struct case_call *call, const struct typed *t)
{
    if (t->count == 0)
        buf_puts(&call->text, _("Nothing was typed in this case.\n"));
    for (size_t i = 0; i < t->count; i++) {
        buf_printf(&call->text, "%3zu  ", t->count - i);
        say_time(call, t->lines[i].at_s, &call->text);
        buf_printf(&call->text, "  %s\n", t->lines[i].text.data);
    }
}

/* ---- taking back ------------------------------------------------------------------ */

static enum err add_withdrawn(struct db *db, const char *fid, struct buf *body)
{
    struct resource row;
    struct buf kept;
    int64_t updated_ms;
    enum err e = resource_by_fid(db, FHIR_OBSERVATION, fid, &row);

    buf_init(&kept, BUNDLE_MAX);
    if (e == ERR_OK)
        e = resource_body(db, &row, 0, &kept, &updated_ms);
    if (e == ERR_OK)
        e = case_withdraw_add(fid, kept.data, kept.len, body);
    buf_clear(&kept);
    return e;
}

/* The Observations of a line. */
static enum err withdraw(struct db *db, struct case_call *call,
                         const struct typed_line *line, struct buf *body)
{
    char system[SYSTEM_SIZE], number[NUMBER_SIZE + 8];
    enum err e = ERR_OK;

    snprintf(system, sizeof(system), "%s%s", call->review->base, CASE_SYSTEM);
    case_withdraw_begin(body);
    for (size_t i = 1; i <= CASE_ENTRIES_MAX && e == ERR_OK; i++) {
        struct resource row;

        snprintf(number, sizeof(number), "%s-%zu", line->number, i);
        e = resource_by_identifier(db, FHIR_OBSERVATION, system, number, &row);
        if (e == ERR_OK)
            e = add_withdrawn(db, row.fid, body);
        else if (e == ERR_ABSENT && i > 1)
            e = ERR_OK;
    }
    case_withdraw_end(body);
    return e;
}

/* "2", of the list; NULL: 1. */
static const struct typed_line *find_typed(const struct typed *t,
                                           const char *number)
{
    char *end;
    long n = 1;

    if (number != NULL) {
        n = strtol(number, &end, 10);
        if (end == number || *end != '\0')
            return NULL;
    }
    return n >= 1 && (size_t)n <= t->count ? &t->lines[t->count - (size_t)n]
                                           : NULL;
}

static enum err undo(struct db *db, struct case_call *call,
                     const struct typed *t)
{
    const struct typed_line *line = find_typed(t, call->number);
    struct buf body;
    enum err e;

    if (line == NULL)
        return refuse(call, 404,
                      t->count == 0
                          ? _("nothing was typed that could be taken back")
                          : _("no line has this number; see list"));
    buf_init(&body, BUNDLE_MAX);
    e = withdraw(db, call, line, &body);
    if (e == ERR_OK)
        e = take(db, call, &body);
    if (e == ERR_OK) {
        /* TRANSLATORS: a line that was typed, "flow 1760, flow 1700" */
        buf_printf(&call->text, _("Taken back: %s\n"), line->text.data);
    }
    buf_clear(&body);
    return e;
}

static enum err with_typed(struct db *db, struct case_call *call,
                           const struct look *look)
{
    struct typed *t = calloc(1, sizeof(*t));
    enum err e;

    if (t == NULL)
        return ERR_MEMORY;
    e = read_typed(db, call, look, t);
    if (e == ERR_OK && call->verb == CASE_LIST)
        say_typed(call, t);
    else if (e == ERR_OK)
        e = undo(db, call, t);
    typed_clear(t);
    free(t);
    return e;
}

enum err case_call(struct db *db, struct case_call *call)
{
    struct look look;
    int64_t access;
    enum err e =
        explain_find(db, call->access, &call->status, &access, &call->text);

    if (e != ERR_OK || call->status != 200)
        return e;
    e = look_at(db, call->review, access, &look);
    if (e != ERR_OK)
        return e;
    e = call->verb == CASE_STATE ? state(db, call, &look)
                                 : with_typed(db, call, &look);
    look_clear(&look);
    return e;
}
