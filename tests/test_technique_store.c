/* The prior of a site: switched by a person, kept, and used. */
#include "service/technique_store.h"
#include "tests/service_world.h"
#include "tests/test.h"

#define LEAD "Dr Fictional, lead for access"

static int start(void **state)
{
    world_start(state);
    return 0;
}

/* ---- the switch ------------------------------------------------------------------ */

/* As if learnt from 14 cases. */
static struct technique learnt(void)
{
    struct technique t = { .prior = prior_default,
                           .proposed = true,
                           .case_count = 14,
                           .tie_count = 23,
                           .stretch_count = 3 };

    snprintf(t.prior.name, sizeof(t.prior.name), "site");
    t.prior.offset_mm.mean = 0.1 + 0.2 + 0.4; /* not a short decimal */
    t.prior.offset_mm.sd = 0.18;
    t.prior.knot_sd_mm = 1.0 / 11.0;
    return t;
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

static bool is_on(struct db *db)
{
    struct prior prior;
    bool on = true;

    assert_int_equal(technique_prior(db, &prior, &on), ERR_OK);
    return on;
}

static void until_a_person_switches_the_default_is_in_use(void **state)
{
    struct technique_switch s;

    assert_false(is_on(world(state)->db));
    assert_int_equal(technique_switch_get(world(state)->db, &s), ERR_OK);
    assert_false(s.on);
    assert_true(s.at_ms == 0);
}

static void reopen(struct world *w)
{
    assert_int_equal(db_run(w->db, Q_COMMIT, ""), ERR_OK);
    db_close(w->db);
    w->db = NULL;
    assert_int_equal(db_open(w->path, &w->db), ERR_OK);
    assert_int_equal(db_run(w->db, Q_BEGIN, ""), ERR_OK);
}

/* Every bit of the numbers, who, when and on what: also after a restart. */
static void a_switch_is_kept_with_who_and_when(void **state)
{
    struct world *w = world(state);
    struct technique t = learnt();
    struct technique_switch s;
    struct prior prior;
    bool on = false;

    assert_int_equal(
        technique_adopt(w->db, &t, LEAD, "11/1772600000", 1772784720123),
        ERR_OK);
    reopen(w);
    assert_int_equal(technique_prior(w->db, &prior, &on), ERR_OK);
    assert_true(on);
    assert_prior(&prior, &t.prior);
    assert_int_equal(technique_switch_get(w->db, &s), ERR_OK);
    assert_string_equal(s.who, LEAD);
    assert_string_equal(s.model, PLAN_MODEL_VERSION);
    assert_true(s.at_ms == 1772784720123);
    assert_int_equal(s.cases, 14);
    assert_int_equal(s.ties, 23);
    assert_int_equal(s.stretches, 3);
}

/* Nothing is forgotten: dropping is a row of its own. */
static void dropping_goes_back_and_stays_on_record(void **state)
{
    struct world *w = world(state);
    struct technique t = learnt();
    struct technique_switch s;
    char text[128];

    assert_int_equal(technique_drop(w->db, LEAD, 5), ERR_ABSENT);
    assert_int_equal(technique_adopt(w->db, &t, LEAD, "11/5", 10), ERR_OK);
    assert_int_equal(technique_drop(w->db, "Another", 20), ERR_OK);
    assert_int_equal(technique_drop(w->db, "Another", 30), ERR_ABSENT);
    reopen(w);
    assert_false(is_on(w->db));
    assert_int_equal(technique_switch_get(w->db, &s), ERR_OK);
    assert_false(s.on);
    assert_string_equal(s.who, "Another");
    assert_true(s.at_ms == 20);
    world_text(w,
               "SELECT group_concat(act || ' ' || who || ' ' || at_ms, '; ') "
               "FROM (SELECT * FROM technique ORDER BY id)",
               text, sizeof(text));
    assert_string_equal(text, "1 " LEAD " 10; 0 Another 20");
}

static void what_is_not_proposed_cannot_be_switched_on(void **state)
{
    struct world *w = world(state);
    struct technique t = learnt();
    char long_name[TECHNIQUE_WHO_SIZE + 1];

    memset(long_name, 'x', sizeof(long_name) - 1);
    long_name[sizeof(long_name) - 1] = '\0';
    assert_int_equal(technique_adopt(w->db, &t, "", "", 1), ERR_FORM);
    assert_int_equal(technique_adopt(w->db, &t, "  ", "", 1), ERR_FORM);
    assert_int_equal(technique_adopt(w->db, &t, long_name, "", 1), ERR_FORM);
    t.proposed = false;
    assert_int_equal(technique_adopt(w->db, &t, LEAD, "", 1), ERR_CONFLICT);
    assert_false(is_on(w->db));
}

/* A prior that no band can have is not planned with, whoever wrote it. */
static void numbers_that_were_tampered_with_are_refused(void **state)
{
    static const char *const changes[] = {
        "UPDATE technique SET prior = '9' || prior",
        "UPDATE technique SET prior = prior || ' 1'",
        "UPDATE technique SET prior = 'half'",
        "UPDATE technique SET prior = NULL",
    };
    struct world *w = world(state);
    struct technique t = learnt();

    for (size_t i = 0; i < COUNT(changes); i++) {
        struct technique_switch s;

        ROW(changes[i]);
        assert_int_equal(technique_adopt(w->db, &t, LEAD, "", 1), ERR_OK);
        assert_int_equal(db_run(w->db, Q_COMMIT, ""), ERR_OK);
        db_close(w->db);
        world_change_file(w->path, changes[i]);
        assert_int_equal(db_open(w->path, &w->db), ERR_OK);
        assert_int_equal(technique_switch_get(w->db, &s), ERR_STORE);
        assert_int_equal(db_run(w->db, Q_BEGIN, ""), ERR_OK);
    }
}

/* ---- which prior a plan uses --------------------------------------------------- */

static void a_plan_uses_what_was_asked_for_or_is_in_use(void **state)
{
    static const struct {
        const char *name, *want; /* NULL: refused */
        const struct prior *asked;
        bool on, graft;
    } rows[] = {
        { "nobody asked, off", "default", NULL, false, false },
        { "nobody asked, on", "site", NULL, true, false },
        { "a graft, on", "default", NULL, true, true },
        { "the reference, on", "reference", &prior_reference, true, false },
        { "the default, on", "default", &prior_default, true, false },
        { "the site's, on", "site", &technique_site, true, false },
        { "the site's, of a graft", "site", &technique_site, true, true },
        { "the site's, off", NULL, &technique_site, false, false },
    };
    struct world *w = world(state);
    struct technique t = learnt();

    for (size_t i = 0; i < COUNT(rows); i++) {
        const struct prior *got = NULL;
        struct prior site;
        enum err e;

        ROW(rows[i].name);
        if (rows[i].on)
            assert_int_equal(technique_adopt(w->db, &t, LEAD, "", 1), ERR_OK);
        e = technique_plan_prior(w->db, rows[i].asked, rows[i].graft, &site,
                                 &got);
        assert_int_equal(e, rows[i].want != NULL ? ERR_OK : ERR_ABSENT);
        if (rows[i].want != NULL)
            assert_string_equal(got->name, rows[i].want);
        if (got == &site)
            assert_prior(got, &t.prior);
        if (rows[i].on)
            assert_int_equal(technique_drop(w->db, LEAD, 2), ERR_OK);
    }
}

/* Plans that stand in Tasks have to follow. */
static void a_switch_has_every_access_reviewed(void **state)
{
    struct world *w = world(state);
    struct technique t = learnt();

    world_has_access(w);
    world_review(w);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM news WHERE since_ms <= 0"), 0);
    assert_int_equal(technique_adopt(w->db, &t, LEAD, "", world_now_ms()),
                     ERR_OK);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM news WHERE since_ms <= 0"), 1);
}

#define WORLD_TEST(f) cmocka_unit_test_setup_teardown(f, start, world_stop)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WORLD_TEST(until_a_person_switches_the_default_is_in_use),
        WORLD_TEST(a_switch_is_kept_with_who_and_when),
        WORLD_TEST(dropping_goes_back_and_stays_on_record),
        WORLD_TEST(what_is_not_proposed_cannot_be_switched_on),
        WORLD_TEST(numbers_that_were_tampered_with_are_refused),
        WORLD_TEST(a_plan_uses_what_was_asked_for_or_is_in_use),
        WORLD_TEST(a_switch_has_every_access_reviewed),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
