/*
 * A Task of ours and the record's in one; and what is written of Tasks where
 * there is no room, or of half a Task.
 */
#include "tests/task_kit.h"

/* ---- merge ------------------------------------------------------------------------------------ */

#define HEAD "{\"resourceType\":\"Task\",\"intent\":\"proposal\","
#define WAITS                                                                  \
    "\"businessStatus\":{\"coding\":[{\"system\":\"" BASE                      \
    "/CodeSystem/av-task\",\"code\":\"awaiting-review\"}]}"
#define TRIGGER(n)                                                             \
    "{\"type\":{\"coding\":[{\"system\":\"" BASE                               \
    "/CodeSystem/av-task-io\",\"code\":\"trigger\"}]},\"valueReference\":{"    \
    "\"reference\":\"Observation/o" n "\"}}"

static const struct merge_case {
    const char *name, *ours, *theirs;
    bool same;
    const char *has[4], *lacks[4];
} merges[] = {
    { "nothing new",
      HEAD "\"id\":\"7\",\"status\":\"requested\",\"description\":\"a\","
           "\"input\":[{\"type\":{\"text\":\"x\"},\"valueDecimal\":2}]}",
      HEAD "\"id\":\"r9\",\"meta\":{\"versionId\":\"4\"},\"text\":{\"status\":"
           "\"generated\"},\"status\":\"requested\",\"description\":\"a\","
           "\"lastModified\":\"2026-03-06T08:12:00Z\","
           "\"input\":[{\"type\":{\"text\":\"x\"},\"valueDecimal\":2.0}]}",
      true,
      { "\"id\":\"r9\"" },
      { "\"id\":\"7\"", "meta", "generated" } },
    { "ours is newer, theirs is untouched",
      HEAD "\"status\":\"requested\",\"description\":\"b\",\"priority\":"
           "\"urgent\"," WAITS
           ",\"input\":[" TRIGGER("1") "," TRIGGER("2") "]}",
      HEAD "\"id\":\"r9\",\"status\":\"requested\",\"description\":\"a\","
           "\"priority\":\"routine\"," WAITS ",\"input\":[" TRIGGER("1") "]}",
      false,
      { "\"id\":\"r9\"", "\"description\":\"b\"", "\"priority\":\"urgent\"",
        "[" TRIGGER("1") "," TRIGGER("2") "]" },
      { NULL } },
    { "what only they have is kept",
      HEAD "\"status\":\"requested\",\"description\":\"b\"," WAITS
           ",\"note\":[{\"time\":\"2026-03-06T08:12:00Z\",\"text\":\"ours\"}]}",
      HEAD
      "\"id\":\"r9\",\"status\":\"requested\",\"description\":\"a\","
      "\"owner\":{\"reference\":\"Organization/team\"},"
      "\"businessStatus\":{\"text\":\"slot asked for\"},"
      "\"extension\":[{\"url\":\"urn:x\",\"valueDecimal\":1.50}],"
      "\"input\":[" TRIGGER(
          "9") "],"
               "\"note\":[{\"text\":\"theirs\"},"
               "{\"time\":\"2026-03-06T09:12:00+01:00\",\"text\":\"ours\"}]}",
      false,
      { "\"businessStatus\":{\"text\":\"slot asked for\"}",
        "\"owner\":{\"reference\":\"Organization/team\"}",
        "\"valueDecimal\":1.50",
        "\"note\":[{\"text\":\"theirs\"},{\"time\":"
        "\"2026-03-06T09:12:00+01:00\",\"text\":\"ours\"}]" },
      { "awaiting-review" } },
    { "ours has ended",
      HEAD "\"status\":\"cancelled\",\"statusReason\":{\"text\":\"gone\"}}",
      HEAD "\"id\":\"r9\",\"status\":\"requested\"," WAITS "}",
      false,
      { "\"status\":\"cancelled\"", "\"statusReason\":{\"text\":\"gone\"}" },
      { "awaiting-review" } },
    { "accepted there: only inputs and notes go in",
      HEAD "\"status\":\"cancelled\",\"description\":\"b\",\"lastModified\":"
           "\"2026-03-08T08:12:00Z\",\"note\":[{\"text\":\"ours\"}],"
           "\"input\":[" TRIGGER("1") "," TRIGGER("2") "]}",
      HEAD "\"id\":\"r9\",\"meta\":{\"versionId\":\"4\"},\"status\":"
           "\"accepted\",\"description\":\"a\",\"lastModified\":"
           "\"2026-03-07T08:12:00Z\",\"input\":[" TRIGGER("1") "]}",
      false,
      { "\"status\":\"accepted\",\"description\":\"a\"",
        "\"lastModified\":\"2026-03-08T08:12:00Z\"",
        "[" TRIGGER("1") "," TRIGGER("2") "]",
        "\"note\":[{\"text\":\"ours\"}]" },
      { "cancelled" } },
    { "rejected there, nothing to add",
      HEAD "\"status\":\"requested\",\"description\":\"b\",\"priority\":"
           "\"stat\",\"lastModified\":\"2026-03-06T08:12:00Z\"}",
      HEAD "\"id\":\"r9\",\"status\":\"rejected\",\"lastModified\":"
           "\"2026-03-07T08:12:00Z\"}",
      true,
      { "\"status\":\"rejected\"",
        "\"lastModified\":\"2026-03-07T08:12:00Z\"" },
      { "stat\"", "\"description\"" } },
    { "a logical reference is the same one",
      HEAD "\"status\":\"requested\",\"input\":[{\"type\":{\"text\":\"x\"},"
           "\"valueReference\":{\"identifier\":{\"system\":\"s\",\"value\":"
           "\"1\"},\"display\":\"final\"}}]}",
      HEAD "\"status\":\"accepted\",\"input\":[{\"type\":{\"text\":\"x\"},"
           "\"valueReference\":{\"display\":\"preliminary\",\"identifier\":{"
           "\"system\":\"s\",\"value\":\"1\"}}}]}",
      true,
      { "preliminary" },
      { "final" } },
    { "two displays are two references",
      HEAD "\"status\":\"requested\",\"input\":[{\"type\":{\"text\":\"x\"},"
           "\"valueReference\":{\"display\":\"one\"}}]}",
      HEAD "\"status\":\"accepted\",\"input\":[{\"type\":{\"text\":\"x\"},"
           "\"valueReference\":{\"display\":\"two\"}}]}",
      false,
      { "one", "two" },
      { NULL } },
    { "keys spelt with escapes",
      HEAD "\"st\\u0061tus\":\"requested\",\"description\":\"b\"}",
      HEAD "\"status\":\"requested\",\"descr\\u0069ption\":\"a\"}",
      false,
      { "\"description\":\"b\"" },
      { "\"a\"" } },
};

static void test_merge(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(merges); i++) {
        const struct merge_case *c = &merges[i];
        bool same;

        ROW(c->name);
        buf_empty(&out);
        assert_int_equal(fhir_task_merge(c->ours, strlen(c->ours), c->theirs,
                                         strlen(c->theirs), &same, &out),
                         ERR_OK);
        assert_int_equal(same, c->same);
        check_out();
        for (size_t k = 0; k < 4 && c->has[k] != NULL; k++)
            assert_has(c->has[k]);
        for (size_t k = 0; k < 4 && c->lacks[k] != NULL; k++)
            assert_lacks(c->lacks[k]);
    }
}

/* What was sent and read back is not sent again. */
static void test_merge_settles(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(merges); i++) {
        const struct merge_case *c = &merges[i];
        struct buf sent;
        bool same;

        ROW(c->name);
        buf_init(&sent, 1 << 16);
        assert_int_equal(fhir_task_merge(c->ours, strlen(c->ours), c->theirs,
                                         strlen(c->theirs), &same, &sent),
                         ERR_OK);
        buf_empty(&out);
        assert_int_equal(fhir_task_merge(c->ours, strlen(c->ours), sent.data,
                                         sent.len, &same, &out),
                         ERR_OK);
        assert_true(same);
        buf_clear(&sent);
    }
}

/* ---- everything that can fail ------------------------------------------------------------------------ */

enum work { WORK_WRITE, WORK_AMEND, WORK_MERGE, WORK_LOCALISE, WORK_COUNT };

static enum err do_work(enum work work, struct buf *to)
{
    struct mapped map = { "Practitioner/dr-9",
                          { .literal = "Practitioner/1" } };
    const struct merge_case *m = &merges[2];
    bool same;

    switch (work) {
    case WORK_WRITE:
        return fhir_task_write(&plain_task, to);
    case WORK_AMEND:
        return fhir_task_amend(touched_task, strlen(touched_task), &plain_task,
                               false, to);
    case WORK_MERGE:
        return fhir_task_merge(m->ours, strlen(m->ours), m->theirs,
                               strlen(m->theirs), &same, to);
    case WORK_LOCALISE:
        return fhir_localise(touched_task, strlen(touched_task), map_one, &map,
                             to);
    case WORK_COUNT:
        break;
    }
    return ERR_RANGE;
}

/* Any ceiling below what is needed is an error, and is kept to. */
static void test_ceiling(void **state)
{
    (void)state;
    for (int work = 0; work < WORK_COUNT; work++) {
        struct buf full;

        buf_init(&full, 1 << 16);
        assert_int_equal(do_work((enum work)work, &full), ERR_OK);
        for (size_t ceiling = 0; ceiling < full.len; ceiling++) {
            struct buf tight;

            buf_init(&tight, ceiling);
            assert_int_equal(do_work((enum work)work, &tight), ERR_LIMIT);
            assert_true(tight.len <= ceiling);
            buf_clear(&tight);
        }
        buf_clear(&full);
    }
}

/* A Task cut off anywhere is none. */
static void test_cut(void **state)
{
    size_t len = strlen(touched_task);

    (void)state;
    for (size_t i = 0; i < len; i++) {
        struct fhir_task_view view;
        char *cut = malloc(i + 1);
        bool same;

        assert_non_null(cut);
        memcpy(cut, touched_task, i);
        buf_empty(&out);
        assert_int_equal(fhir_task_amend(cut, i, &plain_task, true, &out),
                         ERR_FORM);
        assert_int_equal(
            fhir_task_merge(touched_task, len, cut, i, &same, &out), ERR_FORM);
        assert_int_equal(fhir_localise(cut, i, map_one, NULL, &out), ERR_FORM);
        assert_int_equal(fhir_task_view(cut, i, &view), ERR_FORM);
        assert_int_equal(out.len, 0); /* nothing was written */
        free(cut);
    }
}

/* ---- what a person changed before taking it in hand --------------------- */

#define YIELDS(priority)                                                       \
    "{\"resourceType\":\"Task\",\"status\":\"requested\"" priority "}"
#define PRIORITY(p) ",\"priority\":\"" p "\",\"description\":\"d\""

static void test_yield(void **state)
{
    static const struct {
        const char *name, *ours, *sent, *theirs, *want;
        enum err err;
    } cases[] = {
        { "nobody changed it", YIELDS(PRIORITY("urgent")),
          YIELDS(PRIORITY("routine")), YIELDS(PRIORITY("routine")),
          YIELDS(PRIORITY("urgent")), ERR_OK },
        { "a person raised it", YIELDS(PRIORITY("urgent")),
          YIELDS(PRIORITY("routine")), YIELDS(PRIORITY("stat")),
          YIELDS(PRIORITY("stat")), ERR_OK },
        { "the server dropped it", YIELDS(PRIORITY("urgent")),
          YIELDS(PRIORITY("routine")), YIELDS(""), YIELDS(PRIORITY("urgent")),
          ERR_OK },
        { "it was not sent with one", YIELDS(PRIORITY("urgent")), YIELDS(""),
          YIELDS(PRIORITY("stat")), YIELDS(PRIORITY("stat")), ERR_OK },
        { "ours has risen since", YIELDS(PRIORITY("stat")),
          YIELDS(PRIORITY("routine")), YIELDS(PRIORITY("urgent")),
          YIELDS(PRIORITY("stat")), ERR_OK },
        { "lowered, and nothing is new", YIELDS(PRIORITY("asap")),
          YIELDS(PRIORITY("asap")), YIELDS(PRIORITY("routine")),
          YIELDS(PRIORITY("routine")), ERR_OK },
        { "a word that R4 has not", YIELDS(PRIORITY("asap")),
          YIELDS(PRIORITY("routine")), YIELDS(PRIORITY("high")),
          YIELDS(PRIORITY("asap")), ERR_OK },
        { "no Task", YIELDS(""), YIELDS(""), "{}", "", ERR_FORM },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct buf yielded;

        ROW(cases[i].name);
        buf_init(&yielded, 4096);
        assert_int_equal(fhir_task_yield(cases[i].ours, strlen(cases[i].ours),
                                         cases[i].sent, strlen(cases[i].sent),
                                         cases[i].theirs,
                                         strlen(cases[i].theirs), &yielded),
                         cases[i].err);
        if (cases[i].err == ERR_OK)
            assert_string_equal(yielded.data, cases[i].want);
        buf_clear(&yielded);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_yield),         cmocka_unit_test(test_merge),
        cmocka_unit_test(test_merge_settles), cmocka_unit_test(test_ceiling),
        cmocka_unit_test(test_cut),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
