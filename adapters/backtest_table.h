/* backtest_table - the tables of a back test; private to backtest_text.c */
#ifndef HEADGATE_ADAPTERS_BACKTEST_TABLE_H
#define HEADGATE_ADAPTERS_BACKTEST_TABLE_H

#include "adapters/backtest_text.h"

/* What is being written, and where to. */
struct backtest_page {
    const struct backtest_data *data;
    const struct backtest_report *reports[2];
    size_t report_count; /* 1, or 2: beside each other */
    const struct zone *zone;
    struct buf *out;
};

/* A line of a report: a rule, or a group (rule -1), or all (both -1). */
struct backtest_line {
    int rule, group;
};

/* Was nothing said by this rule or group, under any of the policies? */
bool backtest_is_quiet(const struct backtest_page *p,
                       struct backtest_line line);

/* One table of all for one policy; two, with less each, for two. */
void backtest_tables(const struct backtest_page *p);

#endif
