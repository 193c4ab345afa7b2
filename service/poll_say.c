/* How the poll and the following go, in words. */
#include "service/follow.h"
#include "service/poll.h"

void poll_say(const struct poll_view *view, struct buf *out)
{
    for (size_t i = 0; i < view->feed_count; i++) {
        const struct poll_feed_view *f = &view->feeds[i];

        if (f->off)
            buf_printf(out,
                       "poll of %s: the record does not offer it; what is "
                       "deleted there stays here until it is marked "
                       "entered-in-error\n",
                       f->name);
        else if (f->trouble != WALK_DONE)
            buf_printf(out, "poll of %s stopped: %s\n", f->name,
                       walk_text(f->trouble));
        if (f->undated > 0)
            buf_printf(out,
                       "poll of %s: rows without meta.lastUpdated came; "
                       "changes of them may be seen late\n",
                       f->name);
    }
}

void follow_say(const struct follow_view *view, struct buf *out)
{
    if (view->one_by_one)
        buf_puts(out, "following of Tasks: the record does not search for "
                      "them; every open one is read by its id\n");
    else if (view->trouble != WALK_DONE)
        buf_printf(out, "following of Tasks stopped: %s\n",
                   walk_text(view->trouble));
}
