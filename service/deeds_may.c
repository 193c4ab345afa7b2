/* May a person do that with a Task, as it stands? */
#include "adapters/catalogue.h"
#include "adapters/fhir_time.h"
#include "planner/reading.h"
#include "service/deeds.h"

#include <string.h>
#include <strings.h>

/* ---- how it stands ---------------------------------------------------------- */

static bool is_status(const struct deed_task *t, const char *status)
{
    return strcmp(t->status, status) == 0;
}

bool deed_is_waiting(const struct deed_task *t)
{
    return is_status(t, "draft") || is_status(t, "requested") ||
           is_status(t, "received");
}

static bool is_closed(const struct deed_task *t)
{
    return is_status(t, "completed") || is_status(t, "rejected") ||
           is_status(t, "cancelled") || is_status(t, "failed") ||
           is_status(t, "entered-in-error");
}

/* R4: received, "the potential performer has claimed ownership". */
static bool is_in_hand(const struct deed_task *t)
{
    return !t->handed && !is_status(t, "draft") && !is_status(t, "requested");
}

bool deed_is_of_another(const struct task_deed *d, const struct deed_task *t)
{
    return is_in_hand(t) && strcmp(t->owner, d->who) != 0;
}

/* ---- what another has in hand ----------------------------------------------- */

/* Is it for somebody else to see to: in hand, or handed to them? */
static bool is_theirs(const struct task_deed *d, const struct deed_task *t)
{
    return t->owner[0] != '\0' && strcmp(t->owner, d->who) != 0;
}

/* Is the right person named, or was it nobody's? */
static enum err may_overrule(struct task_deed *d, const struct deed_task *t)
{
    bool in_hand = deed_is_of_another(d, t);

    if (!is_theirs(d, t) || strcasecmp(t->owner, d->over) == 0)
        return ERR_OK;
    if (d->over[0] != '\0')
        return deed_refuse(&d->status, &d->text, 409,
                           in_hand
                               /* TRANSLATORS: of both: two names of people */
                               ? _("%1$s has it in hand, and --over names "
                                   "%2$s: nothing was done.")
                               : _("It was handed to %1$s, and --over names "
                                   "%2$s: nothing was done."),
                           t->owner, d->over);
    return deed_refuse(&d->status, &d->text, 409,
                       in_hand
                           ? _("%s has it in hand: name whom you overrule "
                               "(--over NAME), or leave it to them.")
                           : _("It was handed to %s: name whom you overrule "
                               "(--over NAME), or leave it to them."),
                       t->owner);
}

/* What somebody sees to is not taken out of their hands without a word. */
static enum err may_interfere(struct task_deed *d, const struct deed_task *t)
{
    if (!deed_is_of_another(d, t) || d->why[0] != '\0')
        return may_overrule(d, t);
    if (t->owner[0] == '\0')
        return deed_refuse(&d->status, &d->text, 409,
                           _("Somebody who is not named has it in hand: say "
                             "why (--why), or leave it to them."));
    return deed_refuse(&d->status, &d->text, 409,
                       _("%s has it in hand: say why (--why) and whom you "
                         "overrule (--over NAME), or leave it to them."),
                       t->owner);
}

static enum err may_take(struct task_deed *d, const struct deed_task *t)
{
    if (!deed_is_of_another(d, t) || t->owner[0] == '\0')
        return ERR_OK;
    return deed_refuse(&d->status, &d->text, 409,
                       _("%s has it in hand; it changes hands by: headgate "
                         "task hand"),
                       t->owner);
}

static enum err may_hand(struct task_deed *d, const struct deed_task *t)
{
    if (d->whom[0] == '\0')
        return deed_refuse(&d->status, &d->text, 400,
                           _("Say to whom it is handed: --whom NAME."));
    return may_interfere(d, t);
}

static enum err may_decline(struct task_deed *d, const struct deed_task *t)
{
    enum err e = may_interfere(d, t);

    return e == ERR_OK && d->why[0] == '\0'
               ? deed_refuse(&d->status, &d->text, 400,
                             _("Say why it is declined: --why TEXT."))
               : e;
}

static enum err may_be_done(struct task_deed *d, const struct deed_task *t)
{
    enum err e = may_interfere(d, t);

    return e == ERR_OK && t->at_once && d->why[0] == '\0'
               ? deed_refuse(&d->status, &d->text, 400,
                             _("This was to be seen at once: say what was "
                               "done (--why TEXT)."))
               : e;
}

/* ---- putting off ------------------------------------------------------------- */

static enum err refuse_put_off_taken(struct task_deed *d,
                                     const struct deed_task *t)
{
    if (t->handed)
        return deed_refuse(&d->status, &d->text, 409,
                           _("It was taken and then handed over: it can be "
                             "taken, handed on, declined or done, and is not "
                             "put off any more."));
    if (t->owner[0] == '\0')
        return deed_refuse(&d->status, &d->text, 409,
                           _("Somebody has it in hand: when it is seen to is "
                             "theirs to say."));
    return deed_refuse(&d->status, &d->text, 409,
                       _("%s has it in hand: when it is seen to is theirs to "
                         "say."),
                       t->owner);
}

static enum err can_be_put_off(struct task_deed *d, const struct deed_task *t)
{
    if (t->at_once)
        return deed_refuse(
            &d->status, &d->text, 409,
            _("This is to be seen at once and cannot be put off.  Phone "
              "whoever is to see the patient, by local emergency policy; "
              "headgate does not replace the call."));
    if (t->reminder)
        return deed_refuse(&d->status, &d->text, 409,
                           _("This is a reminder, and has its day; take it, "
                             "decline it, or leave it."));
    if (!is_status(t, "requested"))
        return refuse_put_off_taken(d, t);
    if (t->urgency == URGENCY_ASAP && d->why[0] == '\0')
        return deed_refuse(&d->status, &d->text, 400,
                           _("This is to be seen within days: say why it is "
                             "put off (--why TEXT)."));
    return ERR_OK;
}

/* The last moment to which one of this urgency can be put off. */
static int64_t latest_s(const struct task_deed *d, const struct deed_task *t)
{
    enum param row = t->urgency == URGENCY_ASAP     ? P_PUT_OFF_ASAP_D
                     : t->urgency == URGENCY_URGENT ? P_PUT_OFF_URGENT_D
                                                    : P_PUT_OFF_ROUTINE_D;

    return d->now_ms / 1000 + (int64_t)policy_count(d->policy, row) * DAY_S;
}

/* The first second of a day to come, at the site. */
static enum err read_day(struct task_deed *d, const struct deed_task *t,
                         int64_t *until_s)
{
    struct fhir_time day;
    char latest[FHIR_TIME_SIZE];
    size_t len = strlen(d->until);

    if (len == 0)
        return deed_refuse(&d->status, &d->text, 400,
                           _("Say until when: --until DATE."));
    if (len != 10 ||
        fhir_time_read(d->until, len, d->reader->zone, &day) != ERR_OK)
        return deed_refuse(&d->status, &d->text, 400,
                           _("'%s' is not a date: write it as 2026-03-31."),
                           d->until);
    if (day.start_s <= d->now_ms / 1000)
        return deed_refuse(&d->status, &d->text, 400,
                           _("%s is not a day to come."), d->until);
    if (day.start_s > latest_s(d, t)) {
        fhir_date_write(latest_s(d, t), d->reader->zone, latest);
        return deed_refuse(
            &d->status, &d->text, 400,
            /* TRANSLATORS: a date, then the last one that is possible */
            _("%1$s is too far away: by the policy, one of this urgency is "
              "put off until %2$s at the latest.  Decline it, if it is not to "
              "be followed."),
            d->until, latest);
    }
    *until_s = day.start_s;
    return ERR_OK;
}

static enum err may_put_off(struct task_deed *d, const struct deed_task *t,
                            int64_t *until_s)
{
    enum err e = can_be_put_off(d, t);

    return e == ERR_OK ? read_day(d, t, until_s) : e;
}

enum err deed_may(struct task_deed *d, const struct deed_task *t,
                  int64_t *until_s)
{
    *until_s = 0;
    if (is_closed(t))
        /* TRANSLATORS: %s is a code of FHIR, "completed" or "cancelled" */
        return deed_refuse(&d->status, &d->text, 409,
                           _("It is closed already (%s)."), t->status);
    switch (d->verb) {
    case TASK_TAKE:
        return may_take(d, t);
    case TASK_HAND:
        return may_hand(d, t);
    case TASK_PUT_OFF:
        return may_put_off(d, t, until_s);
    case TASK_DECLINE:
        return may_decline(d, t);
    case TASK_DONE:
        break;
    }
    return may_be_done(d, t);
}
