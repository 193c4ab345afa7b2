#include "service/deeds.h"

#include "adapters/catalogue.h"
#include "service/episodes.h"
#include "service/quarantine_item.h"
#include "service/task_change.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

/* One deed on its way: what is meant, and what becomes of it. */
struct doing {
    struct db *db;
    struct task_deed *d;
    struct deed_task t;
    int64_t until_s; /* put-off */
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

/* ---- the deeds ------------------------------------------------------------------ */

static enum err say(struct task_deed *d, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* A whole sentence of the answer. */
static enum err say(struct task_deed *d, const char *format, ...)
{
    char line[4096];
    va_list args;

    va_start(args, format);
    vsnprintf(line, sizeof(line), format, args);
    va_end(args);
    buf_printf(&d->text, "%s\n", line);
    return ERR_OK;
}

/* Whose it was, in the note: they read it there. */
static void note_whose(struct doing *g)
{
    if (!deed_is_of_another(g->d, &g->t) || g->t.owner[0] == '\0')
        return;
    buf_puts(&g->note, "  ");
    buf_printf(&g->note, _("%s had it in hand."), g->t.owner);
}

static enum err take(struct doing *g)
{
    struct task_deed *d = g->d;
    bool waiting = deed_is_waiting(&g->t);
    enum err e;

    if (!waiting && !g->t.handed && strcmp(g->t.owner, d->who) == 0)
        return say(d, _("%s has it in hand already."), d->who);
    if (d->why[0] == '\0')
        buf_puts(&g->note, _("Taken in hand."));
    else
        buf_printf(&g->note, _("Taken in hand: %s"), d->why);
    e = change(g, (struct fhir_deed){ .status = waiting ? "accepted" : NULL,
                                      .owner = d->who,
                                      .business = BUSINESS_NONE,
                                      .note = g->note.data });
    if (e == ERR_OK)
        e = episode_take(g->db, g->t.row.id);
    if (e == ERR_OK)
        e = keep(g, DEED_TASK_TAKE, "");
    return e == ERR_OK ? say(d, _("%s has it in hand."), d->who) : e;
}

static enum err say_handed(const struct doing *g)
{
    struct task_deed *d = g->d;

    if (g->t.reminder)
        return say(d, _("Handed to %s."), d->whom);
    if (deed_is_waiting(&g->t))
        return say(d,
                   _("Handed to %s.  It counts as open until it is taken, "
                     "and is withdrawn if what it rests on goes away."),
                   d->whom);
    return say(d,
               _("Handed to %s.  Nobody has it in hand until it is taken: "
                 "it counts as open, and is escalated by the time since it "
                 "was suggested."),
               d->whom);
}

static enum err hand(struct doing *g)
{
    struct task_deed *d = g->d;
    bool waiting = deed_is_waiting(&g->t);
    enum err e;

    if (!waiting && !g->t.handed && strcmp(g->t.owner, d->whom) == 0)
        return say(d, _("%s has it in hand already."), d->whom);
    if (d->why[0] == '\0')
        buf_printf(&g->note, _("Handed to %s."), d->whom);
    else
        /* TRANSLATORS: a name, then the reason as a person wrote it */
        buf_printf(&g->note, _("Handed to %1$s: %2$s"), d->whom, d->why);
    note_whose(g);
    e = change(g, (struct fhir_deed){ .owner = d->whom,
                                      .business = waiting || g->t.reminder
                                                      ? BUSINESS_STAYS
                                                      : BUSINESS_AWAITING,
                                      .note = g->note.data });
    if (e == ERR_OK && !waiting)
        e = episode_hand(g->db, g->t.row.id, d->now_ms / 1000);
    if (e == ERR_OK)
        e = keep(g, DEED_TASK_HAND, d->whom);
    return e == ERR_OK ? say_handed(g) : e;
}

static enum err put_off(struct doing *g)
{
    struct task_deed *d = g->d;
    enum err e;

    if (d->why[0] == '\0')
        buf_printf(&g->note, _("Put off until %s."), d->until);
    else
        /* TRANSLATORS: a date, then the reason as a person wrote it */
        buf_printf(&g->note, _("Put off until %1$s: %2$s"), d->until, d->why);
    e = change(g, (struct fhir_deed){ .business = BUSINESS_PUT_OFF,
                                      .note = g->note.data });
    if (e == ERR_OK)
        e = episode_put_off(g->db, g->t.row.id, g->until_s, d->who);
    if (e == ERR_OK)
        e = db_run(g->db, Q_NEWS_AHEAD, "iii", g->t.access,
                   partition_of(g->t.access), g->until_s * 1000);
    if (e == ERR_OK)
        e = keep(g, DEED_TASK_PUT_OFF, d->until);
    return e == ERR_OK
               ? say(d,
                     _("Put off until %s.  It comes back on that day by "
                       "itself, and before it if it worsens."),
                     d->until)
               : e;
}

static enum err decline(struct doing *g)
{
    struct task_deed *d = g->d;
    enum err e;

    buf_printf(&g->note, _("Declined: %s"), d->why);
    note_whose(g);
    e = change(g, (struct fhir_deed){ .status = "rejected",
                                      .reason = d->why,
                                      .business = BUSINESS_NONE,
                                      .note = g->note.data });
    if (e == ERR_OK)
        e = keep(g, DEED_TASK_DECLINE, "");
    return e == ERR_OK
               ? say(d, _("Declined.  It is suggested anew only if the access "
                          "is clearly worse, or new readings come after a "
                          "quiet time."))
               : e;
}

static enum err done(struct doing *g)
{
    struct task_deed *d = g->d;
    enum err e = ERR_OK;

    if (d->why[0] == '\0')
        buf_puts(&g->note, _("Done."));
    else
        buf_printf(&g->note, _("Done: %s"), d->why);
    note_whose(g);
    /* R4 lets nobody complete what nobody has accepted */
    if (deed_is_waiting(&g->t))
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
    return e == ERR_OK ? say(d, _("Done; it is closed.")) : e;
}

/* Under the answer: whose it is, and whose it was, so that a slip is seen. */
static void say_whose(struct doing *g, bool refused)
{
    struct task_deed *d = g->d;

    if (!refused && d->verb != TASK_TAKE && deed_is_of_another(d, &g->t) &&
        g->t.owner[0] != '\0')
        (void)say(d, _("%s had it in hand."), g->t.owner);
    if (d->about[0] != '\0')
        (void)say(d, "%s", d->about);
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
    d->fid[0] = d->about[0] = '\0';
    if (d->who[0] == '\0')
        return deed_refuse(&d->status, &d->text, 400,
                           _("Say who decides: --by NAME."));
    buf_init(&g.note, (size_t)8 * DEED_WORDS_SIZE);
    e = deed_find_task(db, d, &g.t);
    if (e == ERR_OK)
        e = deed_may(d, &g.t, &g.until_s);
    if (e == ERR_OK)
        e = verbs[d->verb](&g);
    if (e == ERR_OK)
        e = buf_ok(&g.note);
    if (e == ERR_OK || e == ERR_CONFLICT)
        say_whose(&g, e != ERR_OK);
    buf_clear(&g.note);
    return e == ERR_OK ? buf_ok(&d->text) : e;
}
