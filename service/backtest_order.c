/* The order in which past messages arrive; see backtest_feed.h. */
#include "service/backtest_feed.h"

#include <stdlib.h>
#include <string.h>

static int by_arrival(const void *a, const void *b)
{
    const struct backtest_message *x = a, *y = b;

    if (x->at_s != y->at_s)
        return x->at_s < y->at_s ? -1 : 1;
    return x->order < y->order ? -1 : x->order > y->order;
}

static int by_name(const void *a, const void *b)
{
    const struct backtest_message *const *x = a, *const *y = b;
    int differ = strcmp((*x)->name, (*y)->name);

    return differ != 0 ? differ : by_arrival(*x, *y);
}

/* The first description of each patient and access was known before. */
static void bring_forward(struct backtest_feed *feed)
{
    size_t count = 0;
    struct backtest_message **list;

    for (size_t i = 0; i < feed->count; i++)
        count += feed->messages[i].name != NULL;
    list = calloc(count + 1, sizeof(struct backtest_message *));
    if (list == NULL)
        return; /* each then has the time that it gives */
    count = 0;
    for (size_t i = 0; i < feed->count; i++) {
        if (feed->messages[i].name != NULL)
            list[count++] = &feed->messages[i];
    }
    qsort(list, count, sizeof(struct backtest_message *), by_name);
    for (size_t i = count; i-- > 0;) {
        bool first = i == 0 || strcmp(list[i - 1]->name, list[i]->name) != 0;

        if (first && list[i]->in_use)
            list[i]->at_s = BACKTEST_EARLIEST;
    }
    free(list);
}

void backtest_feed_sort(struct backtest_feed *feed)
{
    bring_forward(feed);
    if (feed->count > 1)
        qsort(feed->messages, feed->count, sizeof(*feed->messages), by_arrival);
}
