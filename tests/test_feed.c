#include "tests/feed_kit.h"
#include "tests/test.h"

#include <jansson.h>
#include <stdbool.h>

static struct feed *feed_on(struct source *s, const char *data, size_t len,
                            size_t piece)
{
    struct feed *feed;

    *s = (struct source){ data, len, 0, piece, SIZE_MAX };
    assert_int_equal(feed_new(source_read, s, &feed), ERR_OK);
    return feed;
}

/* ---- lines ---------------------------------------------------------------- */

#define BOM "\xef\xbb\xbf"

/* The lines found: "NUMBER@OFFSET:TEXT" with a blank between; "!" before a
 * line that is no object. */
static const struct {
    const char *name, *text, *want;
} line_cases[] = {
    { "nothing", "", "" },
    { "LF", "{}\n{\"a\":1}\n", "1@0:{} 2@3:{\"a\":1}" },
    { "CRLF", "{}\r\n{\"a\":1}\r\n", "1@0:{} 2@4:{\"a\":1}" },
    { "last without an end", "{}\n[]\n{}", "1@0:{} !2@3:[] 3@6:{}" },
    { "last ends in CR", "{}\r", "1@0:{}" },
    { "blank lines", "\n \t\r\n{}\n\n\n{}\n", "3@5:{} 6@10:{}" },
    { "only blank lines", "\n\r\n  \n", "" },
    { "byte order mark", BOM "{}\n{}\n", "1@3:{} 2@6:{}" },
    { "byte order mark alone", BOM, "" },
    { "half a byte order mark", "\xef\xbb", "!1@0:\xef\xbb" },
    { "byte order mark twice", BOM BOM "{}", "!1@3:" BOM "{}" },
    { "byte order mark later", "{}\n" BOM "{}", "1@0:{} !2@3:" BOM "{}" },
    { "blanks around", " {} \n", "1@0: {} " },
    { "brackets in a string", "{\"a\":\"}]\\\"}\"}",
      "1@0:{\"a\":\"}]\\\"}\"}" },
    { "cut short", "{\"a\":[1,2]\n{}\n", "!1@0:{\"a\":[1,2] 2@11:{}" },
    { "string open", "{\"a\n\"}\n", "!1@0:{\"a !2@4:\"}" },
    { "ends in an escape", "{\"a\\", "!1@0:{\"a\\" },
    { "two in one line", "{} {}\n", "!1@0:{} {}" },
    { "out of its entry", "{}},{\"resource\":{}\n",
      "!1@0:{}},{\"resource\":{}" },
    { "brackets crossed", "{[}]\n", "!1@0:{[}]" },
    { "no bracket", "null\n", "!1@0:null" },
};

static void add_line(struct buf *out, enum err e, const struct feed_line *line)
{
    buf_printf(out, "%s%s%d@%d:", out->len > 0 ? " " : "",
               e == ERR_OK ? "" : "!", (int)line->number, (int)line->offset);
    buf_add(out, line->text, line->len);
}

static void reads_lines(void **state)
{
    struct buf out;

    (void)state;
    buf_init(&out, 1 << 16);
    for (size_t i = 0; i < COUNT(line_cases); i++) {
        const char *text = line_cases[i].text;

        ROW(line_cases[i].name);
        for (size_t piece = 1; piece <= strlen(text) + 1; piece++) {
            struct source s;
            struct feed *feed = feed_on(&s, text, strlen(text), piece);
            struct feed_line line;
            enum err e;

            buf_empty(&out);
            while ((e = feed_next(feed, &line)) != ERR_ABSENT) {
                assert_true(e == ERR_OK || e == ERR_FORM);
                add_line(&out, e, &line);
            }
            assert_string_equal(out.data, line_cases[i].want);
            assert_int_equal(feed_taken(feed), strlen(text));
            assert_int_equal(feed_next(feed, &line), ERR_ABSENT);
            feed_free(feed);
        }
    }
    buf_clear(&out);
}

/* Six lines of every kind: what a load meets. */
static const char sample[] =
    BOM "{\"resourceType\":\"Patient\",\"id\":\"p-1\"}\r\n"
        "\r\n"
        "{\"resourceType\":\"Observation\",\"note\":[{\"text\":\"}{ "
        "\\\"K\xc3\xbchl\\\"\"}]}\n"
        "  \n"
        "{\"resourceType\":\"Observation\",\"valueQuantity\":{\"value\":2240}}"
        "\n"
        "{\"resourceType\":\"Observation\",\"id\":\"last\"}";

/* Every prefix of the sample in pieces of every size up to 9 and whole: the
 * same lines as the plain reading finds, and none half. */
static void every_truncation(void **state)
{
    size_t whole = sizeof(sample) - 1;

    (void)state;
    for (size_t len = 0; len <= whole; len++) {
        for (size_t piece = 1; piece <= 10; piece++) {
            struct source s;
            struct feed *feed =
                feed_on(&s, sample, len, piece < 10 ? piece : whole);
            struct feed_line want = { .number = 0 }, got;
            size_t at = 0;

            while (plain_next(sample, len, &at, &want)) {
                enum err e = feed_next(feed, &got);
                /* What stands after it in the whole sample: NUL at its end. */
                char after = sample[want.offset + want.len];
                bool is_whole = strchr("\r\n", after) != NULL;

                assert_int_equal(e, is_whole ? ERR_OK : ERR_FORM);
                assert_int_equal(got.number, want.number);
                assert_int_equal(got.offset, want.offset);
                assert_int_equal(got.len, want.len);
                assert_memory_equal(got.text, want.text, want.len);
            }
            assert_int_equal(feed_next(feed, &got), ERR_ABSENT);
            feed_free(feed);
        }
    }
}

/* ---- the line cap --------------------------------------------------------- */

/* An object of exactly len bytes. */
static void add_long(struct buf *b, size_t len, const char *end)
{
    buf_puts(b, "{\"a\":\"");
    for (size_t i = 0; i < len - 8; i++)
        buf_puts(b, "x");
    buf_puts(b, "\"}");
    buf_puts(b, end);
}

static const struct {
    const char *name;
    size_t len;
    const char *end;
    enum err want;
} cap_cases[] = {
    { "at the cap", FEED_LINE_MAX, "\n", ERR_OK },
    { "at the cap, CRLF", FEED_LINE_MAX, "\r\n", ERR_OK },
    { "one more", FEED_LINE_MAX + 1, "\n", ERR_LIMIT },
    { "one more, CRLF", FEED_LINE_MAX + 1, "\r\n", ERR_LIMIT },
    { "two more", FEED_LINE_MAX + 2, "\n", ERR_LIMIT },
    { "beyond the window", 3 * FEED_LINE_MAX, "\n", ERR_LIMIT },
};

static void line_cap(void **state)
{
    static const size_t pieces[] = { 4096, 1000003, SIZE_MAX };
    struct buf b;

    (void)state;
    buf_init(&b, 1 << 23);
    for (size_t i = 0; i < COUNT(cap_cases) * COUNT(pieces); i++) {
        size_t k = i / COUNT(pieces);
        struct source s;
        struct feed *feed;
        struct feed_line line;

        ROW(cap_cases[k].name);
        buf_empty(&b);
        buf_puts(&b, "{}\n");
        add_long(&b, cap_cases[k].len, cap_cases[k].end);
        buf_puts(&b, "{\"b\":1}\n");
        feed = feed_on(&s, b.data, b.len, pieces[i % COUNT(pieces)]);
        assert_int_equal(feed_next(feed, &line), ERR_OK);
        assert_int_equal(feed_next(feed, &line), cap_cases[k].want);
        assert_int_equal(line.number, 2);
        assert_int_equal(line.offset, 3);
        assert_in_range(line.len, cap_cases[k].len, cap_cases[k].len + 1);
        assert_int_equal(line.text == NULL, cap_cases[k].want == ERR_LIMIT);
        assert_int_equal(feed_next(feed, &line), ERR_OK);
        assert_int_equal(line.number, 3);
        assert_int_equal(line.offset, b.len - 8);
        assert_int_equal(feed_next(feed, &line), ERR_ABSENT);
        feed_free(feed);
    }
    buf_clear(&b);
}

/* The last line without an end, at the cap and beyond it. */
static void line_cap_at_the_end(void **state)
{
    struct buf b;

    (void)state;
    buf_init(&b, 1 << 23);
    for (size_t more = 0; more <= 2; more++) {
        struct source s;
        struct feed *feed;
        struct feed_line line;

        buf_empty(&b);
        add_long(&b, FEED_LINE_MAX + more, "");
        feed = feed_on(&s, b.data, b.len, 4096);
        assert_int_equal(feed_next(feed, &line),
                         more == 0 ? ERR_OK : ERR_LIMIT);
        assert_int_equal(line.len, FEED_LINE_MAX + more);
        assert_int_equal(feed_next(feed, &line), ERR_ABSENT);
        feed_free(feed);
    }
    buf_clear(&b);
}

static void reading_fails(void **state)
{
    (void)state;
    for (size_t fail_at = 0; fail_at < sizeof(sample) - 1; fail_at++) {
        struct source s;
        struct feed *feed = feed_on(&s, sample, sizeof(sample) - 1, 1);
        struct feed_batch batch;
        bool lines;
        enum err e = ERR_OK;

        s.fail_at = fail_at;
        assert_int_equal(feed_batch_init(&batch, 2, 4096), ERR_OK);
        while (e == ERR_OK)
            e = feed_gather(feed, &batch);
        assert_int_equal(e, ERR_IO);
        assert_int_equal(feed_is_lines(feed, NULL, &lines), ERR_IO);
        feed_batch_clear(&batch);
        feed_free(feed);
    }
}

static void reads_a_file(void **state)
{
    FILE *file = tmpfile();
    struct feed *feed;
    struct feed_line line;
    size_t found = 0;

    (void)state;
    assert_non_null(file);
    assert_int_equal(fwrite(sample, 1, sizeof(sample) - 1, file),
                     sizeof(sample) - 1);
    rewind(file);
    assert_int_equal(feed_new(feed_read_file, file, &feed), ERR_OK);
    while (feed_next(feed, &line) == ERR_OK)
        found++;
    assert_int_equal(found, 4);
    assert_int_equal(line.number, 6);
    feed_free(feed);
    fclose(file);
}

static void file_fails(void **state)
{
    FILE *file = fopen("/", "r"); /* a directory opens, and cannot be read */
    struct feed *feed;
    struct feed_line line;

    (void)state;
    assert_non_null(file);
    assert_int_equal(feed_new(feed_read_file, file, &feed), ERR_OK);
    assert_int_equal(feed_next(feed, &line), ERR_IO);
    feed_free(feed);
    fclose(file);
}

/* ---- NDJSON or a document ------------------------------------------------- */

static const struct {
    const char *name, *file, *text;
    bool lines;
} kind_cases[] = {
    { "two lines", "a.json", "{}\n{}\n", true },
    { "two lines, CRLF", NULL, "{}\r\n{}", true },
    { "blank lines before and between", NULL, "\n\n{}\n\n\n{}", true },
    { "byte order mark", NULL, BOM "{}\n{}\n", true },
    { "whole, then something broken", NULL, "{}\n{\"a\"", true },
    { "one line", "a.json", "{\"a\":1}\n", false },
    { "one line without an end", NULL, "{\"a\":1}", false },
    { "one line and blank ones", NULL, "{\"a\":1}\n\n \r\n", false },
    { "pretty", NULL, "{\n  \"a\": 1\n}\n", false },
    { "pretty, more in the first line", NULL, "{ \"a\": {\n } }\n", false },
    { "array", NULL, "[\n{}\n]\n", false },
    { "not JSON", NULL, "a,b\n1,2\n", false },
    { "empty", NULL, "", false },
    { "by its name", "x/feed.ndjson", "{}\n", true },
    { "by its other name", "feed.JSONL", "{\n}\n", true },
    { "by half a name", "ndjson", "{}\n", false },
    { "bundle of lines named so", "feed.ndjson.json", "{}\n", false },
};

static void tells_the_kind(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(kind_cases); i++) {
        const char *text = kind_cases[i].text;
        size_t bom = strncmp(text, BOM, 3) == 0 ? 3 : 0;

        ROW(kind_cases[i].name);
        for (size_t piece = 1; piece <= strlen(text) + 1; piece++) {
            struct source s;
            struct feed *feed = feed_on(&s, text, strlen(text), piece);
            struct buf rest;
            bool lines = !kind_cases[i].lines;

            buf_init(&rest, 1 << 16);
            assert_int_equal(feed_is_lines(feed, kind_cases[i].file, &lines),
                             ERR_OK);
            assert_int_equal(lines, kind_cases[i].lines);
            /* Looking has taken nothing. */
            assert_int_equal(feed_rest(feed, &rest), ERR_OK);
            assert_string_equal(rest.data, text + bom);
            buf_clear(&rest);
            feed_free(feed);
        }
    }
}

static void kind_of_long_lines(void **state)
{
    struct buf b;

    (void)state;
    buf_init(&b, 1 << 23);
    for (size_t more = 0; more <= FEED_LINE_MAX; more += FEED_LINE_MAX) {
        struct source s;
        struct feed *feed;
        struct buf rest;
        bool lines;

        buf_empty(&b);
        buf_puts(&b, BOM);
        add_long(&b, FEED_LINE_MAX + more, "\r\n");
        buf_puts(&b, "{}");
        feed = feed_on(&s, b.data, b.len, SIZE_MAX);
        assert_int_equal(feed_is_lines(feed, NULL, &lines), ERR_OK);
        assert_int_equal(lines, more == 0);
        buf_init(&rest, 1 << 23);
        assert_int_equal(feed_rest(feed, &rest), ERR_OK);
        assert_int_equal(rest.len, b.len - 3);
        assert_memory_equal(rest.data, b.data + 3, rest.len);
        buf_clear(&rest);
        feed_free(feed);
    }
    buf_clear(&b);
}

static void document_too_large(void **state)
{
    struct source s;
    struct feed *feed = feed_on(&s, sample, sizeof(sample) - 1, 7);
    struct buf rest;

    (void)state;
    buf_init(&rest, 50);
    assert_int_equal(feed_rest(feed, &rest), ERR_LIMIT);
    buf_clear(&rest);
    feed_free(feed);
}

/* ---- Bundles -------------------------------------------------------------- */

/* An independent reading of the Bundle: jansson. */
static void check_bundle(const struct buf *body, size_t count)
{
    json_t *root = json_loadb(body->data, body->len, 0, NULL);

    assert_non_null(root);
    assert_string_equal(
        json_string_value(json_object_get(root, "resourceType")), "Bundle");
    assert_string_equal(json_string_value(json_object_get(root, "type")),
                        "collection");
    assert_int_equal(json_object_size(root), 3);
    assert_int_equal(json_array_size(json_object_get(root, "entry")), count);
    json_decref(root);
}

/* Entry i says the bytes of its line, alone too. */
static void check_entry(const struct feed_batch *batch, size_t i,
                        const char *data)
{
    const struct feed_entry *entry = &batch->entries[i];
    struct buf single;
    json_t *root, *resource, *line;

    assert_memory_equal(batch->body.data + entry->start, data + entry->offset,
                        entry->len);
    buf_init(&single, batch->bytes_max);
    feed_batch_single(batch, i, &single);
    assert_int_equal(buf_ok(&single), ERR_OK);
    check_bundle(&single, 1);
    root = json_loadb(single.data, single.len, 0, NULL);
    resource = json_object_get(
        json_array_get(json_object_get(root, "entry"), 0), "resource");
    line = json_loadb(data + entry->offset, entry->len, 0, NULL);
    assert_true(json_equal(resource, line));
    json_decref(line);
    json_decref(root);
    buf_clear(&single);
}

static void gathers(void **state)
{
    static const struct {
        const char *name;
        size_t entries_max, bytes_max;
        size_t want[8]; /* entries of each Bundle */
    } cases[] = {
        { "all in one", 100, 1 << 16, { 4 } },
        { "as many as there are", 4, 1 << 16, { 4 } },
        { "by count", 3, 1 << 16, { 3, 1 } },
        { "one by one", 1, 1 << 16, { 1, 1, 1, 1 } },
        { "by size", 100, 256, { 2, 2 } },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct source s;
        struct feed *feed = feed_on(&s, sample, sizeof(sample) - 1, 11);
        struct feed_batch batch;
        size_t n = 0;

        ROW(cases[i].name);
        assert_int_equal(
            feed_batch_init(&batch, cases[i].entries_max, cases[i].bytes_max),
            ERR_OK);
        while (feed_gather(feed, &batch) == ERR_OK) {
            assert_int_equal(batch.count, cases[i].want[n++]);
            assert_true(batch.body.len <= cases[i].bytes_max);
            check_bundle(&batch.body, batch.count);
            for (size_t k = 0; k < batch.count; k++)
                check_entry(&batch, k, sample);
        }
        assert_int_equal(cases[i].want[n], 0);
        assert_int_equal(feed_gather(feed, &batch), ERR_ABSENT);
        assert_int_equal(feed_taken(feed), sizeof(sample) - 1);
        feed_batch_clear(&batch);
        feed_free(feed);
    }
}

/* Bad lines are named, and cost nothing but themselves. */
static void gathers_around_bad_lines(void **state)
{
    static const char text[] = "{\"a\":1}\n"
                               "{\"a\":}},{\"resource\":{}\n"
                               "{\"a\":3}\n"
                               "garbage\n"
                               "{\"a\":5}";
    struct source s;
    struct feed *feed = feed_on(&s, text, sizeof(text) - 1, 3);
    struct feed_batch batch;

    (void)state;
    assert_int_equal(feed_batch_init(&batch, 10, 1024), ERR_OK);
    assert_int_equal(feed_gather(feed, &batch), ERR_FORM);
    assert_int_equal(batch.problem.number, 2);
    assert_int_equal(batch.problem.offset, 8);
    assert_null(batch.problem.text);
    assert_int_equal(feed_gather(feed, &batch), ERR_FORM);
    assert_int_equal(batch.problem.number, 4);
    assert_int_equal(feed_gather(feed, &batch), ERR_OK);
    assert_int_equal(batch.count, 3);
    assert_int_equal(batch.entries[2].line, 5);
    check_bundle(&batch.body, 3);
    assert_int_equal(feed_gather(feed, &batch), ERR_ABSENT);
    feed_batch_clear(&batch);
    feed_free(feed);
}

/* A line that no Bundle of this size can hold, between two that fit. */
static void line_larger_than_a_bundle(void **state)
{
    enum { BYTES = 300 };
    struct buf b;
    bool fitted = false, refused = false;

    (void)state;
    buf_init(&b, 1 << 16);
    for (size_t len = 200; len <= BYTES; len++) {
        struct source s;
        struct feed *feed;
        struct feed_batch batch;
        enum err e;

        buf_empty(&b);
        buf_puts(&b, "{}\n");
        add_long(&b, len, "\n{}\n");
        feed = feed_on(&s, b.data, b.len, 64);
        assert_int_equal(feed_batch_init(&batch, 10, BYTES), ERR_OK);
        assert_int_equal(feed_gather(feed, &batch), ERR_OK);
        e = feed_gather(feed, &batch);
        assert_true(e == ERR_OK || e == ERR_LIMIT);
        assert_false(e == ERR_OK && refused);
        fitted = fitted || e == ERR_OK;
        refused = refused || e == ERR_LIMIT;
        if (e == ERR_LIMIT) {
            assert_int_equal(batch.problem.number, 2);
            assert_int_equal(feed_gather(feed, &batch), ERR_OK);
        }
        assert_true(batch.body.len <= BYTES);
        feed_batch_clear(&batch);
        feed_free(feed);
    }
    assert_true(fitted && refused);
    buf_clear(&b);
}

static void batch_limits(void **state)
{
    struct feed_batch batch;

    (void)state;
    assert_int_equal(feed_batch_init(&batch, 0, 4096), ERR_RANGE);
    assert_int_equal(feed_batch_init(&batch, 1, 255), ERR_RANGE);
    assert_int_equal(feed_batch_init(&batch, 1, 256), ERR_OK);
    feed_batch_clear(&batch);
    feed_free(NULL);
}

static void nesting(void **state)
{
    (void)state;
    for (size_t depth = FEED_DEPTH_MAX; depth <= FEED_DEPTH_MAX + 1; depth++) {
        struct buf b;
        struct source s;
        struct feed *feed;
        struct feed_line line;

        buf_init(&b, 4096);
        buf_puts(&b, "{\"a\":");
        for (size_t i = 1; i < depth; i++)
            buf_puts(&b, "[");
        for (size_t i = 1; i < depth; i++)
            buf_puts(&b, "]");
        buf_puts(&b, "}");
        feed = feed_on(&s, b.data, b.len, 4096);
        assert_int_equal(feed_next(feed, &line),
                         depth == FEED_DEPTH_MAX ? ERR_OK : ERR_FORM);
        feed_free(feed);
        buf_clear(&b);
    }
}

/* ---- going on where another stopped --------------------------------------- */

/* Taken line by line, and at each line once more from there: the rest is the
 * same, with the same numbers and offsets. */
static void goes_on_anywhere(void **state)
{
    size_t len = sizeof(sample) - 1;
    struct source s, later;
    struct feed *feed = feed_on(&s, sample, len, 5), *rest;
    struct feed_line line, want, got;

    (void)state;
    while (feed_next(feed, &line) == ERR_OK) {
        uint64_t at = feed_taken(feed);
        size_t from = (size_t)at;

        later = (struct source){ sample + from, len - from, 0, 3, SIZE_MAX };
        assert_int_equal(
            feed_new_at(source_read, &later, at, feed_lines(feed), &rest),
            ERR_OK);
        want = line;
        while (plain_next(sample, len, &from, &want)) {
            assert_int_equal(feed_next(rest, &got), ERR_OK);
            assert_int_equal(got.number, want.number);
            assert_int_equal(got.offset, want.offset);
            assert_int_equal(got.len, want.len);
            assert_memory_equal(got.text, want.text, got.len);
        }
        assert_int_equal(feed_next(rest, &got), ERR_ABSENT);
        feed_free(rest);
    }
    feed_free(feed);
}

/* A bad line, and one that is skipped over, once more. */
static void gives_again(void **state)
{
    struct source s;
    struct feed *feed;
    struct feed_line line;
    struct buf b;

    (void)state;
    buf_init(&b, 1 << 22);
    buf_puts(&b, "bad\n");
    add_long(&b, FEED_LINE_MAX + 5, "\n{}\n");
    feed = feed_on(&s, b.data, b.len, 4096);
    assert_int_equal(feed_next(feed, &line), ERR_FORM);
    assert_int_equal(feed_lines(feed), 1);
    feed_again(feed);
    assert_int_equal(feed_lines(feed), 0);
    assert_int_equal(feed_taken(feed), 0);
    assert_int_equal(feed_next(feed, &line), ERR_FORM);
    assert_memory_equal(line.text, "bad", 3);
    assert_int_equal(feed_next(feed, &line), ERR_LIMIT);
    feed_again(feed);
    assert_int_equal(feed_taken(feed), 4);
    assert_int_equal(feed_next(feed, &line), ERR_LIMIT);
    assert_int_equal(line.number, 2);
    assert_int_equal(feed_next(feed, &line), ERR_OK);
    assert_int_equal(line.number, 3);
    feed_free(feed);
    buf_clear(&b);
}

/* ---- parcels -------------------------------------------------------------- */

static const char mixed[] = "{\"a\":1}\n"
                            "x\n"
                            "\n"
                            "{\"a\":3}\n"
                            "yy\n"
                            "zzz\n"
                            "{\"a\":5}";

/* Bundle lines, "|", faulty ones; "/" between parcels. */
static const struct {
    const char *name;
    size_t entries_max, bytes_max;
    const char *want;
} parcel_cases[] = {
    { "all in one", 10, 4096, "1 4 7|2 5 6/" },
    { "by count", 2, 4096, "1 4|2 5/7|6/" },
    { "one by one", 1, 4096, "1|2/4|5/7|6/" },
};

static void add_parcel(struct buf *out, const struct feed_parcel *parcel)
{
    for (size_t i = 0; i < parcel->batch.count; i++)
        buf_printf(out, "%s%d", i > 0 ? " " : "",
                   (int)parcel->batch.entries[i].line);
    buf_puts(out, "|");
    for (size_t i = 0; i < parcel->fault_count; i++)
        buf_printf(out, "%s%d", i > 0 ? " " : "",
                   (int)parcel->faults[i].at.line);
    buf_puts(out, "/");
}

static void parcels(void **state)
{
    struct buf out;

    (void)state;
    buf_init(&out, 1 << 16);
    for (size_t i = 0; i < COUNT(parcel_cases); i++) {
        struct source s;
        struct feed *feed = feed_on(&s, mixed, sizeof(mixed) - 1, 4);
        struct feed_parcel parcel;

        ROW(parcel_cases[i].name);
        buf_empty(&out);
        assert_int_equal(feed_parcel_init(&parcel, parcel_cases[i].entries_max,
                                          parcel_cases[i].bytes_max),
                         ERR_OK);
        while (feed_parcel_next(feed, &parcel) == ERR_OK) {
            add_parcel(&out, &parcel);
            if (parcel.batch.count > 0)
                check_bundle(&parcel.batch.body, parcel.batch.count);
            for (size_t k = 0; k < parcel.fault_count; k++) {
                const struct feed_fault *f = &parcel.faults[k];

                assert_true(f->kept && f->err == ERR_FORM);
                assert_memory_equal(parcel.faulty.data + f->at.start,
                                    mixed + f->at.offset, f->at.len);
            }
        }
        assert_string_equal(out.data, parcel_cases[i].want);
        assert_int_equal(parcel.taken, sizeof(mixed) - 1);
        assert_int_equal(parcel.lines, 7);
        feed_parcel_clear(&parcel);
        feed_free(feed);
    }
    buf_clear(&out);
}

/* Many bad lines, longer together than is kept at once, and one that is longer
 * than any: all named, within the bounds. */
static void parcels_of_bad_lines(void **state)
{
    enum { BYTES = 256, LINES = 40 };
    struct source s;
    struct feed *feed;
    struct feed_parcel parcel;
    struct buf b;
    uint64_t last = 0;

    (void)state;
    buf_init(&b, 1 << 22);
    for (int i = 0; i < LINES; i++)
        buf_puts(&b, i == 20 ? ""
                             : "0123456789012345678901234567890123456789"
                               "0123456789\n");
    for (size_t i = 0; i < FEED_LINE_MAX + 9U; i++)
        buf_puts(&b, "x");
    feed = feed_on(&s, b.data, b.len, 65536);
    assert_int_equal(feed_parcel_init(&parcel, 1000, BYTES), ERR_OK);
    while (feed_parcel_next(feed, &parcel) == ERR_OK) {
        assert_int_equal(parcel.batch.count, 0);
        assert_true(parcel.faulty.len <= BYTES);
        for (size_t k = 0; k < parcel.fault_count; k++) {
            assert_int_equal(parcel.faults[k].at.line, last + 1);
            last = parcel.faults[k].at.line;
            assert_int_equal(parcel.faults[k].err,
                             last == LINES ? ERR_LIMIT : ERR_FORM);
            assert_int_equal(parcel.faults[k].kept, last != LINES);
        }
    }
    assert_int_equal(last, LINES);
    feed_parcel_clear(&parcel);
    feed_free(feed);
    buf_clear(&b);
    assert_int_equal(feed_parcel_init(&parcel, 0, BYTES), ERR_RANGE);
}

/* ---- what a file is ------------------------------------------------------- */

/* gzip: RFC 1952, 2.3.1; byte order marks: the Unicode Standard, 23.8. */
static const struct {
    const char *name, *file, *text;
    size_t len;
    enum feed_kind want;
} file_cases[] = {
    { "object", NULL, "{}", 2, FEED_JSON },
    { "after a mark and blanks", NULL, BOM " \r\n\t{", 8, FEED_JSON },
    { "empty", "a.ndjson", "", 0, FEED_EMPTY },
    { "blank", NULL, " \n\r\n", 4, FEED_EMPTY },
    { "mark alone", NULL, BOM, 3, FEED_EMPTY },
    { "gzip", "a.ndjson", "\x1f\x8b\x08", 3, FEED_GZIP },
    { "UTF-16, little end first", "a.ndjson", "\xff\xfe{\0", 4, FEED_UTF16 },
    { "UTF-16, big end first", NULL, "\xfe\xff\0{", 4, FEED_UTF16 },
    { "UTF-16 without a mark", NULL, "{\0}\0", 4, FEED_UTF16 },
    { "array", NULL, "[{}]", 4, FEED_OTHER },
    { "table", "a.csv", "a,b\n", 4, FEED_OTHER },
    { "a bad line, by its name", "a.NDJSON", "a,b\n", 4, FEED_JSON },
    { "XML", "a.xml", "<Bundle/>", 9, FEED_OTHER },
    { "HL7 v2", "a.ndjson", "MSH|^~\\&|A\r", 11, FEED_HL7 },
    { "HL7 v2, a file", NULL, "FHS|^~\\&|A\r", 11, FEED_HL7 },
    { "HL7 v2 in a frame", NULL, "\x0bMSH|^~\\&|A\r\x1c\r", 14, FEED_HL7 },
    { "a word like it", NULL, "MSHELL {", 8, FEED_OTHER },
};

static void tells_the_file(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(file_cases); i++) {
        ROW(file_cases[i].name);
        assert_int_equal(feed_kind_of(file_cases[i].text, file_cases[i].len,
                                      file_cases[i].file),
                         file_cases[i].want);
        assert_int_equal(feed_kind_reason(file_cases[i].want) == NULL,
                         file_cases[i].want == FEED_JSON ||
                             file_cases[i].want == FEED_HL7);
    }
}

static const struct {
    const char *text;
    bool want;
} bundle_cases[] = {
    { "{\"resourceType\":\"Bundle\"}", true },
    { "{\"type\":\"batch\", \"resourceType\" : \"Bundle\"", true },
    { "{\"entry\":[{\"resourceType\":\"Bundle\"}],"
      "\"resourceType\":\"List\"}",
      false },
    { "{\"contained\":[{\"resourceType\":\"Bundle\"}]}", false },
    { "{\"a\":\"resourceType\",\"b\":\"Bundle\"}", false },
    { "{\"note\":\"\\\"resourceType\\\":\\\"Bundle\\\"\"}", false },
    { "{\"resourceType\":\"Patient\"}", false },
    { "{\"resourceType\":[\"Bundle\"]}", false },
    { "", false },
    { "{\"resourceType\":\"Bundle", false },
};

static void tells_a_bundle(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(bundle_cases); i++) {
        ROW(bundle_cases[i].text);
        assert_int_equal(
            feed_is_bundle(bundle_cases[i].text, strlen(bundle_cases[i].text)),
            bundle_cases[i].want);
    }
}

/* Looked at, then read on in pieces: nothing is missing. */
static void looks_and_reads_on(void **state)
{
    struct source s;
    struct feed *feed = feed_on(&s, sample, sizeof(sample) - 1, 6);
    const char *head;
    char all[sizeof(sample)], piece[7];
    size_t len, got = 1, at = 0;

    (void)state;
    assert_int_equal(feed_head(feed, &head, &len), ERR_OK);
    assert_int_equal(len, sizeof(sample) - 1 - 3);
    assert_memory_equal(head, sample + 3, len);
    while (got > 0) {
        assert_int_equal(feed_read_on(feed, piece, sizeof(piece), &got),
                         ERR_OK);
        memcpy(all + at, piece, got);
        at += got;
    }
    assert_int_equal(at, sizeof(sample) - 1 - 3);
    assert_memory_equal(all, sample + 3, at);
    feed_free(feed);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reads_lines),
        cmocka_unit_test(every_truncation),
        cmocka_unit_test(line_cap),
        cmocka_unit_test(line_cap_at_the_end),
        cmocka_unit_test(reading_fails),
        cmocka_unit_test(reads_a_file),
        cmocka_unit_test(file_fails),
        cmocka_unit_test(tells_the_kind),
        cmocka_unit_test(kind_of_long_lines),
        cmocka_unit_test(document_too_large),
        cmocka_unit_test(gathers),
        cmocka_unit_test(gathers_around_bad_lines),
        cmocka_unit_test(line_larger_than_a_bundle),
        cmocka_unit_test(batch_limits),
        cmocka_unit_test(nesting),
        cmocka_unit_test(goes_on_anywhere),
        cmocka_unit_test(gives_again),
        cmocka_unit_test(parcels),
        cmocka_unit_test(parcels_of_bad_lines),
        cmocka_unit_test(tells_the_file),
        cmocka_unit_test(tells_a_bundle),
        cmocka_unit_test(looks_and_reads_on),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
