/* What was learnt of a technique, for people; at most 80 columns. */
#include "adapters/technique_write.h"

#include "adapters/catalogue.h"
#include "adapters/fhir_time.h"
#include "adapters/queue_text.h"

#include <math.h>
#include <string.h>

enum { COLUMNS = 80, LABEL_MAX = 16384 };

static void say_date(const struct technique_document *d, int64_t at_s,
                     struct buf *out)
{
    char day[FHIR_TIME_SIZE];

    fhir_date_write(at_s, d->zone, day);
    buf_puts(out, day);
}

/* Lines between words; those after the first stand further in. */
static void say_wrapped(struct buf *out, const char *text, size_t indent)
{
    struct queue_span rest = { text, strlen(text) }, line;
    bool first = true;

    while (queue_text_line(&rest, COLUMNS - indent, &line)) {
        if (!first)
            buf_printf(out, "%*s", (int)indent, "");
        buf_add(out, line.text, line.len);
        buf_puts(out, "\n");
        first = false;
    }
}

static void say_clean(struct buf *out, const char *text, const char *unknown)
{
    size_t before = out->len;

    if (text != NULL)
        queue_text_clean(out, text);
    if (out->len == before)
        buf_puts(out, unknown);
}

/* ---- what is in use, and what is proposed ------------------------------------- */

enum { LABEL = 12, TITLE = 32, NUMBER = 12 };

/* As wide as this many columns, filled after it or before it. */
static void put(struct buf *out, const char *text, int columns, bool right)
{
    int blanks = columns - (int)queue_text_columns(text, strlen(text));

    blanks = blanks > 0 ? blanks : 0;
    if (right)
        buf_printf(out, "%*s%s", blanks, "", text);
    else
        buf_printf(out, "%s%*s", text, blanks, "");
}

static void put_number(struct buf *out, double value, int decimals, int columns)
{
    struct buf text;

    buf_init(&text, 64);
    if (isfinite(value))
        catalogue_number(&text, value, decimals);
    else
        buf_puts(&text, "-");
    put(out, text.data, columns, true);
    buf_clear(&text);
}

/* A label and what it says. */
static void say_labelled(struct buf *out, const char *label, struct buf *text)
{
    put(out, label, LABEL, false);
    say_wrapped(out, text->data != NULL ? text->data : "", LABEL);
    if (buf_ok(text) != ERR_OK && buf_ok(out) == ERR_OK)
        out->err = buf_ok(text);
    buf_clear(text);
}

/* The site's own: since when, by whom, from how many. */
static void say_own(const struct technique_document *d, const char *day,
                    const char *who, struct buf *out)
{
    unsigned long count = (unsigned long)d->cases;

    if (d->switched_ms != 0)
        buf_printf(out,
                   ngettext("the site's own prior, switched on %2$s by %3$s, "
                            "learnt from %1$lu procedure",
                            "the site's own prior, switched on %2$s by %3$s, "
                            "learnt from %1$lu procedures",
                            count),
                   count, day, who);
    else
        buf_printf(out,
                   ngettext("the site's own prior, learnt from %lu procedure",
                            "the site's own prior, learnt from %lu procedures",
                            count),
                   count);
    if (strcmp(d->model, PLAN_MODEL_VERSION) != 0)
        /* TRANSLATORS: begins with a blank */
        buf_puts(out, _(" with an earlier model: look at what is proposed "
                        "now"));
}

static void say_in_use(const struct technique_document *d, struct buf *out)
{
    struct buf text, day, who;

    buf_init(&text, LABEL_MAX);
    buf_init(&day, FHIR_TIME_SIZE);
    buf_init(&who, LABEL_MAX);
    if (d->switched_ms != 0)
        say_date(d, d->switched_ms / 1000, &day);
    say_clean(&who, d->who, _("a name that is not known"));
    if (d->on)
        say_own(d, day.data != NULL ? day.data : "", who.data, &text);
    else if (d->switched_ms != 0)
        /* TRANSLATORS: a day, and a name */
        buf_printf(&text,
                   _("the default prior; the site's was dropped %1$s by %2$s"),
                   day.data, who.data);
    else
        buf_puts(&text, _("the default prior"));
    say_labelled(out, _("In use"), &text);
    buf_clear(&day);
    buf_clear(&who);
}

static void say_counts(const struct technique *t, struct buf *out)
{
    unsigned long cases = (unsigned long)t->case_count;
    unsigned long ties = (unsigned long)t->tie_count;
    unsigned long stretches = (unsigned long)t->stretch_count;
    struct buf a, b, c;

    buf_init(&a, 256);
    buf_init(&b, 256);
    buf_init(&c, 256);
    buf_printf(
        &a,
        ngettext("%lu finished procedure", "%lu finished procedures", cases),
        cases);
    buf_printf(&b, ngettext("%lu tie", "%lu ties", ties), ties);
    buf_printf(&c, ngettext("%lu stretch", "%lu stretches", stretches),
               stretches);
    /* TRANSLATORS: "14 finished procedures", "23 ties", "1 stretch" */
    buf_printf(out,
               _("learnt from %1$s, with %2$s and %3$s that a flow was "
                 "measured after"),
               a.data, b.data, c.data);
    buf_clear(&a);
    buf_clear(&b);
    buf_clear(&c);
}

static void say_proposed(const struct technique_document *d, struct buf *out)
{
    const struct technique *t = d->technique;
    struct buf text;

    buf_init(&text, LABEL_MAX);
    if (!t->proposed && t->case_count < TECHNIQUE_CASES_LEAST)
        /* TRANSLATORS: ends with a blank: what was learnt from follows */
        buf_printf(&text, _("nothing yet, %d are needed: "),
                   TECHNIQUE_CASES_LEAST);
    else if (!t->proposed)
        /* TRANSLATORS: ends with a blank: what was learnt from follows */
        buf_puts(&text, _("nothing, the numbers do not settle: "));
    say_counts(t, &text);
    say_labelled(out, _("Proposed"), &text);
}

static void say_numbers(const struct technique_document *d, struct buf *out)
{
    const char *const heads[] = {
        /* TRANSLATORS: heads of columns of eleven letters */
        _("default"), _("proposed"), _("error"), _("in use")
    };

    buf_puts(out, "\n");
    put(out, "mm", TITLE, false);
    for (size_t i = 0; i < COUNT(heads); i++)
        put(out, heads[i], NUMBER, true);
    buf_puts(out, "\n");
    for (size_t i = 0; i < TECHNIQUE_NUMBERS; i++) {
        struct technique_line l = technique_line(d, i);

        put(out, gettext(l.title), TITLE, false);
        put_number(out, l.base, 2, NUMBER);
        put_number(out, l.proposed.value, 2, NUMBER);
        put_number(out, l.proposed.se, 3, NUMBER);
        put_number(out, l.in_use, 2, NUMBER);
        buf_puts(out, "\n");
    }
}

static void say_shrinkage(const struct technique_document *d, struct buf *out)
{
    struct buf text;
    const char *held;
    unsigned bit = 0;

    buf_init(&text, LABEL_MAX);
    buf_printf(&text,
               _("Error: the standard error of what is proposed.  The default "
                 "counts like %1$.0f procedures, %2$.0f ties and %3$.0f "
                 "stretches of this site, and makes %4$.0f %% of the proposed "
                 "mean."),
               TECHNIQUE_PSEUDO_CASES, TECHNIQUE_PSEUDO_TIES,
               TECHNIQUE_PSEUDO_STRETCHES, 100.0 * d->technique->default_part);
    for (size_t i = 0; (held = technique_held_phrase(i, &bit)) != NULL; i++) {
        if ((d->technique->held & bit) != 0)
            /* TRANSLATORS: begins with a blank; %s: "the mean offset" */
            buf_printf(&text, _("  Held at a guard rail: %s."), gettext(held));
    }
    say_wrapped(out, text.data, 0);
    buf_clear(&text);
}

/* ---- cases ---------------------------------------------------------------------- */

static void say_case(const struct technique_document *d,
                     const struct technique_row *r, struct buf *out)
{
    const struct technique_evidence *e = &r->evidence;

    say_date(d, r->case_s, out);
    if (e->use == TECHNIQUE_USED) {
        put_number(out, e->baseline_ml_min, 0, 8);
        put_number(out, e->flow_ml_min, 0, 8);
        put_number(out, e->dowel_mm, 2, 8);
        put_number(out, (double)e->ties, 0, 6);
        put_number(out, (double)e->stretches, 0, 11);
        put_number(out, e->offset_mm, 2, 9);
        put_number(out, e->offset_sd_mm, 2, 7);
        put_number(out, 100.0 * e->part, 1, 8);
        buf_puts(out, " %\n");
    } else {
        struct buf text;

        buf_init(&text, LABEL_MAX);
        /* TRANSLATORS: after a date; %s: "no usable flow before the band" */
        buf_printf(&text, _("left out: %s"),
                   gettext(technique_use_phrase(e->use)));
        buf_puts(out, "  ");
        say_wrapped(out, text.data, LABEL);
        buf_clear(&text);
    }
    buf_puts(out, "            ");
    say_clean(out, r->access, _("access not named"));
    buf_puts(out, "\n");
}

static void say_case_heads(struct buf *out)
{
    /* TRANSLATORS: heads of columns: 9, 7, 7, 7, 5, 10, 8, 6 and 9 letters */
    const struct {
        const char *text;
        int columns;
    } heads[] = {
        { _("day"), 10 },   { _("before"), 8 }, { _("after"), 8 },
        { _("dowel"), 8 },  { _("ties"), 6 },   { _("stretched"), 11 },
        { _("offset"), 9 }, { _("SD"), 7 },     { _("part"), 10 },
    };

    for (size_t i = 0; i < COUNT(heads); i++)
        put(out, heads[i].text, heads[i].columns, i > 0);
    buf_puts(out, "\n");
}

static void say_cases(const struct technique_document *d, struct buf *out)
{
    buf_puts(out, "\n");
    if (d->row_count == 0) {
        say_wrapped(out, _("There is no finished procedure with a band."), 0);
        return;
    }
    say_wrapped(out,
                _("Finished procedures, the newest first: mean flow before, "
                  "and the last, mL/min; the last dowel, mm; what is believed "
                  "of the offset of each, mm, and its part"),
                0);
    buf_puts(out, "\n");
    say_case_heads(out);
    for (size_t i = 0; i < d->row_count; i++)
        say_case(d, &d->rows[i], out);
    if (d->beyond > 0) {
        buf_printf(out, _("... and accesses that were not looked at: %zu"),
                   d->beyond);
        buf_puts(out, "\n");
    }
}

void technique_text(const struct technique_document *d, struct buf *out)
{
    const char *text;

    say_wrapped(out,
                _("Technique of this site, learnt from finished procedures "
                  "with a band"),
                0);
    buf_puts(out, "\n");
    say_in_use(d, out);
    say_proposed(d, out);
    say_numbers(d, out);
    say_shrinkage(d, out);
    say_cases(d, out);
    buf_puts(out, "\n");
    for (size_t i = 0; (text = technique_caution(i)) != NULL; i++) {
        buf_puts(out, "- ");
        say_wrapped(out, gettext(text), 2);
    }
}
