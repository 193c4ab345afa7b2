#include "service/backtest_work.h"

#include "service/backtest_sort.h"

#include <math.h>
#include <stdlib.h>

/* Does a suggestion belong to a line of the table? */
typedef bool (*in_line_fn)(const struct backtest_suggestion *s, int which);

static bool of_rule(const struct backtest_suggestion *s, int which)
{
    return (s->rules_first & 1u << which) != 0;
}

static bool of_group(const struct backtest_suggestion *s, int which)
{
    return (int)s->group == which;
}

static bool of_all(const struct backtest_suggestion *s, int which)
{
    (void)s;
    (void)which;
    return true;
}

static void count_end(const struct backtest_suggestion *s,
                      struct backtest_count *c)
{
    if (s->ended_s == 0)
        c->open++;
    else if (s->reason == END_CLEARED)
        c->cleared++;
    else if (s->reason == END_WITHDRAWN)
        c->withdrawn++;
    else
        c->ended_else++;
}

static void count_line(const struct backtest_report *report, in_line_fn in,
                       int which, double *leads, struct backtest_count *c)
{
    size_t lead_count = 0;

    for (size_t i = 0; i < report->count; i++) {
        const struct backtest_suggestion *s = &report->list[i];

        if (!in(s, which))
            continue;
        c->raised++;
        c->by_urgency[s->urgency]++;
        c->repeats += s->repeat;
        count_end(s, c);
        if (!isnan(s->lead_d))
            leads[lead_count++] = s->lead_d;
    }
    c->with_event = lead_count;
    c->lead_d = backtest_median(leads, lead_count);
}

/* Of a rule, the suggestions that it joined; of the others, those that some
 * rule joined. */
static void count_joined(struct backtest_report *report)
{
    for (size_t i = 0; i < report->count; i++) {
        const struct backtest_suggestion *s = &report->list[i];
        unsigned joined = s->rules & ~s->rules_first;

        for (int r = 0; r < RULE_COUNT; r++)
            report->rules[r].joined += (joined & 1u << r) != 0;
        report->groups[s->group].joined += joined != 0;
        report->all.joined += joined != 0;
    }
}

enum err backtest_count(struct backtest_report *report)
{
    double *leads = calloc(report->count + 1, sizeof(*leads));

    if (leads == NULL)
        return ERR_MEMORY;
    for (int r = 0; r < RULE_COUNT; r++)
        count_line(report, of_rule, r, leads, &report->rules[r]);
    for (int g = 0; g < GROUP_COUNT; g++)
        count_line(report, of_group, g, leads, &report->groups[g]);
    count_line(report, of_all, 0, leads, &report->all);
    count_joined(report);
    free(leads);
    return ERR_OK;
}
