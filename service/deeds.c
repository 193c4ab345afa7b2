#include "service/deeds.h"

#include "adapters/catalogue.h"
#include "adapters/fhir_time.h"
#include "planner/reading.h"
#include "service/episodes.h"
#include "service/quarantine_item.h"
#include "service/task_change.h"

#include <stdio.h>
#include <string.h>

/* One deed on its way: what is meant, and what becomes of it. */
struct doing {
    struct db *db;
    struct task_deed *d;
    struct deed_task t;
    struct buf note; /* for the Task */
};

/* ---- changing the Task ------------------------------------------------------ */

/* Why a change by the rules for all changes was refused, for a person. */
static enum err refuse_change(struct task_deed *d, const struct outcome *o)
{
    return deed_refuse(&d->status, &d->text, 409, "%s.",
                       o->count > 0 ? o->issues[0].text
                                    : _("The Task cannot be changed so"));
}

static enum err put_task(struct doing *g, const struct buf *body)
{
    struct outcome outcome;
    struct task_change c = { .id = g->t.row.fid,
                             .body = body->data,
                             .len = body->len,
                             .reader = g->d->reader,
                             .deliver = g->d->deliver,
                             .now_ms = g->d->now_ms,
                             .outcome = &outcome };
    enum err e;

    outcome_init(&outcome);
    e = task_change(g->db, &c);
    if (e == ERR_OK)
        g->t.row = c.row;
    return e == ERR_CONFLICT ? refuse_change(g->d, &outcome) : e;
}

/* The Task as it stands, with the deed done. */
static enum err change(struct doing *g, struct fhir_deed deed)
{
    struct buf old, body;
    int64_t updated_ms;
    enum err e;

    deed.base = g->d->reader->base;
    deed.author = g->d->who;
    deed.now_ms = g->d->now_ms;
    buf_init(&old, TASK_MAX);
    buf_init(&body, TASK_MAX);
    e = resource_body(g->db, &g->t.row, 0, &old, &updated_ms);
    if (e == ERR_OK)
        e = fhir_deed_write(old.data, old.len, &deed, &body);
    if (e == ERR_OK)
        e = put_task(g, &body);
    buf_clear(&old);
    buf_clear(&body);
    return e;
}

static enum err keep(const struct doing *g, enum deed_act act,
                     const char *detail)
{
    const struct deed deed = { .item = g->t.row.id,
                               .act = act,
                               .detail = detail,
                               .who = g->d->who,
                               .why = g->d->why,
                               .now_ms = g->d->now_ms };

    return deed_add(g->db, &deed, NULL);
}

/* ---- how it stands ------------------------------------------------------------ */

static bool is_status(const struct doing *g, const char *status)
{
    return strcmp(g->t.status, status) == 0;
}

/* Nobody has said that it is theirs. */
static bool is_waiting(const struct doing *g)
{
    return is_status(g, "draft") || is_status(g, "requested") ||
           is_status(g, "received");
}

static bool is_closed(const struct doing *g)
{
    return is_status(g, "completed") || is_status(g, "rejected") ||
           is_status(g, "cancelled") || is_status(g, "failed") ||
           is_status(g, "entered-in-error");
}

static enum err refuse_closed(struct doing *g)
{
    /* TRANSLATORS: %s is a code of FHIR, "completed" or "cancelled" */
    return deed_refuse(&g->d->status, &g->d->text, 409,
                       _("It is closed already (%s)."), g->t.status);
}

/* ---- the deeds ------------------------------------------------------------------ */

static enum err take(struct doing *g)
{
    struct task_deed *d = g->d;
    const char *status = is_waiting(g) ? "accepted" : NULL;
    enum err e;

    if (status == NULL && strcmp(g->t.owner, d->who) == 0) {
        buf_printf(&d->text, _("%s has it in hand already."), d->who);
        buf_puts(&d->text, "\n");
        return ERR_OK;
    }
    if (status == NULL && g->t.owner[0] != '\0')
        return deed_refuse(&d->status, &d->text, 409,
                           _("%s has it in hand; it changes hands by: headgate "
                             "task hand"),
                           g->t.owner);
    if (d->why[0] == '\0')
        buf_puts(&g->note, _("Taken in hand."));
    else
        buf_printf(&g->note, _("Taken in hand: %s"), d->why);
    e = change(g, (struct fhir_deed){ .status = status,
                                      .owner = d->who,
                                      .business = BUSINESS_NONE,
                                      .note = g->note.data });
    if (e == ERR_OK)
        e = keep(g, DEED_TASK_TAKE, "");
    if (e == ERR_OK) {
        buf_printf(&d->text, _("%s has it in hand."), d->who);
        buf_puts(&d->text, "\n");
    }
    return e;
}

static enum err hand(struct doing *g)
{
    struct task_deed *d = g->d;
    enum err e;

    if (d->whom[0] == '\0')
        return deed_refuse(&d->status, &d->text, 400,
                           _("Say to whom it is handed: --whom NAME."));
    if (d->why[0] == '\0')
        buf_printf(&g->note, _("Handed to %s."), d->whom);
    else
        /* TRANSLATORS: a name, then the reason as a person wrote it */
        buf_printf(&g->note, _("Handed to %1$s: %2$s"), d->whom, d->why);
    e = change(g, (struct fhir_deed){ .owner = d->whom,
                                      .business = BUSINESS_STAYS,
                                      .note = g->note.data });
    if (e == ERR_OK)
        e = keep(g, DEED_TASK_HAND, d->whom);
    if (e != ERR_OK)
        return e;
    if (is_waiting(g))
        buf_printf(&d->text,
                   _("Handed to %s.  It counts as open until it is taken, and "
                     "is withdrawn if what it rests on goes away."),
                   d->whom);
    else
        buf_printf(&d->text, _("Handed to %s."), d->whom);
    buf_puts(&d->text, "\n");
    return ERR_OK;
}

/* The first second of a day to come, at the site. */
static enum err read_day(struct task_deed *d, int64_t *until_s)
{
    struct fhir_time day;
    int64_t now_s = d->now_ms / 1000;
    size_t len = strlen(d->until);

    if (len == 0)
        return deed_refuse(&d->status, &d->text, 400,
                           _("Say until when: --until DATE."));
    if (len != 10 ||
        fhir_time_read(d->until, len, d->reader->zone, &day) != ERR_OK)
        return deed_refuse(&d->status, &d->text, 400,
                           _("'%s' is not a date: write it as 2026-03-31."),
                           d->until);
    if (day.start_s <= now_s)
        return deed_refuse(&d->status, &d->text, 400,
                           _("%s is not a day to come."), d->until);
    if (day.start_s > now_s + (int64_t)DEED_DAYS_MAX * DAY_S)
        return deed_refuse(&d->status, &d->text, 400,
                           _("%s is more than a year away; decline it, if it "
                             "is not to be followed."),
                           d->until);
    *until_s = day.start_s;
    return ERR_OK;
}

static enum err may_be_put_off(struct doing *g)
{
    struct task_deed *d = g->d;

    if (g->t.at_once)
        return deed_refuse(
            &d->status, &d->text, 409,
            _("This is to be seen at once and cannot be put off.  Phone "
              "whoever is to see the patient, by local emergency policy; "
              "headgate does not replace the call."));
    if (g->t.reminder)
        return deed_refuse(&d->status, &d->text, 409,
                           _("This is a reminder, and has its day; take it, "
                             "decline it, or leave it."));
    if (!is_status(g, "requested"))
        return deed_refuse(&d->status, &d->text, 409,
                           _("Somebody has it in hand: when it is seen to is "
                             "theirs to say."));
    return ERR_OK;
}

static enum err put_off(struct doing *g)
{
    struct task_deed *d = g->d;
    int64_t until_s = 0;
    enum err e = may_be_put_off(g);

    if (e == ERR_OK)
        e = read_day(d, &until_s);
    if (e != ERR_OK)
        return e;
    if (d->why[0] == '\0')
        buf_printf(&g->note, _("Put off until %s."), d->until);
    else
        /* TRANSLATORS: a date, then the reason as a person wrote it */
        buf_printf(&g->note, _("Put off until %1$s: %2$s"), d->until, d->why);
    e = change(g, (struct fhir_deed){ .business = BUSINESS_PUT_OFF,
                                      .note = g->note.data });
    if (e == ERR_OK)
        e = episode_put_off(g->db, g->t.row.id, until_s, d->who);
    if (e == ERR_OK)
        e = db_run(g->db, Q_NEWS_AHEAD, "iii", g->t.access,
                   partition_of(g->t.access), until_s * 1000);
    if (e == ERR_OK)
        e = keep(g, DEED_TASK_PUT_OFF, d->until);
    if (e != ERR_OK)
        return e;
    buf_printf(&d->text,
               _("Put off until %s.  It comes back on that day by itself, and "
                 "before it if it worsens."),
               d->until);
    buf_puts(&d->text, "\n");
    return ERR_OK;
}

static enum err decline(struct doing *g)
{
    struct task_deed *d = g->d;
    enum err e;

    if (d->why[0] == '\0')
        return deed_refuse(&d->status, &d->text, 400,
                           _("Say why it is declined: --why TEXT."));
    buf_printf(&g->note, _("Declined: %s"), d->why);
    e = change(g, (struct fhir_deed){ .status = "rejected",
                                      .reason = d->why,
                                      .business = BUSINESS_NONE,
                                      .note = g->note.data });
    if (e == ERR_OK)
        e = keep(g, DEED_TASK_DECLINE, "");
    if (e == ERR_OK) {
        buf_puts(&d->text,
                 _("Declined.  It is suggested anew only if the access is "
                   "clearly worse, or new readings come after a quiet time."));
        buf_puts(&d->text, "\n");
    }
    return e;
}

static enum err done(struct doing *g)
{
    struct task_deed *d = g->d;
    enum err e = ERR_OK;

    if (d->why[0] == '\0')
        buf_puts(&g->note, _("Done."));
    else
        buf_printf(&g->note, _("Done: %s"), d->why);
    /* R4 lets nobody complete what nobody has accepted */
    if (is_waiting(g))
        e = change(g, (struct fhir_deed){
                          .status = "accepted",
                          .owner = g->t.owner[0] == '\0' ? d->who : NULL,
                          .business = BUSINESS_NONE });
    if (e == ERR_OK)
        e = change(g, (struct fhir_deed){ .status = "completed",
                                          .business = BUSINESS_NONE,
                                          .note = g->note.data });
    if (e == ERR_OK)
        e = keep(g, DEED_TASK_DONE, "");
    if (e == ERR_OK) {
        buf_puts(&d->text, _("Done; it is closed."));
        buf_puts(&d->text, "\n");
    }
    return e;
}

enum err task_deed(struct db *db, struct task_deed *d)
{
    static enum err (*const verbs[])(struct doing * g) = {
        [TASK_TAKE] = take,       [TASK_HAND] = hand, [TASK_PUT_OFF] = put_off,
        [TASK_DECLINE] = decline, [TASK_DONE] = done,
    };
    struct doing g = { .db = db, .d = d };
    enum err e;

    d->status = 200;
    d->fid[0] = '\0';
    if (d->who[0] == '\0')
        return deed_refuse(&d->status, &d->text, 400,
                           _("Say who decides: --by NAME."));
    buf_init(&g.note, (size_t)8 * DEED_WORDS_SIZE);
    e = deed_find_task(db, d, &g.t);
    if (e == ERR_OK)
        e = is_closed(&g) ? refuse_closed(&g) : verbs[d->verb](&g);
    if (e == ERR_OK)
        e = buf_ok(&g.note);
    buf_clear(&g.note);
    return e == ERR_OK ? buf_ok(&d->text) : e;
}
