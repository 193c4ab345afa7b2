/*
 * What a store says after a run: episodes and decisions become suggestions,
 * suggestions become the lines of a table.
 */
#include "service/backtest_work.h"

#include "service/backtest_sort.h"

#include <stdlib.h>
#include <string.h>

enum { RAISED_MAX = 4 * 1024 * 1024, DAY_MS = DAY_S * 1000 };

#define DAYS_PER_MONTH 30.4375

static void clear_suggestion(struct backtest_suggestion *s)
{
    free(s->patient);
    free(s->access);
    free(s->evidence);
}

void backtest_clear(struct backtest_report *report)
{
    for (size_t i = 0; i < report->count; i++)
        clear_suggestion(&report->list[i]);
    free(report->list);
    report->list = NULL;
    report->count = 0;
}

static void clear_list(struct backtest_list *l)
{
    for (size_t i = 0; i < l->count; i++) {
        clear_suggestion(&l->items[i].s);
        free(l->items[i].refs);
    }
    free(l->items);
}

/* ---- episodes ------------------------------------------------------------- */

/* "n:1001" and "i:system|1001" as "1001", "r:Patient/p-1" as "p-1"; an access
 * that nobody has named has none. */
static enum err name_of(const char *anchor, char **out)
{
    const char *at;

    *out = NULL;
    if (anchor == NULL || anchor[0] == '\0' ||
        strncmp(anchor, "i:implied|", 10) == 0)
        return ERR_OK;
    at =
        anchor[0] == 'n' ? NULL : strrchr(anchor, anchor[0] == 'i' ? '|' : '/');
    *out = strdup(at != NULL ? at + 1 : anchor + 2);
    return *out != NULL ? ERR_OK : ERR_MEMORY;
}

static enum err take_episode(struct db *db, struct backtest_list *l)
{
    const enum query q = Q_BACKTEST_EPISODES;
    struct backtest_raised *r;
    void *more;
    enum err e;

    if (l->count == l->size) {
        e = backtest_grow(l->items, &l->size, sizeof(*l->items), RAISED_MAX,
                          &more);
        if (e != ERR_OK)
            return e;
        l->items = more;
    }
    r = &l->items[l->count++];
    *r = (struct backtest_raised){ .access = db_int(db, q, 0),
                                   .task = db_int(db, q, 2),
                                   .patient = db_int(db, q, 5),
                                   .s = { .group = (enum group)db_int(db, q, 1),
                                          .urgency =
                                              (enum urgency)db_int(db, q, 3),
                                          .raised_s = db_int(db, q, 4) } };
    e = name_of(db_text(db, q, 6), &r->s.patient);
    if (e == ERR_OK)
        e = name_of(db_text(db, q, 7), &r->s.access);
    return e;
}

static enum err load_episodes(struct db *db, struct backtest_list *l)
{
    const enum query q = Q_BACKTEST_EPISODES;
    enum err e = db_query(db, q, "");

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        e = take_episode(db, l);
        if (e != ERR_OK)
            db_done(db, q);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* ---- decisions ------------------------------------------------------------ */

static int by_task(const void *a, const void *b)
{
    const struct backtest_raised *x = *(struct backtest_raised *const *)a;
    const struct backtest_raised *y = *(struct backtest_raised *const *)b;

    return x->task < y->task ? -1 : x->task > y->task;
}

static struct backtest_raised *find(struct backtest_raised **list, size_t count,
                                    int64_t task)
{
    struct backtest_raised key = { .task = task }, *at = &key;
    struct backtest_raised **found =
        bsearch(&at, list, count, sizeof(struct backtest_raised *), by_task);

    return found != NULL ? *found : NULL;
}

static enum err take_decision(struct db *db, struct backtest_raised *r,
                              bool evidence)
{
    const enum query q = Q_BACKTEST_DECISIONS;
    enum act act = (enum act)db_int(db, q, 1);
    unsigned rules = (unsigned)db_int(db, q, 3);

    if (act == ACT_END) {
        if (r->s.ended_s == 0) {
            r->s.reason = (enum end_reason)db_int(db, q, 2);
            r->s.ended_s = db_int(db, q, 5) / 1000;
        }
        return ERR_OK;
    }
    if (act == ACT_OPEN)
        r->s.rules_first = rules;
    r->s.rules |= rules;
    return evidence ? backtest_refs_add(r, db_text(db, q, 4), act != ACT_OPEN)
                    : ERR_OK;
}

static enum err load_decisions(struct db *db, const struct backtest_list *l,
                               bool evidence)
{
    const enum query q = Q_BACKTEST_DECISIONS;
    struct backtest_raised **list =
        calloc(l->count + 1, sizeof(struct backtest_raised *));
    enum err e = list != NULL ? db_query(db, q, "") : ERR_MEMORY;

    for (size_t i = 0; list != NULL && i < l->count; i++)
        list[i] = &l->items[i];
    if (list != NULL)
        qsort(list, l->count, sizeof(struct backtest_raised *), by_task);
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        struct backtest_raised *r = find(list, l->count, db_int(db, q, 0));

        if (r != NULL)
            e = take_decision(db, r, evidence);
        if (e != ERR_OK)
            db_done(db, q);
    }
    free(list);
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* ---- repeats -------------------------------------------------------------- */

static int by_matter(const void *a, const void *b)
{
    const struct backtest_raised *x = *(struct backtest_raised *const *)a;
    const struct backtest_raised *y = *(struct backtest_raised *const *)b;

    if (x->access != y->access)
        return x->access < y->access ? -1 : 1;
    if (x->s.group != y->s.group)
        return x->s.group < y->s.group ? -1 : 1;
    return x->s.raised_s < y->s.raised_s ? -1 : x->s.raised_s > y->s.raised_s;
}

static enum err mark_repeats(const struct backtest_list *l)
{
    struct backtest_raised **list =
        calloc(l->count + 1, sizeof(struct backtest_raised *));

    if (list == NULL)
        return ERR_MEMORY;
    for (size_t i = 0; i < l->count; i++)
        list[i] = &l->items[i];
    qsort(list, l->count, sizeof(struct backtest_raised *), by_matter);
    for (size_t i = 1; i < l->count; i++) {
        const struct backtest_raised *before = list[i - 1];
        struct backtest_suggestion *s = &list[i]->s;

        s->repeat = before->access == list[i]->access &&
                    before->s.group == s->group && before->s.ended_s != 0 &&
                    s->raised_s - before->s.ended_s <=
                        (int64_t)BACKTEST_REPEAT_D * DAY_S;
    }
    free(list);
    return ERR_OK;
}

/* ---- the data ------------------------------------------------------------- */

/* A patient may still be at risk when his readings have ceased: he counts from
 * his first arrival to the end of the run. */
static enum err sum_patients(struct db *db, int64_t end_s,
                             struct backtest_data *data)
{
    const enum query q = Q_BACKTEST_SPANS;
    double days = 0.0, end_ms = (double)end_s * 1000.0;
    enum err e = db_query(db, q, "");

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        double span_d = (end_ms - (double)db_int(db, q, 0)) / DAY_MS;

        data->patients++;
        days += span_d > 1.0 ? span_d : 1.0;
    }
    if (e != ERR_ABSENT)
        return e;
    data->patient_months = days / DAYS_PER_MONTH;
    e = db_first(db, Q_BACKTEST_ACCESSES, "");
    if (e != ERR_OK)
        return e;
    data->accesses = (unsigned long)db_int(db, Q_BACKTEST_ACCESSES, 0);
    db_done(db, Q_BACKTEST_ACCESSES);
    return ERR_OK;
}

/* The static word of a reason that the store keeps as text. */
static const char *reason_word(const char *reason)
{
    for (int h = HOLD_NONE + 1; h < HOLD_COUNT; h++) {
        if (strcmp(hold_word((enum hold)h), reason) == 0)
            return hold_word((enum hold)h);
    }
    return "other";
}

static enum err sum_held(struct db *db, struct backtest_fate *fate)
{
    const enum query q = Q_BACKTEST_HELD;
    size_t count = 0;
    enum err e = db_query(db, q, "");

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (count == BACKTEST_WORDS_MAX)
            continue;
        fate->held_words[count].word = reason_word(db_text(db, q, 0));
        fate->held_words[count++].count = (unsigned long)db_int(db, q, 1);
    }
    if (e != ERR_ABSENT)
        return e;
    e = db_first(db, Q_BACKTEST_HELD_COUNT, "");
    if (e != ERR_OK)
        return e;
    fate->held = (unsigned long)db_int(db, Q_BACKTEST_HELD_COUNT, 0);
    db_done(db, Q_BACKTEST_HELD_COUNT);
    return ERR_OK;
}

static enum err sum_reminders(struct db *db, struct backtest_report *report)
{
    const enum query q = Q_BACKTEST_REMINDERS;
    enum err e = db_query(db, q, "i", INT64(ACT_OPEN));

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        int64_t group = db_int(db, q, 0);
        unsigned rules = (unsigned)db_int(db, q, 1);
        unsigned long count = (unsigned long)db_int(db, q, 2);

        if (group < 0 || group >= GROUP_COUNT)
            continue;
        report->groups[group].reminders += count;
        report->all.reminders += count;
        report->reminders_by_rule = report->reminders_by_rule || rules != 0;
        for (int r = 0; r < RULE_COUNT; r++)
            report->rules[r].reminders += (rules & 1u << r) != 0 ? count : 0;
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* ---- all of it ------------------------------------------------------------ */

static enum err hand_over(struct backtest_list *l,
                          struct backtest_report *report)
{
    report->list = calloc(l->count + 1, sizeof(*report->list));
    if (report->list == NULL)
        return ERR_MEMORY;
    for (size_t i = 0; i < l->count; i++) {
        report->list[i] = l->items[i].s;
        l->items[i].s = (struct backtest_suggestion){ .patient = NULL };
    }
    report->count = l->count;
    return ERR_OK;
}

enum err backtest_sum(struct db *db, const struct backtest_options *options,
                      struct backtest_data *data,
                      struct backtest_report *report)
{
    struct backtest_list l = { .count = 0 };
    enum err e = load_episodes(db, &l);

    if (e == ERR_OK)
        e = load_decisions(db, &l, options->evidence);
    for (size_t i = 0; e == ERR_OK && options->evidence && i < l.count; i++)
        e = backtest_evidence(db, &options->reader, &l.items[i]);
    if (e == ERR_OK)
        e = mark_repeats(&l);
    if (e == ERR_OK)
        e = backtest_events(db, &l, data, &report->unforeseen);
    if (e == ERR_OK)
        e = sum_patients(
            db, options->until_s != 0 ? data->until_s : data->last_s, data);
    if (e == ERR_OK)
        e = sum_held(db, &data->fate);
    if (e == ERR_OK)
        e = hand_over(&l, report);
    if (e == ERR_OK)
        e = backtest_count(report);
    if (e == ERR_OK)
        e = sum_reminders(db, report);
    clear_list(&l);
    return e;
}
