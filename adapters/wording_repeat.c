/* Reminders: to measure again, or that a follow-up after a band is due. */
#include "adapters/wording_work.h"

/* "finger systolic pressure again" */
static void say_again(const struct finding *f, struct buf *out)
{
    if (f->disagree) {
        say_quantity(out, f->repeat_of);
        buf_puts(out, " a third time");
    } else if (f->low_pressure) {
        buf_puts(out, "access flow again, at the usual blood pressure");
    } else if (f->repeat_of == Q_CARDIAC_OUTPUT) {
        buf_puts(out, "flow and cardiac output again, in the same session");
    } else if (f->repeat_of == Q_ACCESS_FLOW) {
        buf_puts(out, "access flow again");
    } else if (quantity_info(f->repeat_of)->kind != VALUE_NUMBER) {
        say_quantity(out, f->repeat_of);
        buf_puts(out, " again");
    } else {
        say_lower(out, quantity_info(f->repeat_of)->display);
        buf_puts(out, " again");
    }
}

void wording_repeat_headline(const struct wording *w, const struct finding *f,
                             struct buf *out)
{
    if (f->rule != RULE_PB_1) {
        say_again(f, out);
        buf_puts(out, f->disagree            ? ": "
                      : f->low_pressure      ? "; not usable so far: "
                      : f->rule == RULE_PB_3 ? "; not confirmed so far: "
                                             : "; once so far: ");
    }
    seen_brief(w, f, out);
}

/* Which visit it is, with the row that says when. */
static void say_visit_row(const struct wording *w, const struct finding *f,
                          struct named_sources *named, struct buf *out)
{
    bool every =
        f->limit == P_PB1_INTERVAL_D || f->limit == P_PB1_INTERVAL_CLOSE_D;

    buf_puts(out,
             every ? "\nThis visit is due every " : "\nThis visit is due ");
    say_limit(w, f->limit, out);
    buf_puts(out, every ? " days" : " days after the band");
    say_strength(w, f->limit, named, out);
    buf_puts(out, ", give or take ");
    say_limit(w, P_PB1_WINDOW_PCT, out);
    say_strength(w, P_PB1_WINDOW_PCT, named, out);
    buf_puts(out, ".\n");
}

static void say_measure_again(const struct wording *w, const struct finding *f,
                              struct named_sources *named, struct buf *out)
{
    bool told = quantity_info(f->repeat_of)->kind != VALUE_NUMBER;

    buf_puts(out, told ? "ask for " : "measure ");
    say_again(f, out);
    buf_puts(out, ", ");
    say_window(w, f, out);
    buf_puts(out, ". ");
    seen_sentence(w, f, out);
    buf_puts(out, f->disagree || f->low_pressure ? "\n"
                  : told ? " The same told again by then confirms it.\n"
                         : " A second measurement beyond the limit by then "
                           "confirms it.\n");
    if (told)
        return;
    buf_puts(out, "Limit ");
    say_limit(w, f->limit, out);
    say_strength(w, f->limit, named, out);
    buf_puts(out, ".\n");
}

void wording_repeat(const struct wording *w, const struct finding *f,
                    struct buf *out)
{
    struct named_sources named = { { false } };

    say_clean(out, w->access_label);
    buf_puts(out, ": ");
    if (f->rule == RULE_PB_1) {
        seen_sentence(w, f, out);
        say_visit_row(w, f, &named, out);
    } else {
        say_measure_again(w, f, &named, out);
    }
    buf_puts(out, WORDING_HAND "\n");
    say_sources(w, &named, out);
    buf_puts(out, WORDING_SUPPORT);
}

void wording_repeat_end(const struct verdict *verdict, struct buf *out)
{
    if (verdict->repeat_done)
        buf_puts(out, "What was asked for has been recorded");
    else if (verdict->repeat_state.occasion != 0) /* a visit */
        buf_puts(out, "Not recorded in time: a suggestion tells of it now, or "
                      "the next visit is due; or the band is no longer in "
                      "place");
    else
        buf_puts(out, "No longer asked for: confirmed, told in a suggestion, "
                      "or the reading that asked for it no longer stands");
}

void wording_overdue(const struct wording *w, const struct finding *f,
                     struct buf *out)
{
    buf_puts(out, "On ");
    say_date(w, w->history->now_s, out);
    buf_puts(out, " this is overdue, and has not been recorded: ");
    if (f->rule == RULE_PB_1)
        say_visit(out, f->visit_items);
    else
        say_again(f, out);
    buf_puts(out, ". " WORDING_HAND " " WORDING_SUPPORT);
}
