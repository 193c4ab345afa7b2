/*
 * canvas - one page to draw on: lines, areas, marks and text, as PDF or SVG
 *
 * The only place that knows cairo and pango.  All lengths are millimetres from
 * the upper left corner of the page, x to the right and y downwards; sizes of
 * type are points.  Everything is drawn in greys, dashes and patterns: what a
 * page says must be read on a printer without colour.
 *
 * The same calls give the same bytes, on a machine with the same fonts and
 * libraries: nothing of the clock or the machine goes in.  Text is shaped by
 * pango, whatever its script; a font that lacks a character is helped out by
 * another one of the machine.
 *
 * Errors stick: after the first one nothing is drawn any more, and
 * canvas_close() tells it.
 */
#ifndef HEADGATE_ADAPTERS_CANVAS_H
#define HEADGATE_ADAPTERS_CANVAS_H

#include "adapters/buf.h"

#include <stdbool.h>
#include <stdint.h>

struct canvas;

enum canvas_form { CANVAS_PDF, CANVAS_SVG };

enum canvas_paper {
    CANVAS_A4,    /* 210 x 297 mm */
    CANVAS_LETTER /* 215.9 x 279.4 mm */
};

/* Which way a page is set up; strings are borrowed for canvas_open(). */
struct canvas_page {
    enum canvas_form form;
    enum canvas_paper paper;
    const char *title;  /* of the document, UTF-8: no patient in it */
    const char *author; /* the program, with its version */
    int64_t made_s;     /* its date, seconds since 1970 UTC */
};

/* A part of the page. */
struct box {
    double x_mm, y_mm, width_mm, height_mm;
};

/*
 * canvas_open - an empty page
 *
 * ERR_MEMORY  heap or a library
 */
MUST_CHECK enum err canvas_open(const struct canvas_page *page,
                                struct canvas **canvas);
/*
 * canvas_close - the finished page, and the end of the canvas, also on error
 *
 * out  appended to; NULL: throw it away
 *
 * ERR_MEMORY, ERR_LIMIT (of the buf), ERR_IO: what a library refused
 */
MUST_CHECK enum err canvas_close(struct canvas *canvas, struct buf *out);
/* The whole of the page. */
struct box canvas_size(const struct canvas *canvas);

/* ---- lines and areas -------------------------------------------------------- */

enum canvas_dash { DASH_NONE, DASH_LONG, DASH_SHORT, DASH_DOTS, DASH_MIXED };

struct canvas_pen {
    double width_mm;
    double grey; /* 0 black .. 1 white */
    enum canvas_dash dash;
};

struct canvas_point {
    double x_mm, y_mm;
};

void canvas_line(struct canvas *canvas, struct canvas_point from,
                 struct canvas_point to, struct canvas_pen pen);
/* Joined by lines; open. */
void canvas_path(struct canvas *canvas, const struct canvas_point *points,
                 size_t count, struct canvas_pen pen);
void canvas_frame(struct canvas *canvas, struct box box, struct canvas_pen pen);

enum canvas_fill {
    FILL_LIGHT,   /* a light grey */
    FILL_MIDDLE,  /* a middle grey: text on it is still read */
    FILL_DARK,    /* nearly black */
    FILL_WHITE,   /* hides what is below */
    FILL_RISING,  /* thin lines rising to the right */
    FILL_FALLING, /* thin lines falling to the right */
    FILL_DOTTED
};
void canvas_area(struct canvas *canvas, struct box box, enum canvas_fill fill);

/* Told apart by shape, not by shade. */
enum canvas_mark {
    MARK_CIRCLE,
    MARK_DISC,
    MARK_SQUARE,
    MARK_SQUARE_FULL,
    MARK_TRIANGLE,
    MARK_TRIANGLE_FULL,
    MARK_DIAMOND,
    MARK_CROSS,
    MARK_PLUS,
    MARK_DOWN /* a full triangle that points down */
};
/* at: its middle */
void canvas_mark(struct canvas *canvas, struct canvas_point at, double size_mm,
                 enum canvas_mark mark);

/* What is drawn until canvas_unclip() shows within the box only. */
void canvas_clip(struct canvas *canvas, struct box box);
void canvas_unclip(struct canvas *canvas);

/* ---- text ---------------------------------------------------------------------- */

enum canvas_align { ALIGN_LEFT, ALIGN_CENTRE, ALIGN_RIGHT };

struct canvas_type {
    double size_pt;
    bool bold, italic;
    bool narrow; /* a condensed face */
    double grey;
    enum canvas_align align; /* within width_mm; without one, at x */
    double width_mm; /* wrapped at this; 0: one line, as long as it is */
    int most_lines;  /* with a width: no more lines, the last one ends
                                in an ellipsis; 0: any number */
};

/*
 * canvas_text - text with its upper edge at y
 *
 * text     UTF-8; what is no UTF-8 shows as a replacement character; a line
 *          feed begins a line.  A line is left to right, so that a name that
 *          is written from right to left stands in its place in it
 * returns  its height, mm; 0 for ""
 */
double canvas_text(struct canvas *canvas, double x_mm, double y_mm,
                   const struct canvas_type *type, const char *text);
/* The same, and nothing is drawn; width_mm (if not NULL): of its longest
 * line. */
double canvas_measure(struct canvas *canvas, const struct canvas_type *type,
                      const char *text, double *width_mm);

/* Text turned by a quarter, read from below; at: its lower left corner as it
 * stands on the page. */
void canvas_text_upwards(struct canvas *canvas, struct canvas_point at,
                         const struct canvas_type *type, const char *text);

/*
 * canvas_font - the family that text is set in
 *
 * found  out: the family that the machine has for it
 * returns whether that is the one that is asked for; without it pages are
 * readable and look otherwise
 */
bool canvas_font(const char **asked, struct buf *found);

#endif
