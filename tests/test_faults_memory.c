/*
 * There is no memory: each allocation of our own fails in turn, once, and from
 * there on (the method of sqlite.org/testing.html, 3.1).  What is read or
 * written says ERR_MEMORY, or manages without, and whole; nothing crashes,
 * nothing stays open; and the same again, with memory, is as it was before.
 *
 *     test_faults_memory [STRIDE]     1: each; else a few of each
 *
 * The linker puts what stands here before malloc and its like (--wrap), in our
 * objects, and not in those of the libraries.
 */
#include "adapters/fhir_read.h"
#include "adapters/hl7_oru.h"
#include "adapters/queue_write.h"
#include "tests/test.h"
#include "tests/worksheet_kit.h"

#include <dirent.h>

#define BASE "https://headgate.example/fhir"

enum { CALLS_MAX = 200000, SHORT_POINTS = 40, TEXT_BYTES_MAX = 1 << 22 };

/* ---- memory ------------------------------------------------------------------- */

static struct {
    long at; /* the how many-th fails, from 1; 0: none */
    bool forever;
    long calls, hits;
} fault;

static bool fails(void)
{
    fault.calls++;
    if (fault.at == 0 || fault.calls < fault.at ||
        (fault.calls > fault.at && !fault.forever))
        return false;
    fault.hits++;
    return true;
}

void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *p, size_t size);
char *__real_strdup(const char *s);
char *__real_strndup(const char *s, size_t len);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *p, size_t size);
char *__wrap_strdup(const char *s);
char *__wrap_strndup(const char *s, size_t len);

void *__wrap_malloc(size_t size)
{
    return fails() ? NULL : __real_malloc(size);
}

void *__wrap_calloc(size_t count, size_t size)
{
    return fails() ? NULL : __real_calloc(count, size);
}

void *__wrap_realloc(void *p, size_t size)
{
    return fails() ? NULL : __real_realloc(p, size);
}

char *__wrap_strdup(const char *s)
{
    return fails() ? NULL : __real_strdup(s);
}

char *__wrap_strndup(const char *s, size_t len)
{
    return fails() ? NULL : __real_strndup(s, len);
}

/* ---- what is done --------------------------------------------------------------- */

static struct codes *codes;
static struct zone *zone;
static struct sheet_kit sheet;
static char *input; /* of the scenario that is under way */
static size_t input_len;

/* What came of it is appended to out, so that two runs can be compared. */
typedef enum err (*scenario)(struct buf *out);

static enum err read_bundle(struct buf *out)
{
    const struct fhir_reader reader = { .codes = codes,
                                        .base = BASE,
                                        .zone = zone,
                                        .now_s = 1780315200,
                                        .entries_max = 500 };
    struct fhir_doc *doc = NULL;
    struct outcome outcome;
    enum err e;

    outcome_init(&outcome);
    e = fhir_read(&reader, input, input_len, &outcome, &doc);
    if (e != ERR_OK)
        return e;
    for (size_t i = 0; i < fhir_doc_count(doc); i++) {
        const struct outcome *o = &fhir_doc_item(doc, i)->outcome;

        buf_printf(out, "%zu:%zu ", i, o->count);
        for (size_t k = 0; k < o->count; k++)
            buf_printf(out, "%s ", o->issues[k].word);
    }
    fhir_doc_free(doc);
    return buf_ok(out);
}

static enum err read_message(struct buf *out)
{
    struct hl7_profile profile = { .name = "hall-north",
                                   .zone = zone,
                                   .charset = "UNICODE UTF-8",
                                   .accept_test = true };
    struct hl7_message *message;
    struct hl7_fault why;
    struct hl7_oru oru;
    enum err e = hl7_read(input, input_len, profile.charset, &message, &why);

    if (e != ERR_OK)
        return e;
    e = hl7_oru_read(message, &profile, BASE, &oru);
    if (e == ERR_OK) {
        buf_add(out, oru.bundle.data, oru.bundle.len);
        hl7_oru_clear(&oru);
        e = buf_ok(out);
    }
    hl7_free(message);
    return e;
}

static enum err write_plan(struct buf *out)
{
    plan_json(&sheet.w.d, out);
    plan_text(&sheet.w.d, out);
    plan_text_case(&sheet.w.d, out);
    return buf_ok(out);
}

static enum err write_queue(struct buf *out)
{
    const struct queue_row row = { .urgency = URGENCY_ASAP,
                                   .patient_name = "Orla Finch",
                                   .patient_number = "1007",
                                   .unit = "Corvane West",
                                   .access = "Left upper-arm fistula A-1007",
                                   .headline = "flow 2310 mL/min, high",
                                   .suggestion = "Review by the access team.",
                                   .task_id = "t-0001",
                                   .rules = "HF-1",
                                   .group = "flow",
                                   .opened_s = 1795900000,
                                   .due_s = 1795950000 };
    const struct queue_row rows[] = { row, row, row };
    const struct queue_options options = { .columns = 80,
                                           .now_s = 1795957500,
                                           .zone = zone };

    queue_write_table(rows, COUNT(rows), &options, out);
    for (size_t i = 0; i < COUNT(rows); i++)
        queue_write_json(&rows[i], options.now_s, zone, out);
    return buf_ok(out);
}

static enum err draw_page(struct buf *out)
{
    return worksheet_draw(&sheet.sheet, CANVAS_SVG, out);
}

/* ---- failing -------------------------------------------------------------------- */

static size_t open_files(void)
{
    DIR *d = opendir("/proc/self/fd");
    size_t n = 0;

    assert_non_null(d);
    while (readdir(d) != NULL)
        n++;
    closedir(d);
    return n;
}

static long stride_given;

/* A worksheet for whose flows there is no memory says so in their place, which
 * is a page of its own, and always the same one. */
static struct buf instead;

static bool is_instead(scenario run, const struct buf *out)
{
    if (run != draw_page || buf_ok(out) != ERR_OK)
        return false;
    if (instead.len == 0)
        buf_add(&instead, out->data, out->len);
    return out->len == instead.len &&
           memcmp(out->data, instead.data, out->len) == 0;
}

/* One run with a fault; false: it was not reached. */
static bool run_once(scenario run, long at, bool forever,
                     const struct buf *whole)
{
    struct buf out;
    enum err e;
    long hits;

    buf_init(&out, TEXT_BYTES_MAX);
    memset(&fault, 0, sizeof(fault));
    fault.at = at;
    fault.forever = forever;
    e = run(&out);
    hits = fault.hits;
    fault.at = 0;
    if (e != ERR_OK)
        assert_int_equal(e, ERR_MEMORY);
    else if (out.len != whole->len ||
             memcmp(out.data, whole->data, out.len) != 0)
        assert_true(is_instead(run, &out));
    buf_clear(&out);
    return hits > 0;
}

static void each(const char *name, scenario run)
{
    struct buf whole;
    size_t files;
    long calls, stride, points = 0;

    buf_init(&whole, TEXT_BYTES_MAX);
    assert_int_equal(run(&whole), ERR_OK); /* what is kept for later is made */
    buf_clear(&whole);
    buf_init(&whole, TEXT_BYTES_MAX);
    memset(&fault, 0, sizeof(fault));
    assert_int_equal(run(&whole), ERR_OK);
    calls = fault.calls;
    files = open_files();
    stride = stride_given > 0 ? stride_given : calls / SHORT_POINTS + 1;
    for (int forever = 0; forever < 2; forever++) {
        for (long at = 1; at < CALLS_MAX; at += stride) {
            if (!run_once(run, at, forever == 1, &whole))
                break;
            points++;
        }
    }
    assert_int_equal(open_files(), files);
    print_message("    %s: %ld faults over %ld allocations\n", name, points,
                  calls);
    assert_in_range(points, 2, CALLS_MAX);
    buf_clear(&whole);
}

/* ---- the tests -------------------------------------------------------------------- */

static void take_file(const char *path)
{
    FILE *f = fopen(path, "rb");

    assert_non_null(f);
    input = malloc(1 << 16);
    assert_non_null(input);
    input_len = fread(input, 1, 1 << 16, f);
    fclose(f);
    assert_in_range(input_len, 20, (1 << 16) - 1);
}

static void drop_file(void)
{
    free(input);
    input = NULL;
}

static void a_bundle_is_read(void **state)
{
    (void)state;
    take_file(TESTS_DIR "/corpus/fhir/bundle-batch-in.json");
    each("a Bundle", read_bundle);
    drop_file();
}

static void a_message_is_read(void **state)
{
    (void)state;
    take_file(TESTS_DIR "/corpus/hl7/session-results.hl7");
    each("a message of HL7 v2", read_message);
    drop_file();
}

static void a_plan_is_written(void **state)
{
    (void)state;
    sheet_kit_before(&sheet);
    each("a plan", write_plan);
}

static void a_queue_is_written(void **state)
{
    (void)state;
    each("a queue", write_queue);
}

static void a_worksheet_is_drawn(void **state)
{
    (void)state;
    sheet_kit_case(&sheet);
    each("a worksheet", draw_page);
}

static int start(void **state)
{
    (void)state;
    assert_int_equal(codes_new(BASE, &codes), ERR_OK);
    assert_int_equal(zone_load("Europe/Berlin", &zone), ERR_OK);
    write_kit_start(&sheet.w);
    buf_init(&instead, TEXT_BYTES_MAX);
    return 0;
}

static int stop(void **state)
{
    (void)state;
    codes_free(codes);
    zone_free(zone);
    zone_free(sheet.w.zone);
    buf_clear(&instead);
    return 0;
}

int main(int argc, char **argv)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_bundle_is_read),
        cmocka_unit_test(a_message_is_read),
        cmocka_unit_test(a_plan_is_written),
        cmocka_unit_test(a_queue_is_written),
        cmocka_unit_test(a_worksheet_is_drawn),
    };

    stride_given = argc > 1 ? strtol(argv[1], NULL, 10) : 0;
    return cmocka_run_group_tests(tests, start, stop);
}
