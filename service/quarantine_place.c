/* A person says which access or which side a reading is of. */
#include "service/quarantine_act.h"

#include <string.h>

static enum err find_access(struct db *db, struct quarantine_act *act,
                            const struct quarantine_item *item, int64_t *access)
{
    const enum query q = Q_ACCESS_OF_PATIENT_NAMED;
    enum err e = db_first(db, q, "is", item->patient, act->access);

    if (e == ERR_ABSENT)
        return quarantine_refuse(act, 404,
                                 "The patient of %lld has no access of this "
                                 "name",
                                 (long long)item->number);
    if (e != ERR_OK)
        return e;
    *access = db_int(db, q, 0);
    e = db_next(db, q);
    db_done(db, q);
    if (e == ERR_OK)
        return quarantine_refuse(act, 409,
                                 "Two accesses of the patient have this name; "
                                 "use the number or id of one");
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err read_side(struct quarantine_act *act, enum side *side)
{
    if (act->side[0] == '\0')
        return ERR_OK;
    if (strcmp(act->side, "left") == 0)
        *side = SIDE_LEFT;
    else if (strcmp(act->side, "right") == 0)
        *side = SIDE_RIGHT;
    else
        return quarantine_refuse(act, 400, "--side is left or right");
    return ERR_OK;
}

enum err quarantine_place(struct db *db, struct quarantine_act *act,
                          const struct quarantine_item *item)
{
    struct person_verdict verdict = { .version = item->row.version,
                                      .acts = VERDICT_PLACED,
                                      .side = SIDE_UNKNOWN };
    const bool by_name = act->access[0] != '\0';
    const bool anew =
        item->held_count == 0; /* a word said before is replaced */
    bool early = false;
    unsigned count = 0;
    enum err e = read_side(act, &verdict.side);

    if (e == ERR_OK && by_name)
        e = find_access(db, act, item, &verdict.access);
    if (e == ERR_OK)
        e = quarantine_say(db, act, item, "access", "side", &verdict, &count);
    /* held for something else first: where it belongs may be said already */
    if (e == ERR_OK && count == 0) {
        early = true;
        e = quarantine_say(db, act, item, "", NULL, &verdict, &count);
    }
    if (e == ERR_OK && count == 0)
        return quarantine_refuse(act, 409,
                                 "Nothing of %lld is held for its access or "
                                 "side",
                                 (long long)item->number);
    if (e == ERR_OK)
        e = quarantine_keep(db, act, item->number, DEED_PLACE,
                            by_name ? act->access : act->side);
    if (e == ERR_OK)
        e = again_resource(db, &act->site.reader, item->number, NULL,
                           &act->count);
    if (e != ERR_OK)
        return e;
    if (act->count.settled > 0 || (anew && act->count.held == 0))
        buf_printf(&act->text,
                   "%lld belongs there now, and so will later versions of it; "
                   "its access is reviewed.\n",
                   (long long)item->number);
    else if (early)
        buf_printf(&act->text,
                   "Your word on %lld is kept, and is not all that it "
                   "needs.\n",
                   (long long)item->number);
    e = quarantine_say_left(db, item, &act->text);
    if (e == ERR_OK && act->count.settled == 0 && !anew && !early) {
        act->status = 409;
        return ERR_CONFLICT;
    }
    return e;
}
