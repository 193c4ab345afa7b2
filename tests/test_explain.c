/* One access for a person who asks: which one is meant, and what is said. */
#include "service/explain.h"
#include "tests/service_world.h"
#include "tests/test.h"

/* One patient with one access, another with two. */
static int start(void **state)
{
    struct world *w;

    world_start(state);
    w = *state;
    world_has_access(w);
    assert_int_equal(world_put(w, "p-2", pat_json("p-2", "1002")), 201);
    assert_int_equal(
        world_put(w, "acc-8",
                  ACC(.id = "acc-8", .identifier = "A-8",
                      .patient = "Patient/p-2", .site = "Left forearm")),
        201);
    assert_int_equal(
        world_put(w, "acc-9",
                  ACC(.id = "acc-9", .identifier = "A-9",
                      .patient = "Patient/p-2", .site = "Right forearm")),
        201);
    assert_int_equal(world_post(w, OBS(.value = "2240", .access = ACCESS,
                                       .ago_h = 7 * DAYS)),
                     201);
    assert_int_equal(world_post(w, OBS(.value = "2310", .access = ACCESS)),
                     201);
    world_review(w);
    return 0;
}

static int ask(struct world *w, const char *name, struct buf *out)
{
    int status = 0;

    buf_empty(out);
    assert_int_equal(explain_access(w->db, &w->review, name, &status, out),
                     ERR_OK);
    return status;
}

static void names(void **state)
{
    static const struct {
        const char *name;
        int status;
        const char *says;
    } cases[] = {
        { "A-7", 200, "HF-1" },
        { IDS "access|A-7", 200, "HF-1" },
        { "acc-7", 200, "HF-1" },
        { "BodyStructure/acc-7", 200, "HF-1" },
        { "Fistula A-7 (left upper arm)", 200, "HF-1" },
        { "1001", 200, "HF-1" },
        { "p-1", 200, "HF-1" },
        { "Patient/p-1", 200, "HF-1" },
        { "1002", 409, "Fistula A-8 (left forearm)" },
        { "p-2", 409, "Fistula A-9 (right forearm)" },
        { "A-8", 200, "Nothing is open" },
        { "7", 404, "\"7\"" },
        { "-7", 404, "\"-7\"" },
        { "%", 404, "\"%\"" },
        { "A-77", 404, "\"A-77\"" },
        { "", 404, "\"\"" },
    };
    struct world *w = world(state);
    struct buf out;

    buf_init(&out, 1 << 20);
    for (size_t i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].name);
        assert_int_equal(ask(w, cases[i].name, &out), cases[i].status);
        if (strstr(out.data, cases[i].says) == NULL)
            fail_msg("%s is not in:\n%s", cases[i].says, out.data);
    }
    buf_clear(&out);
}

/* It may be asked for as often as one likes. */
static void nothing_is_changed(void **state)
{
    static const char *const tables[] = { "news",   "episode", "repeat",
                                          "task",   "version", "decision",
                                          "outbox", "reading" };
    struct world *w = world(state);
    long long before[COUNT(tables)];
    char sql[64];
    struct buf out;

    buf_init(&out, 1 << 20);
    for (int round = 0; round < 2; round++) {
        for (size_t i = 0; i < COUNT(tables); i++) {
            long long n;

            snprintf(sql, sizeof(sql), "SELECT count(*) FROM %s", tables[i]);
            n = world_count(w, sql);
            if (round > 0)
                assert_int_equal(n, before[i]);
            before[i] = n;
        }
        world_now_s += 100 * 86400; /* much would be due by then */
        assert_int_equal(ask(w, "A-7", &out), 200);
    }
    buf_clear(&out);
}

static void what_is_open_is_listed(void **state)
{
    struct world *w = world(state);
    struct buf out;

    buf_init(&out, 1 << 20);
    assert_int_equal(ask(w, "A-7", &out), 200);
    assert_non_null(strstr(out.data, "flow 1: routine, open since 2026-03-06, "
                                     "due by "));
    assert_null(strstr(out.data, "in hand"));
    world_person(w, "refer-flow-review", "accepted");
    assert_int_equal(ask(w, "A-7", &out), 200);
    assert_non_null(strstr(out.data, "in hand, due by "));
    world_person(w, "refer-flow-review", "completed");
    assert_int_equal(ask(w, "A-7", &out), 200);
    assert_non_null(strstr(out.data, "Nothing is open for this access"));
    buf_clear(&out);
}

static void assert_in_order(const struct buf *out, const char *const *texts,
                            size_t count)
{
    const char *at = out->data;

    for (size_t i = 0; i < count; i++) {
        const char *found = strstr(at, texts[i]);

        if (found == NULL)
            fail_msg("%s is not, or not in its place, in:\n%s", texts[i],
                     out->data);
        at = found + 1;
    }
}

/* Whose page this is, and what is open, before what is to be read of it. */
static void the_head_says_whose_it_is(void **state)
{
    static const char *const want[] = {
        "Patient   Fictional, Wren (1001)\n", "Unit      Unit North\n",
        "Access    Fistula A-7 (left upper arm)\n", "\nOpen\n  flow 1: ", "HF-1"
    };
    struct world *w = world(state);
    struct buf out;

    buf_init(&out, 1 << 20);
    assert_int_equal(ask(w, "A-7", &out), 200);
    assert_in_order(&out, want, COUNT(want));
    assert_null(strstr(out.data, "Held "));
    assert_null(strstr(out.data, "by a person"));
    buf_clear(&out);
}

/* That a rule holds and nothing is open needs an explanation. */
static void what_a_person_closed_is_said(void **state)
{
    static const struct {
        const char *status, *want;
    } cases[] = {
        { "completed", "  flow 1: completed by a person on 2026-03-06, Task/" },
        { "rejected", "  flow 1: declined by a person on 2026-03-06, Task/" },
        { "failed", "  flow 1: set aside by a person on 2026-03-06, Task/" },
    };
    struct world *w = world(state);
    struct buf out;

    buf_init(&out, 1 << 20);
    for (size_t i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].status);
        world_person(w, "refer-flow-review", cases[i].status);
        assert_int_equal(ask(w, "A-7", &out), 200);
        assert_in_order(&out,
                        (const char *const[]){ "Nothing is open",
                                               "\nWhat people decided\n",
                                               cases[i].want, "HF-1" },
                        4);
    }
    /* one that we ended was no decision of a person */
    world_person(w, "refer-flow-review", "requested");
    assert_int_equal(ask(w, "A-7", &out), 200);
    assert_null(strstr(out.data, "by a person"));
    buf_clear(&out);
}

/* What is held of a patient may be of this access: nobody knows. */
static void what_is_held_of_the_patient_is_said(void **state)
{
    struct world *w = world(state);
    struct buf out;

    assert_int_equal(
        world_post(w, OBS(.value = "900", .patient = "Patient/p-2")), 201);
    buf_init(&out, 1 << 20);
    assert_int_equal(ask(w, "A-9", &out), 200);
    assert_non_null(strstr(out.data,
                           "Held      readings of this patient that are held "
                           "and not used: 1, of them signs of emergency: 0;"));
    assert_int_equal(world_post(w, OBS(.code = "thrill", .sign = "absent",
                                       .patient = "Patient/p-2")),
                     201);
    for (int i = 8; i <= 9; i++) {
        char name[8];

        snprintf(name, sizeof(name), "A-%d", i);
        assert_int_equal(ask(w, name, &out), 200);
        assert_non_null(strstr(out.data,
                               "Held      readings of this patient that are "
                               "held and not used: 2, of them signs of "
                               "emergency: 1;"));
    }
    assert_int_equal(ask(w, "A-7", &out), 200);
    assert_null(strstr(out.data, "Held "));
    buf_clear(&out);
}

static void one_given_up_can_be_asked_for(void **state)
{
    struct world *w = world(state);
    struct buf out;

    assert_int_equal(
        world_put(w, "acc-7",
                  ACC(.id = "acc-7", .identifier = "A-7", .inactive = true)),
        200);
    world_review(w);
    buf_init(&out, 1 << 20);
    assert_int_equal(ask(w, "A-7", &out), 200);
    assert_non_null(strstr(out.data, "no longer in use: only the hand, "
                                     "haemorrhage and infection are looked "
                                     "at."));
    assert_int_equal(ask(w, "1001", &out), 404); /* none that is in use */
    buf_clear(&out);
}

/* Names come from outside: nothing of them may steer a terminal. */
static void a_name_does_not_steer_a_terminal(void **state)
{
    struct world *w = world(state);
    struct buf out;

    assert_int_equal(
        world_put(w, "acc-8",
                  ACC(.id = "acc-8", .identifier = "A-8",
                      .patient = "Patient/p-2", .site = "arm \\u001b[31m")),
        200);
    world_review(w);
    buf_init(&out, 1 << 20);
    assert_int_equal(ask(w, "A-8", &out), 200);
    assert_null(strchr(out.data, '\033'));
    assert_non_null(strstr(out.data, "(arm [31m)"));
    assert_int_equal(ask(w, "1002", &out), 409);
    assert_null(strchr(out.data, '\033'));
    assert_int_equal(ask(w, "\033[31m", &out), 404);
    assert_null(strchr(out.data, '\033'));
    buf_clear(&out);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, world_stop)
        TEST(names),
        TEST(nothing_is_changed),
        TEST(what_is_open_is_listed),
        TEST(the_head_says_whose_it_is),
        TEST(what_a_person_closed_is_said),
        TEST(what_is_held_of_the_patient_is_said),
        TEST(one_given_up_can_be_asked_for),
        TEST(a_name_does_not_steer_a_terminal),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
