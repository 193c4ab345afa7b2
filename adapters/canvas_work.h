/*
 * canvas_work - what the files of the canvas share; private to them
 *
 *     canvas.c       the page, lines, areas, marks
 *     canvas_text.c  text
 *     canvas_form.c  the document: its metadata, its bytes
 */
#ifndef HEADGATE_ADAPTERS_CANVAS_WORK_H
#define HEADGATE_ADAPTERS_CANVAS_WORK_H

#include "adapters/canvas.h"

#include <pango/pangocairo.h>

#define PT_PER_MM (72.0 / 25.4)

enum {
    CANVAS_MOST = 8388608,  /* bytes of a page while it is drawn */
    CANVAS_TEXT_MOST = 8192 /* bytes of one text; the rest is not drawn */
};

/* Texts that were set.  A page is tried in several settings before one is drawn,
 * and most texts come again: told apart by a hash of 64 bits, of which two of
 * some hundred texts are never the same by chance. */
struct canvas_set {
    uint64_t hash; /* 0: none yet */
    PangoLayout *layout;
};
enum { CANVAS_SETS = 4096 /* a power of two */ };

struct canvas {
    enum canvas_form form;
    struct box size;
    struct buf bytes; /* what the library has written so far */
    struct buf title; /* of an SVG: put in at the end */
    cairo_surface_t *surface;
    cairo_t *cairo; /* in points, as it comes */
    PangoContext *text;
    struct canvas_set sets[CANVAS_SETS];
    enum err err;
};

/* Remember the first error. */
void canvas_fail(struct canvas *canvas, enum err err);
/* May something be drawn? */
bool canvas_goes_on(struct canvas *canvas);

/* The surface that writes to canvas->bytes, with its metadata. */
void canvas_form_open(struct canvas *canvas, const struct canvas_page *page);
/* The finished bytes, the same on every day; may fail. */
void canvas_form_write(struct canvas *canvas, struct buf *out);

/* Fonts and the context of all text; false: no memory. */
bool canvas_text_open(struct canvas *canvas);
void canvas_text_close(struct canvas *canvas);

#endif
