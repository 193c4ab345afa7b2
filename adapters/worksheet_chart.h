/*
 * worksheet_chart - what the files of the charts share; private to them
 *
 *     worksheet_history.c  the chart of flows, and how the box is divided
 *     worksheet_events.c   what was done, as lines with labels
 *     worksheet_strips.c   the strips below it
 *     worksheet_legend.c   what the marks mean, and what is not drawn
 *     worksheet_chart.c    pens, marks, numbers
 */
#ifndef HEADGATE_ADAPTERS_WORKSHEET_CHART_H
#define HEADGATE_ADAPTERS_WORKSHEET_CHART_H

#include "adapters/worksheet_axis.h"
#include "adapters/worksheet_series.h"
#include "adapters/worksheet_work.h"

enum { CHART_TEXT_MAX = 4096, CHART_STRIPS_MAX = 4 };

/* Height of a line of the small type, with what keeps it off the next. */
#define CHART_LINE_MM 2.7

struct chart_number {
    char text[32];
};
/* In the form of the language; of what is not known "?". */
struct chart_number chart_number(double value, int decimals);
/* As many decimals as it has, at most two: "4", "3.25". */
struct chart_number chart_short(double value);
/* A diameter, as the rest of the page writes it: "4.0", "3.25". */
struct chart_number chart_mm(double mm);

struct canvas_type chart_type(enum canvas_align align, bool bold);
/* One line; returns its width. */
double chart_width(struct canvas *canvas, const char *text);

extern const struct canvas_pen chart_pen_axis, chart_pen_grid, chart_pen_limit,
    chart_pen_event, chart_pen_course, chart_pen_floor;

/* The marks of a method: of a value that is used, and of one that is not. */
enum canvas_mark chart_mark(enum method method, bool used);
/* In the language of the site. */
const char *chart_method(enum method method);

/* Of a bound: sign 1 upwards for "more than", -1 for "less than". */
void chart_arrow(struct canvas *canvas, struct canvas_point at, double sign,
                 double long_mm);
/* A value as it stands on the chart, with an arrow if it is a bound. */
void chart_point(struct canvas *canvas, const struct sheet_point *p,
                 struct canvas_point at, double size_mm);
/* All values of a series, with the lines between them. */
void chart_series(struct canvas *canvas, const struct sheet_series *s,
                  const struct sheet_scale *x, const struct sheet_scale *y,
                  double size_mm);

/* Labels at the right of a chart: each at the height of its value, moved apart
 * where they would touch, and then with a line to its place. */
enum { CHART_SIDE_MAX = 8 };
struct chart_side {
    size_t count;
    struct chart_side_label {
        double y_mm;
        char text[64];
        bool bold;
    } labels[CHART_SIDE_MAX];
};
void chart_side_add(struct chart_side *side, double y_mm, bool bold,
                    const char *format, ...)
    __attribute__((format(printf, 4, 5)));
void chart_side_draw(struct canvas *canvas, struct chart_side *side,
                     double x_mm, double width_mm, struct box within);

/* A quantity below the flows. */
struct chart_strip {
    const char *name;  /* with its unit; not yet in the language */
    const char *thing; /* the same in a sentence */
    struct sheet_series series;
    int decimals;
    struct sheet_limit limits[SHEET_LIMITS_MAX];
    size_t limit_count;
};

struct chart {
    struct canvas *canvas;
    const struct worksheet *sheet;
    const struct history *h;
    const struct policy *policy;
    const struct zone *zone;
    const struct plan_target *target; /* NULL: no plan */
    struct box box;
    struct sheet_series flow;
    size_t strip_count;
    struct chart_strip strips[CHART_STRIPS_MAX];
    const char *absent[CHART_STRIPS_MAX]; /* what nobody recorded */
    size_t absent_count;
    struct sheet_event events[SHEET_EVENTS_MAX];
    size_t event_count;
    size_t event_first; /* of those within the time that is drawn */
    size_t event_lost;  /* older than all of these */
    int64_t from_s, to_s;
    struct sheet_scale x;
    double y_mm;      /* upper edge of the flows */
    double bottom_mm; /* lower edge of the lowest strip */
    double legend_mm; /* where the words below begin */
};

/* "band 4 mm" */
void chart_deed_words(const struct sheet_event *e, struct buf *out);
/* The same; with_date: "2026-03-14 band 4 mm". */
void chart_event_words(const struct chart *c, const struct sheet_event *e,
                       bool with_date, struct buf *out);

/* Where the labels of what was done stand. */
enum { CHART_LABEL_ROWS = 3 };
struct chart_labels {
    const struct chart *c;
    bool dates;
    size_t count;
    struct sheet_label list[SHEET_EVENTS_MAX];
};
/* With their dates if there is room for all of them so; returns the number of
 * rows. */
int chart_labels_make(struct chart_labels *l);
/* From the labels down through all strips. */
void chart_events_draw(const struct chart *c, const struct chart_labels *l);

/* Load the strips that have values; ERR_MEMORY. */
MUST_CHECK enum err chart_strips_load(struct chart *c);
/* The height of all of them, and to draw them from y_mm down. */
double chart_strips_height(const struct chart *c);
void chart_strips_draw(struct chart *c, double y_mm);

/* What stands below a chart; draw false: only its height. */
double chart_legend(const struct chart *c, double y_mm, bool draw);

#endif
