/*
 * fuzz_feed - libFuzzer target: any bytes as a file to load, and as an answer
 *
 * Link with adapters, planner, jansson and libcrypto, all built with
 * -fsanitize=fuzzer,address,undefined.
 *
 * The first byte says in pieces of which size the rest is read, the second
 * how much a Bundle may hold.  Beyond not crashing: the lines are those of the
 * plain reading; what is gathered is each good line once, in order, in Bundles
 * within their limits; and a Bundle that jansson can read has as many entries
 * as lines were put in.
 */
#include "adapters/error_lines.h"
#include "adapters/fhir_answer.h"
#include "tests/feed_kit.h"

#include <jansson.h>
#include <stdlib.h>

/* A broken promise must stop the fuzzer in every kind of build. */
static void must(bool kept)
{
    if (!kept)
        abort();
}

static struct feed *feed_on(struct source *s, const char *data, size_t len,
                            size_t piece)
{
    struct feed *feed;

    *s = (struct source){ data, len, 0, piece, SIZE_MAX };
    must(feed_new(source_read, s, &feed) == ERR_OK);
    return feed;
}

/* Returns how many lines are good. */
static size_t check_lines(const char *data, size_t len, size_t piece)
{
    struct source s;
    struct feed *feed = feed_on(&s, data, len, piece);
    struct feed_line want = { .number = 0 }, got;
    size_t at = 0, good = 0;

    while (plain_next(data, len, &at, &want)) {
        enum err e = feed_next(feed, &got);

        must(e == ERR_OK || e == ERR_FORM);
        must(got.number == want.number && got.offset == want.offset);
        must(got.len == want.len && memcmp(got.text, want.text, got.len) == 0);
        good += e == ERR_OK ? 1 : 0;
    }
    must(feed_next(feed, &got) == ERR_ABSENT);
    must(feed_taken(feed) == len);
    feed_free(feed);
    return good;
}

/* -1: jansson cannot read it. */
static long entries_of(const struct buf *body)
{
    json_t *root = json_loadb(body->data, body->len, JSON_ALLOW_NUL, NULL);
    long count = -1;

    if (root != NULL)
        count = (long)json_array_size(json_object_get(root, "entry"));
    json_decref(root);
    return count;
}

static void check_batch(const struct feed_batch *batch, const char *data,
                        uint64_t *last)
{
    long entries = entries_of(&batch->body);
    struct buf single;

    must(batch->count >= 1 && batch->count <= batch->entries_max);
    must(batch->body.len <= batch->bytes_max);
    must(entries < 0 || entries == (long)batch->count);
    buf_init(&single, batch->bytes_max);
    for (size_t i = 0; i < batch->count; i++) {
        const struct feed_entry *e = &batch->entries[i];

        must(e->line > *last);
        *last = e->line;
        must(memcmp(batch->body.data + e->start, data + e->offset, e->len) ==
             0);
        feed_batch_single(batch, i, &single);
        must(buf_ok(&single) == ERR_OK);
        entries = entries_of(&single);
        must(entries < 0 || entries == 1);
    }
    buf_clear(&single);
}

static void check_batches(const char *data, size_t len, size_t piece,
                          size_t entries_max, size_t good)
{
    struct source s;
    struct feed *feed = feed_on(&s, data, len, piece);
    struct feed_batch batch;
    size_t found = 0;
    uint64_t last = 0;
    bool lines;
    enum err e;

    must(feed_is_lines(feed, NULL, &lines) == ERR_OK);
    must(!lines || good > 0);
    must(feed_batch_init(&batch, entries_max, 256) == ERR_OK);
    while ((e = feed_gather(feed, &batch)) != ERR_ABSENT) {
        must(e == ERR_OK || e == ERR_FORM || e == ERR_LIMIT);
        found += e == ERR_LIMIT ? 1 : 0; /* good, but too long for 256 bytes */
        if (e != ERR_OK)
            continue;
        found += batch.count;
        check_batch(&batch, data, &last);
    }
    must(found == good);
    feed_batch_clear(&batch);
    feed_free(feed);
}

/* Behind a parcel another reader finds what this one would. */
static void check_resumed(const char *data, size_t len,
                          const struct feed_parcel *parcel)
{
    struct source s = { data + parcel->taken, len - (size_t)parcel->taken, 0, 7,
                        SIZE_MAX };
    struct feed_line want = { .number = parcel->lines }, got;
    size_t at = (size_t)parcel->taken;
    struct feed *feed;

    must(feed_new_at(source_read, &s, parcel->taken, parcel->lines, &feed) ==
         ERR_OK);
    if (plain_next(data, len, &at, &want)) {
        enum err e = feed_next(feed, &got);

        must(e == ERR_OK || e == ERR_FORM);
        must(got.number == want.number && got.offset == want.offset);
        must(got.len == want.len && memcmp(got.text, want.text, got.len) == 0);
    } else {
        must(feed_next(feed, &got) == ERR_ABSENT);
    }
    feed_free(feed);
}

static void check_parcels(const char *data, size_t len, size_t piece,
                          size_t entries_max)
{
    struct source s;
    struct feed *feed = feed_on(&s, data, len, piece);
    struct feed_parcel parcel;
    struct feed_line line = { .number = 0 };
    size_t at = 0, lines = 0, found = 0;
    uint64_t taken = 0;
    enum err e;

    while (plain_next(data, len, &at, &line))
        lines++;
    must(feed_parcel_init(&parcel, entries_max, 256) == ERR_OK);
    while ((e = feed_parcel_next(feed, &parcel)) == ERR_OK) {
        must(parcel.batch.count + parcel.fault_count > 0);
        must(parcel.batch.count <= entries_max);
        must(parcel.fault_count <= entries_max);
        must(parcel.batch.body.len <= 256 && parcel.faulty.len <= 256);
        must(parcel.taken > taken && parcel.taken <= len);
        found += parcel.batch.count + parcel.fault_count;
        taken = parcel.taken;
        check_resumed(data, len, &parcel);
    }
    must(e == ERR_ABSENT && found == lines);
    feed_parcel_clear(&parcel);
    feed_free(feed);
}

/* What a file is, and what is written about what was refused of it. */
static void check_kind(const char *data, size_t len)
{
    enum feed_kind kind =
        feed_kind_of(data, len < FEED_HEAD_SIZE ? len : FEED_HEAD_SIZE, NULL);
    const struct error_place place = { "f", 1, 0, 0 };
    struct error_answer *answer = NULL;
    struct error_hl7 hl7;
    struct buf out;
    json_t *root;

    must((feed_kind_reason(kind) == NULL) ==
         (kind == FEED_JSON || kind == FEED_HL7));
    (void)feed_is_bundle(data, len);
    if (error_answer_open(data, len, &answer) != ERR_OK)
        return;
    buf_init(&out, 1 << 22);
    error_answer_write(answer, 0, &place, &out);
    if (error_answer_hl7(answer, &hl7) == ERR_OK)
        must(strlen(hl7.word) < sizeof(hl7.word));
    must(buf_ok(&out) == ERR_OK && out.data[out.len - 1] == '\n');
    root = json_loadb(out.data, out.len, JSON_ALLOW_NUL, NULL);
    must(root != NULL);
    must(json_array_size(json_object_get(root, "issue")) > 0);
    json_decref(root);
    buf_clear(&out);
    error_answer_close(answer);
}

static void check_answer(const char *data, size_t len)
{
    struct fhir_answer answers[4];
    size_t count;
    bool lone;

    if (fhir_answer_read(data, len, 200, answers, 4, &count, &lone) != ERR_OK)
        return;
    must(count <= 4 && (!lone || count == 1));
    for (size_t i = 0; i < count; i++) {
        const struct fhir_answer *a = &answers[i];

        must(a->status >= 0 && a->status <= 999);
        must(a->words < 1U << ANSWER_WORD_COUNT);
        must((a->fate == FATE_REFUSED) == (a->status < 200 || a->status > 299));
        must(strlen(a->word) < sizeof(a->word));
        must(strlen(a->text) < sizeof(a->text));
        must(strlen(a->place) < sizeof(a->place));
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const char *text = (const char *)data + 2;
    size_t piece, good;

    if (size < 2)
        return 0;
    piece = (size_t)data[0] + 1;
    good = check_lines(text, size - 2, piece);
    check_batches(text, size - 2, piece, data[1] % 8U + 1, good);
    check_parcels(text, size - 2, piece, data[1] % 8U + 1);
    check_kind(text, size - 2);
    check_answer(text, size - 2);
    return 0;
}
