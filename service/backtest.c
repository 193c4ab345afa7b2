#include "service/backtest_work.h"

#include "service/intake.h"
#include "service/planning.h"
#include "service/review.h"

#include <stdlib.h>
#include <string.h>

enum {
    ENTRIES_AT_ONCE = 250,
    BYTES_AT_ONCE = 2 * 1024 * 1024,
    STEPS_PER_COMMIT = 2000,
    MINUTE_MS = 60000,
    /* A review that fails is tried again a minute later (review.c).  So many
     * are, in a run; what fails after that is given up at once. */
    VAIN_MAX = 60
};

/* The clock of the run; struct review asks a function without argument. */
static int64_t clock_ms_now;

static int64_t simulated_ms(void)
{
    return clock_ms_now;
}

struct replay {
    const struct backtest_options *options;
    struct db *db;
    struct fhir_reader reader;
    struct review review;
    struct backtest_fate *fate;
    unsigned long given_up;
    int64_t last; /* access that was due last */
    int vain;     /* stops that led to nothing */
    int steps;    /* since the last commit */
    uint64_t done_bytes;
};

/* ---- counting ------------------------------------------------------------- */

static void count_word(struct backtest_word *words, const char *word)
{
    for (size_t i = 0; i < BACKTEST_WORDS_MAX; i++) {
        if (words[i].word == NULL)
            words[i].word = word;
        if (strcmp(words[i].word, word) == 0) {
            words[i].count++;
            return;
        }
    }
}

static const struct issue *first_error(const struct outcome *o)
{
    for (size_t i = 0; i < o->count; i++) {
        if (o->issues[i].severity >= SEV_ERROR)
            return &o->issues[i];
    }
    return NULL;
}

static void refuse(struct replay *r, const struct backtest_message *m,
                   const struct outcome *o)
{
    const struct issue *issue = first_error(o);
    const char *word = issue != NULL ? issue->word : "refused";

    r->fate->refused++;
    count_word(r->fate->refused_words, word);
    if (r->options->say != NULL)
        r->options->say(r->options->arg, m->file, m->line, word,
                        issue != NULL ? issue->text : "refused",
                        issue != NULL ? issue->place : "");
}

static bool is_there(const struct outcome *o)
{
    for (size_t i = 0; i < o->count; i++) {
        if (strcmp(o->issues[i].word, "duplicate") == 0 ||
            strcmp(o->issues[i].word, "out-of-order") == 0)
            return true;
    }
    return false;
}

static void count_item(struct replay *r, const struct backtest_message *m,
                       const struct fhir_item *item,
                       const struct intake_result *result)
{
    if (result->status >= 400)
        refuse(r, m, &item->outcome);
    else if (is_there(&item->outcome))
        r->fate->there++;
    else
        r->fate->stored++;
}

/* ---- taking in ------------------------------------------------------------ */

/* In a savepoint of its own, as a job of the store. */
static enum err apply(struct replay *r, struct intake *in)
{
    enum err e = db_run(r->db, Q_SAVE, "");
    enum err applied;

    if (e != ERR_OK)
        return e;
    applied = intake_apply(r->db, in);
    if (applied != ERR_OK) {
        e = db_run(r->db, Q_UNDO, "");
        db_forget_ids(r->db);
    }
    if (e == ERR_OK)
        e = db_run(r->db, Q_RELEASE, "");
    if (e != ERR_OK)
        return e;
    return in->all_failed ? ERR_OK : applied; /* refused, not failed */
}

/*
 * A body whose messages are m[0] on: entry i is of m[i], or, for a Bundle that
 * is one message, all are of m[0].
 */
static enum err take_body(struct replay *r, const struct backtest_message *m,
                          bool one_message, const char *body, size_t len)
{
    struct fhir_doc *doc = NULL;
    struct outcome outcome;
    struct intake in = { .reader = &r->reader,
                         .body = body,
                         .len = len,
                         .strict_access = r->options->strict_access,
                         .merge_implied = r->options->merge_implied,
                         .now_ms = clock_ms_now };
    enum err e;

    outcome_init(&outcome);
    r->reader.now_s = clock_ms_now / 1000;
    e = fhir_read(&r->reader, body, len, &outcome, &doc);
    if (e != ERR_OK) {
        if (e != ERR_MEMORY)
            refuse(r, m, &outcome);
        return e == ERR_MEMORY ? e : ERR_OK;
    }
    in.doc = doc;
    in.source =
        fhir_doc_bundle(doc) == BUNDLE_COLLECTION ? SOURCE_FEED : SOURCE_HTTP;
    in.results = calloc(fhir_doc_count(doc) + 1, sizeof(*in.results));
    e = in.results != NULL ? apply(r, &in) : ERR_MEMORY;
    for (size_t i = 0; e == ERR_OK && i < fhir_doc_count(doc); i++) {
        /* refused together: those that have no fault themselves as well */
        if (in.all_failed && in.results[i].status < 400)
            in.results[i].status = 400;
        count_item(r, one_message ? m : &m[i], fhir_doc_item(doc, i),
                   &in.results[i]);
    }
    free(in.results);
    fhir_doc_free(doc);
    return e;
}

/* Resources of one second as a collection, as a file of them is loaded: what
 * is unclear is then held, not refused.  Says how many were taken. */
static enum err take_some(struct replay *r, const struct backtest_message *m,
                          size_t most, size_t *taken)
{
    struct buf body;
    size_t n = 0;
    enum err e;

    *taken = 1;
    r->done_bytes += m->len; /* of the first; the others follow below */
    if (m->kind == BACKTEST_BUNDLE)
        return take_body(r, m, true, m->text, m->len);
    buf_init(&body, (size_t)BACKTEST_DOCUMENT_MAX + 4096);
    buf_puts(&body, "{\"resourceType\":\"Bundle\",\"type\":\"collection\","
                    "\"entry\":[");
    while (n < most && n < ENTRIES_AT_ONCE && body.len < BYTES_AT_ONCE &&
           m[n].kind != BACKTEST_BUNDLE) {
        bool bare = m[n].kind == BACKTEST_RESOURCE;

        buf_puts(&body, n > 0 ? "," : "");
        buf_puts(&body, bare ? "{\"resource\":" : "");
        buf_add(&body, m[n].text, m[n].len);
        buf_puts(&body, bare ? "}" : "");
        r->done_bytes += n > 0 ? m[n].len : 0;
        n++;
    }
    buf_puts(&body, "]}");
    e = buf_ok(&body);
    if (e == ERR_OK)
        e = take_body(r, m, false, body.data, body.len);
    buf_clear(&body);
    *taken = n;
    return e;
}

/* ---- the clock ------------------------------------------------------------ */

static enum err review_now(struct replay *r)
{
    bool more = true, told = false;
    enum err e = ERR_OK;

    while (e == ERR_OK && more) {
        more = false;
        e = review_run(r->db, &r->review, &more, &told);
    }
    return e;
}

/* When is an access to be looked at next? */
static enum err next_due(struct replay *r, bool *due, int64_t *at_ms,
                         int64_t *access)
{
    const enum query q = Q_BACKTEST_DUE;
    enum err e = db_first(r->db, q, "");

    *due = e == ERR_OK;
    if (e != ERR_OK)
        return e == ERR_ABSENT ? ERR_OK : e;
    *at_ms = db_int(r->db, q, 0);
    *access = db_int(r->db, q, 1);
    db_done(r->db, q);
    return ERR_OK;
}

/* A long transaction only makes the journal in memory grow. */
static enum err commit_now_and_then(struct replay *r)
{
    enum err e;

    if (++r->steps < STEPS_PER_COMMIT)
        return ERR_OK;
    r->steps = 0;
    e = db_run(r->db, Q_COMMIT, "");
    return e == ERR_OK ? db_run(r->db, Q_BEGIN, "") : e;
}

/* Is this the access that was just looked at, in vain?  A failed review is
 * tried a minute later; one that is due at once again would never end. */
static bool is_in_vain(struct replay *r, int64_t at_ms, int64_t access)
{
    bool same = access == r->last;

    r->last = access;
    return same && (at_ms <= clock_ms_now || at_ms - clock_ms_now == MINUTE_MS);
}

/* All that is due before limit_ms, each at its time. */
static enum err run_agenda(struct replay *r, int64_t limit_ms)
{
    bool due;
    int64_t at_ms = 0, access = 0;
    enum err e;

    while ((e = next_due(r, &due, &at_ms, &access)) == ERR_OK && due &&
           at_ms < limit_ms) {
        bool vain = is_in_vain(r, at_ms, access);

        r->vain += vain;
        if (vain && r->vain > VAIN_MAX) {
            r->given_up++;
            e = db_run(r->db, Q_NEWS_REMOVE, "i", access);
        } else {
            if (at_ms > clock_ms_now)
                clock_ms_now = at_ms;
            e = review_now(r);
        }
        if (e == ERR_OK)
            e = commit_now_and_then(r);
        if (e != ERR_OK)
            return e;
    }
    return e;
}

/* ---- the run -------------------------------------------------------------- */

static int64_t arrival_of(const struct backtest_message *m, int64_t first_s)
{
    return m->at_s == BACKTEST_EARLIEST ? first_s : m->at_s;
}

/* Messages up to until_s, then what is due until then. */
static enum err play(struct replay *r, const struct backtest_feed *feed,
                     const struct backtest_data *data)
{
    size_t i = 0, taken = 0;
    enum err e = ERR_OK;

    while (e == ERR_OK && i < feed->count) {
        int64_t at_s = feed->messages[i].at_s;
        size_t end = i;

        if (at_s > data->until_s)
            break;
        while (end < feed->count && feed->messages[end].at_s == at_s)
            end++;
        at_s = arrival_of(&feed->messages[i], data->first_s);
        e = run_agenda(r, at_s * 1000);
        clock_ms_now = at_s * 1000;
        for (; e == ERR_OK && i < end; i += taken)
            e = take_some(r, &feed->messages[i], end - i, &taken);
        if (e == ERR_OK)
            e = review_now(r);
        if (e == ERR_OK)
            e = commit_now_and_then(r);
        if (r->options->progress != NULL)
            r->options->progress(r->options->arg, r->done_bytes);
    }
    r->fate->late = feed->count - i;
    if (e == ERR_OK)
        e = run_agenda(r, data->until_s * 1000 + 1);
    return e;
}

/* First and last arrival, and the day on which it ends. */
static enum err find_times(const struct backtest_feed *feed,
                           const struct backtest_options *o,
                           struct backtest_data *data)
{
    const struct zone *zone = o->reader.zone;
    size_t from = 0;
    int64_t local_s;

    while (from < feed->count && feed->messages[from].at_s == BACKTEST_EARLIEST)
        from++;
    if (from == feed->count ||
        (o->until_s != 0 && feed->messages[from].at_s > o->until_s))
        return ERR_ABSENT;
    data->first_s = feed->messages[from].at_s;
    data->last_s = feed->messages[feed->count - 1].at_s;
    local_s = data->last_s + zone_offset_s(zone, data->last_s);
    local_s -= ((local_s % DAY_S) + DAY_S) % DAY_S;
    data->until_s =
        o->until_s != 0 ? o->until_s : zone_utc_s(zone, local_s + DAY_S) - 1;
    if (data->last_s > data->until_s)
        data->last_s = data->until_s;
    return ERR_OK;
}

static void name_policy(const struct policy *p, struct backtest_report *report)
{
    memcpy(report->version, p->version, sizeof(report->version));
    memcpy(report->approver, p->approver, sizeof(report->approver));
    memcpy(report->date, p->date, sizeof(report->date));
}

static enum err run_in(struct replay *r, const struct backtest_feed *feed,
                       struct backtest_data *data,
                       struct backtest_report *report)
{
    enum err e = db_run(r->db, Q_BEGIN, "");

    clock_ms_now = data->first_s * 1000;
    if (e == ERR_OK)
        e = play(r, feed, data);
    if (e == ERR_OK)
        e = db_run(r->db, Q_COMMIT, "");
    report->given_up = r->given_up;
    if (e == ERR_OK)
        e = backtest_sum(r->db, r->options, data, report);
    return e;
}

enum err backtest_run(struct backtest_feed *feed,
                      const struct backtest_options *options,
                      struct backtest_data *data,
                      struct backtest_report *report)
{
    struct replay r = { .options = options,
                        .reader = options->reader,
                        .fate = &data->fate };
    enum err e;

    *data = (struct backtest_data){ .delay_d = backtest_feed_delay_d(feed) };
    *report = (struct backtest_report){ .count = 0 };
    data->is_export = backtest_feed_is_export(feed);
    data->effective = feed->effective;
    data->fate.unreadable = feed->unreadable;
    name_policy(options->policy, report);
    r.review = (struct review){ .policy = options->policy,
                                .zone = options->reader.zone,
                                .base = options->reader.base,
                                .no_plans = true, /* nobody reads them */
                                .now_ms = simulated_ms };
    e = find_times(feed, options, data);
    if (e == ERR_OK)
        e = planning_open(&r.review.planning);
    if (e == ERR_OK)
        e = db_open(":memory:", &r.db);
    if (e == ERR_OK) {
        e = run_in(&r, feed, data, report);
        if (e != ERR_OK)
            backtest_clear(report);
        db_close(r.db);
    }
    planning_close(r.review.planning);
    return e;
}
