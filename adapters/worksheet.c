/* The page: which part stands where.
 *
 *     head, warnings
 *     flows over time
 *     ladder            target, what was done, what now
 *     hand, outflow     card
 *     what is missing, cautions, limits and their sources: down what is left
 *     of the left column, then of the right one
 *     foot
 *
 * Every part is measured first.  The page is set as loosely as it fits; what
 * stands last is made smaller, and cut, before anything above it is. */
#include "adapters/worksheet_parts.h"

#include <math.h>

#define MARGIN_MM  9.0  /* left and right */
#define EDGE_MM    7.0  /* above and below */
#define GAP_MM     4.0  /* between two columns */
#define LEFT_SHARE 0.44 /* of the width, with the ladder */

static const struct sheet_fit fits[] = {
    { 58, 7.0, 8.0, 11.5, 7.5, 6.5, false, false },
    { 54, 6.5, 7.0, 11.0, 7.5, 6.0, false, false },
    { 50, 6.0, 6.2, 10.5, 7.0, 6.0, true, false },
    { 46, 5.2, 5.4, 10.0, 6.5, 6.0, true, false },
    { 44, 4.6, 4.8, 10.0, 6.5, 6.0, true, true },
    { 0, 3.8, 4.4, 10.0, 6.0, 6.0, true, true },
};

/* The tightest of these in which a page is rather whole than loose; beyond it
 * only what is never cut counts. */
enum { FITS_WHOLE = 5 };

#define LADDER_MM       24.0 /* of its chart, without the sizes */
#define HISTORY_STEP_MM 3.0
#define HISTORY_MOST_MM 76.0

struct page {
    struct canvas *canvas;
    const struct worksheet *sheet;
    struct box inner; /* without the margins */
    struct sheet_fit fit;
};

/* How a page came out. */
struct outcome_of_page {
    bool whole; /* nothing was cut */
    bool shown; /* at least the hand, and all that is missing */
    bool fits;  /* the card, and all that is never cut, end above the foot */
};

static struct part part_at(const struct page *page, bool draw, struct box box)
{
    return (struct part){ .canvas = page->canvas,
                          .sheet = page->sheet,
                          .fit = page->fit,
                          .draw = draw,
                          .x_mm = box.x_mm,
                          .y_mm = box.y_mm,
                          .width_mm = box.width_mm,
                          .bottom_mm = INFINITY };
}

/* ---- from the top ------------------------------------------------------------- */

static void put_no_history(struct part *p)
{
    struct canvas_type type = part_type(p);

    part_text(p, &type,
              _("Flows over time: no room on this page; see the record."));
}

/* Head, warnings, history; where they end. */
static double put_top(const struct page *page, bool draw)
{
    struct part p = part_at(page, draw, page->inner);
    struct box history;

    sheet_head(&p);
    part_gap(&p, 0.8);
    if (page->sheet->plan->plan == NULL)
        sheet_refusal(&p);
    else
        sheet_warnings(&p);
    history = (struct box){ p.x_mm, p.y_mm, p.width_mm, page->fit.history_mm };
    if (page->fit.history_mm <= 0)
        put_no_history(&p);
    else if (draw)
        sheet_history(page->canvas, page->sheet, history);
    return p.y_mm + page->fit.history_mm + 2.0;
}

static double left_width(const struct page *page)
{
    return (page->sheet->plan->plan != NULL ? LEFT_SHARE : 0.5) *
           (page->inner.width_mm - GAP_MM);
}

static struct box left_of(const struct page *page, double y_mm)
{
    return (struct box){ .x_mm = page->inner.x_mm,
                         .y_mm = y_mm,
                         .width_mm = left_width(page) };
}

static struct box right_of(const struct page *page, double y_mm)
{
    double shift_mm = left_width(page) + GAP_MM;

    return (struct box){ .x_mm = page->inner.x_mm + shift_mm,
                         .y_mm = y_mm,
                         .width_mm = page->inner.width_mm - shift_mm };
}

/* The ladder; where it ends. */
static double put_left(const struct page *page, bool draw, double y_mm)
{
    const struct plan_document *d = page->sheet->plan;
    struct part p = part_at(page, draw, left_of(page, y_mm));
    struct box box;

    if (d->plan == NULL)
        return y_mm;
    part_title(&p, d->from->in.stage_count > 0
                       ? _("Each size, if it were tied next")
                       : _("Each size, if it were tied first"));
    box = (struct box){ p.x_mm, p.y_mm, p.width_mm,
                        LADDER_MM +
                            page->fit.rung_mm * (double)d->plan->rung_count };
    if (draw)
        sheet_ladder(page->canvas, page->sheet, box);
    part_gap(&p, box.height_mm + 1.0);
    if (page->fit.steps_left && d->from->in.stage_count > 0)
        sheet_steps(&p);
    return p.y_mm;
}

/* Target, what was done, what now, card; where they end. */
static double put_right(const struct page *page, bool draw, double y_mm)
{
    struct part p = part_at(page, draw, right_of(page, y_mm));

    if (page->sheet->plan->plan == NULL)
        return y_mm;
    sheet_target(&p);
    if (!page->fit.steps_left && page->sheet->plan->from->in.stage_count > 0)
        sheet_steps(&p);
    sheet_what_now(&p);
    sheet_card(&p);
    return p.y_mm;
}

/* ---- to the foot ------------------------------------------------------------------ */

/* Where it begins, if it is to end at the lower margin. */
static double foot_y(const struct page *page)
{
    struct part p = part_at(page, false, page->inner);

    sheet_foot(&p);
    return page->inner.y_mm + page->inner.height_mm -
           (p.y_mm - page->inner.y_mm);
}

static void put_foot(const struct page *page, double y_mm)
{
    struct part p = part_at(page, true, page->inner);

    p.y_mm = y_mm;
    sheet_foot(&p);
}

/* What may go from column to column, and be cut at its end. */
static void put_rest(const struct page *page, struct part *p)
{
    if (page->sheet->plan->plan != NULL) {
        part_whole(p, sheet_hand);
        sheet_hand(p);
        part_whole(p, sheet_outflow);
        sheet_outflow(p);
    }
    p->hand_shown = !p->is_cut;
    sheet_small(p);
}

/* All of it. */
static struct outcome_of_page put_page(const struct page *page, bool draw)
{
    double body_mm = put_top(page, draw), foot_mm = foot_y(page);
    double left_mm = put_left(page, draw, body_mm);
    double right_mm = put_right(page, draw, body_mm);
    struct part small = part_at(page, draw, left_of(page, left_mm));
    struct part more = part_at(page, draw, right_of(page, foot_mm));

    small.bottom_mm = foot_mm - SHEET_MORE_MM;
    small.next = right_of(page, right_mm + 1.0);
    put_rest(page, &small);
    more.y_mm -= SHEET_MORE_MM;
    if (small.is_cut)
        sheet_more(&more);
    if (draw)
        put_foot(page, foot_mm);
    return (struct outcome_of_page){
        .whole = !small.is_cut,
        .shown = small.hand_shown && small.missing_shown,
        .fits = fmax(left_mm, right_mm) <= small.bottom_mm
    };
}

/* ---- how tight ---------------------------------------------------------------------- */

static void loosen(struct page *page)
{
    for (;;) {
        double history_mm = page->fit.history_mm;

        page->fit.history_mm += HISTORY_STEP_MM;
        if (page->fit.history_mm > HISTORY_MOST_MM ||
            !put_page(page, false).whole) {
            page->fit.history_mm = history_mm;
            return;
        }
    }
}

/* The loosest setting in which all fits; else the loosest of the tight ones in
 * which nothing but the last parts is cut; else the loosest that holds what is
 * never cut. */
static void choose(struct page *page)
{
    size_t shown = COUNT(fits), held = COUNT(fits);

    for (size_t i = 0; i < COUNT(fits); i++) {
        struct outcome_of_page came;

        page->fit = fits[i];
        came = put_page(page, false);
        if (i < FITS_WHOLE && came.whole && came.fits) {
            loosen(page);
            return;
        }
        if (shown == COUNT(fits) && i + 1 >= FITS_WHOLE && came.fits &&
            came.shown)
            shown = i;
        if (held == COUNT(fits) && came.fits)
            held = i;
    }
    if (shown < COUNT(fits))
        page->fit = fits[shown];
    else if (held < COUNT(fits))
        page->fit = fits[held];
}

enum err worksheet_draw(const struct worksheet *sheet, enum canvas_form form,
                        struct buf *out)
{
    struct page page = { .sheet = sheet };
    struct canvas_page setup = { .form = form,
                                 .paper = sheet->paper,
                                 .title = _("Access worksheet"),
                                 .author = "headgate " HEADGATE_VERSION,
                                 .made_s = sheet->made_s };
    unsigned long before = buf_lost();
    struct box size;
    enum err err = canvas_open(&setup, &page.canvas);

    if (err != ERR_OK)
        return err;
    size = canvas_size(page.canvas);
    page.inner =
        (struct box){ MARGIN_MM, EDGE_MM, size.width_mm - 2.0 * MARGIN_MM,
                      size.height_mm - 2.0 * EDGE_MM };
    choose(&page);
    (void)put_page(&page, true);
    err = canvas_close(page.canvas, out);
    buf_keep_whole(out, before);
    return err == ERR_OK ? buf_ok(out) : err;
}
