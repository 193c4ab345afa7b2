#include "service/suggest_work.h"

#include "adapters/catalogue.h"
#include "service/episodes.h"

static enum err say_back(struct suggest *s, struct draft *d, enum group group,
                         const struct episode *episode, int64_t task)
{
    struct resource row;
    bool silent = false;
    enum err e = draft_frame(s, d);

    if (e == ERR_OK)
        e = suggest_known_task(s, d, task);
    if (e != ERR_OK)
        return e;
    d->task.note = _("The day it was put off to has come: it waits for an "
                     "answer again.");
    e = suggest_amend_task(s, d, task, false, &row, &silent);
    return e == ERR_OK ? suggest_note(s, group, episode, ACT_UPDATE,
                                      END_CLEARED, HOW_PLAIN, &row, silent)
                       : e;
}

enum err suggest_put_off_over(struct suggest *s, enum group group,
                              struct episode *episode, int64_t task, bool acted)
{
    int64_t now_s = s->now_ms / 1000;
    struct draft *d = NULL;
    enum err e = ERR_OK;

    if (episode->state != EPISODE_OPEN || episode->put_off_s == 0 ||
        episode->put_off_s > now_s)
        return ERR_OK;
    episode->put_off_s = 0;
    episode->announced_s = now_s;

    if (!acted) {
        d = draft_new();
        e = d != NULL ? say_back(s, d, group, episode, task) : ERR_MEMORY;
        draft_free(d);
    }
    return e == ERR_OK ? episode_back(s->db, task, now_s) : e;
}
