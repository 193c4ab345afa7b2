/*
 * Which answers are given when: HL7 v2.5.1, 2.9.2 (original mode) and 2.9.3
 * (enhanced mode), tables 0008 and 0155.  tests/peers/mllp.mjs shows the same
 * to clients of others.
 */
#include "service/hl7_answer.h"

#include "tests/test.h"

#include <jansson.h>

static struct hl7_intake in;
static struct hl7_ids ids;
static struct hl7_counters counters;
static char text[256];

enum outcome_of { GOOD, QUARANTINED, REJECTED, NOT_KEPT };

/* A message with MSH-15 and MSH-16, and what became of it. */
static void prepare(const char *accept, const char *application,
                    enum outcome_of of)
{
    static const struct hl7_place place = { "OBX", 1, 5, 0, 0, 0 };
    struct hl7_fault fault;

    hl7_intake_clear(&in);
    snprintf(text, sizeof(text),
             "MSH|^~\\&|APP|HALL|HG|U|2026||ORU^R01|C-1|P|2.5.1|||%s|%s\r",
             accept, application);
    in = (struct hl7_intake){ .bytes = text,
                              .len = strlen(text),
                              .id = of == GOOD || of == QUARANTINED ? 7 : 0,
                              .answer = of == GOOD          ? HL7_AA
                                        : of == QUARANTINED ? HL7_AE
                                                            : HL7_AR,
                              .quarantined = of == QUARANTINED };
    snprintf(in.control, sizeof(in.control), "C-1");
    assert_int_equal(hl7_read(text, in.len, NULL, &in.message, &fault), ERR_OK);
    in.wants = hl7_wants(in.message);
    if (of == QUARANTINED || of == REJECTED)
        hl7_issue_add(&in.issues, HL7_ERROR, HL7_DATA_TYPE, "bad-value", &place,
                      "Not a number");
}

/* The codes of the frames, "CA AE", and whether each is a frame. */
static void codes_of(const struct buf *frames, char *out, size_t size)
{
    const char *at = frames->data, *end = at + frames->len;

    out[0] = '\0';
    while (at < end) {
        const char *stop = memchr(at, 0x1c, (size_t)(end - at));
        const char *msa = strstr(at, "\rMSA|");
        size_t len = strlen(out);

        assert_int_equal(*at, 0x0b);
        assert_non_null(stop);
        assert_int_equal(stop[1], '\r');
        assert_true(msa != NULL && msa < stop);
        assert_memory_equal(msa + 8, "C-1", 3); /* MSA-2 */
        snprintf(out + len, size - len, "%s%.2s", len > 0 ? " " : "", msa + 5);
        at = stop + 2;
    }
}

static void answers_by_mode(void **state)
{
    static const struct {
        const char *accept, *application;
        const char *want[4]; /* by enum outcome_of */
    } cases[] = {
        { "", "", { "AA", "AE", "AR", "AE" } },
        { "AL", "AL", { "CA AA", "CA AE", "CR", "CE" } },
        { "AL", "NE", { "CA", "CA", "CR", "CE" } },
        { "AL", "", { "CA", "CA", "CR", "CE" } },
        { "NE", "AL", { "AA", "AE", "AR", "AE" } },
        { "", "AL", { "AA", "AE", "AR", "AE" } },
        { "NE", "NE", { "", "", "", "" } },
        { "ER", "ER", { "", "AE", "CR", "CE" } },
        { "SU", "SU", { "CA AA", "CA", "", "" } },
        { "ER", "AL", { "AA", "AE", "CR", "CE" } },
        { "SU", "AL", { "CA AA", "CA AE", "AR", "AE" } },
        { "AL", "ER", { "CA", "CA AE", "CR", "CE" } },
    };

    (void)state;
    hl7_ids_start(&ids);
    for (size_t i = 0; i < COUNT(cases); i++) {
        for (int of = GOOD; of <= NOT_KEPT; of++) {
            char row[32], got[32];
            struct buf frames;

            snprintf(row, sizeof(row), "%s/%s %d", cases[i].accept,
                     cases[i].application, of);
            ROW(row);
            prepare(cases[i].accept, cases[i].application, (enum outcome_of)of);
            buf_init(&frames, 2 * HL7_ACK_MAX + 64);
            hl7_answer_write(&in, of == NOT_KEPT ? ERR_FULL : ERR_OK, &ids, 0,
                             &counters, &frames);
            assert_int_equal(buf_ok(&frames), ERR_OK);
            codes_of(&frames, got, sizeof(got));
            assert_string_equal(got, cases[i].want[of]);
            buf_clear(&frames);
        }
    }
    hl7_intake_clear(&in);
}

/* Whatever fails here, nothing positive is said, and why is no fault of the
 * sender's (table 0357: 207). */
static void says_nothing_positive_of_faults(void **state)
{
    static const enum err errors[] = { ERR_FULL, ERR_STORE, ERR_MEMORY,
                                       ERR_LIMIT, ERR_STOPPED };
    static const char *const modes[][2] = { { "", "" }, { "AL", "AL" } };

    (void)state;
    hl7_ids_start(&ids);
    for (size_t i = 0; i < 2 * COUNT(errors); i++) {
        struct buf frames;

        prepare(modes[i % 2][0], modes[i % 2][1], GOOD);
        buf_init(&frames, 2 * HL7_ACK_MAX + 64);
        hl7_answer_write(&in, errors[i / 2], &ids, 0, &counters, &frames);
        assert_null(strstr(frames.data, "|AA|"));
        assert_null(strstr(frames.data, "|CA|"));
        assert_non_null(strstr(frames.data, "|207^"));
        buf_clear(&frames);
    }
    hl7_intake_clear(&in);
}

static void counts_and_numbers(void **state)
{
    struct hl7_counters before;
    struct buf frames, first;

    (void)state;
    counters = (struct hl7_counters){ .unanswered = 0 };
    hl7_ids_start(&ids);
    buf_init(&frames, 2 * HL7_ACK_MAX + 64);
    buf_init(&first, HL7_ACK_MAX);
    prepare("AL", "AL", QUARANTINED);
    hl7_answer_write(&in, ERR_OK, &ids, 0, &counters, &frames);
    assert_int_equal(counters.answers[HL7_CA], 1);
    assert_int_equal(counters.answers[HL7_AE], 1);
    assert_int_equal(counters.unanswered, 0);
    prepare("NE", "NE", GOOD);
    before = counters;
    buf_empty(&frames);
    hl7_answer_write(&in, ERR_OK, &ids, 0, &counters, &frames);
    assert_int_equal(frames.len, 0);
    assert_int_equal(counters.unanswered, 1);
    assert_memory_equal(counters.answers, before.answers,
                        sizeof(counters.answers));
    /* each answer has a control id of its own */
    buf_empty(&frames);
    prepare("", "", GOOD);
    hl7_answer_plain(&in, &ids, 0, &counters, &first);
    hl7_answer_plain(&in, &ids, 0, &counters, &frames);
    assert_int_equal(first.len, frames.len);
    assert_string_not_equal(first.data, frames.data);
    assert_memory_equal(first.data, "MSH|", 4);
    buf_clear(&first);
    buf_clear(&frames);
    hl7_intake_clear(&in);
}

static void tells_programs(void **state)
{
    struct buf out;
    json_t *json, *issue;

    (void)state;
    buf_init(&out, 64 * 1024);
    prepare("", "", QUARANTINED);
    in.stored = 2;
    in.refused = 1;
    hl7_answer_json(&in, &out);
    json = json_loadb(out.data, out.len, JSON_REJECT_DUPLICATES, NULL);
    assert_non_null(json);
    assert_string_equal(json_string_value(json_object_get(json, "answer")),
                        "AE");
    assert_string_equal(json_string_value(json_object_get(json, "control")),
                        "C-1");
    assert_int_equal(json_integer_value(json_object_get(json, "message")), 7);
    assert_true(json_is_true(json_object_get(json, "quarantined")));
    assert_true(json_is_false(json_object_get(json, "repeated")));
    assert_int_equal(json_integer_value(json_object_get(json, "stored")), 2);
    assert_int_equal(json_integer_value(json_object_get(json, "refused")), 1);
    assert_int_equal(json_array_size(json_object_get(json, "issues")), 1);
    issue = json_array_get(json_object_get(json, "issues"), 0);
    assert_string_equal(json_string_value(json_object_get(issue, "severity")),
                        "error");
    assert_string_equal(json_string_value(json_object_get(issue, "code")),
                        "102");
    assert_string_equal(json_string_value(json_object_get(issue, "place")),
                        "OBX[1]-5");
    json_decref(json);
    buf_empty(&out);
    prepare("", "", REJECTED);
    hl7_answer_json(&in, &out);
    json = json_loadb(out.data, out.len, JSON_REJECT_DUPLICATES, NULL);
    assert_true(json_is_null(json_object_get(json, "message")));
    json_decref(json);
    buf_clear(&out);
    hl7_intake_clear(&in);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(answers_by_mode),
        cmocka_unit_test(says_nothing_positive_of_faults),
        cmocka_unit_test(counts_and_numbers),
        cmocka_unit_test(tells_programs),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
