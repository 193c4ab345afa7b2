#include "service/backtest_feed.h"

#include "adapters/feed.h"
#include "adapters/fhir_arrival.h"
#include "adapters/fhir_out.h"
#include "service/backtest_sort.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* One file being read. */
struct file {
    struct backtest_feed *feed;
    const char *name;
    int64_t before_s; /* arrival of the resource before */
};

void backtest_feed_init(struct backtest_feed *feed,
                        const struct fhir_reader *reader, backtest_say_fn say,
                        void *arg)
{
    *feed = (struct backtest_feed){ .reader = reader, .say = say, .arg = arg };
}

void backtest_feed_clear(struct backtest_feed *feed)
{
    for (size_t i = 0; i < feed->count; i++) {
        free(feed->messages[i].text);
        free(feed->messages[i].name);
    }
    free(feed->messages);
    free(feed->delays_d);
    *feed = (struct backtest_feed){ .reader = feed->reader,
                                    .effective = feed->effective };
}

static void say(struct file *f, uint64_t line, const char *word,
                const char *text, const char *place)
{
    f->feed->unreadable++;
    if (f->feed->say != NULL)
        f->feed->say(f->feed->arg, f->name, line, word, text, place);
}

/* ---- keeping -------------------------------------------------------------- */

static void widen(struct backtest_span *span, int64_t at_s)
{
    if (!span->known || at_s < span->first_s)
        span->first_s = at_s;
    if (!span->known || at_s > span->last_s)
        span->last_s = at_s;
    span->known = true;
}

static void note_spans(struct backtest_feed *feed, const struct fhir_arrival *a)
{
    widen(&feed->arrived, a->at_s);
    widen(&feed->measured, a->measured_s);
}

bool backtest_feed_is_export(const struct backtest_feed *feed)
{
    enum { SPAN_D = 30 };
    const struct backtest_span *a = &feed->arrived, *m = &feed->measured;

    return !feed->effective && a->known && a->last_s - a->first_s < DAY_S &&
           m->last_s - m->first_s > (int64_t)SPAN_D * DAY_S;
}

double backtest_feed_delay_d(struct backtest_feed *feed)
{
    /* it would be that of the option, not of the data */
    return feed->effective ? NAN
                           : backtest_median(feed->delays_d, feed->delay_count);
}

/* When it came; or, if the files only say when they were written, when it was
 * measured. */
static enum err read_arrival(const struct backtest_feed *feed, const char *json,
                             size_t len, struct fhir_arrival *a)
{
    enum err e = fhir_arrival_read(json, len, feed->reader->zone, a);

    if (e == ERR_OK && feed->effective && a->measured) {
        a->timed = true;
        a->at_s = a->measured_s;
    }
    return e;
}

static enum err note_delay(struct backtest_feed *feed,
                           const struct fhir_arrival *a)
{
    void *more;
    enum err e;

    if (!a->timed || !a->measured)
        return ERR_OK;
    note_spans(feed, a);
    if (feed->delay_count == feed->delay_size) {
        e = backtest_grow(feed->delays_d, &feed->delay_size,
                          sizeof(*feed->delays_d), BACKTEST_MESSAGES_MAX,
                          &more);
        if (e != ERR_OK)
            return e;
        feed->delays_d = more;
    }
    feed->delays_d[feed->delay_count++] =
        (double)(a->at_s - a->measured_s) / DAY_S;
    return ERR_OK;
}

static enum err make_room(struct backtest_feed *feed)
{
    void *more;
    enum err e;

    if (feed->count < feed->size)
        return ERR_OK;
    e = backtest_grow(feed->messages, &feed->size, sizeof(*feed->messages),
                      BACKTEST_MESSAGES_MAX, &more);
    if (e == ERR_OK)
        feed->messages = more;
    return e;
}

/* Takes text over, also if it fails. */
static enum err keep(struct file *f, const struct fhir_arrival *a,
                     enum backtest_kind kind, char *text, size_t len,
                     uint64_t line)
{
    struct backtest_feed *feed = f->feed;
    struct backtest_message *m;
    char *name = NULL;
    enum err e = make_room(feed);

    if (e == ERR_OK && a->name[0] != '\0') {
        name = strdup(a->name);
        e = name == NULL ? ERR_MEMORY : ERR_OK;
    }
    if (e == ERR_OK)
        e = note_delay(feed, a);
    if (e != ERR_OK) {
        free(text);
        free(name);
        return e;
    }
    m = &feed->messages[feed->count];
    *m = (struct backtest_message){ .at_s = f->before_s,
                                    .order = feed->count,
                                    .kind = kind,
                                    .text = text,
                                    .len = len,
                                    .file = f->name,
                                    .line = line,
                                    .name = name,
                                    .in_use = a->in_use };
    if (a->timed)
        m->at_s = f->before_s = a->at_s;
    else if (kind != BACKTEST_BUNDLE && a->type != FHIR_OBSERVATION)
        m->at_s = BACKTEST_EARLIEST;
    feed->count++;
    feed->bytes += len;
    return ERR_OK;
}

static enum err keep_copy(struct file *f, const struct fhir_arrival *a,
                          enum backtest_kind kind, const char *json, size_t len,
                          uint64_t line)
{
    char *text = malloc(len + 1);

    if (text == NULL)
        return ERR_MEMORY;
    memcpy(text, json, len);
    text[len] = '\0';
    return keep(f, a, kind, text, len, line);
}

/* ---- Bundles -------------------------------------------------------------- */

/* Does a string in it begin with "urn:uuid:"?  A number of somebody may; then
 * the Bundle is taken whole, which is no harm. */
static bool has_local_name(const char *json, size_t len)
{
    static const char mark[] = "\"urn:uuid:";
    const char *at = json, *end = json + len;

    while ((at = memchr(at, '"', (size_t)(end - at))) != NULL) {
        if ((size_t)(end - at) >= sizeof(mark) - 1 &&
            memcmp(at, mark, sizeof(mark) - 1) == 0)
            return true;
        at++;
    }
    return false;
}

/* One entry by itself, with the name that others may use for it. */
static enum err keep_entry(struct file *f, const char *body,
                           const struct fhir_item *item, uint64_t line)
{
    struct fhir_arrival a;
    struct buf entry;
    size_t len;
    enum err e = read_arrival(f->feed, body + item->offset, item->len, &a);

    if (e != ERR_OK)
        return e;
    buf_init(&entry, item->len + 4096);
    buf_puts(&entry, "{");
    fhir_out_text(&entry, "fullUrl", item->full_url);
    fhir_out_raw(&entry, "resource", body + item->offset, item->len);
    buf_puts(&entry, "}");
    e = buf_ok(&entry);
    len = entry.len;
    if (e == ERR_OK)
        e = keep(f, &a, BACKTEST_ENTRY, buf_take(&entry), len, line);
    buf_clear(&entry);
    return e;
}

/* When the last of its entries came. */
static void time_of_entries(const struct backtest_feed *feed, const char *body,
                            struct fhir_doc *doc, struct fhir_arrival *a)
{
    struct fhir_arrival one, last = { .timed = false };

    for (size_t i = 0; i < fhir_doc_count(doc); i++) {
        const struct fhir_item *item = fhir_doc_item(doc, i);

        if (item->len == 0 ||
            read_arrival(feed, body + item->offset, item->len, &one) !=
                ERR_OK ||
            !one.timed || (feed->effective && !one.measured) ||
            (last.timed && one.at_s <= last.at_s))
            continue;
        last = one;
    }
    if (last.timed) {
        a->timed = true;
        a->at_s = last.at_s;
    }
}

static bool may_split(const char *body, struct fhir_doc *doc)
{
    for (size_t i = 0; i < fhir_doc_count(doc); i++) {
        const struct fhir_item *item = fhir_doc_item(doc, i);

        if (item->len == 0 || has_local_name(body + item->offset, item->len))
            return false;
    }
    return true;
}

/* One that cannot be read is kept too: it is refused when its time comes. */
static enum err add_bundle(struct file *f, struct fhir_arrival *a,
                           const char *body, size_t len, uint64_t line)
{
    struct outcome outcome;
    struct fhir_doc *doc = NULL;
    enum err e;

    outcome_init(&outcome);
    e = fhir_read(f->feed->reader, body, len, &outcome, &doc);
    if (e == ERR_MEMORY)
        return e;
    if (e == ERR_OK && a->splits && may_split(body, doc)) {
        for (size_t i = 0; e == ERR_OK && i < fhir_doc_count(doc); i++)
            e = keep_entry(f, body, fhir_doc_item(doc, i), line);
    } else {
        if (e == ERR_OK && (!a->timed || f->feed->effective))
            time_of_entries(f->feed, body, doc, a);
        e = keep_copy(f, a, BACKTEST_BUNDLE, body, len, line);
    }
    if (doc != NULL)
        fhir_doc_free(doc);
    return e;
}

/* ---- files ---------------------------------------------------------------- */

/* In the words of the reader, which knows what is wrong with it. */
static void say_unreadable(struct file *f, const char *json, size_t len,
                           uint64_t line)
{
    struct outcome outcome;
    struct fhir_doc *doc = NULL;

    outcome_init(&outcome);
    if (fhir_read(f->feed->reader, json, len, &outcome, &doc) == ERR_FORM &&
        outcome.count > 0 && strcmp(outcome.issues[0].word, "json-syntax") == 0)
        say(f, line, "json-syntax", outcome.issues[0].text, "");
    else
        say(f, line, "json-syntax", "this is not a JSON object", "");
    fhir_doc_free(doc);
}

static enum err add_resource(struct file *f, const char *json, size_t len,
                             uint64_t line)
{
    struct fhir_arrival a;
    enum err e = read_arrival(f->feed, json, len, &a);

    if (e == ERR_FORM) {
        say_unreadable(f, json, len, line);
        return ERR_OK;
    }
    if (e != ERR_OK)
        return e;
    return a.type == FHIR_BUNDLE
               ? add_bundle(f, &a, json, len, line)
               : keep_copy(f, &a, BACKTEST_RESOURCE, json, len, line);
}

static enum err add_lines(struct file *f, struct feed *feed)
{
    struct feed_line line;
    enum err e;

    while ((e = feed_next(feed, &line)) != ERR_ABSENT) {
        if (e == ERR_OK)
            e = add_resource(f, line.text, line.len, line.number);
        else if (e == ERR_FORM)
            say(f, line.number, "json-syntax",
                "the line is not one JSON object", "");
        else if (e == ERR_LIMIT)
            say(f, line.number, "too-long", "the line is too long", "");
        if (e != ERR_OK && e != ERR_FORM && e != ERR_LIMIT)
            return e;
    }
    return ERR_OK;
}

static enum err add_document(struct file *f, struct feed *feed)
{
    struct buf body;
    enum err e;

    buf_init(&body, BACKTEST_DOCUMENT_MAX);
    e = feed_rest(feed, &body);
    if (e == ERR_LIMIT) {
        say(f, 1, "too-long", "the document is too long", "");
        e = ERR_OK;
    } else if (e == ERR_OK && body.len > 0 &&
               strspn(body.data, " \t\r\n") < body.len) {
        e = add_resource(f, body.data, body.len, 1);
    }
    buf_clear(&body);
    return e;
}

enum err backtest_feed_add(struct backtest_feed *feed, FILE *stream,
                           const char *name)
{
    struct file f = { .feed = feed,
                      .name = name,
                      .before_s = BACKTEST_EARLIEST };
    struct feed *lines;
    bool is_lines = false;
    enum err e = feed_new(feed_read_file, stream, &lines);

    if (e != ERR_OK)
        return e;
    e = feed_is_lines(lines, name, &is_lines);
    if (e == ERR_OK)
        e = is_lines ? add_lines(&f, lines) : add_document(&f, lines);
    feed_free(lines);
    return e;
}
