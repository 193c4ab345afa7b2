/* What was done to the access: lines through the chart, and labels above it. */
#include "adapters/worksheet_chart.h"

#include "adapters/fhir_time.h"

#include <math.h>

/* ---- words ---------------------------------------------------------------- */

void chart_deed_words(const struct sheet_event *e, struct buf *out)
{
    struct chart_number size = chart_mm(e->size_mm);
    const char *mm = size.text;

    switch (e->deed) {
    case SHEET_CREATED:
        /* TRANSLATORS: label at a line of a chart: the access was created */
        buf_puts(out, _("created"));
        break;
    case SHEET_OUTFLOW:
        /* TRANSLATORS: label at a line of a chart: angioplasty of the
         * outflow */
        buf_puts(out, _("outflow treated"));
        break;
    case SHEET_INFLOW:
        /* TRANSLATORS: label at a line of a chart: angioplasty of the
         * inflow */
        buf_puts(out, _("inflow treated"));
        break;
    case SHEET_STRETCHED:
        /* TRANSLATORS: label at a line of a chart: the band was stretched
         * with a balloon of so many mm */
        buf_printf(out, _("stretched %s mm"), mm);
        break;
    case SHEET_RELEASED:
        /* TRANSLATORS: label at a line of a chart: the band was cut */
        buf_puts(out, _("band cut"));
        break;
    case SHEET_CLOSED:
        /* TRANSLATORS: label at a line of a chart: the access was closed */
        buf_puts(out, _("closed"));
        break;
    case SHEET_BANDED:
    default:
        if (isnan(e->size_mm))
            /* TRANSLATORS: label at a line of a chart: a band was placed */
            buf_puts(out, _("band"));
        else if (e->steps > 1)
            /* TRANSLATORS: label at a line of a chart: the newest dowel, and
             * how often the band was tied that day (two or more) */
            buf_printf(out, _("band %1$s mm (%2$d ties)"), mm, e->steps);
        else
            /* TRANSLATORS: label at a line of a chart: band over a dowel */
            buf_printf(out, _("band %s mm"), mm);
        break;
    }
}

void chart_event_words(const struct chart *c, const struct sheet_event *e,
                       bool with_date, struct buf *out)
{
    char date[FHIR_TIME_SIZE];

    if (with_date) {
        fhir_date_write(e->at_s, c->zone, date);
        /* Of a month or year only that much is known. */
        buf_printf(out, "%.*s ",
                   e->precision == AT_YEAR    ? 4
                   : e->precision == AT_MONTH ? 7
                                              : 10,
                   date);
    }
    chart_deed_words(e, out);
}

/* ---- labels --------------------------------------------------------------- */

static void label_words(const struct chart_labels *l, size_t first,
                        size_t count, struct buf *out)
{
    if (count == 1)
        chart_event_words(l->c, &l->c->events[first], l->dates, out);
    else
        /* TRANSLATORS: label at lines of a chart that stand close together */
        buf_printf(out, ngettext("%zu treatment", "%zu treatments", count),
                   count);
}

static double label_width(void *arg, size_t first, size_t count)
{
    const struct chart_labels *l = arg;
    struct buf text;
    double width_mm;

    buf_init(&text, CHART_TEXT_MAX);
    label_words(l, first, count, &text);
    width_mm = 0.6 + chart_width(l->c->canvas, text.data);
    buf_clear(&text);
    return width_mm;
}

static size_t lay_out(struct chart_labels *l, bool dates)
{
    const struct chart *c = l->c;

    l->dates = dates;
    l->count = 0;
    for (size_t i = c->event_first; i < c->event_count; i++)
        l->list[l->count++] =
            (struct sheet_label){ .x_mm = sheet_at(&c->x,
                                                   (double)c->events[i].at_s),
                                  .first = i,
                                  .count = 1 };
    l->count = sheet_labels(l->list, l->count, CHART_LABEL_ROWS, c->x.from_mm,
                            c->box.x_mm + c->box.width_mm, 1.2, label_width, l);
    return l->count;
}

int chart_labels_make(struct chart_labels *l)
{
    size_t all = l->c->event_count - l->c->event_first;
    int rows = 0;

    if (lay_out(l, true) < all)
        lay_out(l, false);
    for (size_t i = 0; i < l->count; i++)
        rows = l->list[i].row >= rows ? l->list[i].row + 1 : rows;
    return rows;
}

static double label_y(const struct chart *c, const struct sheet_label *at)
{
    return c->y_mm - CHART_LINE_MM * (at->row + 1);
}

void chart_events_draw(const struct chart *c, const struct chart_labels *l)
{
    struct canvas_type type = chart_type(ALIGN_LEFT, false);

    for (size_t i = c->event_first; i < c->event_count; i++) {
        double x_mm = sheet_at(&c->x, (double)c->events[i].at_s);

        canvas_line(c->canvas, (struct canvas_point){ x_mm, c->y_mm },
                    (struct canvas_point){ x_mm, c->bottom_mm },
                    chart_pen_event);
    }
    for (size_t i = 0; i < l->count; i++)
        canvas_line(c->canvas,
                    (struct canvas_point){ l->list[i].x_mm, c->y_mm },
                    (struct canvas_point){ l->list[i].x_mm,
                                           label_y(c, &l->list[i]) + 0.4 },
                    chart_pen_event);
    for (size_t i = 0; i < l->count; i++) {
        const struct sheet_label *at = &l->list[i];
        double y_mm = label_y(c, at);
        struct buf text;

        buf_init(&text, CHART_TEXT_MAX);
        label_words(l, at->first, at->count, &text);
        /* Only near the right edge may a line run behind the words. */
        canvas_area(c->canvas,
                    (struct box){ at->left_mm + 0.4, y_mm + 0.2,
                                  at->width_mm - 0.4, CHART_LINE_MM - 0.4 },
                    FILL_WHITE);
        canvas_text(c->canvas, at->left_mm + 0.6, y_mm, &type, text.data);
        buf_clear(&text);
    }
}
