/* Each event of a timeline in words. */
#include "adapters/timeline_work.h"

#include "adapters/sign_words.h"
#include "adapters/worksheet_chart.h"

#include <math.h>

struct timeline_day timeline_day(const struct timeline_source *s, int64_t at_s)
{
    struct timeline_day d = { .text = "" };

    fhir_date_write(at_s, s->zone, d.text);
    return d;
}

const char *timeline_group(enum group g)
{
    static const char *const names[GROUP_COUNT] = {
        /* TRANSLATORS: what a suggestion is about, in front of its number */
        [GROUP_FLOW] = N_("high flow"),
        [GROUP_HAND] = N_("hand"),
        [GROUP_LOW_FLOW] = N_("low flow"),
        [GROUP_DOSE] = N_("dose"),
        [GROUP_AFTER_BAND] = N_("after the band"),
        [GROUP_FOLLOW_UP] = N_("follow-up"),
        [GROUP_BLEEDING] = N_("bleeding"),
        [GROUP_INFECTION] = N_("infection"),
    };

    return _(names[g]);
}

static const char *urgency_name(enum urgency u)
{
    static const char *const names[] = {
        /* TRANSLATORS: urgency of a suggestion */
        [URGENCY_NOTE] = N_("note"),
        [URGENCY_ROUTINE] = N_("routine"),
        [URGENCY_URGENT] = N_("urgent"),
        [URGENCY_ASAP] = N_("as soon as possible"),
        [URGENCY_IMMEDIATE] = N_("at once, by telephone"),
    };

    return _(names[u]);
}

/* ---- flows ---------------------------------------------------------------- */

static void say_use(enum sheet_use use, struct buf *out)
{
    const char *words =
        use == SHEET_EARLY     ? _("(preliminary: the rules do not use it)")
        : use == SHEET_BLANKED ? _("(soon after a treatment: the rules do not "
                                   "use it)")
                               : _("(its session contradicts itself: the rules "
                                   "do not use it)");

    if (use != SHEET_USED)
        buf_printf(out, " %s", words);
}

static void say_flow(const struct timeline_entry *e, struct buf *out)
{
    const struct sheet_point *p = &e->flow;
    struct chart_number value = chart_number(p->value, 0);
    const char *method = chart_method(p->method);

    if (p->bound == BOUND_ABOVE || p->bound == BOUND_AT_LEAST)
        buf_printf(out, _("flow more than %1$s mL/min, %2$s"), value.text,
                   method);
    else if (p->bound != BOUND_NONE)
        buf_printf(out, _("flow less than %1$s mL/min, %2$s"), value.text,
                   method);
    else if (p->readings == 0)
        buf_printf(out,
                   _("flow %1$s mL/min, %2$s, computed from what was measured "
                     "in its session"),
                   value.text, method);
    else if (p->readings > 1)
        buf_printf(out, _("flow %1$s mL/min, %2$s, mean of %3$zu readings"),
                   value.text, method, p->readings);
    else
        buf_printf(out, _("flow %1$s mL/min, %2$s"), value.text, method);
    say_use(p->use, out);
}

/* ---- treatments ----------------------------------------------------------- */

/* words: what was done. */
static void say_both(const struct timeline_source *s,
                     const struct timeline_change *c, const char *words,
                     struct buf *out)
{
    struct chart_number before = chart_number(c->before_ml_min, 0);
    struct chart_number after = chart_number(c->after_ml_min, 0);
    struct chart_number pct = chart_number(fabs(c->pct), 0);
    struct timeline_day from = timeline_day(s, c->before_s),
                        to = timeline_day(s, c->after_s);

    if (isnan(c->pct))
        buf_printf(out,
                   _("%1$s: flow %2$s mL/min before (%3$s, %4$s), %5$s after "
                     "(%6$s, %7$s); two methods are not compared"),
                   words, before.text, from.text,
                   chart_method(c->before_method), after.text, to.text,
                   chart_method(c->after_method));
    else if (c->pct < 0)
        buf_printf(out,
                   _("%1$s: flow %2$s mL/min before (%3$s), %4$s after "
                     "(%5$s), %6$s %% less"),
                   words, before.text, from.text, after.text, to.text,
                   pct.text);
    else
        buf_printf(out,
                   _("%1$s: flow %2$s mL/min before (%3$s), %4$s after "
                     "(%5$s), %6$s %% more"),
                   words, before.text, from.text, after.text, to.text,
                   pct.text);
}

static void say_change(const struct timeline_source *s,
                       const struct timeline_change *c, const char *words,
                       struct buf *out)
{
    struct chart_number before = chart_number(c->before_ml_min, 0);
    struct chart_number after = chart_number(c->after_ml_min, 0);

    if (isfinite(c->before_ml_min) && isfinite(c->after_ml_min))
        say_both(s, c, words, out);
    else if (isfinite(c->before_ml_min))
        buf_printf(out,
                   _("%1$s: flow %2$s mL/min before (%3$s), none measured "
                     "after it"),
                   words, before.text, timeline_day(s, c->before_s).text);
    else if (isfinite(c->after_ml_min))
        buf_printf(out,
                   _("%1$s: flow %2$s mL/min after it (%3$s), none measured "
                     "before"),
                   words, after.text, timeline_day(s, c->after_s).text);
    else
        buf_printf(out, _("%s: no flow measured before or after it"), words);
}

static void say_treatment(const struct timeline_source *s,
                          const struct timeline_entry *e, struct buf *out)
{
    struct buf words;

    buf_init(&words, CHART_TEXT_MAX);
    chart_deed_words(&e->treatment, &words);
    if (e->treatment.deed == SHEET_CREATED || e->treatment.deed == SHEET_CLOSED)
        buf_puts(out, words.data);
    else
        say_change(s, &e->change, words.data, out);
    buf_clear(&words);
}

/* ---- signs ---------------------------------------------------------------- */

static void say_sign(const struct timeline_entry *e, struct buf *out)
{
    const char *words = sign_words(e->quantity, e->sign);

    if (e->times > 1)
        buf_printf(out,
                   ngettext("sign: %2$s (%1$d time this month)",
                            "sign: %2$s (%1$d times this month)",
                            (unsigned long)e->times),
                   e->times, words);
    else
        buf_printf(out, _("sign: %s"), words);
    if (e->preliminary)
        buf_printf(out, " %s", _("(preliminary)"));
}

/* ---- what was said -------------------------------------------------------- */

static const char *act_name(enum timeline_act act)
{
    static const char *const names[TIMELINE_ACTS] = {
        /* TRANSLATORS: what became of a suggestion or a reminder, after a
         * colon */
        [TIMELINE_OPENED] = N_("opened"),
        [TIMELINE_RAISED] = N_("raised"),
        [TIMELINE_CORRECTED] = N_("changed, a reading was corrected"),
        [TIMELINE_PUT_AGAIN] = N_("put again, nobody had answered"),
        [TIMELINE_ENDED] = N_("ended"),
        [TIMELINE_RECORDED] = N_("done, what it asked for was recorded"),
        [TIMELINE_NOT_NEEDED] = N_("no longer needed"),
        [TIMELINE_TAKEN] = N_("taken in hand by a person"),
        [TIMELINE_ON_HOLD] = N_("put on hold by a person"),
        [TIMELINE_DECLINED] = N_("declined by a person"),
        [TIMELINE_COMPLETED] = N_("completed by a person"),
        [TIMELINE_SET_ASIDE] = N_("set aside by a person"),
    };

    return _(names[act]);
}

/* A visit has no limits to be inside of. */
static const char *reason_text(enum group group, enum end_reason reason)
{
    static const char *const texts[] = {
        [END_CLEARED] = N_("back inside the limits"),
        [END_WITHDRAWN] = N_("a reading was corrected or withdrawn"),
        [END_SUPERSEDED] = N_("the opposite flow problem was confirmed"),
        [END_STAGE] = N_("something was done at the access"),
        [END_INACTIVE] = N_("the access is no longer in use"),
        [END_MERGED] = N_("the access is another one"),
        [END_ELSEWHERE] = N_("another suggestion says it"),
        [END_DECEASED] = N_("the patient is recorded as deceased"),
    };

    if (group == GROUP_FOLLOW_UP && reason == END_CLEARED)
        return _("it was recorded, or the next visit took its place");
    return _(texts[reason]);
}

static void say_rules(unsigned rules, struct buf *out)
{
    for (int n = 0; n < RULE_COUNT; n++) {
        enum rule rule = rule_by_order(n);

        if ((rules & 1U << rule) != 0)
            buf_printf(out, " %s", rule_info(rule)->id);
    }
}

/* Days from the day on which it was due: "3 days before its day". */
static void say_late(int days, struct buf *out)
{
    if (days > 0)
        buf_printf(out,
                   ngettext("; %d day after its day", "; %d days after its day",
                            (unsigned long)days),
                   days);
    else if (days < 0)
        buf_printf(out,
                   ngettext("; %d day before its day",
                            "; %d days before its day", (unsigned long)-days),
                   -days);
    else
        buf_printf(out, "; %s", _("on its day"));
}

static bool is_open_act(enum timeline_act act)
{
    return act == TIMELINE_OPENED || act == TIMELINE_RAISED ||
           act == TIMELINE_PUT_AGAIN;
}

static void say_said(const struct timeline_source *s,
                     const struct timeline_said *said, struct buf *out)
{
    const char *group = timeline_group(said->group), *act = act_name(said->act);

    if (said->reminder)
        /* TRANSLATORS: what it is about, its number, what became of it */
        buf_printf(out, _("reminder \"%1$s %2$d\": %3$s"), group, said->number,
                   act);
    else
        /* TRANSLATORS: what it is about, its number, what became of it */
        buf_printf(out, _("suggestion \"%1$s %2$d\": %3$s"), group,
                   said->number, act);
    if (said->act == TIMELINE_ENDED && !said->reminder)
        buf_printf(out, ", %s", reason_text(said->group, said->reason));
    if (is_open_act(said->act) && !said->reminder)
        buf_printf(out, "; %s", urgency_name(said->urgency));
    if (is_open_act(said->act) && said->due_s != INT64_MIN)
        /* TRANSLATORS: follows "...opened"; a day */
        buf_printf(out, _("; due by %s"), timeline_day(s, said->due_s).text);
    if (said->act == TIMELINE_RECORDED && said->due_s != INT64_MIN)
        say_late(timeline_days(said->due_s, said->at_s, s->zone), out);
    if (is_open_act(said->act) && said->rules != 0) {
        buf_puts(out, ";");
        say_rules(said->rules, out);
    }
    if (said->act == TIMELINE_OPENED && said->silent)
        buf_printf(out, "; %s", _("not posted (silent mode)"));
}

static void say_overdue(const struct timeline_entry *e, struct buf *out)
{
    const struct timeline_open *o = &e->reminder;
    const char *group = timeline_group(o->group);
    unsigned long days = (unsigned long)e->days;

    if (o->open)
        buf_printf(out,
                   ngettext("reminder \"%2$s %3$d\" was due by this day: not "
                            "done, %1$d day overdue now",
                            "reminder \"%2$s %3$d\" was due by this day: not "
                            "done, %1$d days overdue now",
                            days),
                   e->days, group, o->number);
    else if (o->missed)
        buf_printf(out,
                   _("reminder \"%1$s %2$d\" was due by this day: not "
                     "recorded in time, a suggestion took its place"),
                   group, o->number);
    else
        buf_printf(out,
                   ngettext("reminder \"%2$s %3$d\" was due by this day: "
                            "ended %1$d day later",
                            "reminder \"%2$s %3$d\" was due by this day: "
                            "ended %1$d days later",
                            days),
                   e->days, group, o->number);
}

static void say_gap(const struct timeline_source *s,
                    const struct timeline_entry *e, struct buf *out)
{
    int weeks = e->days / 7;
    struct timeline_day from = timeline_day(s, e->gap_from_s),
                        to = timeline_day(s, e->gap_to_s);

    if (e->gap_goes_on)
        buf_printf(out,
                   ngettext("no flow came for %1$d week, since %2$s, though a "
                            "follow-up was due",
                            "no flow came for %1$d weeks, since %2$s, though "
                            "a follow-up was due",
                            (unsigned long)weeks),
                   weeks, from.text);
    else
        buf_printf(out,
                   ngettext("no flow came for %1$d week, from %2$s to %3$s, "
                            "though a follow-up was due",
                            "no flow came for %1$d weeks, from %2$s to %3$s, "
                            "though a follow-up was due",
                            (unsigned long)weeks),
                   weeks, from.text, to.text);
}

void timeline_say(const struct timeline_source *s,
                  const struct timeline_entry *e, struct buf *out)
{
    switch (e->kind) {
    case TIMELINE_FLOW:
        say_flow(e, out);
        break;
    case TIMELINE_TREATMENT:
        say_treatment(s, e, out);
        break;
    case TIMELINE_SIGN:
        say_sign(e, out);
        break;
    case TIMELINE_SAID:
        say_said(s, &e->said, out);
        break;
    case TIMELINE_OVERDUE:
        say_overdue(e, out);
        break;
    case TIMELINE_GAP:
        say_gap(s, e, out);
        break;
    }
}
