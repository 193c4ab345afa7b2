/* What was typed in a case: listed, and taken back. */
#include "service/cases_work.h"

#include "adapters/case_write.h"
#include "adapters/catalogue.h"
#include "adapters/fhir_time.h"
#include "adapters/queue_text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    LINES_MAX = 64, /* of one case; of more the newest */
    BY_SIZE = 1024,
    REASON_SIZE = 2048
};

/*
 * Lines of the case in the order of typing.  The number of a line is that of
 * its first row in the store: it stays the same whatever others type or take
 * back meanwhile, and no other line of any case has it.
 */
struct typed {
    size_t count;
    struct typed_line {
        char id[CASE_NUMBER_SIZE];
        int64_t number, at_s;
        bool step, tie;  /* done to the band */
        size_t measured; /* flows and indices: what a step changes */
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

    if (len >= CASE_NUMBER_SIZE)
        return;
    if (line == NULL || strlen(line->id) != len ||
        memcmp(line->id, value, len) != 0) {
        line = add_line(t);
        memcpy(line->id, value, len);
        line->id[len] = '\0';
        line->at_s = db_int(db, q, 1);
        line->number = db_int(db, q, 5);
        line->step = line->tie = false;
        line->measured = 0;
    } else {
        buf_puts(&line->text, ", ");
    }
    line->step = line->step || case_is_step(entry.quantity);
    line->tie = line->tie || entry.quantity == Q_DOWEL_DIAMETER;
    line->measured += case_is_measured(entry.quantity);
    case_entry_say(&entry, &line->text);
}

static enum err read_typed(struct db *db, const struct case_call *call,
                           const struct look *look, struct typed *t)
{
    const enum query q = Q_CASE_ENTRIES;
    int hours = policy_count(call->review->policy, P_PLAN_CASE_H);
    int64_t from_s = call->now_ms / 1000 - (int64_t)hours * HOUR_S;
    char system[CASE_SYSTEM_SIZE];
    enum err e;

    t->count = 0;
    snprintf(system, sizeof(system), "%s%s", call->review->base, CASE_SYSTEM);
    e = db_query(db, q, "siii", system, look->access.id, look->patient.id,
                 from_s);
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK)
        take_entry(db, t);
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* ---- said --------------------------------------------------------------------- */

static void put_minute(const struct case_call *call, int64_t at_s, char out[8])
{
    int64_t local_s = at_s + zone_offset_s(call->review->zone, at_s);
    int minute = (int)((local_s % DAY_S + DAY_S) % DAY_S / 60);

    snprintf(out, 8, "%02d:%02d", minute / 60, minute % 60);
}

/* Who typed it, and when that was; by is "" if it does not say. */
static enum err read_typist(struct db *db, const struct typed_line *line,
                            char by[BY_SIZE], int64_t *typed_ms)
{
    struct resource row;
    struct buf body;
    enum err e = resource_get(db, line->number, &row);

    *typed_ms = 0;
    by[0] = '\0';
    buf_init(&body, CASE_BUNDLE_MAX);
    if (e == ERR_OK)
        e = resource_body(db, &row, 0, &body, typed_ms);
    if (e == ERR_OK)
        case_typist(body.data, body.len, by, BY_SIZE);
    buf_clear(&body);
    return e;
}

static enum err say_line(struct db *db, struct case_call *call,
                         const struct typed_line *line)
{
    char at[8], typed[8], by[BY_SIZE];
    struct buf name;
    int64_t typed_ms;
    enum err e = read_typist(db, line, by, &typed_ms);

    if (e != ERR_OK)
        return e;
    buf_init(&name, BY_SIZE + 64);
    queue_text_clean(&name, by);
    put_minute(call, line->at_s, at);
    put_minute(call, typed_ms / 1000, typed);
    /* TRANSLATORS: 1: its number, 2: when it was, 3: what was typed, "flow
     * 1760, flow 1700", 4: who typed it, 5: and when */
    buf_printf(&call->text, _("%1$5lld  %2$s  %3$s  (%4$s, typed %5$s)\n"),
               (long long)line->number, at, line->text.data,
               name.len > 0 ? name.data : _("not known by whom"), typed);
    buf_clear(&name);
    return ERR_OK;
}

static enum err say_typed(struct db *db, struct case_call *call,
                          const struct typed *t)
{
    enum err e = ERR_OK;

    if (t->count == 0)
        buf_puts(&call->text, _("Nothing was typed in this case.\n"));
    for (size_t i = 0; i < t->count && e == ERR_OK; i++)
        e = say_line(db, call, &t->lines[i]);
    return e;
}

/* ---- taking back ------------------------------------------------------------------ */

static enum err add_withdrawn(struct db *db, const char *fid, const char *why,
                              struct buf *body)
{
    struct resource row;
    struct buf kept;
    int64_t updated_ms;
    enum err e = resource_by_fid(db, FHIR_OBSERVATION, fid, &row);

    buf_init(&kept, CASE_BUNDLE_MAX);
    if (e == ERR_OK)
        e = resource_body(db, &row, 0, &kept, &updated_ms);
    if (e == ERR_OK)
        e = case_withdraw_add(fid, kept.data, kept.len, why, body);
    buf_clear(&kept);
    return e;
}

/* Who took it back, and why. */
static void say_reason(const struct case_call *call, char out[REASON_SIZE])
{
    if (call->why != NULL)
        /* TRANSLATORS: 1: a name, 2: a reason in that person's words */
        snprintf(out, REASON_SIZE, _("Taken back by %1$s: %2$s"), call->by,
                 call->why);
    else
        snprintf(out, REASON_SIZE, _("Taken back by %s"), call->by);
}

/* The Observations of a line. */
static enum err withdraw(struct db *db, struct case_call *call,
                         const struct typed_line *line, struct buf *body)
{
    char system[CASE_SYSTEM_SIZE], number[CASE_NUMBER_SIZE + 8];
    char why[REASON_SIZE];
    enum err e = ERR_OK;

    say_reason(call, why);
    snprintf(system, sizeof(system), "%s%s", call->review->base, CASE_SYSTEM);
    case_withdraw_begin(body);
    for (size_t i = 1; i <= CASE_ENTRIES_MAX && e == ERR_OK; i++) {
        struct resource row;

        snprintf(number, sizeof(number), "%s-%zu", line->id, i);
        e = resource_by_identifier(db, FHIR_OBSERVATION, system, number, &row);
        if (e == ERR_OK)
            e = add_withdrawn(db, row.fid, why, body);
        else if (e == ERR_ABSENT && i > 1)
            e = ERR_OK;
    }
    case_withdraw_end(body);
    return e;
}

/* "4102", of the list; NULL: the newest. */
static const struct typed_line *find_typed(const struct typed *t,
                                           const char *number)
{
    char *end;
    long long n;

    if (number == NULL)
        return t->count > 0 ? &t->lines[t->count - 1] : NULL;
    n = strtoll(number, &end, 10);
    if (number[0] < '0' || number[0] > '9' || *end != '\0')
        return NULL;
    for (size_t i = 0; i < t->count; i++) {
        if (t->lines[i].number == n)
            return &t->lines[i];
    }
    return NULL;
}

/* What somebody else typed is not taken back in passing. */
static enum err check_typist(struct db *db, struct case_call *call,
                             const struct typed_line *line)
{
    char by[BY_SIZE], text[BY_SIZE + 1024];
    struct buf name;
    int64_t typed_ms;
    enum err e = read_typist(db, line, by, &typed_ms);

    if (e != ERR_OK || call->why != NULL || strcmp(by, call->by) == 0)
        return e;
    buf_init(&name, BY_SIZE + 64);
    queue_text_clean(&name, by);
    /* TRANSLATORS: 1: what was typed, "flow 1760, flow 1700", 2: a name, 3: a
     * number; undo and because are words of the command and stay */
    snprintf(text, sizeof(text),
             _("\"%1$s\" was typed by %2$s. If it is to be taken back all the "
               "same, say why: undo %3$lld because ..."),
             line->text.data,
             name.len > 0 ? name.data : _("somebody who is not known"),
             (long long)line->number);
    buf_clear(&name);
    return case_refuse(call, 409, text);
}

/* "undo 415, undo 413": the newest first. */
static size_t put_measured(const struct typed *t, const struct typed_line *line,
                           int64_t until_s, struct buf *out)
{
    size_t count = 0;

    for (size_t i = t->count; i-- > 0;) {
        const struct typed_line *l = &t->lines[i];

        if (l->measured == 0 || l->at_s <= line->at_s || l->at_s >= until_s)
            continue;
        buf_printf(out, "%sundo %lld", out->len > 0 ? ", " : "",
                   (long long)l->number);
        count += l->measured;
    }
    return count;
}

/* Was a band tied in this case by then?  What is stretched or cut before is none
 * that a plan goes with, and nothing hangs on it. */
static bool is_banded(const struct typed *t, const struct typed_line *line)
{
    for (size_t i = 0; i < t->count; i++) {
        if (t->lines[i].tie && t->lines[i].at_s <= line->at_s)
            return true;
    }
    return false;
}

/* Without its step, what was measured through a band would count as measured
 * before it: as the baseline, or with an earlier dowel. */
static enum err check_followed(struct case_call *call, const struct look *look,
                               const struct typed *t,
                               const struct typed_line *line)
{
    int64_t until_s;
    size_t all = case_measured(&look->history, line->at_s, &until_s), typed;
    char text[REASON_SIZE];
    struct buf lines;

    if (!line->step || all == 0 || !is_banded(t, line))
        return ERR_OK;
    buf_init(&lines, REASON_SIZE / 2);
    typed = put_measured(t, line, until_s, &lines);
    if (typed < all)
        /* TRANSLATORS: a line that was typed, "dowel 4.0" */
        snprintf(text, sizeof(text),
                 _("\"%s\" cannot be taken back: what was measured after it "
                   "would then count as measured before it, and some of that "
                   "was not typed here. It is corrected where it is kept, as "
                   "entered in error"),
                 line->text.data);
    else
        /* TRANSLATORS: 1: a line that was typed, "dowel 4.0", 2: commands,
         * "undo 415, undo 413" */
        snprintf(text, sizeof(text),
                 _("\"%1$s\" cannot be taken back alone: what was measured "
                   "after it would then count as measured before it. Take "
                   "that back first: %2$s. Then type it anew after the right "
                   "step"),
                 line->text.data, lines.len > 0 ? lines.data : "");
    buf_clear(&lines);
    return case_refuse(call, 409, text);
}

static enum err undo(struct db *db, struct case_call *call,
                     const struct look *look, const struct typed *t)
{
    const struct typed_line *line = find_typed(t, call->number);
    struct buf body;
    enum err e;

    if (line == NULL)
        return case_refuse(call, 404,
                           t->count == 0
                               ? _("nothing was typed that could be taken back")
                               : _("no line has this number; see list"));
    e = check_typist(db, call, line);
    if (e == ERR_OK)
        e = check_followed(call, look, t, line);
    if (e != ERR_OK)
        return e;
    buf_init(&body, CASE_BUNDLE_MAX);
    e = withdraw(db, call, line, &body);
    if (e == ERR_OK)
        e = case_take(db, call, &body);
    if (e == ERR_OK) {
        /* TRANSLATORS: a line that was typed, "flow 1760, flow 1700" */
        buf_printf(&call->text, _("Taken back: %s\n"), line->text.data);
    }
    buf_clear(&body);
    return e;
}

enum err case_typed(struct db *db, struct case_call *call,
                    const struct look *look)
{
    struct typed *t = calloc(1, sizeof(*t));
    enum err e;

    if (t == NULL)
        return ERR_MEMORY;
    e = read_typed(db, call, look, t);
    if (e == ERR_OK && call->verb == CASE_LIST && t->count == 0)
        e = case_refuse_dead(call, look);
    if (e == ERR_OK && call->verb == CASE_LIST)
        e = say_typed(db, call, t);
    else if (e == ERR_OK)
        e = undo(db, call, look, t);
    typed_clear(t);
    free(t);
    return e;
}
