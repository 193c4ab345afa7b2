/* The head of the worksheet: who, which access, what was seen, and how far the
 * plan may be relied on. */
#include "adapters/worksheet_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define STATE_MM 72.0 /* width of the box with the state of the plan */
#define LABEL_MM 15.0

/* ---- state -------------------------------------------------------------------- */

static const char *state_word(const struct plan_document *d)
{
    if (d->plan == NULL)
        return _("NO PLAN");
    if (!plan_is_complete(d))
        return _("PLAN, INCOMPLETE");
    return _("PLAN, COMPLETE");
}

static const char *state_words(const struct plan_document *d)
{
    if (d->plan == NULL)
        return _("why stands below");
    if ((d->plan->warnings & PLAN_PROVISIONAL) != 0)
        return plan_is_complete(d)
                   ? _("but for the operator's part; provisional: not yet "
                       "measured on the table")
                   : _("provisional; what is missing stands below, with a box "
                       "to tick");
    return plan_is_complete(d)
               ? _("but for the operator's part")
               : _("what is missing stands below, with a box to tick");
}

/* Its height. */
static double draw_state(struct part *p, double x_mm)
{
    const struct plan_document *d = p->sheet->plan;
    struct canvas_type big = { .size_pt = 12,
                               .bold = true,
                               .align = ALIGN_CENTRE,
                               .width_mm = STATE_MM - 2.0 };
    struct canvas_type line = { .size_pt = 7,
                                .narrow = true,
                                .align = ALIGN_CENTRE,
                                .width_mm = STATE_MM - 2.0 };
    double big_mm = canvas_measure(p->canvas, &big, state_word(d), NULL);
    double all_mm =
        big_mm + canvas_measure(p->canvas, &line, state_words(d), NULL) + 1.6;

    if (p->draw) {
        canvas_frame(
            p->canvas, (struct box){ x_mm, p->y_mm, STATE_MM, all_mm },
            (struct canvas_pen){ .width_mm = plan_is_complete(d) ? 0.3 : 0.8 });
        canvas_text(p->canvas, x_mm + 1.0, p->y_mm + 0.6, &big, state_word(d));
        canvas_text(p->canvas, x_mm + 1.0, p->y_mm + 0.6 + big_mm, &line,
                    state_words(d));
    }
    return all_mm;
}

static void draw_title(struct part *p)
{
    double width_mm = p->width_mm - STATE_MM - 4.0, left_mm = 0;
    struct canvas_type big = { .size_pt = 15,
                               .bold = true,
                               .width_mm = width_mm };
    struct canvas_type line = { .size_pt = 8.5,
                                .narrow = true,
                                .width_mm = width_mm };
    const char *title = _("Access worksheet");
    const char *rests =
        _("Decision support: the operator measures and decides, under local "
          "policy.");
    double state_mm = draw_state(p, p->x_mm + p->width_mm - STATE_MM);

    left_mm = canvas_measure(p->canvas, &big, title, NULL);
    if (p->draw) {
        canvas_text(p->canvas, p->x_mm, p->y_mm, &big, title);
        canvas_text(p->canvas, p->x_mm, p->y_mm + left_mm, &line, rests);
    }
    left_mm += canvas_measure(p->canvas, &line, rests, NULL);
    p->y_mm += fmax(state_mm, left_mm) + 1.2;
}

/* ---- rows of a label and what it says ------------------------------------------- */

struct field {
    const char *label, *text;
    double size_pt;
    bool bold;
    int most_lines;
};

static void put_field(struct part *p, const struct field *f)
{
    struct canvas_type label = { .size_pt = 6.5, .narrow = true, .grey = 0.25 };
    struct canvas_type type = { .size_pt = f->size_pt,
                                .bold = f->bold,
                                .narrow = true,
                                .width_mm = p->width_mm - LABEL_MM,
                                .most_lines = f->most_lines };
    double height_mm = canvas_measure(p->canvas, &type, f->text, NULL);

    label.width_mm = LABEL_MM - 1.0;
    if (p->draw) {
        /* on the line of the first words, which may be larger */
        canvas_text(p->canvas, p->x_mm,
                    p->y_mm + (f->size_pt - label.size_pt) * 0.33, &label,
                    f->label);
        canvas_text(p->canvas, p->x_mm + LABEL_MM, p->y_mm, &type, f->text);
    }
    p->y_mm += height_mm + 0.3;
}

static const char *typed_or(struct part *p, const char *text, const char *none)
{
    return text != NULL && text[0] != '\0' ? words_typed(&p->words, text)
                                           : none;
}

/* ---- who ---------------------------------------------------------------------------- */

static const char *type_words(enum sign type)
{
    return type == SIGN_TYPE_AVF   ? _("fistula")
           : type == SIGN_TYPE_AVG ? _("graft")
           : type == SIGN_TYPE_CVC ? _("catheter")
                                   : _("type not known");
}

static const char *side_words(enum side side)
{
    return side == SIDE_LEFT    ? _("left")
           : side == SIDE_RIGHT ? _("right")
                                : _("side not coded");
}

/* The oldest record of its creation; NULL. */
static const struct reading *creation(const struct history *h)
{
    for (size_t i = 0; i < h->count; i++) {
        if (h->readings[i].sign == SIGN_CREATED &&
            h->readings[i].quantity == Q_ACCESS_INTERVENTION)
            return &h->readings[i];
    }
    return NULL;
}

static const char *kind_words(struct part *p)
{
    const struct plan_document *d = p->sheet->plan;
    const struct plan_from *from = d->from;
    const struct reading *made = creation(d->history);

    if (made == NULL)
        /* TRANSLATORS: type of the access, its side, where it is fed */
        return words_say(&p->words, _("%1$s; %2$s; %3$s; since when not known"),
                         type_words(from->access_type), side_words(from->side),
                         from->forearm ? _("forearm: fed at the wrist")
                                       : _("planned as fed at the elbow"));
    /* TRANSLATORS: type of the access, its side, where it is fed, a date */
    return words_say(&p->words, _("%1$s; %2$s; %3$s; made on %4$s"),
                     type_words(from->access_type), side_words(from->side),
                     from->forearm ? _("forearm: fed at the wrist")
                                   : _("planned as fed at the elbow"),
                     words_day(&p->words, d->zone, made));
}

static const char *person_words(struct part *p)
{
    return words_say(&p->words, _("number %1$s; born %2$s"),
                     typed_or(p, p->sheet->patient_number, _("not known")),
                     typed_or(p, p->sheet->born, _("not known")));
}

static void put_who(struct part *p)
{
    const struct worksheet *s = p->sheet;
    const struct field fields[] = {
        { _("Patient"), typed_or(p, s->patient_name, _("name not known")), 11,
          true, 2 },
        { "", person_words(p), 7.5, false, 2 },
        { _("Access"),
          typed_or(p, s->access != NULL ? s->access : s->plan->access,
                   _("not named")),
          10, true, 2 },
        { "", kind_words(p), 7.5, false, 2 },
        { _("Unit"), typed_or(p, s->unit, _("not known")), 8, false, 1 },
    };

    for (size_t i = 0; i < COUNT(fields); i++)
        put_field(p, &fields[i]);
}

/* ---- what was seen -------------------------------------------------------------------- */

static const char *seen_words(struct part *p)
{
    const struct worksheet *s = p->sheet;

    if (s->seen != NULL && s->seen[0] != '\0')
        return words_typed(&p->words, s->seen);
    return s->findings == NULL ? _("not looked at")
                               : _("nothing that asks for a suggestion");
}

static const char *baseline_words(struct part *p)
{
    const struct plan_document *d = p->sheet->plan;
    const struct plan_input *in = &d->from->in;

    if (in->flow_count == 0)
        return _("no usable flow");
    if (in->on_table)
        return words_say(
            &p->words,
            _("%1$s mL/min on %2$s, on the table just before the "
              "band"),
            words_flows(&p->words, in->flow_ml_min, in->flow_count),
            words_date(&p->words, d->zone, d->from->baseline_s));
    return words_say(&p->words,
                     _("%1$s mL/min on %2$s, not known to be from the table"),
                     words_flows(&p->words, in->flow_ml_min, in->flow_count),
                     words_date(&p->words, d->zone, d->from->baseline_s));
}

static const char *method_words(struct part *p)
{
    const struct plan_input *in = &p->sheet->plan->from->in;

    return words_say(&p->words, _("%s; measure by no other, before and after"),
                     in->method == METHOD_UNSTATED
                         ? _("not stated")
                         : _(method_display(in->method)));
}

static const char *mmhg_words(struct part *p, double mmhg)
{
    if (isnan(mmhg))
        return _("not known");
    return words_say(&p->words, _("%s mmHg"), words_number(&p->words, mmhg, 0));
}

static const char *pressure_words(struct part *p)
{
    const struct plan_input *in = &p->sheet->plan->from->in;

    /* TRANSLATORS: each place is "93 mmHg" or "not known" */
    return words_say(&p->words,
                     _("mean at the baseline %1$s; lowest usual on dialysis "
                       "%2$s"),
                     mmhg_words(p, in->map_mmhg),
                     mmhg_words(p, in->map_lowest_mmhg));
}

static const char *valid_words(struct part *p)
{
    const struct plan_document *d = p->sheet->plan;

    if (d->from->in.on_table)
        return words_say(&p->words, _("until %s, for this procedure"),
                         words_date(&p->words, d->zone, d->from->expires_s));
    return words_say(&p->words,
                     _("until %s; a pair measured on the table replaces it"),
                     words_date(&p->words, d->zone, d->from->expires_s));
}

static void put_seen(struct part *p)
{
    const struct plan_document *d = p->sheet->plan;
    const struct field seen = { _("Seen"), seen_words(p), 8, true, 4 };
    const struct field fields[] = {
        { _("Baseline"), baseline_words(p), 7.5, false, 3 },
        { _("Method"), method_words(p), 7.5, false, 2 },
        { _("Pressure"), pressure_words(p), 7.5, false, 2 },
        { _("Plan valid"), valid_words(p), 7.5, false, 2 },
    };
    size_t count = d->from->in.flow_count == 0 ? 1 : COUNT(fields);

    put_field(p, &seen);
    if (d->plan == NULL && count > 1)
        count--;
    for (size_t i = 0; i < count; i++)
        put_field(p, &fields[i]);
}

void sheet_head(struct part *p)
{
    double x_mm = p->x_mm, width_mm = p->width_mm, top_mm, who_mm;

    p->words.used = 0;
    draw_title(p);
    part_rule(p, 0.4);
    top_mm = p->y_mm;
    p->width_mm = width_mm * 0.5 - 3.0;
    put_who(p);
    who_mm = p->y_mm;
    p->y_mm = top_mm;
    p->x_mm = x_mm + width_mm * 0.5;
    p->width_mm = width_mm * 0.5;
    put_seen(p);
    p->y_mm = fmax(p->y_mm, who_mm);
    p->x_mm = x_mm;
    p->width_mm = width_mm;
    part_rule(p, 0.4);
}

/* ---- warnings, refusal ------------------------------------------------------------------ */

static size_t count_of(unsigned set)
{
    size_t count = 0;

    for (; set != 0; set &= set - 1)
        count++;
    return count;
}

/* Few of them one below the other, many in two columns. */
static void put_warnings(struct part *p)
{
    const struct plan_phrases *w = plan_phrases(PLAN_PHRASES_WARNING);
    struct canvas_type type = part_type(p);
    unsigned set = p->sheet->plan->plan->warnings;
    size_t half = count_of(set) > 3 ? (count_of(set) + 1) / 2 : SIZE_MAX, n = 0;
    double x_mm = p->x_mm, top_mm = p->y_mm, width_mm = p->width_mm, end_mm = 0;

    if (half < SIZE_MAX)
        p->width_mm = width_mm / 2.0 - 1.5;
    for (size_t i = 0; i < w->count; i++) {
        if ((set & w->rows[i].key) == 0)
            continue;
        if (n++ == half) {
            end_mm = p->y_mm;
            p->y_mm = top_mm;
            p->x_mm = x_mm + width_mm / 2.0 + 1.5;
        }
        part_item(p, &type, TICK_DASH, _(w->rows[i].text));
    }
    p->y_mm = fmax(p->y_mm, end_mm);
    p->x_mm = x_mm;
    p->width_mm = width_mm;
}

void sheet_warnings(struct part *p)
{
    const struct plan_document *d = p->sheet->plan;
    double top_mm = p->y_mm;

    if (d->plan == NULL || d->plan->warnings == 0)
        return;
    p->x_mm += 2.6;
    p->width_mm -= 2.6;
    part_title(p, _("Warnings"));
    put_warnings(p);
    p->x_mm -= 2.6;
    p->width_mm += 2.6;
    if (p->draw)
        canvas_area(p->canvas,
                    (struct box){ p->x_mm, top_mm, 1.4, p->y_mm - top_mm },
                    FILL_DARK);
    part_gap(p, 0.8);
}

static const char *because(struct part *p, const char *why)
{
    /* TRANSLATORS: %s is a clause: "the access is no longer in use" */
    return words_say(&p->words, _("Because %s."), why);
}

/* Why there is no plan. */
void sheet_refusal(struct part *p)
{
    const struct plan_document *d = p->sheet->plan;
    const struct plan_phrases *e = plan_phrases(PLAN_PHRASES_EXCLUSION);
    struct canvas_type type = { .size_pt = SHEET_CARD_PT, .narrow = true };
    const char *why = _(plan_offer_phrase(d->from->offer)->text);

    p->words.used = 0;
    part_title(p, _("No plan is offered"));
    if (d->from->offer == PLAN_UNFIT && d->fault != NULL)
        part_item(p, &type, TICK_DASH,
                  words_say(&p->words,
                            _("A value cannot be used (%1$s): %2$s."),
                            d->fault->field, _(d->fault->why)));
    else if (d->from->offer != PLAN_EXCLUDED)
        part_item(p, &type, TICK_DASH, because(p, why));
    for (size_t i = 0; i < e->count; i++) {
        if ((d->from->readiness.exclusions & e->rows[i].key) != 0)
            part_item(p, &type, TICK_DASH, because(p, _(e->rows[i].text)));
    }
    part_gap(p, 1.0);
}
