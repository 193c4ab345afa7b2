/* What is missing, cautions, limits with their sources, and the foot. */
#include "adapters/worksheet_parts.h"

#include <math.h>
#include <string.h>
#include <strings.h>

/* ---- what is missing ------------------------------------------------------------ */

static void put_conditions(struct part *p)
{
    const struct plan_document *d = p->sheet->plan;
    const struct plan_phrases *c = plan_phrases(PLAN_PHRASES_CONDITION);
    const struct canvas_type type = part_type(p);
    struct words *w = &p->words;

    for (size_t i = 0; i < c->count; i++) {
        const char *text = _(c->rows[i].text);

        switch (d->from->readiness.conditions[c->rows[i].key]) {
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

static const struct limit_row {
    enum param row;
    const char *words, *unit;
} limit_rows[] = {
    { P_PLAN_FLOOR_FISTULA, N_("floor of the flow, fistula"), "mL/min" },
    { P_PLAN_FLOOR_GRAFT, N_("floor of the flow, graft"), "mL/min" },
    { P_PLAN_PUMP_MARGIN, N_("above the prescribed pump flow"), "mL/min" },
    { P_PLAN_SHARE_LOW_PCT, N_("least share of the baseline to leave"), "%" },
    { P_PLAN_SHARE_HIGH_PCT, N_("greatest share to leave"), "%" },
    { P_PLAN_CAP, N_("most flow to leave"), "mL/min" },
    { P_PLAN_WINDOW_HIGH, N_("upper end of the window"), "mL/min" },
    { P_PLAN_INDEX_LEAST, N_("index of the hand"), "" },
    { P_PLAN_PRESSURE_LEAST, N_("finger pressure"), "mmHg" },
    { P_PLAN_TIGHT_MOST_PCT, N_("most chance of too tight a first band"), "%" },
    { P_PLAN_FLOOR_FIRST_MOST_PCT,
      N_("most chance of a flow below the floor, first tie"), "%" },
    { P_PLAN_FLOOR_MOST_PCT,
      N_("most chance of a flow below the floor, later ties"), "%" },
    { P_PLAN_RISK_INDEX, N_("index of risk when the outflow is opened"), "" },
    { P_PLAN_RISK_FALL, N_("fall of the index that is a risk"), "" },
    { P_PLAN_VALID_D, N_("days that a baseline holds"), "" },
};

/* Limits of the other type of access say nothing here. */
static bool concerns(const struct plan_document *d, enum param row)
{
    if (row == P_PLAN_FLOOR_FISTULA)
        return d->from->access_type != SIGN_TYPE_AVG;
    if (row == P_PLAN_FLOOR_GRAFT)
        return d->from->access_type != SIGN_TYPE_AVF;
    if (row == P_PLAN_RISK_INDEX || row == P_PLAN_RISK_FALL)
        return d->plan != NULL && d->plan->outflow.known;
    if (row == P_PLAN_WINDOW_HIGH)
        return d->from->in.lead == PLAN_BY_WINDOW;
    return true;
}

static int decimals_of(double value)
{
    return fabs(value - round(value)) < 0.0005            ? 0
           : fabs(10 * value - round(10 * value)) < 0.005 ? 1
                                                          : 2;
}

/* Value and source of a limit. */
static const char *value_words(struct part *p, const struct limit_row *row)
{
    const struct policy_value *v = &p->sheet->plan->policy->values[row->row];
    struct words *w = &p->words;

    if (row->unit[0] == '\0')
        return words_number(w, v->value, decimals_of(v->value));
    /* TRANSLATORS: a number and its unit; the space does not break */
    return words_say(w, _("%1$s\u00a0%2$s"),
                     words_number(w, v->value, decimals_of(v->value)),
                     row->unit);
}

static const char *source_words(struct part *p, const struct limit_row *row)
{
    const struct policy_value *v = &p->sheet->plan->policy->values[row->row];
    struct words *w = &p->words;

    /* TRANSLATORS: the mark of a source, and the sources */
    return words_say(w, _("%1$s: %2$s"), v->mark,
                     v->source[0] != '\0' ? words_typed(w, v->source)
                                          : _("no source"));
}

static void put_limit(struct part *p, const struct limit_row *row)
{
    const struct canvas_type small = part_small(p);
    size_t used = p->words.used;
    const struct part_cell cells[] = {
        { p->width_mm * 0.44, _(row->words), ALIGN_LEFT, false },
        { p->width_mm * 0.23, value_words(p, row), ALIGN_LEFT, true },
        { p->width_mm * 0.33, source_words(p, row), ALIGN_LEFT, false },
    };

    part_cells(p, &small, cells, COUNT(cells));
    p->words.used = used;
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
    struct buf text;

    buf_init(&text, RUN_ON_MAX);
    for (size_t i = 0; i < COUNT(limit_rows); i++) {
        const struct limit_row *row = &limit_rows[i];
        size_t used = p->words.used;

        if (!concerns(p->sheet->plan, row->row))
            continue;
        if (!p->fit.run_on)
            put_limit(p, row);
        else
            /* TRANSLATORS: a limit, its value, its source */
            run_on(p, &text,
                   words_say(&p->words, _("%1$s %2$s (%3$s)"), _(row->words),
                             value_words(p, row), source_words(p, row)));
        p->words.used = used;
    }
    run_out(p, &text);
    buf_clear(&text);
}

/* The keys that are named, each once. */
struct named {
    bool is[POLICY_SOURCES_MAX];
};

static void name_sources(const struct policy *policy, const char *keys,
                         struct named *named)
{
    for (size_t len; *keys != '\0'; keys += len + strspn(keys + len, " ")) {
        len = strcspn(keys, " ");
        for (size_t i = 0; i < policy->source_count; i++) {
            if (strlen(policy->sources[i].key) == len &&
                memcmp(policy->sources[i].key, keys, len) == 0)
                named->is[i] = true;
        }
    }
}

static const char not_approved[] = "not approved";

static const char *approval_words(struct part *p)
{
    const struct policy *policy = p->sheet->plan->policy;
    const char *approver = words_typed(&p->words, policy->approver);
    const char *rest;

    if (strncasecmp(approver, not_approved, strlen(not_approved)) != 0)
        return words_say(&p->words, _("approved by: %s"), approver);
    rest = approver + strlen(not_approved);
    rest += strspn(rest, ":,; ");
    if (rest[0] == '\0')
        return _("NOT APPROVED for use on patients");
    return words_say(&p->words, _("NOT APPROVED for use on patients (%s)"),
                     rest);
}

static void put_sources(struct part *p, const struct named *named)
{
    const struct policy *policy = p->sheet->plan->policy;
    const struct canvas_type small = part_small(p);
    struct buf text;

    buf_init(&text, RUN_ON_MAX);
    for (size_t i = 0; i < policy->source_count; i++) {
        size_t used = p->words.used;
        const char *source;

        if (!named->is[i])
            continue;
        /* TRANSLATORS: the key of a source, and the source */
        source = words_say(&p->words, _("%1$s: %2$s"), policy->sources[i].key,
                           words_typed(&p->words, policy->sources[i].citation));
        if (p->fit.run_on)
            run_on(p, &text, source);
        else
            part_text(p, &small, source);
        p->words.used = used;
    }
    run_out(p, &text);
    buf_clear(&text);
}

static void name_all(const struct plan_document *d, struct named *named)
{
    for (size_t i = 0; i < COUNT(limit_rows); i++) {
        if (concerns(d, limit_rows[i].row))
            name_sources(d->policy, d->policy->values[limit_rows[i].row].source,
                         named);
    }
}

static void put_rests_on(struct part *p)
{
    const struct plan_document *d = p->sheet->plan;
    const struct canvas_type small = part_small(p);
    struct named named = { { false } };

    part_gap(p, 0.6);
    part_title(p, _("Limits used, and their sources"));
    put_limits(p);
    name_all(d, &named);
    part_text(p, &small,
              _("F found in the source; F2 on a secondary page; M from memory, "
                "to be checked; C computed; P proposed default, no direct "
                "source."));
    part_text(p, &small,
              _("The forward model is a circuit of resistances fitted to one "
                "figure of common practice (2500 mL/min falls by some 45 % "
                "over a 4 mm dowel; no source). No table of flow by dowel has "
                "been published."));
    put_sources(p, &named);
}

void sheet_small(struct part *p)
{
    p->words.used = 0;
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
                        words_typed(w, d->policy->date), approval_words(p)));
}
