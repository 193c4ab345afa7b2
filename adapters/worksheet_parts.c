/* Titles, paragraphs and rows of the worksheet. */
#include "adapters/worksheet_parts.h"

#include <math.h>

#define TITLE_PT 8.5
#define LINE_GAP 0.4 /* mm between two items */
#define SIGN_MM  4.2 /* what stands before an item, with its space */
#define BOX_MM   2.3 /* of a box to tick */
#define CELL_GAP 1.2

struct canvas_type part_type(const struct part *p)
{
    return (struct canvas_type){ .size_pt = p->fit.text_pt, .narrow = true };
}

struct canvas_type part_small(const struct part *p)
{
    return (struct canvas_type){ .size_pt = p->fit.small_pt, .narrow = true };
}

struct canvas_type part_large(double size_pt, bool bold)
{
    return (
        struct canvas_type){ .size_pt = size_pt, .bold = bold, .narrow = true };
}

/* The title again, at the top of the next column. */
static void go_on(struct part *p)
{
    const char *title = p->title;

    if (title == NULL)
        return;
    /* TRANSLATORS: a title, at the head of the next column */
    part_title(p, words_say(&p->words, _("%s (continued)"), title));
    p->title = title;
}

void part_next(struct part *p)
{
    if (p->next.width_mm <= 0)
        return;
    p->x_mm = p->next.x_mm;
    p->y_mm = p->next.y_mm;
    p->width_mm = p->next.width_mm;
    p->next.width_mm = 0;
}

bool part_room(struct part *p, double height_mm)
{
    if (p->is_cut)
        return false;
    if (p->y_mm + height_mm <= p->bottom_mm)
        return true;
    if (p->next.width_mm > 0) {
        part_next(p);
        go_on(p);
        return part_room(p, height_mm);
    }
    p->is_cut = true;
    return false;
}

/* Room for a text that is wrapped at so much less than the width of the
 * column; its height, mm; -1: there is none. */
static double room_for(struct part *p, struct canvas_type *type, double less_mm,
                       const char *text)
{
    for (;;) {
        double width_mm = p->width_mm, height_mm;

        type->width_mm = width_mm - less_mm;
        height_mm = canvas_measure(p->canvas, type, text, NULL);
        if (!part_room(p, height_mm))
            return -1;
        if (p->width_mm == width_mm)
            return height_mm;
    }
}

void part_gap(struct part *p, double height_mm)
{
    p->y_mm += height_mm;
}

void part_whole(struct part *p, void (*put)(struct part *p))
{
    struct part tried = *p;

    if (p->is_cut || p->next.width_mm <= 0)
        return;
    tried.draw = false;
    tried.bottom_mm = INFINITY;
    put(&tried);
    if (tried.y_mm <= p->bottom_mm)
        return;
    tried.y_mm = p->next.y_mm;
    tried.width_mm = p->next.width_mm;
    put(&tried);
    if (tried.y_mm <= p->bottom_mm)
        part_next(p);
}

/* A title is not left alone at the foot of a column. */
void part_title(struct part *p, const char *title)
{
    struct canvas_type type = { .size_pt = TITLE_PT,
                                .bold = true,
                                .narrow = true,
                                .width_mm = p->width_mm,
                                .most_lines = 2 };
    double height_mm = canvas_measure(p->canvas, &type, title, NULL);

    p->title = NULL;
    if (!part_room(p, height_mm + 5.0))
        return;
    p->title = title;
    type.width_mm = p->width_mm;
    if (p->draw) {
        canvas_text(p->canvas, p->x_mm, p->y_mm, &type, title);
        canvas_line(
            p->canvas, (struct canvas_point){ p->x_mm, p->y_mm + height_mm },
            (struct canvas_point){ p->x_mm + p->width_mm, p->y_mm + height_mm },
            (struct canvas_pen){ .width_mm = 0.25 });
    }
    p->y_mm += height_mm + 0.7;
}

/* A paragraph of which the place is known. */
static void set(struct part *p, double shift_mm, struct canvas_type type,
                const char *text)
{
    if (p->draw)
        canvas_text(p->canvas, p->x_mm + shift_mm, p->y_mm, &type, text);
}

void part_text(struct part *p, const struct canvas_type *type, const char *text)
{
    struct canvas_type wrapped = *type;
    double height_mm;

    if (text[0] == '\0')
        return;
    height_mm = room_for(p, &wrapped, 0, text);
    if (height_mm < 0)
        return;
    set(p, 0, wrapped, text);
    p->y_mm += height_mm + LINE_GAP;
}

/* ---- items -------------------------------------------------------------------- */

static void draw_box(struct part *p, double y_mm, enum part_tick tick)
{
    struct box box = { p->x_mm + 0.3, y_mm, BOX_MM, BOX_MM };
    struct canvas_pen pen = { .width_mm = 0.25 };

    canvas_frame(p->canvas, box, pen);
    if (tick == TICK_MET) {
        const struct canvas_point check[] = {
            { box.x_mm + 0.4, y_mm + 1.2 },
            { box.x_mm + 1.0, y_mm + 1.8 },
            { box.x_mm + 2.0, y_mm + 0.4 },
        };

        pen.width_mm = 0.45;
        canvas_path(p->canvas, check, COUNT(check), pen);
    }
}

static void draw_sign(struct part *p, const struct canvas_type *type,
                      enum part_tick tick)
{
    double line_mm = type->size_pt * 25.4 / 72.0 * 1.17;

    if (tick == TICK_DASH)
        canvas_line(
            p->canvas,
            (struct canvas_point){ p->x_mm + 0.3, p->y_mm + line_mm / 2.0 },
            (struct canvas_point){ p->x_mm + 1.6, p->y_mm + line_mm / 2.0 },
            (struct canvas_pen){ .width_mm = 0.3 });
    else
        draw_box(p, p->y_mm + (line_mm - BOX_MM) / 2.0, tick);
}

void part_item(struct part *p, const struct canvas_type *type,
               enum part_tick tick, const char *text)
{
    double sign_mm = tick == TICK_DASH ? 2.4 : SIGN_MM;
    struct canvas_type wrapped = *type;
    double height_mm;

    height_mm = room_for(p, &wrapped, sign_mm, text);
    if (height_mm < 0)
        return;
    if (p->draw)
        draw_sign(p, type, tick);
    set(p, sign_mm, wrapped, text);
    p->y_mm += height_mm + LINE_GAP;
}

/* ---- tables -------------------------------------------------------------------- */

static struct canvas_type cell_type(const struct canvas_type *type,
                                    const struct part_cell *cell, double scale)
{
    struct canvas_type t = *type;

    t.width_mm = scale * cell->width_mm - CELL_GAP;
    t.align = cell->align;
    t.bold = type->bold || cell->bold;
    return t;
}

static double cells_height(struct part *p, const struct canvas_type *type,
                           const struct part_cell *cells, size_t count,
                           double scale)
{
    double height_mm = 0;

    for (size_t i = 0; i < count; i++) {
        struct canvas_type t = cell_type(type, &cells[i], scale);

        height_mm =
            fmax(height_mm, canvas_measure(p->canvas, &t, cells[i].text, NULL));
    }
    return height_mm;
}

bool part_cells(struct part *p, const struct canvas_type *type,
                const struct part_cell *cells, size_t count)
{
    double width_mm = p->width_mm, x_mm = 0, scale, height_mm;

    if (!part_room(p, cells_height(p, type, cells, count, 1.0)))
        return false;
    scale = p->width_mm / width_mm; /* of the next column */
    height_mm = cells_height(p, type, cells, count, scale);
    for (size_t i = 0; i < count; i++) {
        set(p, x_mm, cell_type(type, &cells[i], scale), cells[i].text);
        x_mm += scale * cells[i].width_mm;
    }
    p->y_mm += height_mm + LINE_GAP / 2.0;
    return true;
}

void part_rule(struct part *p, double width_mm)
{
    if (p->draw && !p->is_cut)
        canvas_line(p->canvas, (struct canvas_point){ p->x_mm, p->y_mm },
                    (struct canvas_point){ p->x_mm + p->width_mm, p->y_mm },
                    (struct canvas_pen){ .width_mm = width_mm });
    p->y_mm += 0.5;
}
