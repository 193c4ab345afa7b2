/* The timeline for a person: a line for each event, by month. */
#include "adapters/timeline_work.h"

#include "adapters/queue_text.h"

#include <string.h>

static void say_entry(const struct timeline_source *s,
                      const struct timeline_entry *e, struct buf *out)
{
    struct timeline_day day = timeline_day(s, e->at_s);

    /* Of a month or a year only that much is known. */
    buf_printf(out, "  %-10.*s  ",
               e->precision == AT_YEAR    ? 4
               : e->precision == AT_MONTH ? 7
                                          : 10,
               day.text);
    timeline_say(s, e, out);
    buf_puts(out, "\n");
}

static void say_named(struct buf *out, const char *label, const char *text)
{
    buf_printf(out, "%s: ", label);
    if (text != NULL && text[0] != '\0')
        queue_text_clean(out, text);
    else
        buf_puts(out, _("not known"));
    buf_puts(out, "\n");
}

static void say_head(const struct timeline_source *s, const struct timeline *t,
                     struct buf *out)
{
    int64_t from_s = t->count > 0 ? t->entries[0].at_s : s->history->now_s;

    buf_printf(out, _("What happened at this access, from %1$s to %2$s"),
               timeline_day(s, from_s).text,
               timeline_day(s, s->history->now_s).text);
    buf_puts(out, "\n\n");
    say_named(out, _("Patient"), s->patient);
    say_named(out, _("Number"), s->patient_number);
    say_named(out, _("Access"), s->access);
    if (t->lost > 0) {
        buf_printf(out,
                   ngettext("%zu older event is not shown.",
                            "%zu older events are not shown.", t->lost),
                   t->lost);
        buf_puts(out, "\n");
    }
    if (t->count == 0)
        buf_printf(out, "\n%s\n", _("Nothing is recorded."));
}

static void say_due(const struct timeline_source *s,
                    const struct timeline_open *o, struct buf *out)
{
    int days = timeline_days(s->history->now_s, o->due_s, s->zone);
    struct timeline_day due = timeline_day(s, o->due_s);

    buf_puts(out, "  ");
    buf_printf(out,
               o->reminder ? _("reminder \"%1$s %2$d\": due by %3$s")
                           : _("suggestion \"%1$s %2$d\": due by %3$s"),
               timeline_group(o->group), o->number, due.text);
    if (days < 0)
        buf_printf(out,
                   ngettext("; %d day overdue", "; %d days overdue",
                            (unsigned long)-days),
                   -days);
    else
        buf_printf(out,
                   ngettext("; in %d day", "; in %d days", (unsigned long)days),
                   days);
    if (o->taken)
        buf_printf(out, "; %s", _("in hand"));
    if (o->silent)
        buf_printf(out, "; %s", _("not posted (silent mode)"));
    buf_puts(out, "\n");
}

static void say_next(const struct timeline_source *s, struct buf *out)
{
    size_t list[TIMELINE_NEXT_MAX];
    size_t n = timeline_next(s, list, TIMELINE_NEXT_MAX);

    buf_printf(out, "\n%s\n", _("Due next"));
    for (size_t i = 0; i < n; i++)
        say_due(s, &s->open[list[i]], out);
    if (s->follow_up_s != INT64_MAX) {
        buf_puts(out, "  ");
        buf_printf(out,
                   _("follow-up after the band: a time for a visit begins or "
                     "ends on %s"),
                   timeline_day(s, s->follow_up_s).text);
        buf_puts(out, "\n");
    }
    if (n == 0 && s->follow_up_s == INT64_MAX)
        buf_printf(out, "  %s\n", _("Nothing is due."));
}

static void say_foot(const struct timeline_source *s, struct buf *out)
{
    buf_puts(out, "\n");
    buf_puts(out, _("A flow is the mean of its session, as it was sent or can "
                    "be computed; before and after a treatment the nearest "
                    "one with no other treatment between counts."));
    buf_puts(out, "\n");
    buf_printf(out,
               _("Decision support: it shows what was recorded, and what is "
                 "done is for the clinician and the local policy to decide. "
                 "Limits: policy %1$s of %2$s (%3$s)."),
               s->policy->version, s->policy->date, s->policy->approver);
    buf_puts(out, "\n");
}

void timeline_text(const struct timeline_source *source,
                   const struct timeline *t, struct buf *out)
{
    char month[8] = "";

    say_head(source, t, out);
    for (size_t i = 0; i < t->count; i++) {
        struct timeline_day day = timeline_day(source, t->entries[i].at_s);

        if (strncmp(month, day.text, 7) != 0) {
            memcpy(month, day.text, 7);
            buf_printf(out, "\n%s\n", month);
        }
        say_entry(source, &t->entries[i], out);
    }
    say_next(source, out);
    say_foot(source, out);
}
