/* What is missing, cautions, limits with their sources, and the foot. */
#include "adapters/worksheet_parts.h"

#include <string.h>

/* ---- what is missing ------------------------------------------------------------ */

static void put_conditions(struct part *p)
{
    const struct plan_document *d = p->sheet->plan;
    const struct plan_phrases *c = plan_phrases(PLAN_PHRASES_CONDITION);
    const struct canvas_type type = part_type(p);
    struct words *w = &p->words;

    for (size_t i = 0; i < c->count; i++) {
        enum condition condition = (enum condition)c->rows[i].key;
        const char *text =
            d->from->readiness.conditions[condition] == CONDITION_MISSING
                ? plan_say_condition(d, condition)
                : _(c->rows[i].text);

        switch (d->from->readiness.conditions[condition]) {
        case CONDITION_MET:
            part_item(p, &type, TICK_MET, text);
            break;
        case CONDITION_MISSING:
            /* TRANSLATORS: %s is a thing: "a second flow" */
            part_item(p, &type, TICK_MISSING,
                      words_say(w, _("MISSING: %s"), text));
            break;
        case CONDITION_BY_OPERATOR:
            part_item(p, &type, TICK_OPEN,
                      words_say(w, _("Operator: %s"), text));
            break;
        case CONDITION_NOT_NEEDED:
            break;
        }
    }
}

static void put_set(struct part *p, unsigned set, enum part_tick tick)
{
    const struct plan_phrases *m = plan_phrases(PLAN_PHRASES_MISSING);
    const struct canvas_type type = part_type(p), small = part_small(p);

    for (size_t i = 0; i < m->count; i++) {
        const char *text = _(m->rows[i].text);

        if ((set & m->rows[i].key) == 0)
            continue;
        if (tick == TICK_MISSING)
            part_item(p, &type, tick,
                      words_say(&p->words, _("MISSING: %s"), text));
        else
            part_item(p, &small, tick, text);
    }
}

static void put_missing(struct part *p)
{
    const struct plan_document *d = p->sheet->plan;
    unsigned missing = d->plan != NULL ? d->plan->missing : 0;

    if (d->plan == NULL && d->from->offer == PLAN_EXCLUDED)
        return;
    part_title(p, _("Before a plan is complete"));
    put_conditions(p);
    put_set(p, missing & PLAN_MISSING_NEEDED, TICK_MISSING);
    if ((missing & ~PLAN_MISSING_NEEDED) == 0)
        return;
    part_gap(p, 0.6);
    part_title(p, _("Not known, which widens the figures"));
    put_set(p, missing & ~PLAN_MISSING_NEEDED, TICK_OPEN);
}

/* ---- cautions ---------------------------------------------------------------------- */

static void put_cautions(struct part *p)
{
    const struct plan_phrases *own = plan_phrases(PLAN_PHRASES_CAUTION);
    const struct plan_phrases *all = plan_phrases(PLAN_PHRASES_ALWAYS);
    const struct canvas_type type = part_type(p), small = part_small(p);

    part_gap(p, 0.6);
    part_title(p, _("Cautions"));
    for (size_t i = 0; i < own->count; i++) {
        if ((p->sheet->plan->from->cautions & own->rows[i].key) != 0)
            part_item(p, &type, TICK_DASH, _(own->rows[i].text));
    }
    for (size_t i = 0; i < all->count; i++)
        part_item(p, &small, TICK_DASH, _(all->rows[i].text));
}

/* ---- limits --------------------------------------------------------------------------- */

static const char *source_words(struct part *p, const struct plan_limit *l)
{
    /* TRANSLATORS: the mark of a source, and the sources */
    return words_say(&p->words, _("%1$s: %2$s"), l->mark,
                     l->source[0] != '\0' ? l->source : _("no source"));
}

static void put_limit(struct part *p, const struct plan_limit *l)
{
    const struct canvas_type small = part_small(p);
    const struct part_cell cells[] = {
        { p->width_mm * 0.44, l->name, ALIGN_LEFT, false },
        { p->width_mm * 0.23, l->value, ALIGN_LEFT, true },
        { p->width_mm * 0.33, source_words(p, l), ALIGN_LEFT, false },
    };

    part_cells(p, &small, cells, COUNT(cells));
}

/* A paragraph of things that run on is set in pieces of about this length, so
 * that it fills a column to its end. */
enum { RUN_ON_BYTES = 150, RUN_ON_MAX = 1024 };

static void run_out(struct part *p, struct buf *text)
{
    const struct canvas_type small = part_small(p);

    if (buf_ok(text) == ERR_OK)
        part_text(p, &small, text->data);
    buf_empty(text);
}

/* One more thing. */
static void run_on(struct part *p, struct buf *text, const char *more)
{
    /* TRANSLATORS: between two things of a list that runs on */
    buf_puts(text, text->len > 0 ? _("; ") : "");
    buf_puts(text, more);
    if (text->len > RUN_ON_BYTES)
        run_out(p, text);
}

static void put_limits(struct part *p)
{
    size_t used = p->words.used, i = 0;
    struct plan_limit l;
    struct buf text;

    buf_init(&text, RUN_ON_MAX);
    while (plan_next_limit(&p->words, p->sheet->plan, &i, &l)) {
        if (!p->fit.run_on)
            put_limit(p, &l);
        else
            /* TRANSLATORS: a limit, its value, its source */
            run_on(p, &text,
                   words_say(&p->words, _("%1$s %2$s (%3$s)"), l.name, l.value,
                             source_words(p, &l)));
        p->words.used = used;
    }
    run_out(p, &text);
    buf_clear(&text);
}

static void put_sources(struct part *p)
{
    const struct canvas_type small = part_small(p);
    const char *key, *citation;
    size_t used = p->words.used, i = 0;
    struct buf text;

    buf_init(&text, RUN_ON_MAX);
    while (plan_next_source(p->sheet->plan, &i, &key, &citation)) {
        /* TRANSLATORS: the key of a source, and the source */
        const char *source = words_say(&p->words, _("%1$s: %2$s"), key,
                                       words_typed(&p->words, citation));

        if (p->fit.run_on)
            run_on(p, &text, source);
        else
            part_text(p, &small, source);
        p->words.used = used;
    }
    run_out(p, &text);
    buf_clear(&text);
}

static void put_rests_on(struct part *p)
{
    const struct canvas_type small = part_small(p);

    part_gap(p, 0.6);
    part_title(p, _("Limits used, and their sources"));
    put_limits(p);
    part_text(p, &small,
              _("F found in the source; F2 on a secondary page; M from memory, "
                "to be checked; C computed; P proposed default, no direct "
                "source."));
    part_text(p, &small,
              /* xgettext:no-c-format */
              _("The forward model is a circuit of resistances fitted to one "
                "figure of common practice (2500 mL/min falls by some 45 % "
                "over a 4 mm dowel; no source). No table of flow by dowel has "
                "been published."));
    put_sources(p);
}

void sheet_small(struct part *p)
{
    p->words.used = 0;
    if (!p->fit.steps_left) /* on a tight page it fills both columns */
        part_whole(p, put_missing);
    put_missing(p);
    p->missing_shown = !p->is_cut;
    put_cautions(p);
    if (p->sheet->plan->plan == NULL)
        part_next(p);
    put_rests_on(p);
}

/* ---- foot ----------------------------------------------------------------------------- */

/* The first digits of the digest of the plan as programs read it. */
static const char *digest_words(struct part *p)
{
    static const char member[] = "\"sha256\":\"";
    const char *at, *said = _("not known");
    struct buf json;

    buf_init(&json, PLAN_DOCUMENT_MAX);
    plan_json(p->sheet->plan, &json);
    at = buf_ok(&json) == ERR_OK ? strstr(json.data, member) : NULL;
    if (at != NULL)
        said = words_say(&p->words, "%.12s", at + strlen(member));
    buf_clear(&json);
    return said;
}

/* Where what is cut can be read. */
void sheet_more(struct part *p)
{
    const struct worksheet *s = p->sheet;
    const char *access = s->access != NULL ? s->access : s->plan->access;
    struct canvas_type type = { .size_pt = 6.5,
                                .bold = true,
                                .narrow = true,
                                .width_mm = p->width_mm,
                                .most_lines = 1 };
    /* TRANSLATORS: cut for want of room; what follows is a command */
    const char *text =
        access != NULL && access[0] != '\0'
            ? words_say(&p->words, _("… more: headgate plan \"%s\""),
                        words_typed(&p->words, access))
            : _("… more: headgate plan");

    if (p->draw)
        canvas_text(p->canvas, p->x_mm, p->y_mm, &type, text);
}

void sheet_foot(struct part *p)
{
    const struct plan_document *d = p->sheet->plan;
    struct canvas_type type = { .size_pt = 6.5,
                                .narrow = true,
                                .width_mm = p->width_mm };
    struct words *w = &p->words;

    w->used = 0;
    part_rule(p, 0.3);
    part_text(
        p, &type,
        words_say(w,
                  _("headgate %1$s; model %2$s; beliefs about technique: "
                    "%3$s; policy %4$s; page made %5$s; valid until "
                    "%6$s; plan %7$s"),
                  HEADGATE_VERSION, PLAN_MODEL_VERSION, d->from->in.prior->name,
                  words_typed(w, d->policy->version),
                  words_minute(w, d->zone, p->sheet->made_s),
                  words_date(w, d->zone, d->from->expires_s), digest_words(p)));
    type.bold = true;
    part_text(p, &type,
              words_say(w, _("Limits of policy %1$s of %2$s, %3$s"),
                        words_typed(w, d->policy->version),
                        words_typed(w, d->policy->date),
                        plan_say_approval(w, d->policy)));
}
