/* The head of the worksheet: who, which access, what was seen, and how far the
 * plan may be relied on. */
#include "adapters/plan_band.h"
#include "adapters/worksheet_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define STATE_MM 72.0 /* width of the box with the state of the plan */
#define LABEL_MM 16.0

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
                         plan_say_type(from->access_type),
                         plan_say_side(from->side),
                         plan_say_fed(from->forearm));
    /* TRANSLATORS: type of the access, its side, where it is fed, a date */
    return words_say(&p->words, _("%1$s; %2$s; %3$s; made on %4$s"),
                     plan_say_type(from->access_type),
                     plan_say_side(from->side), plan_say_fed(from->forearm),
                     words_day(&p->words, d->zone, made));
}

static const char *person_words(struct part *p)
{
    return words_say(&p->words, _("number %1$s; born %2$s"),
                     typed_or(p, p->sheet->patient_number, _("not known")),
                     typed_or(p, p->sheet->born, _("not known")));
}

/* What somebody else's sentence says, in words of the page. */
static const char *said(struct part *p,
                        void (*say)(const struct plan_document *d,
                                    struct buf *out))
{
    const char *text = "";
    struct buf out;

    buf_init(&out, 2048);
    say(p->sheet->plan, &out);
    if (out.len > 0 && buf_ok(&out) == ERR_OK)
        text = words_say(&p->words, "%s", out.data);
    buf_clear(&out);
    return text;
}

static void put_who(struct part *p)
{
    const struct worksheet *s = p->sheet;
    const struct field band = { "", said(p, plan_band_say), 7.5, true, 2 };
    /* TRANSLATORS: label: the other values that a plan was made with */
    const struct field with = { _("Also with"),
                                plan_say_with(&p->words, s->plan), 7, false,
                                4 };
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
    if (band.text[0] != '\0')
        put_field(p, &band);
    if (with.text[0] != '\0' && s->plan->from->in.flow_count > 0)
        put_field(p, &with);
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

static void put_seen(struct part *p)
{
    const struct plan_document *d = p->sheet->plan;
    const struct field seen = { _("Seen"), seen_words(p), 8, true, 4 };
    struct words *w = &p->words;
    const struct field fields[] = {
        { _("Baseline"), plan_say_baseline(w, d), 7.5, false, 3 },
        { _("Method"), plan_say_method(w, d), 7.5, false, 2 },
        { "", said(p, plan_other_say), 7.5, false, 3 },
        { _("Pressure"), plan_say_pressure(w, d), 7.5, false, 2 },
        { _("Plan valid"), plan_say_valid(w, d), 7.5, false, 2 },
    };
    size_t count = d->from->in.flow_count == 0 ? 1 : COUNT(fields);

    put_field(p, &seen);
    if (d->plan == NULL && count > 1)
        count--;
    for (size_t i = 0; i < count; i++) {
        if (fields[i].text[0] != '\0')
            put_field(p, &fields[i]);
    }
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

/* Said in full beside what to do now. */
#define SAID_ABOVE                                                             \
    ((unsigned)(PLAN_HAND_WORSE | PLAN_HAND_LOW | PLAN_PRESSURE_OFF))

/* Few of them one below the other, many in two columns. */
static void put_warnings(struct part *p)
{
    const struct plan_phrases *w = plan_phrases(PLAN_PHRASES_WARNING);
    struct canvas_type type = part_type(p);
    unsigned set = p->sheet->plan->plan->warnings & ~SAID_ABOVE;
    size_t half, n = 0;
    double x_mm = p->x_mm, top_mm = p->y_mm, width_mm = p->width_mm, end_mm = 0;

    if ((set & PLAN_BASELINE_APART) != 0)
        set &= ~(unsigned)PLAN_READS_APART; /* the stronger of the two */
    half = count_of(set) > 3 ? (count_of(set) + 1) / 2 : SIZE_MAX;

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

    if (d->plan == NULL || (d->plan->warnings & ~SAID_ABOVE) == 0)
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

/* A case on a band in place: a line for each step, and when to loosen. */
static void put_case(struct part *p, const struct canvas_type *type)
{
    struct buf text;
    char *line, *rest;

    buf_init(&text, 8192);
    plan_band_case_say(p->sheet->plan, &text);
    if (text.len > 0 && buf_ok(&text) == ERR_OK) {
        for (line = strtok_r(text.data, "\n", &rest); line != NULL;
             line = strtok_r(NULL, "\n", &rest))
            part_item(p, type, TICK_DASH, line);
    }
    buf_clear(&text);
}

/* Why there is no plan. */
void sheet_refusal(struct part *p)
{
    struct canvas_type type = { .size_pt = SHEET_CARD_PT, .narrow = true };
    const char *why;
    size_t i = 0;

    p->words.used = 0;
    part_title(p, _("No plan is offered"));
    while ((why = plan_say_refusal(&p->words, p->sheet->plan, &i)) != NULL)
        part_item(p, &type, TICK_DASH, why);
    put_case(p, &type);
    part_gap(p, 1.0);
}
