/* A page: lines, areas and marks. */
#include "adapters/canvas_work.h"

#include <math.h>
#include <stdlib.h>

/* ---- the page --------------------------------------------------------------- */

void canvas_fail(struct canvas *canvas, enum err err)
{
    if (canvas->err == ERR_OK)
        canvas->err = err;
}

bool canvas_goes_on(struct canvas *canvas)
{
    cairo_status_t status = cairo_status(canvas->cairo);

    if (status == CAIRO_STATUS_NO_MEMORY)
        canvas_fail(canvas, ERR_MEMORY);
    else if (status != CAIRO_STATUS_SUCCESS)
        canvas_fail(canvas, buf_ok(&canvas->bytes) != ERR_OK
                                ? buf_ok(&canvas->bytes)
                                : ERR_IO);
    return canvas->err == ERR_OK;
}

static void drop(struct canvas *canvas)
{
    canvas_text_close(canvas);
    if (canvas->cairo != NULL)
        cairo_destroy(canvas->cairo);
    if (canvas->surface != NULL)
        cairo_surface_destroy(canvas->surface);
    buf_clear(&canvas->bytes);
    buf_clear(&canvas->title);
    free(canvas);
}

enum err canvas_open(const struct canvas_page *page, struct canvas **canvas)
{
    struct canvas *c = calloc(1, sizeof(*c));

    if (c == NULL)
        return ERR_MEMORY;
    c->form = page->form;
    c->size = page->paper == CANVAS_A4 ? (struct box){ 0, 0, 210.0, 297.0 }
                                       : (struct box){ 0, 0, 215.9, 279.4 };
    buf_init(&c->bytes, CANVAS_MOST);
    buf_init(&c->title, CANVAS_TEXT_MOST);
    canvas_form_open(c, page);
    c->cairo = cairo_create(c->surface);
    if (cairo_status(c->cairo) != CAIRO_STATUS_SUCCESS ||
        !canvas_text_open(c)) {
        drop(c);
        return ERR_MEMORY;
    }
    cairo_set_line_cap(c->cairo, CAIRO_LINE_CAP_BUTT);
    cairo_set_line_join(c->cairo, CAIRO_LINE_JOIN_ROUND);
    *canvas = c;
    return ERR_OK;
}

enum err canvas_close(struct canvas *canvas, struct buf *out)
{
    enum err err;

    if (canvas == NULL)
        return ERR_OK;
    if (out != NULL && canvas_goes_on(canvas)) {
        cairo_show_page(canvas->cairo);
        cairo_surface_finish(canvas->surface);
        if (cairo_surface_status(canvas->surface) != CAIRO_STATUS_SUCCESS)
            canvas_fail(canvas, buf_ok(&canvas->bytes) != ERR_OK
                                    ? buf_ok(&canvas->bytes)
                                    : ERR_IO);
    }
    if (canvas->err == ERR_OK && out != NULL) {
        canvas_form_write(canvas, out);
        if (buf_ok(out) != ERR_OK)
            canvas_fail(canvas, buf_ok(out));
    }
    err = canvas->err;
    drop(canvas);
    return err;
}

struct box canvas_size(const struct canvas *canvas)
{
    return canvas->size;
}

/* ---- lines ------------------------------------------------------------------ */

static double pt(double mm)
{
    return mm * PT_PER_MM;
}

static void set_dash(cairo_t *cairo, enum canvas_dash dash, double width_mm)
{
    static const struct {
        int count;
        double mm[4];
    } dashes[] = {
        [DASH_NONE] = { 0, { 0 } },
        [DASH_LONG] = { 2, { 2.4, 1.2 } },
        [DASH_SHORT] = { 2, { 1.0, 0.8 } },
        [DASH_DOTS] = { 2, { 0.0, 0.7 } },
        [DASH_MIXED] = { 4, { 2.4, 0.8, 0.4, 0.8 } },
    };
    double lengths[4];

    for (int i = 0; i < dashes[dash].count; i++)
        lengths[i] = pt(dashes[dash].mm[i]);
    if (dash == DASH_DOTS) /* round caps make the dots, of the line's width */
        lengths[1] = pt(fmax(0.7, 2.2 * width_mm));
    cairo_set_dash(cairo, lengths, dashes[dash].count, 0);
    cairo_set_line_cap(cairo, dash == DASH_DOTS ? CAIRO_LINE_CAP_ROUND
                                                : CAIRO_LINE_CAP_BUTT);
}

static void set_grey(cairo_t *cairo, double grey)
{
    cairo_set_source_rgb(cairo, grey, grey, grey);
}

static void stroke(struct canvas *canvas, struct canvas_pen pen)
{
    set_grey(canvas->cairo, pen.grey);
    cairo_set_line_width(canvas->cairo, pt(pen.width_mm));
    set_dash(canvas->cairo, pen.dash, pen.width_mm);
    cairo_stroke(canvas->cairo);
}

void canvas_line(struct canvas *canvas, struct canvas_point from,
                 struct canvas_point to, struct canvas_pen pen)
{
    const struct canvas_point points[] = { from, to };

    canvas_path(canvas, points, 2, pen);
}

void canvas_path(struct canvas *canvas, const struct canvas_point *points,
                 size_t count, struct canvas_pen pen)
{
    if (!canvas_goes_on(canvas) || count == 0)
        return;
    cairo_new_path(canvas->cairo);
    for (size_t i = 0; i < count; i++)
        cairo_line_to(canvas->cairo, pt(points[i].x_mm), pt(points[i].y_mm));
    stroke(canvas, pen);
}

static void box_path(struct canvas *canvas, struct box box)
{
    cairo_rectangle(canvas->cairo, pt(box.x_mm), pt(box.y_mm), pt(box.width_mm),
                    pt(box.height_mm));
}

void canvas_frame(struct canvas *canvas, struct box box, struct canvas_pen pen)
{
    if (!canvas_goes_on(canvas))
        return;
    cairo_new_path(canvas->cairo);
    box_path(canvas, box);
    stroke(canvas, pen);
}

/* ---- areas ------------------------------------------------------------------ */

#define HATCH_MM 1.3 /* from line to line of a pattern */

/* Lines through the whole plane, so that boxes that touch go on in each
 * other: x + y, or x - y, is a whole number of steps on each. */
static void hatch(struct canvas *canvas, struct box b, double slope)
{
    double bottom = b.y_mm + b.height_mm, right = b.x_mm + b.width_mm;
    double first = slope > 0 ? b.x_mm + b.y_mm : b.x_mm - bottom;
    double last = slope > 0 ? right + bottom : right - b.y_mm;
    double step = HATCH_MM * sqrt(2.0);

    cairo_new_path(canvas->cairo);
    for (double k = ceil(first / step); k * step < last; k++) {
        double c = k * step;

        cairo_move_to(canvas->cairo, pt(c - slope * b.y_mm), pt(b.y_mm));
        cairo_line_to(canvas->cairo, pt(c - slope * bottom), pt(bottom));
    }
    stroke(canvas, (struct canvas_pen){ .width_mm = 0.12, .grey = 0.35 });
}

static void dots(struct canvas *canvas, struct box b)
{
    double bottom = b.y_mm + b.height_mm, right = b.x_mm + b.width_mm;

    cairo_new_path(canvas->cairo);
    for (double j = ceil(b.y_mm / HATCH_MM); j * HATCH_MM < bottom; j++) {
        double shift = fmod(fabs(j), 2.0) * HATCH_MM / 2.0;
        double i = ceil((b.x_mm - shift) / HATCH_MM);

        for (; i * HATCH_MM + shift < right; i++) {
            cairo_move_to(canvas->cairo, pt(i * HATCH_MM + shift),
                          pt(j * HATCH_MM));
            cairo_rel_line_to(canvas->cairo, 0, 0);
        }
    }
    set_grey(canvas->cairo, 0.3);
    cairo_set_line_width(canvas->cairo, pt(0.25));
    set_dash(canvas->cairo, DASH_DOTS, 0.25);
    cairo_set_dash(canvas->cairo, NULL, 0, 0);
    cairo_stroke(canvas->cairo);
}

static bool is_drawable(struct box b)
{
    return isfinite(b.x_mm) && isfinite(b.y_mm) && b.width_mm > 0 &&
           b.height_mm > 0 && b.width_mm < 1000.0 && b.height_mm < 1000.0;
}

static void pattern(struct canvas *canvas, struct box box,
                    enum canvas_fill fill)
{
    canvas_clip(canvas, box);
    if (fill == FILL_DOTTED)
        dots(canvas, box);
    else
        hatch(canvas, box, fill == FILL_RISING ? 1.0 : -1.0);
    canvas_unclip(canvas);
}

void canvas_area(struct canvas *canvas, struct box box, enum canvas_fill fill)
{
    static const double greys[] = { [FILL_LIGHT] = 0.9,
                                    [FILL_MIDDLE] = 0.78,
                                    [FILL_DARK] = 0.15,
                                    [FILL_WHITE] = 1.0 };

    if (!canvas_goes_on(canvas) || !is_drawable(box))
        return;
    if (fill == FILL_RISING || fill == FILL_FALLING || fill == FILL_DOTTED) {
        pattern(canvas, box, fill);
        return;
    }
    cairo_new_path(canvas->cairo);
    box_path(canvas, box);
    set_grey(canvas->cairo, greys[fill]);
    cairo_fill(canvas->cairo);
}

void canvas_clip(struct canvas *canvas, struct box box)
{
    cairo_save(canvas->cairo);
    cairo_new_path(canvas->cairo);
    box_path(canvas, box);
    cairo_clip(canvas->cairo);
}

void canvas_unclip(struct canvas *canvas)
{
    cairo_restore(canvas->cairo);
}

/* ---- marks ------------------------------------------------------------------ */

static void circle_path(cairo_t *cairo, double radius)
{
    cairo_arc(cairo, 0, 0, radius, 0, 2.0 * 3.14159265358979323846);
    cairo_close_path(cairo);
}

static void square_path(cairo_t *cairo, double half)
{
    cairo_rectangle(cairo, -half, -half, 2.0 * half, 2.0 * half);
}

/* Points up, or down where half is negative. */
static void triangle_path(cairo_t *cairo, double half)
{
    cairo_move_to(cairo, 0, -half);
    cairo_line_to(cairo, half, half);
    cairo_line_to(cairo, -half, half);
    cairo_close_path(cairo);
}

static void diamond_path(cairo_t *cairo, double half)
{
    cairo_move_to(cairo, 0, -half);
    cairo_line_to(cairo, half, 0);
    cairo_line_to(cairo, 0, half);
    cairo_line_to(cairo, -half, 0);
    cairo_close_path(cairo);
}

static void cross_path(cairo_t *cairo, double half)
{
    cairo_move_to(cairo, -half, -half);
    cairo_line_to(cairo, half, half);
    cairo_move_to(cairo, -half, half);
    cairo_line_to(cairo, half, -half);
}

static void plus_path(cairo_t *cairo, double half)
{
    cairo_move_to(cairo, -half, 0);
    cairo_line_to(cairo, half, 0);
    cairo_move_to(cairo, 0, -half);
    cairo_line_to(cairo, 0, half);
}

enum ink {
    INK_HOLLOW, /* white within, so that a line below does not cross it */
    INK_FULL,
    INK_LINES
};

static void mark_path(cairo_t *cairo, enum canvas_mark mark, double half)
{
    static void (*const shapes[])(cairo_t *, double) = {
        [MARK_CIRCLE] = circle_path,     [MARK_DISC] = circle_path,
        [MARK_SQUARE] = square_path,     [MARK_SQUARE_FULL] = square_path,
        [MARK_TRIANGLE] = triangle_path, [MARK_TRIANGLE_FULL] = triangle_path,
        [MARK_DIAMOND] = diamond_path,   [MARK_CROSS] = cross_path,
        [MARK_PLUS] = plus_path,         [MARK_DOWN] = triangle_path,
    };

    cairo_new_path(cairo);
    shapes[mark](cairo, mark == MARK_DOWN ? -half : half);
}

static enum ink ink_of(enum canvas_mark mark)
{
    static const enum ink inks[] = {
        [MARK_CIRCLE] = INK_HOLLOW,   [MARK_DISC] = INK_FULL,
        [MARK_SQUARE] = INK_HOLLOW,   [MARK_SQUARE_FULL] = INK_FULL,
        [MARK_TRIANGLE] = INK_HOLLOW, [MARK_TRIANGLE_FULL] = INK_FULL,
        [MARK_DIAMOND] = INK_HOLLOW,  [MARK_CROSS] = INK_LINES,
        [MARK_PLUS] = INK_LINES,      [MARK_DOWN] = INK_FULL,
    };

    return inks[mark];
}

void canvas_mark(struct canvas *canvas, struct canvas_point at, double size_mm,
                 enum canvas_mark mark)
{
    cairo_t *cairo = canvas->cairo;

    if (!canvas_goes_on(canvas) || !isfinite(at.x_mm) || !isfinite(at.y_mm))
        return;
    cairo_save(cairo);
    cairo_translate(cairo, pt(at.x_mm), pt(at.y_mm));
    mark_path(cairo, mark, pt(size_mm / 2.0));
    if (ink_of(mark) != INK_LINES) {
        set_grey(cairo, ink_of(mark) == INK_FULL ? 0.0 : 1.0);
        cairo_fill_preserve(cairo);
    }
    stroke(canvas, (struct canvas_pen){ .width_mm = 0.25 });
    cairo_restore(cairo);
}
