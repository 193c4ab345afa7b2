/* Target, outflow, what is missing, and what a plan rests on. */
#include "adapters/plan_text.h"

#include "adapters/wording.h"

#include <math.h>
#include <string.h>

/* ---- target ------------------------------------------------------------------- */

static void sentence(struct text *t, const char *clause)
{
    if (clause[0] != '\0')
        text_line(t, words_say(&t->words, "%s.", clause));
}

void text_target(struct text *t)
{
    text_title(t, _("Target"));
    if ((t->d->plan->warnings & PLAN_ZONE_EMPTY) != 0)
        text_line(t, plan_say_target(&t->words, t->d));
    else
        sentence(t, plan_say_target(&t->words, t->d));
    sentence(t, plan_say_share(&t->words, t->d));
    text_line(t, plan_say_why(&t->words, t->d));
    sentence(t, plan_say_floor(&t->words, t->d));
    text_line(t, plan_say_floor_why(&t->words, t->d));
}

/* ---- outflow -------------------------------------------------------------------- */

/* What opening does, without a band or with the one that holds the flow. */
static void say_after(struct text *t, bool held)
{
    const struct plan_limits *l = &t->d->from->in.limits;
    const struct plan_outflow *o = &t->d->plan->outflow;
    struct words *w = &t->words;

    text_line(
        t,
        words_say(
            w,
            held ? _("After opening, with the band that holds the flow: flow "
                     "%1$s mL/min, index of the hand %2$s; chance of an index "
                     "below %3$s: %4$s %%, of a fall by more than %5$s: %6$s "
                     "%%.")
                 : _("After opening, without a band: flow %1$s mL/min, index "
                     "of the hand %2$s; chance of an index below %3$s: %4$s "
                     "%%, of a fall by more than %5$s: %6$s %%."),
            words_flow_range(w,
                             held ? &o->holding_flow_ml_min : &o->flow_ml_min),
            words_range(w, held ? &o->holding_index : &o->index, 2),
            words_number(w, l->risk_index, 2),
            words_chance(w, held ? o->holding_p_index_low : o->p_index_low),
            words_number(w, l->risk_fall, 2),
            words_chance(w,
                         held ? o->holding_p_index_falls : o->p_index_falls)));
}

static void say_opened(struct text *t)
{
    const struct plan_outflow *o = &t->d->plan->outflow;

    if (o->by_pressure)
        say_after(t, false);
    if (o->by_pressure && isfinite(o->holding_dowel_mm))
        say_after(t, true);
}

void text_outflow(struct text *t)
{
    const struct plan_outflow *o = &t->d->plan->outflow;

    if (!o->known)
        return;
    text_title(t, _("If the outflow stenosis is opened (provisional)"));
    text_line(t, _("First open it, then measure a pair of flows, then choose "
                   "the size: the flow of today is not the flow of then."));
    if (o->flagged)
        text_line(t, _("THE HAND IS AT RISK: plan the band before the stenosis "
                       "is opened."));
    text_line(t, plan_say_lesion(&t->words, t->d));
    text_line(t, plan_say_index_before(&t->words, t->d));
    say_opened(t);
    text_line(t, plan_say_holding(&t->words, t->d));
    text_line(t, plan_say_zone(&t->words, t->d));
}

/* ---- missing, warnings ------------------------------------------------------------ */

static void say_set(struct text *t, enum plan_phrase_set of, unsigned set)
{
    const struct plan_phrases *p = plan_phrases(of);

    for (size_t i = 0; i < p->count; i++) {
        if ((set & p->rows[i].key) != 0)
            text_item(t, gettext(p->rows[i].text));
    }
}

void text_missing(struct text *t)
{
    const struct plan_document *d = t->d;
    const struct plan_phrases *c = plan_phrases(PLAN_PHRASES_CONDITION);
    unsigned missing = d->plan != NULL ? d->plan->missing : 0;
    size_t before;

    if (d->plan == NULL && d->from->offer == PLAN_EXCLUDED)
        return;
    text_title(t, _("Missing before a plan is complete"));
    before = t->out->len;
    for (size_t i = 0; i < c->count; i++) {
        enum condition condition = (enum condition)c->rows[i].key;

        if (d->from->readiness.conditions[condition] == CONDITION_MISSING)
            text_item(t, plan_say_condition(d, condition));
    }
    say_set(t, PLAN_PHRASES_MISSING, missing & PLAN_MISSING_NEEDED);
    if (t->out->len == before)
        text_line(t, _("Nothing but the operator's part."));
    if ((missing & ~PLAN_MISSING_NEEDED) == 0)
        return;
    text_title(t, _("Not known: left out, or taken from what is usual, which "
                    "widens the figures"));
    say_set(t, PLAN_PHRASES_MISSING, missing & ~PLAN_MISSING_NEEDED);
}

void text_warnings(struct text *t)
{
    if (t->d->plan->warnings == 0)
        return;
    text_title(t, _("Warnings"));
    say_set(t, PLAN_PHRASES_WARNING, t->d->plan->warnings);
}

/* ---- what it rests on ---------------------------------------------------------------- */

static void say_limits(struct text *t)
{
    struct words *w = &t->words;
    struct plan_limit l;
    size_t i = 0;

    while (plan_next_limit(w, t->d, &i, &l)) {
        if (l.source[0] == '\0')
            /* TRANSLATORS: a limit, its value, how well it is grounded */
            text_item(t, words_say(w, _("%1$s: %2$s (%3$s)"), l.name, l.value,
                                   wording_mark(l.mark)));
        else
            /* TRANSLATORS: the same, and the keys of its sources */
            text_item(t, words_say(w, _("%1$s: %2$s (%3$s: %4$s)"), l.name,
                                   l.value, wording_mark(l.mark), l.source));
    }
}

void text_rests_on(struct text *t)
{
    const struct policy *p = t->d->policy;
    struct words *w = &t->words;
    const char *key, *citation;
    size_t i = 0;

    text_title(t, _("What it rests on"));
    /* TRANSLATORS: a version, and the name of what is believed: "default" */
    text_line(t, words_say(w,
                           _("Model version %1$s with the %2$s beliefs about "
                             "technique; the readings named above."),
                           PLAN_MODEL_VERSION, t->d->from->in.prior->name));
    /* TRANSLATORS: version and date of a policy, who answers for it */
    text_line(t, words_say(w, _("Limits of policy %1$s of %2$s, %3$s:"),
                           words_typed(w, p->version), words_typed(w, p->date),
                           plan_say_approval(w, p)));
    say_limits(t);
    text_line(t,
              /* xgettext:no-c-format */
              _("The forward model is a circuit of resistances fitted to one "
                "figure of common practice (2500 mL/min falls by some 45 % "
                "over a 4 mm dowel; no source). No table of flow by dowel "
                "has been published."));
    while (plan_next_source(t->d, &i, &key, &citation))
        text_line(t, words_say(w, "%s = %s", key, words_typed(w, citation)));
}
