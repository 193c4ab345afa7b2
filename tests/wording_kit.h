/*
 * wording_kit - a history, what is found in it, and the words for it; for the
 * tests of the wording
 */
#ifndef HEADGATE_TESTS_WORDING_KIT_H
#define HEADGATE_TESTS_WORDING_KIT_H

#include "adapters/wording.h"
#include "adapters/zone.h"
#include "planner/rules_predicted.h"
#include "tests/history_kit.h"

#include <stdbool.h>

#define USD .method = METHOD_ULTRASOUND_DILUTION

/* 25 November 2026, 10:00 UTC, in the days of the kit */
#define NOW 782.4166667

static struct policy policy;
static struct zone *utc;

/* One case, from readings to what is decided. */
struct world {
    struct reading readings[KIT_EVENTS_MAX];
    struct history history;
    struct findings findings;
    struct verdict verdict;
    struct wording wording;
};

static inline int start(void **state)
{
    (void)state;
    kit_plain_policy(&policy);
    assert_int_equal(zone_load("UTC", &utc), ERR_OK);
    return 0;
}

static inline int stop(void **state)
{
    (void)state;
    zone_free(utc);
    return 0;
}

/* The memory of the planner, some 30 MB, once for the whole program. */
static inline struct plan_work *kit_plan_work(void)
{
    static struct plan_work *work;

    if (work == NULL) {
        work = malloc(plan_work_size());
        assert_non_null(work);
        plan_work_init(work);
    }
    return work;
}

static inline enum urgency worst(const struct findings *f, enum group group)
{
    enum urgency u = URGENCY_NOTE;

    for (size_t i = 0; i < f->count; i++) {
        if (rule_info(f->list[i].rule)->group == group &&
            f->list[i].confirmed && f->list[i].urgency > u)
            u = f->list[i].urgency;
    }
    return u;
}

static inline int64_t due_s(int64_t now_s, enum group group, enum urgency u)
{
    int days = 0;

    if (u != URGENCY_IMMEDIATE)
        days = policy_count(&policy, due_row(group, u));
    return now_s + (int64_t)days * DAY_S;
}

static inline const char *label_of(enum sign type)
{
    switch ((int)type) {
    case SIGN_TYPE_AVF:
        return "Left upper-arm fistula A-0101";
    case SIGN_TYPE_AVG:
        return "Left upper-arm graft A-0101";
    default:
        return "Left upper-arm access A-0101";
    }
}

static inline void set_up(struct world *w, const struct event *events,
                          enum sign type, enum group group, double now_d)
{
    size_t n = kit_readings(events, w->readings);

    for (size_t i = 0; i < n; i++) {
        if (quantity_info(w->readings[i].quantity)->scope == SCOPE_ARM)
            w->readings[i].side = SIDE_LEFT;
    }
    w->history = (struct history){ .access_type = type,
                                   .side = SIDE_LEFT,
                                   .born_s = INT64_MIN,
                                   .now_s = kit_s(now_d),
                                   .readings = w->readings,
                                   .count = n };
    rules_evaluate(&w->history, &policy, &w->findings);
    if (rules_may_predict(&w->history, &policy))
        rules_predict(&w->history, &policy, false, NULL, kit_plan_work(),
                      &w->findings);
    w->wording = (struct wording){ .history = &w->history,
                                   .policy = &policy,
                                   .findings = &w->findings,
                                   .group = group,
                                   .zone = utc,
                                   .access_label = label_of(type),
                                   .due_s = due_s(w->history.now_s, group,
                                                  worst(&w->findings, group)) };
}

static inline void judge(struct world *w, const struct episode *before)
{
    struct repeat_state none = { 0 };

    triage(&w->history, &policy, &w->findings, w->wording.group, before, &none,
           &w->verdict);
}

/* ---- what every text must keep to ---------------------------------------------- */

static inline void check_text(const struct buf *text)
{
    static const char *const never[] = {
        " nan", "(nan", "-nan", "{", "}", "?", "  ", "..", " .", "(null)"
    };

    assert_int_equal(buf_ok(text), ERR_OK);
    assert_true(text->len == 0 || text->data[text->len - 1] != ' ');
    for (size_t i = 0; i < text->len; i++) {
        unsigned char c = (unsigned char)text->data[i];

        if ((c < 0x20 && c != '\n') || c == 0x7f)
            fail_msg("control character %d in: %s", c, text->data);
    }
    for (size_t i = 0; i < COUNT(never); i++) {
        if (strstr(text->data, never[i]) != NULL)
            fail_msg("\"%s\" in: %s", never[i], text->data);
    }
}

typedef void (*text_fn)(const struct wording *w, struct buf *out);

static inline void put(struct buf *all, const char *title, text_fn say,
                       const struct wording *w)
{
    struct buf text;

    buf_init(&text, WORDING_SIZE_MAX);
    say(w, &text);
    check_text(&text);
    buf_printf(all, "== %s\n%s\n", title, text.data);
    buf_clear(&text);
}

#endif
