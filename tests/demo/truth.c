#include "tests/demo/demo.h"
#include "tests/demo/scenario.h"

#include <string.h>

/* The scenario for people and for tests, from the same rows as the data. */

static const char *kind_word(const struct demo_patient *p)
{
    return p->type == SIGN_TYPE_AVG ? "graft" : "fistula";
}

static const char *side_word(const struct demo_patient *p)
{
    return p->side == SIDE_LEFT ? "left" : "right";
}

void demo_truth(struct buf *out)
{
    size_t count;
    const struct demo_patient *p = demo_patients(&count);

    buf_puts(out, "| Patient | Unit | Access | Story | True flow, mL/min, "
                  "and method | What is true | What the rules should say, "
                  "and why |\n|---|---|---|---|---|---|---|\n");
    for (size_t i = 0; i < count; i++) {
        const struct demo_story *s = demo_story(p[i].story);

        buf_printf(out, "| p-%04d %s, %s | %s | A-%04d, %s, %s %s ",
                   p[i].number, demo_family(i), demo_given(i),
                   demo_unit(p[i].unit)->name, p[i].number, kind_word(&p[i]),
                   side_word(&p[i]), p[i].site);
        buf_printf(out, "| %s | %.0f to %.0f, %s | %s | %s |\n", s->name,
                   p[i].start_ml_min, p[i].end_ml_min,
                   method_display(p[i].method), s->truth, s->says);
    }
}

/* "IS-4 IS-5" as "\"IS-4\", \"IS-5\"" */
static void rule_list(struct buf *out, const char *rules)
{
    while (*rules != '\0') {
        size_t len = strcspn(rules, " ");

        buf_printf(out, "\"%.*s\"", (int)len, rules);
        rules += len;
        if (*rules == ' ') {
            buf_puts(out, ", ");
            rules++;
        }
    }
}

static void expected_kind(struct buf *out, const char *name,
                          enum demo_expect_kind kind)
{
    size_t count, seen = 0;
    const struct demo_patient *p = demo_patients(&count);

    buf_printf(out, "  \"%s\": [", name);
    for (size_t i = 0; i < count; i++) {
        for (size_t j = 0; j < DEMO_EXPECT_MAX; j++) {
            const struct demo_expect *e = &demo_story(p[i].story)->expect[j];

            if (e->kind != kind)
                continue;
            buf_printf(out,
                       "%s    { \"patient\": \"p-%04d\", \"access\": "
                       "\"A-%04d\", \"group\": \"%s\", \"rules\": [",
                       seen++ > 0 ? ",\n" : "\n", p[i].number, p[i].number,
                       e->group);
            rule_list(out, e->rules);
            buf_printf(out, "], \"urgency\": \"%s\" }", e->urgency);
        }
    }
    buf_puts(out, "\n  ],\n");
}

void demo_expected(struct buf *out)
{
    size_t count, seen = 0;
    const struct demo_patient *p = demo_patients(&count);

    buf_puts(out, "{\n");
    expected_kind(out, "open", EXPECT_OPEN);
    expected_kind(out, "repeat_asked", EXPECT_REPEAT);
    buf_puts(out, "  \"nothing_open\": [");
    for (size_t i = 0; i < count; i++) {
        if (demo_story(p[i].story)->expect[0].kind != EXPECT_NOTHING)
            continue;
        buf_puts(out, seen == 0 ? "\n    " : seen % 8 == 0 ? ",\n    " : ", ");
        buf_printf(out, "\"p-%04d\"", p[i].number);
        seen++;
    }
    buf_puts(out, "\n  ]\n}\n");
}
