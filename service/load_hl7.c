/* Messages of HL7 v2 out of a file, one by one to POST /hl7. */
#include "service/load.h"

#include "adapters/hl7_batch.h"

#include <errno.h>
#include <inttypes.h>
#include <string.h>

#define ER7_TYPE "x-application/hl7-v2+er7"

/* Lines that end within a message: CR, LF or CRLF. */
static uint64_t lines_in(const char *bytes, size_t len)
{
    uint64_t count = 0;

    for (size_t i = 0; i < len; i++) {
        if (bytes[i] == '\r' ||
            (bytes[i] == '\n' && (i == 0 || bytes[i - 1] != '\r')))
            count++;
    }
    return count;
}

static void add_results(struct load_counts *c, const struct error_hl7 *a)
{
    c->stored += a->stored;
    c->there += a->there;
    c->held += a->held;
    c->refused += a->refused;
}

/* Some of it was not usable: the whole of it is in quarantine, or it was
 * rejected. */
static bool is_refused(const struct error_hl7 *a)
{
    return !a->repeated && (a->quarantined || strcmp(a->answer, "AR") == 0);
}

static uint64_t *counter(struct load_messages *m, const struct error_hl7 *a)
{
    if (a->repeated)
        return &m->repeated;
    if (!is_refused(a))
        return &m->taken;
    return a->quarantined ? &m->faulty : &m->rejected;
}

static void count_message(struct load *l, const struct error_answer *answer,
                          const struct error_place *place)
{
    struct error_hl7 a;

    if (error_answer_hl7(answer, &a) != ERR_OK) {
        load_reject(l, place, "internal", "the answer is not understood");
        return;
    }
    ++*counter(&l->messages, &a);
    add_results(&l->results, &a);
    add_results(&l->state.counts, &a);
    if (!is_refused(&a) && !(a.held > 0 && l->args->errors_held))
        return;
    buf_empty(&l->line);
    error_answer_hl7_write(answer, l->base, place, &l->line);
    if (is_refused(&a))
        load_show_fault(l, place, a.word, a.text, a.place);
    load_put_line(l);
}

static bool write_path(const struct load *l, const struct error_place *place,
                       struct buf *out)
{
    buf_printf(out, "/hl7?line=%" PRIu64 "&start=%" PRIu64, place->line,
               place->offset);
    if (l->args->sender != NULL) {
        buf_puts(out, "&sender=");
        command_escape(out, l->args->sender);
    }
    return buf_ok(out) == ERR_OK;
}

/* A fault of the request as a whole (a sender that is not known) is one of
 * the command line, not of this message. */
static void send_message(struct load *l, const struct hl7_batch_message *m,
                         const struct error_place *place)
{
    struct error_answer *answer = NULL;
    struct buf path, out;
    long status = 0;
    bool ok;

    buf_init(&path, 2048);
    buf_init(&out, LOAD_ANSWER_MAX);
    ok = write_path(l, place, &path) &&
         load_call(l, path.data, ER7_TYPE, "application/json", m->bytes, m->len,
                   &status, &out);
    if (ok && (status != 200 ||
               error_answer_open(out.data, out.len, &answer) != ERR_OK)) {
        progress_clear(&l->progress);
        fprintf(stderr, "headgate: %s: the service answered %ld%s\n", l->name,
                status,
                status == 400 && l->args->sender != NULL
                    ? ": is there a section [sender NAME] of that name?"
                    : "");
        l->misused = status == 400 && l->args->sender != NULL;
        ok = false;
    }
    if (ok)
        count_message(l, answer, place);
    else
        l->broken = true;
    if (ok && m->cut) {
        progress_clear(&l->progress);
        fprintf(stderr,
                "%s:%" PRIu64 ": warning: the last segment of this message has "
                "no end: was the file cut off? Its last value may be short\n",
                l->name, place->line);
    }
    error_answer_close(answer);
    buf_clear(&path);
    buf_clear(&out);
}

/* What stands between messages, or is too long. */
static void refuse_piece(struct load *l, enum err e,
                         const struct hl7_batch_message *m,
                         const struct error_place *place)
{
    load_reject(l, place, e == ERR_LIMIT ? "too-long" : "bad-request",
                m->problem != NULL ? m->problem : "this belongs to no message");
}

static enum err next(struct load *l, struct hl7_batch *batch, uint64_t base)
{
    struct hl7_batch_message m;
    struct error_place place = { .file = l->name };
    enum err e;

    errno = 0;
    e = hl7_batch_next(batch, &m);
    if (e != ERR_OK && e != ERR_FORM && e != ERR_LIMIT)
        return e;
    place.line = base + m.line;
    place.offset = m.offset;
    if (e == ERR_OK)
        send_message(l, &m, &place);
    else
        refuse_piece(l, e, &m, &place);
    if (!l->broken)
        load_mark(l, m.end,
                  e == ERR_OK ? place.line - 1 + lines_in(m.bytes, m.len)
                              : place.line);
    progress_update(&l->progress, m.end, load_now_ms());
    return ERR_OK;
}

void load_hl7(struct load *l, struct feed *feed)
{
    struct hl7_batch *batch = NULL;
    uint64_t base = l->state.lines;
    enum err e = hl7_batch_new(feed_read_on, feed, l->state.offset, &batch);

    l->saw_hl7 = true;
    while (e == ERR_OK && !l->broken && load_stopped() == 0)
        e = next(l, batch, base);
    if (e != ERR_OK && e != ERR_ABSENT && load_stopped() == 0)
        load_say_unreadable(l, e);
    hl7_batch_free(batch);
}
