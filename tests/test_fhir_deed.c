/*
 * A person's deed written into a Task, and brought to a record.
 *
 * What merges of three come to is the usual rule of such merges: a side that
 * has not changed since the common version gives way (as diff3 does it; from
 * memory).  That lastModified is not before authoredOn is R4's inv-1 of Task.
 */
#include "adapters/fhir_deed.h"
#include "tests/task_kit.h"

#define NOTE_TIME "2026-03-07T08:12:00.000Z"
static const int64_t now_ms = (AUTHORED_S + DAY_S) * INT64_C(1000);

static void do_deed(const struct buf *task, struct fhir_deed deed,
                    struct buf *made)
{
    deed.base = BASE;
    deed.author = "A. Rowan";
    if (deed.now_ms == 0)
        deed.now_ms = now_ms;
    buf_empty(made);
    assert_int_equal(fhir_deed_write(task->data, task->len, &deed, made),
                     ERR_OK);
}

static bool has(const struct buf *b, const char *text)
{
    return strstr(b->data, text) != NULL;
}

static void written_into_a_task(void **state)
{
    struct buf task, made;

    (void)state;
    write_task(&plain_task, &task);
    buf_init(&made, 1 << 16);
    do_deed(&task,
            (struct fhir_deed){ .status = "accepted",
                                .owner = "A. Rowan",
                                .business = BUSINESS_NONE,
                                .note = "Taken in hand." },
            &made);
    assert_true(has(&made, "\"status\":\"accepted\""));
    assert_true(has(&made, "\"owner\":{\"display\":\"A. Rowan\"}"));
    assert_true(has(&made,
                    "{\"authorString\":\"A. Rowan\",\"time\":\"" NOTE_TIME
                    "\",\"text\":\"Taken in hand.\"}"));
    assert_true(has(&made, "Because.")); /* what was noted before */
    assert_true(has(&made, "\"lastModified\":\"" NOTE_TIME "\""));
    assert_false(has(&made, "businessStatus"));
    do_deed(&task,
            (struct fhir_deed){ .business = BUSINESS_PUT_OFF, .note = "x" },
            &made);
    assert_true(has(&made, "\"status\":\"requested\""));
    assert_true(has(&made, "\"code\":\"put-off\""));
    assert_false(has(&made, "awaiting-review"));
    do_deed(&task,
            (struct fhir_deed){ .status = "rejected",
                                .reason = "known",
                                .now_ms = 1000 /* a clock set back */ },
            &made);
    assert_true(has(&made, "\"statusReason\":{\"text\":\"known\"}"));
    assert_true(has(&made, "\"lastModified\":\"2026-03-06T08:12:00.000Z\""));
    assert_true(has(&made, "awaiting-review")); /* not named: it stays */
    buf_clear(&task);
    buf_clear(&made);
}

/* What a person has put there, and what we know nothing of, stays as it is. */
static void what_is_not_named_stays(void **state)
{
    struct buf task, made;

    (void)state;
    buf_init(&task, 1 << 16);
    buf_init(&made, 1 << 16);
    buf_puts(&task, "{\"resourceType\":\"Task\",\"status\":\"accepted\","
                    "\"businessStatus\":{\"text\":\"at the surgeon's\"},"
                    "\"extension\":[{\"url\":\"urn:x\",\"valueDecimal\":2.50}],"
                    "\"intent\":\"proposal\"}");
    do_deed(&task,
            (struct fhir_deed){ .business = BUSINESS_NONE, .owner = "B. Elm" },
            &made);
    assert_true(
        has(&made, "\"businessStatus\":{\"text\":\"at the surgeon's\"}"));
    assert_true(has(&made, "2.50"));
    assert_false(has(&made, "note"));
    buf_empty(&task);
    buf_puts(&task, "{\"resourceType\":\"Patient\"}");
    assert_int_equal(fhir_deed_write(task.data, task.len,
                                     &(struct fhir_deed){ .now_ms = now_ms },
                                     &made),
                     ERR_FORM);
    buf_clear(&task);
    buf_clear(&made);
}

static void who_is_to_see_to_it(void **state)
{
    static const struct {
        const char *owner, *want;
    } rows[] = {
        { "{\"display\":\"B. Elm\",\"reference\":\"Practitioner/1\"}",
          "B. Elm" },
        { "{\"reference\":\"Practitioner/1\"}", "Practitioner/1" },
        { "{\"identifier\":{\"value\":\"77\"}}", "77" },
        { "{}", "" },
    };
    char owner[FHIR_OWNER_SIZE], long_name[3 * FHIR_OWNER_SIZE], json[1024];

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        int len =
            snprintf(json, sizeof(json),
                     "{\"resourceType\":\"Task\",\"owner\":%s}", rows[i].owner);

        fhir_task_owner(json, (size_t)len, owner);
        assert_string_equal(owner, rows[i].want);
    }
    /* two bytes each, and never half of one */
    long_name[0] = '\0';
    for (size_t i = 0; i < FHIR_OWNER_SIZE; i++)
        memcpy(long_name + 2 * i, "\xc3\xa4", 3);
    snprintf(json, sizeof(json),
             "{\"resourceType\":\"Task\",\"owner\":{\"display\":\"%s\"}}",
             long_name);
    fhir_task_owner(json, strlen(json), owner);
    assert_int_equal(strlen(owner), FHIR_OWNER_SIZE - 2);
    fhir_task_owner("{", 1, owner);
    assert_string_equal(owner, "");
}

/* ---- brought to a record -------------------------------------------------------- */

static void put(struct buf *b, const char *members)
{
    buf_empty(b);
    buf_printf(b, "{\"resourceType\":\"Task\",\"intent\":\"proposal\",%s}",
               members);
}

#define REQUESTED "\"status\":\"requested\""
#define ACCEPTED  "\"status\":\"accepted\""
#define COMPLETED "\"status\":\"completed\""
#define ELM       ",\"owner\":{\"display\":\"B. Elm\"}"
#define ROWAN     ",\"owner\":{\"display\":\"A. Rowan\"}"
#define SORREL    ",\"owner\":{\"reference\":\"Practitioner/5\"}"

static const struct {
    const char *label;
    const char *before[3]; /* our versions but the newest */
    const char *ours, *theirs, *want;
    bool same;
} carries[] = {
    { "nothing was done",
      { REQUESTED },
      REQUESTED,
      REQUESTED,
      REQUESTED,
      true },
    { "taken here, and done: the record has it as taken",
      { REQUESTED, ACCEPTED ROWAN },
      COMPLETED ROWAN,
      ACCEPTED ROWAN,
      COMPLETED ROWAN,
      false },
    { "the same, and the answer to the taking got lost",
      { REQUESTED, ACCEPTED ROWAN },
      COMPLETED ROWAN,
      REQUESTED,
      COMPLETED ROWAN,
      false },
    { "handed on here, untouched there",
      { REQUESTED ELM },
      REQUESTED ROWAN,
      REQUESTED ELM,
      REQUESTED ROWAN,
      false },
    { "handed on here and there: the record's word stands",
      { REQUESTED ELM },
      REQUESTED ROWAN,
      REQUESTED SORREL,
      REQUESTED SORREL,
      true },
    { "done here, gone on with there: the record's word stands",
      { ACCEPTED },
      COMPLETED,
      "\"status\":\"in-progress\"",
      "\"status\":\"in-progress\"",
      true },
    { "declined with a reason: both are carried",
      { ACCEPTED },
      "\"status\":\"rejected\",\"statusReason\":{\"text\":\"known\"}",
      ACCEPTED,
      "\"status\":\"rejected\",\"statusReason\":{\"text\":\"known\"}",
      false },
    { "the server writes the name of whom it knows: no change of its own",
      { REQUESTED ELM },
      REQUESTED ROWAN,
      REQUESTED ",\"owner\":{\"display\":\"B. Elm\",\"reference\":"
                "\"Practitioner/5\"}",
      REQUESTED ROWAN,
      false },
    { "no longer anybody's",
      { REQUESTED ELM },
      REQUESTED,
      REQUESTED ELM,
      REQUESTED,
      false },
    { "put off here, taken there",
      { REQUESTED },
      REQUESTED ",\"businessStatus\":{\"text\":\"x\"}",
      ACCEPTED,
      ACCEPTED,
      true },
    { "a business status of a person's own, taken back here",
      { REQUESTED ",\"businessStatus\":{\"text\":\"x\"}" },
      REQUESTED,
      REQUESTED ",\"businessStatus\":{\"text\":\"x\"}",
      REQUESTED,
      false },
};

static json_t *members(const struct buf *b)
{
    json_t *tree = json_loadb(b->data, b->len, 0, NULL);

    assert_non_null(tree);
    return tree;
}

static void carried_where_nobody_changed_it_there(void **state)
{
    struct buf before, one, ours, theirs, made, want;

    (void)state;
    buf_init(&before, 1 << 16);
    buf_init(&one, 1 << 16);
    buf_init(&ours, 1 << 16);
    buf_init(&theirs, 1 << 16);
    buf_init(&made, 1 << 16);
    buf_init(&want, 1 << 16);
    for (size_t i = 0; i < COUNT(carries); i++) {
        struct fhir_carry c = { .before = &before };
        json_t *a, *b;
        bool same;

        printf("    %s\n", carries[i].label);
        buf_empty(&before);
        buf_empty(&made);
        for (size_t k = 0; k < 3 && carries[i].before[k] != NULL; k++) {
            put(&one, carries[i].before[k]);
            assert_int_equal(fhir_task_outline(one.data, one.len, &before),
                             ERR_OK);
        }
        put(&ours, carries[i].ours);
        put(&theirs, carries[i].theirs);
        put(&want, carries[i].want);
        /* the merge of two leaves theirs as it is, where nothing is ours */
        c.ours = ours.data, c.ours_len = ours.len;
        c.theirs = c.merged = theirs.data;
        c.theirs_len = c.merged_len = theirs.len;
        assert_int_equal(fhir_task_carry(&c, &same, &made), ERR_OK);
        a = members(&made), b = members(&want);
        if (!json_equal(a, b))
            fail_msg("%s", made.data);
        assert_int_equal(same, carries[i].same);
        json_decref(a);
        json_decref(b);
    }
    buf_clear(&before);
    buf_clear(&one);
    buf_clear(&ours);
    buf_clear(&theirs);
    buf_clear(&made);
    buf_clear(&want);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(written_into_a_task),
        cmocka_unit_test(what_is_not_named_stays),
        cmocka_unit_test(who_is_to_see_to_it),
        cmocka_unit_test(carried_where_nobody_changed_it_there),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
