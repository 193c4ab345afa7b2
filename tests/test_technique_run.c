/* Learning from the finished cases of a store. */
#include "service/technique_run.h"
#include "tests/service_world.h"
#include "tests/test.h"

#define LEAD "Dr Fictional, lead for access"

static int start(void **state)
{
    world_start(state);
    return 0;
}

static void assert_prior(const struct prior *got, const struct prior *want)
{
    assert_string_equal(got->name, want->name);
    assert_memory_equal(&got->offset_mm, &want->offset_mm,
                        sizeof(got->offset_mm));
    assert_memory_equal(&got->contraction, &want->contraction,
                        sizeof(got->contraction));
    assert_memory_equal(&got->knot_sd_mm, &want->knot_sd_mm, sizeof(double));
    assert_memory_equal(&got->stretch_mm, &want->stretch_mm,
                        sizeof(got->stretch_mm));
}

static void post(struct world *w, int n, const char *code, const char *value,
                 const char *unit, double ago_h)
{
    char access[32], patient[32];

    snprintf(access, sizeof(access), "BodyStructure/a-%d", n);
    snprintf(patient, sizeof(patient), "Patient/p-%d", n);
    assert_int_equal(world_post(w, OBS(.code = code, .value = value,
                                       .unit = unit, .patient = patient,
                                       .access = access, .ago_h = ago_h)),
                     201);
}

/* A patient who was banded so many days ago. */
static void banded_patient(struct world *w, int n, double ago_d)
{
    char person[16], access[16], number[16], label[16], patient[32];
    double ago_h = ago_d * DAYS;

    snprintf(person, sizeof(person), "p-%d", n);
    snprintf(access, sizeof(access), "a-%d", n);
    snprintf(number, sizeof(number), "77%03d", n);
    snprintf(label, sizeof(label), "A-%02d", n);
    snprintf(patient, sizeof(patient), "Patient/p-%d", n);
    assert_int_equal(world_put(w, person, pat_json(person, number)), 201);
    assert_int_equal(
        world_put(w, access,
                  ACC(.id = access, .identifier = label, .patient = patient)),
        201);
    for (int k = 0; k < 2; k++) {
        char flow[16];

        snprintf(flow, sizeof(flow), "%d", 2400 + 20 * n + 90 * k);
        post(w, n, "access-flow", flow, "mL/min", ago_h + 0.5 - 0.05 * k);
    }
    post(w, n, "dowel-diameter", "4", "mm", ago_h + 0.3);
    for (int k = 0; k < 2; k++) {
        char flow[16];

        snprintf(flow, sizeof(flow), "%d", 1080 + 15 * n - 60 * k);
        post(w, n, "access-flow", flow, "mL/min", ago_h + 0.2 - 0.05 * k);
    }
}

static void learn(struct world *w, struct technique_run **run)
{
    bool done = false;
    int steps = 0;

    assert_int_equal(technique_run_open(run), ERR_OK);
    for (; !done; steps++) {
        assert_true(steps < 200);
        assert_int_equal(technique_run_step(*run, w->db, &w->review, &done),
                         ERR_OK);
    }
    assert_true(steps > 3); /* piece by piece */
}

static void write_all(struct world *w, const struct technique_run *run,
                      bool json, struct buf *out)
{
    buf_empty(out);
    assert_int_equal(technique_run_write(run, w->db, w->zone, json, out),
                     ERR_OK);
}

static int adopted_from(struct world *w, const struct technique_run *run)
{
    struct buf evidence;
    int cases = 0;

    buf_init(&evidence, 65536);
    assert_int_equal(technique_run_evidence(run, &evidence), ERR_OK);
    for (size_t i = 0; i < evidence.len; i++)
        cases += evidence.data[i] == '/';
    assert_int_equal(technique_adopt(w->db, technique_run_result(run), LEAD,
                                     evidence.data, world_now_ms()),
                     ERR_OK);
    buf_clear(&evidence);
    return cases;
}

/* Accesses by their labels; no name and no number of a patient. */
static void assert_private(const char *text)
{
    assert_non_null(strstr(text, "A-03"));
    assert_null(strstr(text, "Fictional, Wren"));
    assert_null(strstr(text, "Wren"));
    assert_null(strstr(text, "77003"));
    assert_null(strstr(text, "Unit North"));
}

/* Nine finished, one that goes on: the tenth is missing.  A day later it is
 * there; an eleventh changes what is proposed, and not what is in use. */
static void a_site_learns_and_a_person_decides(void **state)
{
    struct world *w = world(state);
    struct technique_run *run;
    const struct technique *t;
    struct prior first, now;
    bool on = false;
    struct buf out;

    buf_init(&out, 1 << 20);
    for (int n = 1; n <= 9; n++)
        banded_patient(w, n, 100 * n); /* up to 900 days ago */
    banded_patient(w, 10, 0);
    learn(w, &run);
    t = technique_run_result(run);
    assert_int_equal(t->case_count, 9);
    assert_false(t->proposed);
    write_all(w, run, false, &out);
    assert_non_null(strstr(out.data, "nothing yet, 10 are needed"));
    assert_non_null(strstr(out.data, "the default prior\n"));
    technique_run_close(run);

    world_now_s += 2 * DAY_S;
    learn(w, &run);
    t = technique_run_result(run);
    assert_int_equal(t->case_count, 10);
    assert_true(t->proposed);
    assert_true(t->prior.offset_mm.mean > prior_default.offset_mm.mean);
    first = t->prior;
    assert_int_equal(adopted_from(w, run), 10);
    write_all(w, run, false, &out);
    assert_non_null(strstr(out.data, "switched on 2026-03-08 by Dr Fictional"));
    assert_private(out.data);
    write_all(w, run, true, &out);
    assert_private(out.data);
    technique_run_close(run);

    banded_patient(w, 11, 1.5);
    learn(w, &run);
    assert_int_equal(technique_run_result(run)->case_count, 11);
    assert_true(technique_run_result(run)->prior.offset_mm.mean >
                    first.offset_mm.mean ||
                technique_run_result(run)->prior.offset_mm.mean <
                    first.offset_mm.mean);
    technique_run_close(run);
    assert_int_equal(technique_prior(w->db, &now, &on), ERR_OK);
    assert_true(on);
    assert_prior(&now, &first);
    buf_clear(&out);
}

static void an_empty_store_proposes_nothing(void **state)
{
    struct world *w = world(state);
    struct technique_run *run;
    struct buf out;

    buf_init(&out, 1 << 16);
    learn(w, &run);
    assert_int_equal(technique_run_result(run)->case_count, 0);
    write_all(w, run, false, &out);
    assert_non_null(
        strstr(out.data, "There is no finished procedure with a band."));
    technique_run_close(run);
    buf_clear(&out);
}

#define WORLD_TEST(f) cmocka_unit_test_setup_teardown(f, start, world_stop)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WORLD_TEST(a_site_learns_and_a_person_decides),
        WORLD_TEST(an_empty_store_proposes_nothing),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
