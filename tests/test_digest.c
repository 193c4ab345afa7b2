/*
 * A week of each unit.  What is counted is checked against two other readers of
 * the same store: the decisions as `headgate decisions` lists them, and the
 * Tasks themselves.  Weeks are those of ISO 8601: 2026-03-06, where the clock
 * stands, is a Friday of 2026-W10 (Python's date.isocalendar says the same).
 */
#include "adapters/fhir_write.h"
#include "adapters/report_text.h"
#include "service/decisions.h"
#include "service/digest.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <jansson.h>

enum { A_DAY = 86400, A_WEEK = 7 * A_DAY };

/* A patient of a unit, with an access; numbers tell them apart. */
static void person(struct world *w, int n, const char *unit)
{
    char json[512], id[16], number[16];

    snprintf(id, sizeof(id), "p-%d", n);
    snprintf(number, sizeof(number), "%d", 1000 + n);
    snprintf(json, sizeof(json),
             "{\"resourceType\":\"Patient\",\"id\":\"%s\",\"identifier\":[{"
             "\"system\":\"" IDS "patient\",\"value\":\"%s\"}],\"name\":[{"
             "\"family\":\"Invented %d\"}]%s%s%s}",
             id, number, n,
             unit[0] != '\0' ? ",\"managingOrganization\":{\"display\":\"" : "",
             unit, unit[0] != '\0' ? "\"}" : "");
    assert_int_equal(world_put(w, id, json), 201);
    snprintf(json, sizeof(json), "Patient/%s", id);
    snprintf(id, sizeof(id), "acc-%d", n);
    snprintf(number, sizeof(number), "A-%d", n);
    assert_int_equal(
        world_put(w, id, ACC(.id = id, .identifier = number, .patient = json)),
        201);
}

static void number(struct world *w, int n, const char *value, double ago_h)
{
    char patient[32], access[32];

    snprintf(patient, sizeof(patient), "Patient/p-%d", n);
    snprintf(access, sizeof(access), "BodyStructure/acc-%d", n);
    assert_int_equal(world_post(w, OBS(.value = value, .patient = patient,
                                       .access = access, .ago_h = ago_h)),
                     201);
}

/* HF-1: two flows of at least 2000 mL/min, a week apart. */
static void high_flow(struct world *w, int n)
{
    number(w, n, "2240", 8 * DAYS);
    number(w, n, "2310", 0);
    world_review(w);
}

/* A low finger pressure with a cold hand, once: to be measured again. */
static void finger(struct world *w, int n)
{
    char patient[32], access[32];

    snprintf(patient, sizeof(patient), "Patient/p-%d", n);
    snprintf(access, sizeof(access), "BodyStructure/acc-%d", n);
    assert_int_equal(
        world_post(w, OBS(.code = "hand-symptom", .sign = "coldness",
                          .patient = patient, .access = access)),
        201);
    assert_int_equal(world_post(w, OBS(.code = "digital-pressure",
                                       .value = "45", .unit = "mm[Hg]",
                                       .patient = patient, .access = access)),
                     201);
    world_review(w);
}

/* The newest Task is declined, with a reason ("": none). */
static void decline(struct world *w, const char *why)
{
    struct buf old, json;
    struct resource row;
    struct new_version v = { .journal = 0 };
    const char *at;

    world_person(w, "refer-flow-review", "rejected");
    if (why[0] == '\0')
        return;
    buf_init(&old, 1 << 20);
    buf_init(&json, 1 << 20);
    row = world_task(w, "refer-flow-review", &old);
    at = strchr(old.data, '{') + 1;
    buf_printf(&json, "{\"statusReason\":{\"text\":\"%s\"},", why);
    buf_puts(&json, at);
    v.body = json.data;
    v.len = json.len;
    assert_int_equal(resource_put(w->db, &row, NULL, 0, world_now_ms(), &v),
                     ERR_OK);
    buf_clear(&old);
    buf_clear(&json);
}

/* ---- reading ------------------------------------------------------------------ */

static struct digest_wish of_week(struct world *w, int64_t week)
{
    return (struct digest_wish){
        .week = week, .now_s = world_now_s, .zone = w->zone, .json = true
    };
}

static void read(struct world *w, const struct digest_wish *wish,
                 struct buf *out)
{
    buf_empty(out);
    assert_int_equal(digest_read(w->db, wish, out), ERR_OK);
}

/* The object of a unit; NULL: it is not there.  unit NULL: not known. */
static json_t *unit_in(const struct buf *out, const char *unit)
{
    for (const char *at = out->data; at != NULL && *at != '\0';) {
        const char *end = strchr(at, '\n');
        json_t *root =
            json_loadb(at, (size_t)(end - at), JSON_REJECT_DUPLICATES, NULL);
        const char *name;

        assert_non_null(root);
        name = json_string_value(json_object_get(root, "unit"));
        if (unit == NULL ? name == NULL
                         : name != NULL && strcmp(name, unit) == 0)
            return root;
        json_decref(root);
        at = end + 1;
    }
    return NULL;
}

static long long count_in(json_t *unit, const char *key)
{
    json_t *value = json_object_get(unit, key);

    assert_true(json_is_integer(value));
    return json_integer_value(value);
}

/* Lines of `headgate decisions --json` that say this of no reminder. */
static long long decided(struct world *w, const char *act)
{
    long long count = 0;
    struct buf out;

    buf_init(&out, 1 << 20);
    assert_int_equal(decisions_read(w->db, INT64_MIN, true, w->zone, &out),
                     ERR_OK);
    for (const char *at = out.data; at != NULL && *at != '\0';) {
        const char *end = strchr(at, '\n');
        json_t *root = json_loadb(at, (size_t)(end - at), 0, NULL);

        assert_non_null(root);
        count +=
            strcmp(json_string_value(json_object_get(root, "act")), act) == 0 &&
                    strcmp(json_string_value(json_object_get(root, "kind")),
                           "referral") == 0
                ? 1
                : 0;
        json_decref(root);
        at = end + 1;
    }
    buf_clear(&out);
    return count;
}

static int64_t week_now(struct world *w)
{
    return digest_week(world_now_s, w->zone);
}

/* ---- weeks -------------------------------------------------------------------- */

static void weeks_begin_on_monday_at_the_site(void **state)
{
    static const struct {
        const char *name, *zone;
        int64_t at_s;
        const char *want;
    } cases[] = {
        { "a Friday", "UTC", START_S, "2026-W10" },
        { "the last second of a week", "UTC", 1773014399, "2026-W10" },
        { "the first of the next", "UTC", 1773014400, "2026-W11" },
        { "already Monday in Berlin", "Europe/Berlin", 1773014399, "2026-W11" },
        { "New Year in a week of before", "UTC", 1798761600, "2026-W53" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        char week[REPORT_WEEK_SIZE];
        struct zone *zone;

        ROW(cases[i].name);
        assert_int_equal(zone_load(cases[i].zone, &zone), ERR_OK);
        report_week_write(digest_week(cases[i].at_s, zone), week);
        assert_string_equal(week, cases[i].want);
        zone_free(zone);
    }
}

/* ---- counts ------------------------------------------------------------------- */

static void counts_are_those_of_decisions_and_tasks(void **state)
{
    struct world *w = world(state);
    struct digest_wish wish;
    struct buf out;
    json_t *west, *east, *rules;

    buf_init(&out, 1 << 20);
    person(w, 1, "Corvane West");
    person(w, 2, "Corvane West");
    person(w, 3, "Corvane West");
    person(w, 4, "Corvane East");
    person(w, 5, "");
    high_flow(w, 1); /* taken after 2 h, then completed */
    world_now_s += 2 * 3600;
    world_person(w, "refer-flow-review", "accepted");
    world_now_s += 3600;
    world_person(w, "refer-flow-review", "completed");
    high_flow(w, 2); /* taken after 4 h, and open */
    world_now_s += 4 * 3600;
    world_person(w, "refer-flow-review", "in-progress");
    high_flow(w, 3); /* declined */
    decline(w, "seen last week");
    high_flow(w, 4); /* declined without a word */
    decline(w, "");
    high_flow(w, 5); /* nobody has answered */
    wish = of_week(w, week_now(w));
    read(w, &wish, &out);
    west = unit_in(&out, "Corvane West");
    east = unit_in(&out, "Corvane East");
    assert_non_null(west);
    assert_non_null(east);
    assert_int_equal(count_in(west, "new"), 3);
    rules = json_object_get(west, "new_by_rule");
    assert_int_equal(json_object_size(rules), 1);
    assert_int_equal(count_in(rules, "HF-1"), 3);
    assert_int_equal(count_in(west, "taken"), 2);
    assert_true(json_number_value(json_object_get(
                    west, "median_hours_to_taken")) == 3.0); /* of 2 and 4 */
    assert_int_equal(count_in(west, "completed"), 1);
    assert_int_equal(count_in(west, "declined"), 1);
    assert_int_equal(count_in(west, "open_now"), 1);
    assert_int_equal(count_in(east, "declined"), 1);
    assert_true(json_is_null(json_object_get(east, "median_hours_to_taken")));
    assert_non_null(strstr(out.data, "\"declined_reasons\":[{\"reason\":\"seen "
                                     "last week\",\"count\":1}]"));
    assert_non_null(strstr(out.data, "[{\"reason\":null,\"count\":1}]"));
    json_decref(west);
    json_decref(east);
    east = unit_in(&out, NULL);
    assert_int_equal(count_in(east, "new"), 1);
    json_decref(east);
    assert_int_equal(decided(w, "opened"), 5);
    assert_int_equal(world_tasks(w, "refer-flow-review", NULL), 5);
    assert_int_equal(world_tasks(w, "refer-flow-review", "completed"), 1);
    assert_int_equal(world_tasks(w, "refer-flow-review", "rejected"), 2);
    assert_int_equal(world_tasks(w, "refer-flow-review", "in-progress"), 1);
    buf_clear(&out);
}

/* What was taken stays so in its week, whatever comes of it in the next. */
static void a_week_is_left_as_it_was(void **state)
{
    struct world *w = world(state);
    struct digest_wish wish;
    struct buf out;
    json_t *west;

    buf_init(&out, 1 << 20);
    person(w, 1, "Corvane West");
    high_flow(w, 1);
    world_person(w, "refer-flow-review", "received");
    wish = of_week(w, week_now(w));
    world_now_s += A_WEEK;
    world_person(w, "refer-flow-review", "accepted"); /* not the first time */
    world_person(w, "refer-flow-review", "completed");
    read(w, &wish, &out);
    west = unit_in(&out, "Corvane West");
    assert_int_equal(count_in(west, "new"), 1);
    assert_int_equal(count_in(west, "taken"), 1);
    assert_int_equal(count_in(west, "completed"), 0);
    json_decref(west);
    wish = of_week(w, week_now(w));
    read(w, &wish, &out);
    west = unit_in(&out, "Corvane West");
    assert_int_equal(count_in(west, "new"), 0);
    assert_int_equal(count_in(west, "taken"), 0);
    assert_int_equal(count_in(west, "completed"), 1);
    json_decref(west);
    buf_clear(&out);
}

static void what_headgate_ended_and_what_is_due(void **state)
{
    struct world *w = world(state);
    struct digest_wish wish;
    struct buf out;
    json_t *west;

    buf_init(&out, 1 << 20);
    person(w, 1, "Corvane West");
    person(w, 2, "Corvane West");
    high_flow(w, 1);
    finger(w, 2); /* IS-5, repeat_d of the policy as shipped: two weeks */
    world_now_s += A_WEEK;
    number(w, 1, "900", 0);
    world_review(w);
    world_now_s += A_DAY;
    number(w, 1, "880", 0);
    world_review(w);
    assert_int_equal(decided(w, "ended"), 1);
    wish = of_week(w, week_now(w));
    read(w, &wish, &out);
    west = unit_in(&out, "Corvane West");
    assert_int_equal(count_in(west, "ended"), 1);
    /* all Tasks that are open but for the reminder */
    assert_int_equal(count_in(west, "open_now"),
                     world_tasks(w, NULL, "requested") - 1);
    assert_int_equal(count_in(west, "reminders_due"), 1);
    json_decref(west);
    /* of the week before: the reminder is not due in the one after it */
    wish.week -= 7;
    read(w, &wish, &out);
    west = unit_in(&out, "Corvane West");
    assert_int_equal(count_in(west, "ended"), 0);
    assert_int_equal(count_in(west, "reminders_due"), 0);
    json_decref(west);
    buf_clear(&out);
}

static void what_is_overdue_is_counted_now(void **state)
{
    struct world *w = world(state);
    struct digest_wish wish;
    struct buf out;
    json_t *west;

    buf_init(&out, 1 << 20);
    person(w, 1, "Corvane West");
    high_flow(w, 1);
    world_now_s += 60 * A_DAY;
    wish = of_week(w, week_now(w));
    read(w, &wish, &out);
    west = unit_in(&out, "Corvane West");
    assert_int_equal(count_in(west, "overdue_now"), 1);
    assert_int_equal(count_in(west, "new"), 0);
    json_decref(west);
    buf_clear(&out);
}

/* A week that is over: what came and what became of it is of then; what is left
 * is of today, and that is said. */
static void what_is_left_is_of_today(void **state)
{
    struct world *w = world(state);
    struct digest_wish wish;
    struct buf out;
    json_t *west;

    buf_init(&out, 1 << 20);
    person(w, 1, "Corvane West");
    high_flow(w, 1); /* 2026-W10, and still open in it */
    wish = of_week(w, week_now(w));
    wish.json = false;
    read(w, &wish, &out);
    assert_null(strstr(out.data, "This week is over"));
    world_now_s += A_WEEK;
    world_person(w, "refer-flow-review", "accepted");
    world_person(w, "refer-flow-review", "completed");
    wish.now_s = world_now_s;
    read(w, &wish, &out);
    assert_non_null(strstr(out.data, "week 2026-W10"));
    assert_non_null(strstr(out.data, "New suggestions: 1"));
    assert_non_null(strstr(out.data, "Open now: 0"));
    assert_non_null(strstr(out.data, "This week is over."));
    assert_non_null(strstr(out.data, "2026-03-13"));
    wish.json = true;
    read(w, &wish, &out);
    west = unit_in(&out, "Corvane West");
    assert_int_equal(count_in(west, "new"), 1);
    assert_int_equal(count_in(west, "taken"), 0);
    assert_int_equal(count_in(west, "open_now"), 0);
    assert_string_equal(json_string_value(json_object_get(west, "as_of")),
                        "2026-03-13");
    json_decref(west);
    buf_clear(&out);
}

/* ---- which units --------------------------------------------------------------- */

static void of_one_unit(void **state)
{
    struct world *w = world(state);
    struct digest_wish wish;
    struct buf out;

    buf_init(&out, 1 << 20);
    person(w, 1, "Corvane West");
    person(w, 2, "Corvane East");
    person(w, 3, "");
    high_flow(w, 1);
    high_flow(w, 3);
    wish = of_week(w, week_now(w));
    wish.json = false;
    wish.unit = "corvane east"; /* nothing to count, and shown */
    read(w, &wish, &out);
    assert_non_null(strstr(out.data, "\ncorvane east\n  New suggestions: 0\n"));
    assert_null(strstr(out.data, "West"));
    wish.unit = "unit not known";
    read(w, &wish, &out);
    assert_non_null(strstr(out.data, "\nUnit not known\n  New suggestions: 1"));
    assert_null(strstr(out.data, "West"));
    assert_non_null(strstr(out.data, "a qualified clinician decides"));
    wish.unit = "Corvane";
    buf_empty(&out);
    assert_int_equal(digest_read(w->db, &wish, &out), ERR_ABSENT);
    assert_non_null(strstr(out.data, "  Corvane East\n  Corvane West\n"));
    buf_clear(&out);
}

static void an_empty_week_says_so(void **state)
{
    struct world *w = world(state);
    struct digest_wish wish = of_week(w, week_now(w));
    struct buf out;

    buf_init(&out, 1 << 20);
    read(w, &wish, &out);
    assert_int_equal(out.len, 0);
    wish.json = false;
    read(w, &wish, &out);
    assert_non_null(strstr(out.data, "week 2026-W10 (2026-03-02 to "
                                     "2026-03-08)"));
    assert_non_null(strstr(out.data, "Nothing was suggested"));
    buf_clear(&out);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name)                                                             \
    cmocka_unit_test_setup_teardown(name, world_start, world_stop)
        cmocka_unit_test(weeks_begin_on_monday_at_the_site),
        TEST(counts_are_those_of_decisions_and_tasks),
        TEST(a_week_is_left_as_it_was),
        TEST(what_headgate_ended_and_what_is_due),
        TEST(what_is_overdue_is_counted_now),
        TEST(what_is_left_is_of_today),
        TEST(of_one_unit),
        TEST(an_empty_week_says_so),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
