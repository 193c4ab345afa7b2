/* What the record knows a Task by. */
#include "service/db_schema.h"
#include "service/patients.h"
#include "tests/service_world.h"
#include "tests/test.h"

#define FLOW_TASK "refer-flow-review"

static void flow(struct world *w, double after_d, const char *value)
{
    world_now_s += (int64_t)(after_d * 86400);
    assert_int_equal(world_post(w, OBS(.value = value)), 201);
    world_review(w);
}

/* The Task of somebody whose access nobody has named, in a store that has taken
 * in so many others before. */
static void key_after(int others, char key[80])
{
    void *state = NULL;
    struct world *w;

    world_start(&state);
    w = state;
    for (int i = 0; i < others; i++) {
        char id[16], number[16];

        snprintf(id, sizeof(id), "q-%d", i);
        snprintf(number, sizeof(number), "9%03d", i);
        assert_int_equal(world_put(w, id, pat_json(id, number)), 201);
    }
    assert_int_equal(world_put(w, "p-1", pat_json("p-1", "1001")), 201);
    flow(w, 0, "2240");
    flow(w, 7, "2310");
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM access WHERE implied = 1"), 1);
    world_text(w, "SELECT key FROM task", key, 80);
    world_stop(&state);
}

/* After a restore people and accesses may get other numbers than before; the
 * record must still know the Task by its key (http.html, 3.1.0.8.1). */
static void a_key_does_not_depend_on_the_numbers_of_the_store(void **state)
{
    char first[80], second[80];

    (void)state;
    key_after(0, first);
    key_after(3, second);
    assert_int_equal(strlen(first), 64);
    assert_string_equal(first, second);
}

/* What the record knows it by stays, whatever the access is called later. */
static void a_task_keeps_its_key(void **state)
{
    struct world *w = *state;
    char before[80], after[80];

    assert_int_equal(world_put(w, "p-1", pat_json("p-1", "1001")), 201);
    flow(w, 0, "2240");
    flow(w, 7, "2310");
    world_text(w, "SELECT key FROM task", before, sizeof(before));
    world_count(w,
                "SELECT count(*) FROM task"); /* what follows is of its own */
    assert_int_equal(db_exec(w->db, "UPDATE access SET anchor = 'i:x|other'"),
                     ERR_OK);
    flow(w, 7, "2400");
    world_text(w, "SELECT key FROM task", after, sizeof(after));
    assert_string_equal(after, before);
    assert_int_equal(world_task_says(w, FLOW_TASK, before), 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_key_does_not_depend_on_the_numbers_of_the_store),
        cmocka_unit_test_setup_teardown(a_task_keeps_its_key, world_start,
                                        world_stop),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
