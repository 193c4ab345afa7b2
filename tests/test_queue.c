/* The list of what is open, and of what is kept back. */
#include "service/held.h"
#include "service/queue.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <jansson.h>

static int start(void **state)
{
    world_start(state);
    world_has_access(*state);
    return 0;
}

/* A finger to measure again, a high flow, and (of another patient, who is not
 * known by name) an ulcer. */
static void three_open(struct world *w)
{
    assert_int_equal(world_post(w, OBS(.value = "2240", .access = ACCESS,
                                       .ago_h = 7 * DAYS)),
                     201);
    assert_int_equal(world_post(w, OBS(.value = "2310", .access = ACCESS)),
                     201);
    assert_int_equal(world_post(w, OBS(.code = "hand-symptom",
                                       .sign = "coldness", .access = ACCESS)),
                     201);
    assert_int_equal(
        world_post(w, OBS(.code = "digital-pressure", .value = "45",
                          .unit = "mm[Hg]", .access = ACCESS)),
        201);
    assert_int_equal(world_post(w, OBS(.code = "hand-symptom",
                                       .sign = "hand-ulcer", .person = "2002")),
                     201);
    world_review(w);
    assert_int_equal(world_tasks(w, NULL, "requested"), 3);
}

static void read_queue(struct world *w, const struct queue_options *options,
                       struct buf *out)
{
    struct queue_wish wish = { .table = options != NULL };

    if (options != NULL)
        wish.options = *options;
    wish.options.now_s = world_now_s;
    wish.options.zone = w->zone;
    buf_empty(out);
    assert_int_equal(queue_read(w->db, &wish, world_now_s - 30 * 86400, out),
                     ERR_OK);
}

static void assert_member(json_t *row, const char *key, const char *want)
{
    json_t *value = json_object_get(row, key);

    if (want == NULL)
        assert_true(json_is_null(value));
    else
        assert_string_equal(json_string_value(value), want);
}

static void as_json(void **state)
{
    static const struct {
        const char *kind, *urgency, *patient, *number, *unit, *group, *due;
    } want[] = {
        { "referral", "immediate", NULL, "2002", NULL, "hand", "2026-03-06" },
        { "referral", "urgent", "Fictional, Wren", "1001", "Unit North", "flow",
          "2026-03-20" },
        { "reminder", NULL, "Fictional, Wren", "1001", "Unit North", "hand",
          "2026-03-20" },
    };
    struct world *w = world(state);
    struct buf out;
    const char *line;

    buf_init(&out, 1 << 20);
    read_queue(w, NULL, &out);
    assert_int_equal(out.len, 0);
    three_open(w);
    read_queue(w, NULL, &out);
    line = out.data;
    for (size_t i = 0; i < COUNT(want); i++) {
        const char *end = strchr(line, '\n');
        json_t *row, *task;
        struct resource r;

        assert_non_null(end);
        row = json_loadb(line, (size_t)(end - line), JSON_REJECT_DUPLICATES,
                         NULL);
        assert_non_null(row);
        assert_member(row, "kind", want[i].kind);
        assert_member(row, "urgency", want[i].urgency);
        assert_member(row, "state", "open");
        assert_member(row, "patient", want[i].patient);
        assert_member(row, "patient_number", want[i].number);
        assert_member(row, "unit", want[i].unit);
        assert_member(row, "group", want[i].group);
        assert_member(row, "due", want[i].due);
        task = json_object_get(row, "task");
        assert_int_equal(
            resource_by_fid(w->db, FHIR_TASK, json_string_value(task), &r),
            ERR_OK);
        json_decref(row);
        line = end + 1;
    }
    assert_int_equal(*line, '\0');
    buf_clear(&out);
}

static void as_a_table(void **state)
{
    static const char *const in_order[] = {
        "2002",   "ulcer",      "Fictional, Wren",
        "A-7",    "Unit North", "2310 mL/min (limit 2000, HF-1)",
        "45 mmHg"
    };
    struct world *w = world(state);
    struct queue_options options = { .now_s = world_now_s, .zone = w->zone };
    struct buf out;
    const char *at;

    buf_init(&out, 1 << 20);
    read_queue(w, &options, &out);
    assert_true(out.len > 0); /* an empty queue says so */
    assert_null(strstr(out.data, "Wren"));
    three_open(w);
    read_queue(w, &options, &out);
    at = out.data;
    for (size_t i = 0; i < COUNT(in_order); i++) {
        at = strstr(at, in_order[i]);
        if (at == NULL)
            fail_msg("%s is not, or not in its place, in:\n%s", in_order[i],
                     out.data);
    }
    buf_clear(&out);
}

/* What is taken on stays in the list, what is closed does not. */
static void people_change_it(void **state)
{
    struct world *w = world(state);
    struct buf out;

    buf_init(&out, 1 << 20);
    three_open(w);
    world_person(w, "refer-flow-review", "accepted");
    read_queue(w, NULL, &out);
    assert_non_null(strstr(out.data, "\"taken\""));
    world_person(w, "refer-flow-review", "completed");
    world_person(w, "repeat-digital-pressure", "rejected");
    read_queue(w, NULL, &out);
    assert_null(strstr(out.data, "\"flow\""));
    assert_null(strstr(out.data, "\"reminder\""));
    assert_non_null(strstr(out.data, "\"immediate\""));
    buf_clear(&out);
}

/* A Kt/V of 1.1 beside urea that makes it 1.47: neither is used, and both are
 * listed for the unit. */
static void contradictions_are_listed(void **state)
{
    struct world *w = world(state);
    struct buf out;

    buf_init(&out, 65536);
    for (int again = 0; again < 2; again++) {
        static const struct {
            const char *code, *value, *unit;
        } rows[] = {
            { "bun-pre", "70", "mg/dL" },       { "bun-post", "20", "mg/dL" },
            { "treatment-time", "240", "min" }, { "uf-volume", "2500", "mL" },
            { "post-weight", "75", "kg" },      { "spktv", "1.10", "1" },
        };

        for (size_t i = 0; again == 0 && i < COUNT(rows); i++)
            assert_int_equal(
                world_post(w,
                           OBS(.identifier = rows[i].code, .code = rows[i].code,
                               .value = rows[i].value, .unit = rows[i].unit,
                               .status = "final", .ago_h = 48)),
                201);
        world_review(w);
        assert_int_equal(world_count(w, "SELECT count(*) FROM remark"), 1);
    }
    assert_int_equal(held_read(w->db, w->zone, &out), ERR_OK);
    assert_non_null(strstr(out.data, "Contradictory, kept and not used:"));
    assert_non_null(strstr(out.data, "Single-pool Kt/V 1.10"));
    assert_non_null(strstr(out.data, "it would be 1.47"));
    /* the unit corrects it */
    assert_int_equal(world_post(w, OBS(.identifier = "spktv", .code = "spktv",
                                       .value = "1.47", .unit = "1",
                                       .status = "corrected", .ago_h = 48)),
                     200);
    world_review(w);
    assert_int_equal(world_count(w, "SELECT count(*) FROM remark"), 0);
    buf_clear(&out);
}

static void what_is_held_is_listed(void **state)
{
    struct world *w = world(state);
    struct buf out;

    buf_init(&out, 1 << 20);
    assert_int_equal(held_read(w->db, w->zone, &out), ERR_OK);
    assert_string_equal(out.data, "Nothing is held back.\n");
    buf_empty(&out);
    assert_int_equal(
        world_put(w, "o1", OBS(.id = "o1", .value = "2.24", .access = ACCESS)),
        201);
    world_now_s += 86400;
    assert_int_equal(world_put(w, "o2",
                               OBS(.id = "o2", .code = "digital-pressure",
                                   .value = "50", .unit = "mm[Hg]",
                                   .access = ACCESS, .site = "right hand")),
                     201);
    assert_int_equal(held_read(w->db, w->zone, &out), ERR_OK);
    assert_string_equal(
        out.data,
        "2026-03-06  Fictional, Wren, 1001, Unit North: Access blood flow "
        "(Qa): the value cannot be right as sent; litres?  (Observation/o1)\n"
        "2026-03-07  Fictional, Wren, 1001, Unit North: Finger systolic "
        "pressure: the side is missing or contradicts the access  "
        "(Observation/o2)\n");
    buf_clear(&out);
}

/* Among what is to be phoned about now, what kills first comes first. */
static void what_kills_first_comes_first(void **state)
{
    static const struct {
        const char *code, *sign;
    } signs[] = {
        { "infection-sign", "infection-sepsis" },
        { "thrill", "absent" },
        { "hand-symptom", "hand-ulcer" },
    };
    static const char *const want[] = { "bleeding", "hand", "low-flow",
                                        "infection" };
    struct world *w = world(state);
    const char *line;
    struct buf out;

    for (size_t i = 0; i < COUNT(signs); i++)
        assert_int_equal(
            world_post(w, OBS(.code = signs[i].code, .sign = signs[i].sign,
                              .access = ACCESS)),
            201);
    assert_int_equal(world_post(w, OBS(.code = "bleeding-active", .bare = true,
                                       .access = ACCESS,
                                       .more = ",\"valueBoolean\":true,"
                                               "\"effectiveDateTime\":"
                                               "\"2026-03-06T08:00:00Z\"")),
                     201);
    world_review(w);
    buf_init(&out, 1 << 20);
    read_queue(w, NULL, &out);
    line = out.data;
    for (size_t i = 0; i < COUNT(want); i++) {
        json_t *row;

        if (strchr(line, '\n') == NULL)
            fail_msg("%s is not in:\n%s", want[i], out.data);
        row = json_loadb(line, (size_t)(strchr(line, '\n') - line), 0, NULL);
        assert_non_null(row);
        assert_member(row, "urgency", "immediate");
        assert_member(row, "group", want[i]);
        json_decref(row);
        line = strchr(line, '\n') + 1;
    }
    buf_clear(&out);
}

/* Somebody has it in hand, and its reading was withdrawn: nobody is to be
 * phoned any more, and no day passes. */
static void what_has_lost_its_ground_comes_last(void **state)
{
    struct world *w = world(state);
    struct queue_options options = { .now_s = world_now_s, .zone = w->zone };
    struct buf out;

    assert_int_equal(world_put(w, "o1",
                               OBS(.id = "o1", .code = "hand-symptom",
                                   .sign = "hand-ulcer", .access = ACCESS)),
                     201);
    world_review(w);
    world_person(w, "refer-hand-review", "accepted");
    buf_init(&out, 1 << 20);
    read_queue(w, &options, &out);
    assert_non_null(strstr(out.data, "PHONE NOW"));
    assert_null(strstr(out.data, "GROUND GONE"));
    assert_int_equal(
        world_put(w, "o1",
                  OBS(.id = "o1", .code = "hand-symptom", .sign = "hand-ulcer",
                      .status = "entered-in-error", .access = ACCESS)),
        200);
    world_review(w);
    world_now_s += 3 * 86400;
    options.now_s = world_now_s;
    read_queue(w, &options, &out);
    assert_null(strstr(out.data, "PHONE NOW"));
    assert_non_null(strstr(out.data, "GROUND GONE: nothing holds any more"));
    assert_non_null(strstr(out.data, "Overdue: 0. In hand: 1."));
    read_queue(w, NULL, &out);
    assert_non_null(strstr(out.data, "\"ground_gone\":true"));
    buf_clear(&out);
}

/* ---- a part of it ----------------------------------------------------------- */

static enum err ask(struct world *w, struct queue_wish *wish, struct buf *out)
{
    wish->options.now_s = world_now_s;
    wish->options.zone = w->zone;
    buf_empty(out);
    return queue_read(w->db, wish, world_now_s - 30 * 86400, out);
}

/* Rows of this kind. */
static size_t rows_of(const struct buf *out, const char *kind)
{
    size_t count = 0;
    char text[64];

    snprintf(text, sizeof(text), "{\"kind\":\"%s\"", kind);
    for (const char *at = out->data; at != NULL && (at = strstr(at, text));
         at++)
        count++;
    return count;
}

static void by_unit_rule_and_access(void **state)
{
    static const struct {
        const char *unit, *access, *rule;
        size_t referrals, reminders, hidden;
    } cases[] = {
        { "Unit North", "", NULL, 1, 1, 1 },
        { "UNIT north", "", NULL, 1, 1, 1 },
        { "unit not known", "", NULL, 1, 0, 2 },
        { "", "A-7", NULL, 1, 1, 1 },
        { "", "1001", NULL, 1, 1, 1 }, /* of the patient */
        { "Unit North", "", "HF-1", 1, 0, 2 },
        { "", "", "IS-2", 1, 0, 2 },
    };
    struct world *w = world(state);
    struct buf out;

    buf_init(&out, 1 << 20);
    three_open(w);
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct queue_wish wish = { .table = false };
        char count[32];

        ROW(cases[i].unit);
        snprintf(wish.unit, sizeof(wish.unit), "%s", cases[i].unit);
        snprintf(wish.access, sizeof(wish.access), "%s", cases[i].access);
        if (cases[i].rule != NULL)
            wish.filter.rules[wish.filter.rule_count++] = cases[i].rule;
        assert_int_equal(ask(w, &wish, &out), ERR_OK);
        assert_int_equal(rows_of(&out, "referral"), cases[i].referrals);
        assert_int_equal(rows_of(&out, "reminder"), cases[i].reminders);
        assert_int_equal(rows_of(&out, "not-shown"), 1);
        snprintf(count, sizeof(count), "\"count\":%zu,", cases[i].hidden);
        assert_non_null(strstr(out.data, count));
    }
    buf_clear(&out);
}

/* A mistyped name must not read as nothing to do. */
static void an_unknown_name_is_said(void **state)
{
    struct world *w = world(state);
    struct queue_wish wish = { .unit = "Unit Nroth" };
    struct buf out;

    buf_init(&out, 1 << 20);
    assert_int_equal(ask(w, &wish, &out), ERR_ABSENT);
    assert_non_null(strstr(out.data, "  Unit North\n"));
    wish = (struct queue_wish){ .access = "A-8" };
    assert_int_equal(ask(w, &wish, &out), ERR_ABSENT);
    assert_string_equal(out.data, "No access and no patient is called so.\n");
    buf_clear(&out);
}

/* What people do with it stands in columns: read as they are. */
static void what_people_did_is_shown(void **state)
{
    struct world *w = world(state);
    struct queue_options options = { .now_s = world_now_s, .zone = w->zone };
    char sql[256];
    struct buf out;
    const char *last;

    buf_init(&out, 1 << 20);
    three_open(w);
    assert_true(world_count(w, "SELECT count(*) FROM episode") == 2);
    assert_int_equal(db_run(w->db, Q_COMMIT, ""), ERR_OK);
    db_close(w->db);
    snprintf(sql, sizeof(sql),
             "UPDATE episode SET put_off_s = %lld, put_off_by = 'Dr Elm', owner"
             " = 'Vascular clinic', escalated = 1 WHERE grp = %d",
             (long long)(world_now_s + 2 * 86400), (int)GROUP_FLOW);
    world_change_file(w->path, sql);
    assert_int_equal(db_open(w->path, &w->db), ERR_OK);
    assert_int_equal(db_run(w->db, Q_BEGIN, ""), ERR_OK);
    read_queue(w, &options, &out);
    last = strstr(out.data, "PUT OFF - not before the date shown");
    assert_non_null(last);
    assert_true(last > strstr(out.data, "MEASURE AGAIN"));
    assert_non_null(strstr(last, "Put off until 2026-03-08 by Dr Elm"));
    assert_non_null(strstr(last, "Handed to: Vascular clinic, not yet taken"));
    assert_non_null(strstr(last, "ESCALATED"));
    read_queue(w, NULL, &out);
    assert_non_null(strstr(out.data, "\"state\":\"put-off\""));
    assert_non_null(strstr(out.data, "\"put_off_until\":\"2026-03-08\""));
    /* and it comes back by itself */
    world_now_s += 2 * 86400;
    options.now_s = world_now_s;
    read_queue(w, &options, &out);
    assert_null(strstr(out.data, "PUT OFF"));
    assert_true(strstr(out.data, "2310 mL/min") <
                strstr(out.data, "MEASURE AGAIN"));
    buf_clear(&out);
}

/* ---- whether anything has changed -------------------------------------------- */

static void mark_of(struct world *w, char mark[QUEUE_MARK_SIZE])
{
    const struct queue_options o = { .now_s = world_now_s, .zone = w->zone };

    assert_int_equal(queue_mark(w->db, &o, mark), ERR_OK);
}

/* Does the step change the tag, and what is shown?  Both or neither. */
static void the_tag_changes_with_what_is_shown(void **state)
{
    struct world *w = world(state);
    char before[QUEUE_MARK_SIZE], after[QUEUE_MARK_SIZE];

    mark_of(w, before);
    assert_int_equal(strncmp(before, "W/\"", 3), 0);
    three_open(w);
    mark_of(w, after);
    assert_string_not_equal(before, after);
    mark_of(w, before);
    assert_string_equal(before, after); /* looking changes nothing */
    world_now_s += 3600;
    mark_of(w, after);
    assert_string_equal(before, after);
    /* one that says nothing new of any access */
    assert_int_equal(
        world_post(w, OBS(.code = "post-weight", .value = "70", .unit = "kg")),
        201);
    mark_of(w, after);
    assert_string_equal(before, after);
    world_person(w, "refer-flow-review", "accepted");
    mark_of(w, after);
    assert_string_not_equal(before, after);
    mark_of(w, before);
    /* a sign that nobody can place */
    assert_int_equal(world_post(w, OBS(.code = "digital-pressure",
                                       .value = "50", .unit = "mm[Hg]",
                                       .access = ACCESS, .site = "right hand")),
                     201);
    mark_of(w, after);
    assert_string_not_equal(before, after);
    mark_of(w, before);
    /* tomorrow another day is due */
    world_now_s += 86400;
    mark_of(w, after);
    assert_string_not_equal(before, after);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, world_stop)
        TEST(as_json),
        TEST(as_a_table),
        TEST(people_change_it),
        TEST(what_kills_first_comes_first),
        TEST(what_has_lost_its_ground_comes_last),
        TEST(what_is_held_is_listed),
        TEST(contradictions_are_listed),
        TEST(by_unit_rule_and_access),
        TEST(an_unknown_name_is_said),
        TEST(what_people_did_is_shown),
        TEST(the_tag_changes_with_what_is_shown),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
