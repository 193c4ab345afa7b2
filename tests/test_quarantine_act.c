/* A person's word on what is held: it settles what it says, keeps every other
 * doubt, and leaves all or nothing behind. */
#include "service/quarantine_list.h"
#include "tests/quarantine_kit.h"

/* ---- values --------------------------------------------------------------- */

static void only_a_word_lets_an_implausible_value_in(void **state)
{
    struct world *w = world(state);

    feed(w, OBS(.id = "o1", .value = "9400"));
    assert_int_equal(held(w), 1);
    assert_int_equal(SAY(QUARANTINE_RELEASE, .item = named("o1")), 409);
    assert_true(says("stays held: the value cannot be right as sent"));
    assert_true(says("--as-sent"));
    assert_int_equal(world_count(w, "SELECT count(*) FROM deed"), 0);
    assert_int_equal(
        SAY(QUARANTINE_RELEASE, .item = named("o1"), .as_sent = true), 200);
    assert_int_equal(held(w), 0);
    assert_int_equal(readings(w, "o1"), 1);
    /* sent again unchanged it stays in; changed, it is judged anew */
    feed(w, OBS(.id = "o1", .value = "9400"));
    assert_int_equal(held(w), 0);
    feed(w, OBS(.id = "o1", .value = "9401"));
    assert_int_equal(held(w), 1);
    assert_int_equal(readings(w, "o1"), 0);
    /* what is not held cannot be let in so */
    feed(w, OBS(.id = "o2", .value = "900"));
    assert_int_equal(
        SAY(QUARANTINE_RELEASE, .item = named("o2"), .as_sent = true), 409);
    assert_int_equal(SAY(QUARANTINE_RELEASE, .item = "all", .as_sent = true),
                     400);
}

/* Two doubts on one value: each has its own word, in any order. */
static void a_value_and_its_access_are_said_in_any_order(void **state)
{
    struct world *w = world(state);

    feed(w, OBS(.id = "o1", .value = "9400", .patient = "Patient/p-2"));
    feed(w, OBS(.id = "o2", .value = "9401", .patient = "Patient/p-2"));
    assert_int_equal(held(w), 2);
    assert_int_equal(
        SAY(QUARANTINE_RELEASE, .item = named("o1"), .as_sent = true), 200);
    assert_true(says("is kept, and is not all that it needs"));
    assert_true(says("--access NAME"));
    assert_int_equal(readings(w, "o1"), 0);
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o1"), .access = "A-8"),
                     200);
    assert_int_equal(readings(w, "o1"), 1);

    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o2"), .access = "A-9"),
                     200);
    assert_true(says("is kept, and is not all that it needs"));
    assert_true(says("--as-sent"));
    assert_int_equal(readings(w, "o2"), 0);
    assert_int_equal(
        SAY(QUARANTINE_RELEASE, .item = named("o2"), .as_sent = true), 200);
    assert_int_equal(readings(w, "o2"), 1);
    assert_int_equal(
        world_count(w, "SELECT count(DISTINCT owner) FROM reading"), 2);
    assert_int_equal(held(w), 0);
}

/* Nobody's word makes blood flow backwards.  The bounds are this project's
 * own: twice the hard range, clinical judgement, no source. */
static void what_cannot_be_is_released_by_nobody(void **state)
{
    static const char *const values[] = { "-50", "16001", "99999" };
    struct world *w = world(state);

    for (size_t i = 0; i < COUNT(values); i++) {
        char id[16];

        ROW(values[i]);
        snprintf(id, sizeof(id), "x%zu", i);
        feed(w, OBS(.id = id, .value = values[i]));
        assert_int_equal(
            SAY(QUARANTINE_RELEASE, .item = named(id), .as_sent = true), 409);
        assert_true(says("cannot be what was sent"));
        assert_int_equal(readings(w, id), 0);
        assert_int_equal(SAY(QUARANTINE_DISCARD, .item = named(id)), 200);
    }
    assert_int_equal(held(w), 0);
}

/* Without an identifier the content tells that it is the same. */
static void what_was_decided_holds_for_the_same_content(void **state)
{
    struct world *w = world(state);
    const char *odd = OBS(.value = "9400");
    char name[100];

    assert_int_equal(world_post(w, odd), 201);
    snprintf(name, sizeof(name), "Observation/%s", world_fid(w, 0));
    assert_int_equal(SAY(QUARANTINE_DISCARD, .item = name), 200);
    assert_int_equal(held(w), 0);
    assert_int_equal(world_post(w, odd), 200);
    assert_int_equal(held(w), 0);
    assert_int_equal(SAY(QUARANTINE_RELEASE, .item = name, .as_sent = true),
                     200);
    assert_int_equal(world_count(w, "SELECT count(*) FROM reading"), 1);
    assert_int_equal(world_post(w, odd), 200);
    assert_int_equal(world_count(w, "SELECT count(*) FROM reading"), 1);
    assert_int_equal(held(w), 0);
}

static void a_discard_is_not_used_and_does_not_come_back(void **state)
{
    struct world *w = world(state);

    feed(w, OBS(.id = "o1", .value = "9400"));
    assert_int_equal(SAY(QUARANTINE_DISCARD, .item = named("o1")), 200);
    assert_int_equal(held(w), 0);
    assert_int_equal(readings(w, "o1"), 0);
    feed(w, OBS(.id = "o1", .value = "9400"));
    assert_int_equal(held(w), 0);
    assert_int_equal(SAY(QUARANTINE_DISCARD, .item = named("o1")), 409);
    /* a corrected version is judged anew, and may be good */
    feed(w, OBS(.id = "o1", .value = "940"));
    assert_int_equal(readings(w, "o1"), 1);
    /* and a discard can be taken back */
    feed(w, OBS(.id = "o2", .value = "9400"));
    assert_int_equal(SAY(QUARANTINE_DISCARD, .item = named("o2")), 200);
    assert_int_equal(SAY(QUARANTINE_RELEASE, .item = named("o2")), 200);
    assert_int_equal(held(w), 1);
    assert_int_equal(readings(w, "o2"), 0);
}

static void the_future_waits_until_it_has_come(void **state)
{
    struct world *w = world(state);

    feed(w, OBS(.id = "o1", .value = "900", .ago_h = -48));
    assert_int_equal(held(w), 1);
    assert_int_equal(SAY(QUARANTINE_RELEASE, .item = named("o1")), 409);
    assert_true(says("once that time has come"));
    assert_int_equal(
        SAY(QUARANTINE_RELEASE, .item = named("o1"), .as_sent = true), 409);
    world_now_s += INT64_C(2) * 86400;
    assert_int_equal(SAY(QUARANTINE_RELEASE, .item = "all", .reason = "unit"),
                     200);
    assert_int_equal(held(w), 1);
    assert_int_equal(SAY(QUARANTINE_RELEASE, .item = "all", .reason = "time"),
                     200);
    assert_int_equal(held(w), 0);
    assert_int_equal(readings(w, "o1"), 1);
}

/* ---- which access --------------------------------------------------------- */

static long long of_access(struct world *w, const char *id)
{
    char sql[300];

    snprintf(sql, sizeof(sql),
             "SELECT count(*) FROM reading g JOIN access a ON a.id = g.owner"
             " JOIN resource r ON r.id = a.resource WHERE r.fid = '%s'",
             id);
    return world_count(w, sql);
}

static void a_reading_is_put_to_an_access_for_good(void **state)
{
    static const char *const names[] = { "A-8", "acc-8", "BodyStructure/acc-8",
                                         IDS "access|A-8" };
    struct world *w = world(state);
    char id[16];

    for (size_t i = 0; i < COUNT(names); i++) {
        snprintf(id, sizeof(id), "o%zu", i);
        feed(w, OBS(.id = id, .value = "900", .patient = "Patient/p-2",
                    .ago_h = 10 * (double)i));
        assert_int_equal(held(w), 1);
        assert_int_equal(
            SAY(QUARANTINE_MAP, .item = named(id), .access = names[i]), 200);
        assert_int_equal(held(w), 0);
        assert_int_equal(of_access(w, "acc-8"), (long long)i + 1);
    }
    /* a correction of the value keeps it */
    feed(w, OBS(.id = "o1", .value = "950", .patient = "Patient/p-2",
                .ago_h = 10));
    assert_int_equal(held(w), 0);
    assert_int_equal(of_access(w, "acc-8"), (long long)COUNT(names));
    assert_int_equal(of_access(w, "acc-9"), 0);
}

static void an_access_of_somebody_else_is_refused(void **state)
{
    struct world *w = world(state);

    feed(w, OBS(.id = "o1", .value = "900", .patient = "Patient/p-2"));
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o1"), .access = "A-7"),
                     404);
    assert_true(says("has no access of this name"));
    assert_int_equal(held(w), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM verdict"), 0);
    assert_int_equal(world_count(w, "SELECT count(*) FROM deed"), 0);
}

static void a_side_says_which_of_two(void **state)
{
    struct world *w = world(state);

    feed(w, OBS(.id = "o1", .value = "900", .patient = "Patient/p-2"));
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o1"), .side = "up"),
                     400);
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o1"), .side = "right"),
                     200);
    assert_int_equal(of_access(w, "acc-9"), 1);
    assert_int_equal(held(w), 0);
}

static void a_sign_on_the_wrong_side_is_put_right(void **state)
{
    struct world *w = world(state);

    feed(w, OBS(.id = "o1", .code = "hand-symptom", .sign = "pain-at-rest",
                .access = "BodyStructure/acc-7", .site = "right hand"));
    assert_int_equal(world_count(w, "SELECT count(*) FROM held WHERE reason ="
                                    " 'side'"),
                     1);
    assert_int_equal(SAY(QUARANTINE_MAP, .item = named("o1"), .side = "left"),
                     200);
    assert_int_equal(held(w), 0);
    world_review(w);
    assert_true(world_tasks(w, NULL, "requested") > 0);
}

/* Behind the access stands another doubt: that one stays. */
static void other_doubts_stay(void **state)
{
    struct world *w = world(state);

    feed(w, OBS(.id = "o1", .value = "9400", .patient = "Patient/p-2"));
    assert_int_equal(
        SAY(QUARANTINE_RELEASE, .item = named("o1"), .as_sent = true),
        200); /* the value is right: but of which access? */
    assert_true(says("which access is meant"));
    assert_int_equal(SAY(QUARANTINE_RELEASE, .item = named("o1")), 409);
    assert_int_equal(held(w), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM reading"), 0);
}

/* ---- order ---------------------------------------------------------------- */

/* A released older report does not bring back what was corrected: its
 * correction is the newest version, and that is the one that is read. */
static void a_correction_stands(void **state)
{
    struct world *w = world(state);

    feed(w, OBS(.identifier = "n1", .value = "2300", .unit = "mL/min",
                .patient = "Patient/p-2",
                .more = ",\"issued\":\"2026-03-05T10:00:00Z\""));
    feed(w, OBS(.identifier = "n1", .value = "900", .status = "corrected",
                .patient = "Patient/p-2",
                .more = ",\"issued\":\"2026-03-06T10:00:00Z\""));
    feed(w, OBS(.identifier = "n1", .value = "2300", .patient = "Patient/p-2",
                .more = ",\"issued\":\"2026-03-05T11:00:00Z\""));
    assert_int_equal(held(w), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM resource WHERE"
                                    " kind = 1"),
                     1);
    assert_int_equal(
        SAY(QUARANTINE_MAP, .item = named(world_fid(w, 0)), .access = "A-8"),
        200);
    assert_int_equal(world_count(w, "SELECT value FROM reading"), 900);
}

/* ---- whole inputs --------------------------------------------------------- */

static int64_t aside(struct world *w, const char *body)
{
    struct quarantine_row row = { .at_ms = world_now_ms(),
                                  .way = QUARANTINE_FILE,
                                  .source = "unit-a",
                                  .kind = FHIR_OBSERVATION,
                                  .line = 1,
                                  .status = 422,
                                  .reason = "no-subject",
                                  .place = "Observation.subject",
                                  .text = "A Patient is needed",
                                  .body = body,
                                  .len = strlen(body) };
    int64_t id;

    assert_int_equal(quarantine_add(w->db, &row, &id), ERR_OK);
    return id;
}

static const char *number(int64_t id)
{
    static char text[32];

    snprintf(text, sizeof(text), "%lld", (long long)id);
    return text;
}

static void a_line_is_taken_in_once_it_can_be(void **state)
{
    struct world *w = world(state);
    int64_t bad = aside(w, "{\"resourceType\":\"Observation\","
                           "\"status\":\"final\"}");
    int64_t good = aside(w, OBS(.id = "o1", .value = "900"));

    assert_int_equal(SAY(QUARANTINE_RELEASE, .item = number(bad)), 409);
    assert_true(says("stays in quarantine"));
    assert_true(says("Observation."));
    assert_int_equal(
        SAY(QUARANTINE_RELEASE, .item = number(good), .as_sent = true), 400);
    assert_int_equal(SAY(QUARANTINE_RELEASE, .item = "all"), 200);
    assert_true(says("Looked again at 2: 1 released, 1 stays as before"));
    assert_int_equal(readings(w, "o1"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM quarantine WHERE"
                                    " state = 1 AND who = 'A Nurse' AND why ="
                                    " 'the unit was asked'"),
                     1);
    assert_int_equal(SAY(QUARANTINE_RELEASE, .item = number(good)), 409);
    assert_int_equal(SAY(QUARANTINE_DISCARD, .item = number(bad)), 200);
    assert_int_equal(SAY(QUARANTINE_DISCARD, .item = number(bad)), 409);
    assert_int_equal(SAY(QUARANTINE_MAP, .item = number(bad), .side = "left"),
                     409);
    assert_int_equal(SAY(QUARANTINE_RELEASE, .item = "987654321"), 404);
    assert_int_equal(SAY(QUARANTINE_RELEASE, .item = "seven"), 400);
}

/* ---- what a person reads -------------------------------------------------- */

static void the_list_says_what_mends_it(void **state)
{
    struct world *w = world(state);
    struct quarantine_filter filter = { .reason = NULL };
    struct buf out;

    feed(w, machine("o1", "access-flow", "cups", 5));
    feed(w, OBS(.id = "o2", .value = "900", .patient = "Patient/p-2"));
    aside(w, "{\"resourceType\":\"Observation\",\"status\":\"final\"}");
    feed(w, machine("o3", "QB1", "mL/min", 5));
    buf_init(&out, 1 << 20);
    assert_int_equal(
        quarantine_list(w->db, &filter, w->zone, world_now_ms(), &out), ERR_OK);
    assert_non_null(strstr(out.data, "Fictional, Wren, 1001, Unit North: "
                                     "Access blood flow (Qa): the unit is "
                                     "missing"));
    assert_non_null(strstr(out.data, "--unit UCUM"));
    assert_non_null(strstr(out.data, "--access NAME"));
    assert_non_null(strstr(out.data, "from unit-a: Observation: A Patient is "
                                     "needed; at Observation.subject"));
    assert_non_null(strstr(out.data, "     1 held, unit: "));
    assert_non_null(strstr(out.data, "     1 not taken in, no-subject: "));
    assert_non_null(strstr(out.data, "     1 times " LOCAL "|QB1, such as "));
    buf_empty(&out);
    filter.reason = "access";
    filter.json = true;
    assert_int_equal(
        quarantine_list(w->db, &filter, w->zone, world_now_ms(), &out), ERR_OK);
    assert_non_null(strstr(out.data, "\"kind\":\"held\""));
    assert_null(strchr(strchr(out.data, '\n') + 1, '{')); /* one line */
    buf_clear(&out);
}

/* ---- all or nothing ------------------------------------------------------- */

struct trace {
    long long held, readings, verdicts, deeds, mappings;
};

static struct trace look(struct world *w)
{
    return (struct trace){ held(w),
                           world_count(w, "SELECT count(*) FROM reading"),
                           world_count(w, "SELECT count(*) FROM verdict"),
                           world_count(w, "SELECT count(*) FROM deed"),
                           world_count(w, "SELECT count(*) FROM mapping") };
}

static long fails_at;

static enum err failing_step(struct db *db, void *arg)
{
    enum err e;

    db_fail_step(db, fails_at);
    e = quarantine_act(db, arg);
    db_fail_step(db, 0);
    return e;
}

/* Every step of the store fails once. */
static void a_step_that_fails_leaves_nothing(void **state)
{
    static const struct word words[] = {
        { .verb = QUARANTINE_RELEASE,
          .item = "Observation/o1",
          .as_sent = true },
        { .verb = QUARANTINE_MAP, .item = "Observation/o2", .access = "A-8" },
        { .verb = QUARANTINE_DISCARD, .item = "Observation/o3" },
    };
    struct world *w = world(state);

    feed(w, OBS(.id = "o1", .value = "9400", .ago_h = 3));
    feed(w, OBS(.id = "o2", .value = "900", .patient = "Patient/p-2"));
    feed(w, OBS(.id = "o3", .value = "9300", .ago_h = 5));
    for (size_t i = 0; i < COUNT(words); i++) {
        struct trace before = look(w), after;
        enum err e = ERR_STORE;

        for (fails_at = 1; fails_at < 2000; fails_at++) {
            prepare(w, &words[i]);
            e = world_step(w, failing_step, &last);
            if (e == ERR_OK)
                break;
            assert_int_equal(e, ERR_STORE);
            after = look(w);
            assert_memory_equal(&before, &after, sizeof(after));
        }
        after = look(w);
        assert_int_equal(e, ERR_OK);
        assert_true(fails_at > 5);
        assert_int_equal(after.held, before.held - 1);
        assert_int_equal(after.verdicts, before.verdicts + 1);
        assert_int_equal(after.deeds, before.deeds + 1);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(only_a_word_lets_an_implausible_value_in),
        TEST(a_value_and_its_access_are_said_in_any_order),
        TEST(what_cannot_be_is_released_by_nobody),
        TEST(what_was_decided_holds_for_the_same_content),
        TEST(a_discard_is_not_used_and_does_not_come_back),
        TEST(the_future_waits_until_it_has_come),
        TEST(a_reading_is_put_to_an_access_for_good),
        TEST(an_access_of_somebody_else_is_refused),
        TEST(a_side_says_which_of_two),
        TEST(a_sign_on_the_wrong_side_is_put_right),
        TEST(other_doubts_stay),
        TEST(a_correction_stands),
        TEST(a_line_is_taken_in_once_it_can_be),
        TEST(the_list_says_what_mends_it),
        TEST(a_step_that_fails_leaves_nothing),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
