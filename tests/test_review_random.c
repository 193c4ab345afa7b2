/*
 * Random streams of readings, corrections and decisions of people: whatever
 * comes in whatever order, what must hold holds after each step.  Seeded, so
 * that a failure can be repeated: it prints its seed and step.
 */
#include "adapters/fhir_write.h"
#include "planner/triage.h"
#include "service/accesses.h"
#include "tests/service_world.h"
#include "tests/test.h"

enum { SEEDS = 24, STEPS = 120, KEPT = 128, QUEUE_MAX = 256 };

static struct world *w;
static uint32_t random_state;

static unsigned pick(unsigned below)
{
    random_state = random_state * 1664525u + 1013904223u;
    return (random_state >> 8) % below;
}

/* Tasks that a person has changed, and what he said. */
static struct touched {
    int64_t task;
    char status[24];
} touched[KEPT];
static size_t touched_count;

/* ---- what can happen ------------------------------------------------------ */

static unsigned sent; /* Observations "o0", "o1", ... */

static void send_one(const struct obs *what)
{
    struct obs o = *what;
    char id[16];
    int status;

    snprintf(id, sizeof(id), "o%u", sent++);
    o.id = id;
    status = world_put(w, id, obs_json(&o));
    assert_true(status == 200 || status == 201);
}

static const char *any_access(void)
{
    static const char *const all[] = { "BodyStructure/acc-7", NULL,
                                       "BodyStructure/acc-9" };

    return all[pick(3)];
}

static void send_flow(void)
{
    static const char *const values[] = { "380",  "450",  "900",  "1550",
                                          "2100", "2300", "2700", "3300" };

    send_one(&(struct obs){ .value = values[pick(8)],
                            .access = any_access(),
                            .ago_h = pick(4) == 0 ? 24.0 * pick(50) : 0 });
}

static void send_hand(void)
{
    static const char *const signs[] = { "no-complaint",     "coldness",
                                         "pain-on-dialysis", "pain-at-rest",
                                         "hand-ulcer",       "motor-weakness" };

    send_one(&(struct obs){ .code = "hand-symptom",
                            .sign = signs[pick(6)],
                            .access = any_access(),
                            .status = pick(5) == 0 ? "preliminary" : "final" });
}

static void send_number(void)
{
    static const struct obs all[] = {
        { .code = "digital-pressure", .value = "45", .unit = "mm[Hg]" },
        { .code = "digital-pressure", .value = "90", .unit = "mm[Hg]" },
        { .code = "digital-brachial-index", .value = "0.35", .unit = "1" },
        { .code = "cardiac-output", .value = "5.2", .unit = "L/min" },
        { .code = "access-intervention", .sign = "angioplasty-inflow" },
        { .code = "access-intervention", .sign = "banded" },
    };
    struct obs o = all[pick(COUNT(all))];

    if (strcmp(o.code, "cardiac-output") != 0)
        o.access = any_access();
    send_one(&o);
}

/* One of before is put right, or taken back. */
static void correct(void)
{
    static const char *const values[] = { "400", "1200", "2200", "2600" };
    char id[16];
    struct obs o = { .id = id,
                     .value = values[pick(4)],
                     .access = "BodyStructure/acc-7",
                     .status = "corrected" };

    if (sent == 0)
        return;
    snprintf(id, sizeof(id), "o%u", pick(sent));
    if (pick(2) == 0) {
        o.status = "entered-in-error";
        o.bare = true;
    }
    assert_int_equal(world_put(w, id, obs_json(&o)), 200);
}

static void decide(void)
{
    static const char *const codes[] = { "refer-flow-review",
                                         "refer-hand-review",
                                         "refer-low-flow-review",
                                         "repeat-digital-pressure" };
    static const char *const statuses[] = { "accepted", "rejected", "completed",
                                            "in-progress" };
    const char *code = codes[pick(4)], *status = statuses[pick(4)];
    struct buf json;
    struct resource row;
    struct fhir_task_view view;

    if (world_tasks(w, code, NULL) == 0 || touched_count == KEPT)
        return;
    buf_init(&json, 1 << 20);
    row = world_task(w, code, &json);
    assert_int_equal(fhir_task_view(json.data, json.len, &view), ERR_OK);
    buf_clear(&json);
    if (strcmp(view.status, "requested") != 0)
        return;
    world_person(w, code, status);
    touched[touched_count].task = row.id;
    snprintf(touched[touched_count++].status, sizeof(touched[0].status), "%s",
             status);
}

static void change_access(void)
{
    bool inactive = pick(4) == 0;
    int status =
        world_put(w, "acc-7",
                  ACC(.id = "acc-7", .identifier = "A-7", .inactive = inactive,
                      .type = pick(2) == 0 ? "avf" : "avg"));

    assert_true(status == 200 || status == 201);
}

static void step(void)
{
    switch (pick(12)) {
    case 0:
        correct();
        break;
    case 1:
    case 2:
        send_hand();
        break;
    case 3:
    case 4:
        send_number();
        break;
    case 5:
        decide();
        break;
    case 6:
        if (pick(3) == 0)
            change_access();
        break;
    default:
        send_flow();
        break;
    }
    world_now_s += (int64_t)pick(12) * 43200;
}

/* ---- what must hold ------------------------------------------------------- */

/* Open suggestions: at most one of an access and group. */
static void check_queue(enum query q)
{
    struct {
        int64_t access, group;
    } open[QUEUE_MAX];
    size_t count = 0;
    enum err e = db_query(w->db, q, "");

    while (e == ERR_OK && (e = db_next(w->db, q)) == ERR_OK) {
        if (db_int(w->db, q, 2) != EPISODE_OPEN)
            continue;
        assert_true(count < QUEUE_MAX);
        open[count].access = db_int(w->db, q, 0);
        open[count].group = db_int(w->db, q, 1);
        for (size_t i = 0; i < count; i++)
            assert_false(open[i].access == open[count].access &&
                         open[i].group == open[count].group);
        count++;
    }
    assert_int_equal(e, ERR_ABSENT);
}

/* Also those that are to be tried again in a minute. */
static int count_of(enum query q)
{
    int n;

    assert_int_equal(db_first(w->db, q, "i", world_now_ms() + 60000), ERR_OK);
    n = (int)db_int(w->db, q, 0);
    db_done(w->db, q);
    return n;
}

/* What a person said of a Task stays. */
static void check_touched(void)
{
    for (size_t i = 0; i < touched_count; i++) {
        assert_int_equal(db_first(w->db, Q_TASK_GET, "i", touched[i].task),
                         ERR_OK);
        assert_string_equal(db_text(w->db, Q_TASK_GET, 2), touched[i].status);
        db_done(w->db, Q_TASK_GET);
    }
}

struct again {
    bool told;
};

static enum err review_all_again(struct db *db, void *arg)
{
    struct again *a = arg;
    int64_t patients[2], accesses[16];
    size_t count;
    enum err e;

    if (patient_find(db, "Patient/p-1", NULL, NULL, &patients[0]) != ERR_OK)
        return ERR_OK;
    e = access_list(db, patients[0], accesses, 16, &count);
    for (size_t i = 0; e == ERR_OK && i < count; i++)
        e = review_access(db, &w->review, accesses[i], &a->told);
    return e;
}

static void check(void)
{
    struct again again = { .told = false };

    assert_int_equal(count_of(Q_NEWS_COUNT), 0); /* no review has failed */
    check_queue(Q_EPISODE_QUEUE);
    check_queue(Q_REPEAT_QUEUE);
    check_touched();
    /* time alone may change what holds; but to look again at the same time
     * says nothing new */
    assert_int_equal(world_step(w, review_all_again, &again), ERR_OK);
    check_queue(Q_EPISODE_QUEUE);
    again.told = false;
    assert_int_equal(world_step(w, review_all_again, &again), ERR_OK);
    assert_false(again.told);
}

/* At the end, by SQL of its own: the parts agree with each other. */
static void check_end(void)
{
    static const char *const nothing[] = {
        /* an open episode has a Task that is asked for, an ended one not */
        "SELECT count(*) FROM episode e JOIN task t ON t.resource = e.task"
        " WHERE (e.state = 1) <> (t.status = 'requested')",
        "SELECT count(*) FROM repeat e JOIN task t ON t.resource = e.task"
        " WHERE (e.state = 1) <> (t.status = 'requested')",
        /* and each Task belongs to one of them */
        "SELECT count(*) FROM task t WHERE"
        " (SELECT count(*) FROM episode e WHERE e.task = t.resource)"
        " + (SELECT count(*) FROM repeat r WHERE r.task = t.resource) <> 1",
        /* one delivery row for each, wanting the newest version */
        "SELECT count(*) FROM task t JOIN resource r ON r.id = t.resource"
        " LEFT JOIN outbox o ON o.resource = t.resource WHERE o.wanted IS NULL",
        /* every version of a Task of ours that refers was decided */
        "SELECT count(*) FROM episode e WHERE NOT EXISTS"
        " (SELECT 1 FROM decision d WHERE d.task = e.task AND d.act = 1)",
        /* what is open rests on something */
        "SELECT count(*) FROM episode e WHERE e.state = 1 AND NOT EXISTS"
        " (SELECT 1 FROM evidence v WHERE v.access = e.access"
        "  AND v.grp = e.grp AND v.number = e.number)",
        /* and on nothing that was withdrawn or has another version */
        "SELECT count(*) FROM episode e JOIN evidence v ON v.access = e.access"
        " AND v.grp = e.grp AND v.number = e.number WHERE e.state = 1 AND"
        " NOT EXISTS (SELECT 1 FROM reading d WHERE d.resource = v.resource"
        "  AND d.slot = v.slot AND d.ver = v.ver AND d.status <> 3)",
    };

    for (size_t i = 0; i < COUNT(nothing); i++) {
        if (world_count(w, nothing[i]) != 0)
            fail_msg("not so: %s", nothing[i]);
    }
}

static void whatever_comes(void **state)
{
    long long tasks = 0, ended = 0, annotated = 0;

    for (uint32_t seed = 1; seed <= SEEDS; seed++) {
        world_start(state);
        w = *state;
        w->review.record = true;
        random_state = seed;
        print_message("    seed %u\n", seed);
        sent = 0;
        touched_count = 0;
        for (int i = 0; i < STEPS; i++) {
            step();
            world_review(w);
            check();
        }
        check_end();
        tasks += world_count(w, "SELECT count(*) FROM task");
        ended += world_count(
            w, "SELECT count(*) FROM task WHERE status = 'cancelled'");
        annotated += (long long)touched_count;
        world_stop(state);
    }
    print_message("    %lld Tasks, %lld taken back, %lld decided by people\n",
                  tasks, ended, annotated);
    /* the streams are worth something only if all this happens */
    assert_true(tasks > 5 * SEEDS);
    assert_true(ended > SEEDS);
    assert_true(annotated > SEEDS);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(whatever_comes),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
