/* flow_kit - cases of the rules on access flow, whatever other rules say */
#ifndef HEADGATE_TESTS_FLOW_KIT_H
#define HEADGATE_TESTS_FLOW_KIT_H

#include "tests/history_kit.h"

static inline bool flow_kit_is_ours(enum rule r)
{
    return rule_info(r)->group == GROUP_FLOW || r == RULE_LF_1 ||
           r == RULE_LF_2 || r == RULE_LF_3;
}

/* As kit_run(), of HF-1 to HF-6 and LF-1 to LF-3; the others have their own
 * tests, and what they find beside a flow is not looked at here. */
static inline void flow_kit_run(const struct rule_case *cases, size_t count,
                                const struct policy *policy)
{
    struct reading readings[KIT_EVENTS_MAX];
    char text[KIT_TEXT_SIZE];
    struct findings f;
    struct history h;
    int wrong = 0;

    for (size_t i = 0; i < count; i++) {
        size_t kept = 0;

        kit_evaluate(&cases[i], policy, readings, &h, &f);
        for (size_t k = 0; k < f.count; k++) {
            if (flow_kit_is_ours(f.list[k].rule))
                f.list[kept++] = f.list[k];
        }
        f.count = kept;
        if (strcmp(kit_line(&f, text), cases[i].want) == 0)
            continue;
        wrong++;
        print_error("%s: got \"%s\", not \"%s\"\n", cases[i].name, text,
                    cases[i].want);
    }
    assert_int_equal(wrong, 0);
}

#endif
