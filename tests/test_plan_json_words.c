/* Every missing value, warning, ground and caution of a plan has its word and
 * its sentence in the JSON. */
#include "tests/test.h"

#include "tests/plan_json_kit.h"

static bool has_fact(json_t *json, const char *list, const char *code)
{
    json_t *one;
    size_t i;

    json_array_foreach(json_object_get(json, list), i, one)
    {
        const char *words = json_string_value(json_object_get(one, "text"));

        assert_true(words != NULL && words[0] != '\0');
        if (strcmp(json_string_value(json_object_get(one, "code")), code) == 0)
            return true;
    }
    return false;
}

static void every_missing_and_warning_has_words(void **state)
{
    static const struct {
        enum plan_phrase_set set;
        const char *list;
        int count;
    } sets[] = {
        { PLAN_PHRASES_MISSING, "missing", PLAN_MISSING_COUNT },
        { PLAN_PHRASES_WARNING, "warnings", PLAN_WARNING_COUNT },
    };

    (void)state;
    for (size_t s = 0; s < COUNT(sets); s++) {
        const struct plan_phrases *p = plan_phrases(sets[s].set);

        for (unsigned bit = 1; bit < 1U << sets[s].count; bit <<= 1) {
            json_t *json;

            write_kit_set(&kit, write_kit_before);
            kit.plan.missing = s == 0 ? bit : 0;
            kit.plan.warnings = s == 1 ? bit : 0;
            json = document();
            for (size_t i = 0; i < p->count; i++)
                assert_int_equal(has_fact(json, sets[s].list, p->rows[i].word),
                                 p->rows[i].key == bit);
            json_decref(json);
        }
    }
}

static void every_exclusion_caution_and_condition_has_words(void **state)
{
    json_t *json;

    (void)state;
    write_kit_set(&kit, write_kit_before);
    kit.kit.from.offer = PLAN_EXCLUDED;
    kit.kit.from.readiness.exclusions = 2 * EXCLUDE_CATHETER - 1;
    kit.kit.from.cautions = 2 * CAUTION_THRILL - 1;
    for (int i = 0; i < CONDITION_COUNT; i++)
        kit.kit.from.readiness.conditions[i] = CONDITION_MISSING;
    kit.d.plan = NULL;
    json = document();
    assert_int_equal(json_array_size(json_object_get(json, "exclusions")), 9);
    /* seven of the access, and those of every plan */
    assert_int_equal(json_array_size(json_object_get(json, "cautions")),
                     7 + plan_phrases(PLAN_PHRASES_ALWAYS)->count);
    assert_int_equal(json_array_size(json_object_get(json, "missing")),
                     CONDITION_COUNT);
    assert_true(has_fact(json, "exclusions", "low-flow-ischaemia"));
    assert_true(has_fact(json, "cautions", "decides"));
    json_decref(json);
}

/* Each reason not to plan, with nothing proposed beside it. */
static void every_refusal_has_a_reason(void **state)
{
    static const char *const empty[] = { "ladder", "card" };
    static const char *const null[] = { "target",  "first_dowel_mm",
                                        "outflow", "readings_advised",
                                        "next",    "hand_now" };

    (void)state;
    for (int o = PLAN_OFFERED + 1; o < PLAN_OFFER_COUNT; o++) {
        json_t *json;

        write_kit_set(&kit, write_kit_before);
        kit.kit.from.offer = (enum plan_offer)o;
        kit.d.plan = NULL;
        kit.d.fault = o == PLAN_UNFIT ? &kit.fault : NULL;
        json = document();
        assert_member(json, "offered", "false");
        assert_member(json, "complete", "false");
        assert_string_equal(json_string_value(json_object_get(json, "reason")),
                            plan_offer_phrase((enum plan_offer)o)->word);
        for (size_t i = 0; i < COUNT(empty); i++)
            assert_member(json, empty[i], "[]");
        for (size_t i = 0; i < COUNT(null); i++)
            assert_member(json, null[i], "null");
        assert_int_equal(json_is_object(json_object_get(json, "fault")),
                         o == PLAN_UNFIT);
        json_decref(json);
    }
}

/* A word stands for one thing only. */
static void no_word_is_used_twice(void **state)
{
    (void)state;
    for (int s = 0; s < PLAN_PHRASES_COUNT; s++) {
        const struct plan_phrases *p = plan_phrases((enum plan_phrase_set)s);

        for (size_t a = 0; a < p->count; a++) {
            for (size_t b = 0; b < a; b++)
                assert_string_not_equal(p->rows[a].word, p->rows[b].word);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_missing_and_warning_has_words),
        cmocka_unit_test(every_exclusion_caution_and_condition_has_words),
        cmocka_unit_test(every_refusal_has_a_reason),
        cmocka_unit_test(no_word_is_used_twice),
    };
    int failed;

    write_kit_start(&kit);
    buf_init(&text, PLAN_DOCUMENT_MAX);
    failed = cmocka_run_group_tests(tests, NULL, NULL);
    buf_clear(&text);
    zone_free(kit.zone);
    return failed;
}
