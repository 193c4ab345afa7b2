/* Reminders: to measure again, or that a follow-up after a band is due. */
#include "adapters/wording_work.h"

/* "finger systolic pressure again" */
static void say_again(const struct finding *f, struct buf *out)
{
    bool told = quantity_info(f->repeat_of)->kind != VALUE_NUMBER;
    struct fill s = { 0 };

    if (f->disagree) {
        say_quantity(fill_at(&s, "what"), f->repeat_of);
        fill_say(&s, _("{what} a third time"), out);
    } else if (f->low_pressure) {
        buf_puts(out, _("access flow again, at the usual blood pressure"));
    } else if (f->repeat_of == Q_CARDIAC_OUTPUT) {
        buf_puts(out, _("flow and cardiac output again, in the same session"));
    } else {
        if (f->repeat_of == Q_ACCESS_FLOW || told)
            say_quantity(fill_at(&s, "what"), f->repeat_of);
        else
            say_lower(fill_at(&s, "what"),
                      quantity_info(f->repeat_of)->display);
        fill_say(&s, _("{what} again"), out);
    }
}

void wording_repeat_headline(const struct wording *w, const struct finding *f,
                             struct buf *out)
{
    struct fill s = { 0 };

    if (f->rule == RULE_PB_1) {
        seen_brief(w, f, out);
        return;
    }
    say_again(f, fill_at(&s, "again"));
    seen_brief(w, f, fill_at(&s, "seen"));
    fill_say(&s,
             f->disagree            ? "{again}: {seen}"
             : f->low_pressure      ? _("{again}; not usable so far: {seen}")
             : f->rule == RULE_PB_3 ? _("{again}; not confirmed so far: {seen}")
                                    : _("{again}; once so far: {seen}"),
             out);
}

/* Which visit it is, with the row that says when. */
static void say_visit_row(const struct wording *w, const struct finding *f,
                          struct named_sources *named, struct buf *out)
{
    bool every =
        f->limit == P_PB1_INTERVAL_D || f->limit == P_PB1_INTERVAL_CLOSE_D;
    struct fill s = { 0 };

    fill_limit(&s, "days", w, f->limit);
    say_strength(w, f->limit, named, fill_at(&s, "source"));
    fill_limit(&s, "window", w, P_PB1_WINDOW_PCT);
    say_strength(w, P_PB1_WINDOW_PCT, named, fill_at(&s, "window_source"));
    buf_puts(out, "\n");
    fill_say(&s,
             every
                 ? _("This visit is due every {days} days ({source}), give or "
                     "take {window} ({window_source}).")
                 : _("This visit is due {days} days after the band "
                     "({source}), give or take {window} ({window_source})."),
             out);
    buf_puts(out, "\n");
}

static void say_measure_again(const struct wording *w, const struct finding *f,
                              struct named_sources *named, struct buf *out)
{
    bool told = quantity_info(f->repeat_of)->kind != VALUE_NUMBER;
    struct fill s = { 0 };

    say_clean(fill_at(&s, "access"), w->access_label);
    say_again(f, fill_at(&s, "again"));
    say_window(w, f, fill_at(&s, "window"));
    /* TRANSLATORS: window: "by 2026-12-07" */
    fill_say(&s,
             told ? _("{access}: ask for {again}, {window}.")
                  : _("{access}: measure {again}, {window}."),
             out);
    say_blank(out);
    seen_sentence(w, f, out);
    if (!f->disagree && !f->low_pressure)
        say_next(out, told ? _("The same told again by then confirms it.")
                           : _("A second measurement beyond the limit by then "
                               "confirms it."));
    buf_puts(out, "\n");
    if (told)
        return;
    fill_limit(&s, "limit", w, f->limit);
    say_strength(w, f->limit, named, fill_at(&s, "source"));
    fill_say(&s, _("Limit {limit} ({source})."), out);
    buf_puts(out, "\n");
}

void wording_repeat(const struct wording *w, const struct finding *f,
                    struct buf *out)
{
    struct named_sources named = { { false } };

    if (f->rule == RULE_PB_1) {
        say_clean(out, w->access_label);
        buf_puts(out, ": ");
        seen_sentence(w, f, out);
        say_visit_row(w, f, &named, out);
    } else {
        say_measure_again(w, f, &named, out);
    }
    buf_printf(out, "%s\n", words_hand());
    say_sources(w, &named, out);
    buf_puts(out, words_support());
}

void wording_repeat_end(const struct verdict *verdict, struct buf *out)
{
    if (verdict->reason == END_DECEASED)
        buf_puts(out, _("No longer asked for: the patient is recorded as "
                        "deceased"));
    else if (verdict->repeat_done)
        buf_puts(out, _("What was asked for has been recorded"));
    else if (verdict->repeat_state.occasion != 0) /* a visit */
        buf_puts(out, _("Not recorded in time: a suggestion tells of it now, "
                        "or the next visit is due; or the band is no longer in "
                        "place"));
    else
        buf_puts(out, _("No longer asked for: confirmed, told in a suggestion, "
                        "or the reading that asked for it no longer stands"));
}

void wording_overdue(const struct wording *w, const struct finding *f,
                     struct buf *out)
{
    struct fill s = { 0 };

    say_date(w, w->history->now_s, fill_at(&s, "date"));
    if (f->rule == RULE_PB_1)
        say_visit(fill_at(&s, "what"), f->visit_items);
    else
        say_again(f, fill_at(&s, "what"));
    fill_say(&s,
             _("On {date} this is overdue, and has not been recorded: "
               "{what}."),
             out);
    say_next(out, words_hand());
    say_next(out, words_support());
}
