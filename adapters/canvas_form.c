/* The document around the page: what it says of itself, and its bytes. */
#include "adapters/canvas_work.h"

#include "adapters/fhir_time.h"

#include <cairo-pdf.h>
#include <cairo-svg.h>

#include <string.h>

static cairo_status_t add(void *closure, const unsigned char *data,
                          unsigned int len)
{
    struct buf *bytes = closure;

    buf_add(bytes, data, len);
    return buf_ok(bytes) == ERR_OK ? CAIRO_STATUS_SUCCESS
                                   : CAIRO_STATUS_WRITE_ERROR;
}

/* ---- PDF ------------------------------------------------------------------- */

/* Without one the library would take the clock's. */
static void set_date(cairo_surface_t *surface, int64_t made_s)
{
    char text[FHIR_TIME_SIZE];

    fhir_time_write(made_s, text);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATE_DATE,
                                   text);
}

static void set_text(cairo_surface_t *surface, cairo_pdf_metadata_t what,
                     const char *text)
{
    if (text != NULL)
        cairo_pdf_surface_set_metadata(surface, what, text);
}

static void open_pdf(struct canvas *canvas, const struct canvas_page *page)
{
    canvas->surface = cairo_pdf_surface_create_for_stream(
        add, &canvas->bytes, canvas->size.width_mm * PT_PER_MM,
        canvas->size.height_mm * PT_PER_MM);
    if (cairo_surface_status(canvas->surface) != CAIRO_STATUS_SUCCESS)
        return;
    cairo_pdf_surface_restrict_to_version(canvas->surface,
                                          CAIRO_PDF_VERSION_1_5);
    set_text(canvas->surface, CAIRO_PDF_METADATA_TITLE, page->title);
    set_text(canvas->surface, CAIRO_PDF_METADATA_AUTHOR, page->author);
    set_text(canvas->surface, CAIRO_PDF_METADATA_CREATOR, page->author);
    set_date(canvas->surface, page->made_s);
}

/* ---- SVG ------------------------------------------------------------------- */

static void open_svg(struct canvas *canvas, const struct canvas_page *page)
{
    canvas->surface = cairo_svg_surface_create_for_stream(
        add, &canvas->bytes, canvas->size.width_mm * PT_PER_MM,
        canvas->size.height_mm * PT_PER_MM);
    if (cairo_surface_status(canvas->surface) == CAIRO_STATUS_SUCCESS)
        cairo_svg_surface_restrict_to_version(canvas->surface,
                                              CAIRO_SVG_VERSION_1_1);
    buf_puts(&canvas->title, page->title != NULL ? page->title : "");
}

static void add_escaped(struct buf *out, const char *text)
{
    for (; *text != '\0'; text++) {
        if (*text == '<')
            buf_puts(out, "&lt;");
        else if (*text == '&')
            buf_puts(out, "&amp;");
        else
            buf_add(out, text, 1);
    }
}

/* Numbers with three decimals in place of six: 0.001 pt is less than any
 * printer shows, and a page is a quarter shorter. */
static void add_rounded(struct buf *out, const char *text, size_t len)
{
    size_t from = 0;

    for (size_t i = 0; i + 1 < len; i++) {
        size_t digits, kept;

        if (text[i] != '.')
            continue;
        digits = strspn(text + i + 1, "0123456789");
        if (digits <= 3)
            continue;
        kept = 3;
        while (kept > 0 && text[i + kept] == '0')
            kept--;
        buf_add(out, text + from, i - from + (kept > 0 ? kept + 1 : 0));
        i += digits;
        from = i + 1;
    }
    buf_add(out, text + from, len - from);
}

/* Where the root is open and nothing is in it yet; NULL. */
static const char *after_root(const char *svg)
{
    const char *root = strstr(svg, "<svg "),
               *end = root != NULL ? strchr(root, '>') : NULL;

    return end != NULL ? end + 1 : NULL;
}

/* The library numbers surfaces through the life of the process; this one is
 * the page.  The title is the first child of the root. */
static void write_svg(struct canvas *canvas, struct buf *out)
{
    static const char id[] = "<g id=\"surface";
    const char *svg = canvas->bytes.data, *inner = after_root(svg);
    const char *group = inner != NULL ? strstr(inner, id) : NULL, *rest;

    if (group == NULL) { /* another library */
        canvas_fail(canvas, ERR_IO);
        return;
    }
    rest = group + strlen(id);
    rest += strspn(rest, "0123456789");
    buf_add(out, svg, (size_t)(inner - svg));
    buf_puts(out, "\n<title>");
    add_escaped(out, canvas->title.data);
    buf_puts(out, "</title>");
    add_rounded(out, inner, (size_t)(group - inner));
    buf_puts(out, "<g id=\"page");
    add_rounded(out, rest, canvas->bytes.len - (size_t)(rest - svg));
}

/* ---- both ------------------------------------------------------------------ */

void canvas_form_open(struct canvas *canvas, const struct canvas_page *page)
{
    if (page->form == CANVAS_PDF)
        open_pdf(canvas, page);
    else
        open_svg(canvas, page);
}

void canvas_form_write(struct canvas *canvas, struct buf *out)
{
    if (canvas->form == CANVAS_PDF)
        buf_add(out, canvas->bytes.data, canvas->bytes.len);
    else
        write_svg(canvas, out);
}
