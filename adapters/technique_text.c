/* What was learnt of a technique, for people; at most 80 columns. */
#include "adapters/technique_write.h"

#include "adapters/fhir_time.h"
#include "adapters/queue_text.h"

#include <math.h>
#include <stdio.h>
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

/* "one procedure", "12 procedures" */
static void count_of(struct buf *out, long long count, const char *one,
                     const char *many)
{
    if (count == 1)
        buf_printf(out, "one %s", one);
    else
        buf_printf(out, "%lld %s", count, many);
}

static void say_in_use(const struct technique_document *d, struct buf *out)
{
    struct buf text;

    buf_init(&text, LABEL_MAX);
    buf_puts(&text, d->on ? "the site's own prior" : "the default prior");
    if (d->switched_ms != 0) {
        buf_puts(&text, d->on ? ", switched on " : "; the site's was dropped ");
        say_date(d, d->switched_ms / 1000, &text);
        buf_puts(&text, " by ");
        say_clean(&text, d->who, "a name that is not known");
    }
    if (d->on) {
        buf_puts(&text, ", learnt from ");
        count_of(&text, (long long)d->cases, "procedure", "procedures");
        if (strcmp(d->model, PLAN_MODEL_VERSION) != 0)
            buf_puts(&text, " with an earlier model: look at what is proposed "
                            "now");
    }
    buf_puts(out, "In use      ");
    say_wrapped(out, text.data, 12);
    buf_clear(&text);
}

static void say_proposed(const struct technique_document *d, struct buf *out)
{
    const struct technique *t = d->technique;
    struct buf text;

    buf_init(&text, LABEL_MAX);
    if (!t->proposed && t->case_count < TECHNIQUE_CASES_LEAST)
        buf_printf(&text,
                   "nothing yet, %d are needed: ", TECHNIQUE_CASES_LEAST);
    else if (!t->proposed)
        buf_puts(&text, "nothing, the numbers do not settle: ");
    buf_puts(&text, "learnt from ");
    count_of(&text, (long long)t->case_count, "finished procedure",
             "finished procedures");
    buf_puts(&text, ", with ");
    count_of(&text, (long long)t->tie_count, "tie", "ties");
    buf_puts(&text, " and ");
    count_of(&text, (long long)t->stretch_count, "stretch", "stretches");
    buf_puts(&text, " that a flow was measured after");
    buf_puts(out, "Proposed    ");
    say_wrapped(out, text.data, 12);
    buf_clear(&text);
}

static void say_numbers(const struct technique_document *d, struct buf *out)
{
    buf_printf(out, "\n%-32s%10s%10s%10s%10s\n", "mm", "default", "proposed",
               "error", "in use");
    for (size_t i = 0; i < TECHNIQUE_NUMBERS; i++) {
        struct technique_line l = technique_line(d, i);

        buf_printf(out, "%-32s%10.2f%10.2f%10.3f%10.2f\n", l.title, l.base,
                   l.proposed.value, l.proposed.se, l.in_use);
    }
}

static void say_shrinkage(const struct technique_document *d, struct buf *out)
{
    struct buf text;
    const char *held;
    unsigned bit = 0;

    buf_init(&text, LABEL_MAX);
    buf_printf(&text,
               "Error: the standard error of what is proposed.  The default "
               "counts like %.0f procedures, "
               "%.0f ties and %.0f stretches of this site, and makes %.0f %% "
               "of the proposed mean.",
               TECHNIQUE_PSEUDO_CASES, TECHNIQUE_PSEUDO_TIES,
               TECHNIQUE_PSEUDO_STRETCHES, 100.0 * d->technique->default_part);
    for (size_t i = 0; (held = technique_held_phrase(i, &bit)) != NULL; i++) {
        if ((d->technique->held & bit) != 0)
            buf_printf(&text, "  Held at a guard rail: %s.", held);
    }
    say_wrapped(out, text.data, 0);
    buf_clear(&text);
}

/* ---- cases ---------------------------------------------------------------------- */

static void number(char out[16], double x, const char *format)
{
    if (isfinite(x))
        snprintf(out, 16, strcmp(format, "flow") == 0 ? "%.0f" : "%.2f", x);
    else
        snprintf(out, 16, "-");
}

static void say_case(const struct technique_document *d,
                     const struct technique_row *r, struct buf *out)
{
    const struct technique_evidence *e = &r->evidence;
    char before[16], after[16], dowel[16], offset[16], sd[16];

    number(before, e->baseline_ml_min, "flow");
    number(after, e->flow_ml_min, "flow");
    number(dowel, e->dowel_mm, "mm");
    number(offset, e->offset_mm, "mm");
    number(sd, e->offset_sd_mm, "mm");
    say_date(d, r->case_s, out);
    if (e->use == TECHNIQUE_USED)
        buf_printf(out, "%8s%8s%8s%6zu%11zu%9s%7s%8.1f %%\n", before, after,
                   dowel, e->ties, e->stretches, offset, sd, 100.0 * e->part);
    else
        buf_printf(out, "  left out: %s\n", technique_use_phrase(e->use));
    buf_puts(out, "            ");
    say_clean(out, r->access, "access not named");
    buf_puts(out, "\n");
}

static void say_cases(const struct technique_document *d, struct buf *out)
{
    if (d->row_count == 0) {
        buf_puts(out, "\nThere is no finished procedure with a band.\n");
        return;
    }
    buf_puts(out, "\nFinished procedures, the newest first: mean flow before, "
                  "and the last, mL/min;\nthe last dowel, mm; what is believed "
                  "of the offset of each, mm, and its part\n\n");
    buf_printf(out, "%-10s%8s%8s%8s%6s%11s%9s%7s%10s\n", "day", "before",
               "after", "dowel", "ties", "stretched", "offset", "SD", "part");
    for (size_t i = 0; i < d->row_count; i++)
        say_case(d, &d->rows[i], out);
    if (d->beyond > 0)
        buf_printf(out, "... and accesses that were not looked at: %zu\n",
                   d->beyond);
}

void technique_text(const struct technique_document *d, struct buf *out)
{
    const char *text;

    buf_puts(out, "Technique of this site, learnt from finished procedures "
                  "with a band\n\n");
    say_in_use(d, out);
    say_proposed(d, out);
    say_numbers(d, out);
    say_shrinkage(d, out);
    say_cases(d, out);
    buf_puts(out, "\n");
    for (size_t i = 0; (text = technique_caution(i)) != NULL; i++) {
        buf_puts(out, "- ");
        say_wrapped(out, text, 2);
    }
}
