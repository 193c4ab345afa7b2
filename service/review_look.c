/* What there is to look at before an access is reviewed. */
#include "service/review.h"

#include "service/deceased.h"
#include "service/foresee.h"
#include "service/log.h"
#include "service/readings.h"

#include <stdlib.h>
#include <string.h>

/* Most accesses have some hundred readings; room for all that there may be is
 * made for the few that need it. */
static enum err load(struct db *db, const struct review *review, struct look *l)
{
    static const size_t rooms[] = { 512, HISTORY_READINGS_MAX };
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < COUNT(rooms); i++) {
        free(l->readings);
        l->readings = malloc(rooms[i] * sizeof(*l->readings));
        e = l->readings == NULL
                ? ERR_MEMORY
                : readings_load(db, &l->access, review->policy, l->readings,
                                rooms[i], &l->history);
        if (e == ERR_OK && l->history.loaded_from_s == 0)
            return ERR_OK;
    }
    if (e == ERR_OK)
        log_event(LOG_WARN, "review.readings_cut", KEY_INT("row", l->access.id),
                  KEY_INT("loaded", l->history.count));
    return e;
}

enum err look_at(struct db *db, const struct review *review, int64_t access,
                 struct look *l)
{
    enum err e;

    memset(l, 0, sizeof(*l));
    e = access_get(db, access, &l->access);
    if (e == ERR_OK)
        e = patient_get(db, l->access.patient, &l->patient);
    if (e != ERR_OK)
        return e;
    l->now_ms = review->now_ms();
    l->history = (struct history){ .access_type = l->access.type,
                                   .side = l->access.side,
                                   .inactive = !l->access.active,
                                   .is_central = access_is_central(&l->access),
                                   .forearm = access_is_forearm(&l->access),
                                   .born_s = l->patient.born_s,
                                   .now_s = l->now_ms / 1000 };
    e = access_other_leads(db, &l->access, &l->history.other_leads);
    if (e == ERR_OK)
        e = load(db, review, l);
    if (e == ERR_OK && l->access.merged == 0 && !l->patient.deceased) {
        rules_evaluate(&l->history, review->policy, &l->findings);
        e = foresee(db, review, l);
    }
    if (e != ERR_OK)
        look_clear(l);
    return e;
}

void look_clear(struct look *l)
{
    free(l->readings);
    l->readings = NULL;
}

enum err look_at_anew(struct db *db, const struct review *review,
                      int64_t access, struct look *l)
{
    bool changed;
    enum err e = deceased_judge(db, l->patient.id, &changed);

    if (e == ERR_OK && !changed)
        return ERR_OK;
    look_clear(l);
    return e == ERR_OK ? look_at(db, review, access, l) : e;
}
