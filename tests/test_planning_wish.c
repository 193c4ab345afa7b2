/* What a person wants of a plan, from words. */
#include "service/planning.h"
#include "service/technique_store.h"
#include "tests/test.h"

static enum err wish(const char *prior, const char *target, const char *dowels,
                     struct plan_wish *out, char why[512])
{
    struct buf text;
    enum err e;

    buf_init(&text, 512);
    e = planning_wish(prior, target, dowels, NULL, out, &text);
    snprintf(why, 512, "%s", text.data);
    buf_clear(&text);
    return e;
}

static void nothing_is_as_usual(void **state)
{
    struct plan_wish w;
    char why[512];

    (void)state;
    assert_int_equal(wish(NULL, NULL, NULL, &w, why), ERR_OK);
    assert_null(w.prior);
    assert_false(w.lead_given);
    assert_int_equal(w.dowel_count, 0);
    assert_string_equal(why, "");
}

static const struct {
    const char *text;
    enum err want;
    enum plan_lead lead;
    double low, high;
} targets[] = {
    { "share", ERR_OK, PLAN_BY_SHARE, 0, 0 },
    { "window", ERR_OK, PLAN_BY_WINDOW, 0, 0 },
    { "hand", ERR_OK, PLAN_BY_HAND, 0, 0 },
    { "50-60", ERR_OK, PLAN_BY_REDUCTION, 0.5, 0.6 },
    { "33.3-40", ERR_OK, PLAN_BY_REDUCTION, 0.333, 0.4 },
    /* a lead of its own only with its numbers */
    { "reduction", ERR_FORM, 0, 0, 0 },
    { "60-50", ERR_FORM, 0, 0, 0 },
    { "50-50", ERR_FORM, 0, 0, 0 },
    { "0-50", ERR_FORM, 0, 0, 0 },
    { "50-100", ERR_FORM, 0, 0, 0 },
    { "50", ERR_FORM, 0, 0, 0 },
    { "50-", ERR_FORM, 0, 0, 0 },
    { "-50", ERR_FORM, 0, 0, 0 },
    { "50-60%", ERR_FORM, 0, 0, 0 },
    { "50-6O", ERR_FORM, 0, 0, 0 }, /* a letter */
    { "5e1-6e1", ERR_FORM, 0, 0, 0 },
    { "nan-inf", ERR_FORM, 0, 0, 0 },
    { "1.2.3-50", ERR_FORM, 0, 0, 0 },
    { "", ERR_FORM, 0, 0, 0 },
    { "Share", ERR_FORM, 0, 0, 0 },
};

static void targets_are_words_or_a_reduction(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(targets); i++) {
        struct plan_wish w;
        char why[512];

        ROW(targets[i].text);
        assert_int_equal(wish(NULL, targets[i].text, NULL, &w, why),
                         targets[i].want);
        if (targets[i].want != ERR_OK) {
            assert_non_null(strstr(why, "target: share, window, hand"));
            continue;
        }
        assert_true(w.lead_given);
        assert_int_equal(w.lead, targets[i].lead);
        if (targets[i].lead == PLAN_BY_REDUCTION) {
            assert_near(w.reduction_low_frac, targets[i].low, 1e-12);
            assert_near(w.reduction_high_frac, targets[i].high, 1e-12);
        }
    }
}

static const struct {
    const char *text;
    enum err want;
    size_t count;
    double last_mm;
} ladders[] = {
    { "4", ERR_OK, 1, 4 },
    { "5,4.5,4,3.5,3", ERR_OK, 5, 3 },
    { "3,4.25", ERR_OK, 2, 4.25 },
    { "8,7,6,5,4,3,2,1,8,7,6", ERR_OK, 11, 6 }, /* the planner judges it */
    { "8,7,6,5,4,3,2,1,8,7,6,5", ERR_FORM, 0, 0 },
    { "4,", ERR_FORM, 0, 0 },
    { ",4", ERR_FORM, 0, 0 },
    { "4,,3", ERR_FORM, 0, 0 },
    { "4 3", ERR_FORM, 0, 0 },
    { "4mm", ERR_FORM, 0, 0 },
    { "-4", ERR_FORM, 0, 0 },
    { "0x4", ERR_FORM, 0, 0 },
    { "", ERR_FORM, 0, 0 },
};

static void dowels_are_diameters(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(ladders); i++) {
        struct plan_wish w;
        char why[512];

        ROW(ladders[i].text);
        assert_int_equal(wish(NULL, NULL, ladders[i].text, &w, why),
                         ladders[i].want);
        if (ladders[i].want != ERR_OK) {
            assert_non_null(strstr(why, "dowels: outer diameters in mm"));
            continue;
        }
        assert_int_equal(w.dowel_count, ladders[i].count);
        assert_near(w.dowels_mm[w.dowel_count - 1], ladders[i].last_mm, 0);
    }
}

static void priors_have_names(void **state)
{
    struct plan_wish w;
    char why[512];

    (void)state;
    assert_int_equal(wish("reference", NULL, NULL, &w, why), ERR_OK);
    assert_ptr_equal(w.prior, &prior_reference);
    assert_int_equal(wish("default", NULL, NULL, &w, why), ERR_OK);
    assert_ptr_equal(w.prior, &prior_default);
    /* stands for whatever the store says when the plan is made */
    assert_int_equal(wish("site", NULL, NULL, &w, why), ERR_OK);
    assert_ptr_equal(w.prior, &technique_site);
    assert_int_equal(wish("other", NULL, NULL, &w, why), ERR_FORM);
    assert_string_equal(why, "prior: default, reference or site");
}

static void the_table_is_said_or_not(void **state)
{
    static const char *const wrong[] = { "", "0", "yes", "11", " 1" };
    struct plan_wish w;
    struct buf why;

    (void)state;
    buf_init(&why, 512);
    assert_int_equal(planning_wish(NULL, NULL, NULL, NULL, &w, &why), ERR_OK);
    assert_false(w.on_table);
    assert_int_equal(planning_wish(NULL, NULL, NULL, "1", &w, &why), ERR_OK);
    assert_true(w.on_table);
    for (size_t i = 0; i < COUNT(wrong); i++) {
        ROW(wrong[i]);
        buf_empty(&why);
        assert_int_equal(planning_wish(NULL, NULL, NULL, wrong[i], &w, &why),
                         ERR_FORM);
        assert_non_null(strstr(why.data, "table: 1 if"));
    }
    buf_clear(&why);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nothing_is_as_usual),
        cmocka_unit_test(targets_are_words_or_a_reduction),
        cmocka_unit_test(dowels_are_diameters),
        cmocka_unit_test(priors_have_names),
        cmocka_unit_test(the_table_is_said_or_not),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
