/* Text on a page: shaped and broken by pango. */
#include "adapters/canvas_work.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Of the free faces the one that most machines have; it knows Latin, Greek,
 * Cyrillic, Arabic and Hebrew. */
static const char family[] = "DejaVu Sans";

/* The condensed face of the family is the upright one at this width; setting
 * it so needs no second font on the machine. */
#define NARROW 0.9

/* fontconfig reads its settings once in the life of a process and keeps some
 * hundred bytes of them; a build that looks for leaks is told. */
#ifdef __has_feature
#if __has_feature(address_sanitizer)
#define LOOKS_FOR_LEAKS
#endif
#endif
#if defined(__SANITIZE_ADDRESS__) || defined(LOOKS_FOR_LEAKS)
const char *__lsan_default_suppressions(void);
const char *__lsan_default_options(void);

const char *__lsan_default_suppressions(void)
{
    return "leak:libfontconfig\n";
}

const char *__lsan_default_options(void)
{
    return "print_suppressions=0";
}
#endif

/* ---- set up ------------------------------------------------------------------- */

/* Nothing depends on the screen of the machine: no hints, no whole pixels. */
static void set_options(PangoContext *text)
{
    cairo_font_options_t *options = cairo_font_options_create();

    cairo_font_options_set_antialias(options, CAIRO_ANTIALIAS_GRAY);
    cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
    pango_cairo_context_set_font_options(text, options);
    cairo_font_options_destroy(options);
    pango_cairo_context_set_resolution(text, 72.0);
    pango_context_set_round_glyph_positions(text, FALSE);
    pango_context_set_base_dir(text, PANGO_DIRECTION_LTR);
    pango_context_set_language(text, pango_language_from_string("en"));
}

/* Pango keeps what it has read of the fonts for the next page of the thread. */
bool canvas_text_open(struct canvas *canvas)
{
    PangoFontMap *fonts = pango_cairo_font_map_get_default();

    if (fonts == NULL)
        return false;
    canvas->text = pango_font_map_create_context(fonts);
    if (canvas->text == NULL)
        return false;
    set_options(canvas->text);
    return true;
}

void canvas_text_close(struct canvas *canvas)
{
    for (size_t i = 0; i < CANVAS_SETS; i++) {
        if (canvas->sets[i].layout != NULL)
            g_object_unref(canvas->sets[i].layout);
    }
    if (canvas->text != NULL)
        g_object_unref(canvas->text);
}

/* ---- one text ----------------------------------------------------------------- */

/* At most most bytes of it, cut between characters. */
static size_t cut(const char *text, size_t most)
{
    size_t len = strnlen(text, most + 1);

    if (len <= most)
        return len;
    for (len = most; len > 0 && ((unsigned char)text[len] & 0xc0) == 0x80;)
        len--;
    return len;
}

/* As pango may have it: UTF-8, no control characters but the line feed.
 * A line feed of a text of so many lines stays within its paragraph. */
static char *clean(const char *text, bool counted)
{
    size_t len = cut(text, CANVAS_TEXT_MOST), at = 0;
    char *valid = g_utf8_make_valid(text, (gssize)len), *out;

    /* three bytes of U+2028 in place of each line feed, at most */
    out = g_malloc(3 * strlen(valid) + 1);
    for (const char *p = valid; *p != '\0'; p++) {
        if (*p == '\n' && counted) {
            memcpy(out + at, "\xe2\x80\xa8", 3);
            at += 3;
        } else {
            out[at++] =
                (char)((unsigned char)*p < 0x20 && *p != '\n' ? ' ' : *p);
        }
    }
    out[at] = '\0';
    g_free(valid);
    return out;
}

static void set_face(PangoLayout *layout, const struct canvas_type *type)
{
    PangoFontDescription *face = pango_font_description_new();

    pango_font_description_set_family_static(face, family);
    pango_font_description_set_absolute_size(face, type->size_pt * PANGO_SCALE);
    pango_font_description_set_weight(face, type->bold ? PANGO_WEIGHT_BOLD
                                                       : PANGO_WEIGHT_NORMAL);
    pango_font_description_set_style(face, type->italic ? PANGO_STYLE_OBLIQUE
                                                        : PANGO_STYLE_NORMAL);
    pango_layout_set_font_description(layout, face);
    pango_font_description_free(face);
}

static double stretch_of(const struct canvas_type *type)
{
    return type->narrow ? NARROW : 1.0;
}

static void set_shape(PangoLayout *layout, const struct canvas_type *type)
{
    static const PangoAlignment aligns[] = { [ALIGN_LEFT] = PANGO_ALIGN_LEFT,
                                             [ALIGN_CENTRE] =
                                                 PANGO_ALIGN_CENTER,
                                             [ALIGN_RIGHT] =
                                                 PANGO_ALIGN_RIGHT };
    double width_pt = type->width_mm * PT_PER_MM / stretch_of(type);

    pango_layout_set_auto_dir(layout, FALSE);
    pango_layout_set_alignment(layout, aligns[type->align]);
    if (type->width_mm <= 0)
        return;
    pango_layout_set_width(layout, (int)(width_pt * PANGO_SCALE));
    pango_layout_set_wrap(layout, PANGO_WRAP_WORD_CHAR);
    if (type->most_lines > 0) {
        pango_layout_set_height(layout, -type->most_lines);
        pango_layout_set_ellipsize(layout, PANGO_ELLIPSIZE_END);
    }
}

static PangoLayout *lay_out(struct canvas *canvas,
                            const struct canvas_type *type, const char *text)
{
    PangoLayout *layout = pango_layout_new(canvas->text);
    char *cleaned = clean(text, type->width_mm > 0 && type->most_lines > 0);

    set_face(layout, type);
    set_shape(layout, type);
    pango_layout_set_text(layout, cleaned, -1);
    g_free(cleaned);
    return layout;
}

/* FNV-1a, 64 bits (draft-eastlake-fnv). */
static uint64_t hash_on(uint64_t hash, const void *data, size_t len)
{
    const unsigned char *at = data;

    for (size_t i = 0; i < len; i++)
        /* the analyzer loses sight of the numbers of hash_of() as bytes */
        /* NOLINTNEXTLINE(clang-analyzer-core.UndefinedBinaryOperatorResult) */
        hash = (hash ^ at[i]) * 0x100000001b3u;
    return hash;
}

static uint64_t hash_of(const struct canvas_type *type, const char *text)
{
    /* field by field: what lies between them is not set */
    const double numbers[] = { type->size_pt, type->width_mm };
    const int others[] = { type->bold, type->italic, type->narrow,
                           (int)type->align, type->most_lines };
    uint64_t hash = 0xcbf29ce484222325u;

    hash = hash_on(hash, numbers, sizeof(numbers));
    hash = hash_on(hash, others, sizeof(others));
    hash = hash_on(hash, text, strnlen(text, CANVAS_TEXT_MOST + 1));
    return hash != 0 ? hash : 1;
}

/* The text as it is set, borrowed until another one is. */
static PangoLayout *set_text(struct canvas *canvas,
                             const struct canvas_type *type, const char *text)
{
    uint64_t hash = hash_of(type, text);
    struct canvas_set *set = &canvas->sets[hash % CANVAS_SETS];

    if (set->hash == hash)
        return set->layout;
    if (set->layout != NULL)
        g_object_unref(set->layout);
    *set = (struct canvas_set){ hash, lay_out(canvas, type, text) };
    return set->layout;
}

static double mm(int units)
{
    return (double)units / PANGO_SCALE / PT_PER_MM;
}

static double height_of(PangoLayout *layout)
{
    PangoRectangle logical;

    pango_layout_get_extents(layout, NULL, &logical);
    return mm(logical.height);
}

static double width_of(PangoLayout *layout, const struct canvas_type *type)
{
    PangoRectangle logical;

    pango_layout_get_extents(layout, NULL, &logical);
    return mm(logical.width) * stretch_of(type);
}

/* Within a width pango aligns; without one the text hangs from its x. */
static double left_of(PangoLayout *layout, const struct canvas_type *type,
                      double x_mm)
{
    if (type->width_mm > 0 || type->align == ALIGN_LEFT)
        return x_mm;
    return x_mm -
           width_of(layout, type) * (type->align == ALIGN_CENTRE ? 0.5 : 1.0);
}

static void show(struct canvas *canvas, const struct canvas_type *type,
                 PangoLayout *layout)
{
    cairo_scale(canvas->cairo, stretch_of(type), 1.0);
    cairo_set_source_rgb(canvas->cairo, type->grey, type->grey, type->grey);
    cairo_move_to(canvas->cairo, 0, 0);
    pango_cairo_show_layout(canvas->cairo, layout);
    cairo_new_path(canvas->cairo);
}

double canvas_text(struct canvas *canvas, double x_mm, double y_mm,
                   const struct canvas_type *type, const char *text)
{
    PangoLayout *layout;

    if (text == NULL || text[0] == '\0' || !canvas_goes_on(canvas))
        return 0;
    layout = set_text(canvas, type, text);
    cairo_save(canvas->cairo);
    cairo_translate(canvas->cairo, left_of(layout, type, x_mm) * PT_PER_MM,
                    y_mm * PT_PER_MM);
    show(canvas, type, layout);
    cairo_restore(canvas->cairo);
    return height_of(layout);
}

double canvas_measure(struct canvas *canvas, const struct canvas_type *type,
                      const char *text, double *width_mm)
{
    PangoLayout *layout;

    if (width_mm != NULL)
        *width_mm = 0;
    if (text == NULL || text[0] == '\0' || !canvas_goes_on(canvas))
        return 0;
    layout = set_text(canvas, type, text);
    if (width_mm != NULL)
        *width_mm = width_of(layout, type);
    return height_of(layout);
}

void canvas_text_upwards(struct canvas *canvas, struct canvas_point at,
                         const struct canvas_type *type, const char *text)
{
    struct canvas_type line = *type;
    PangoLayout *layout;

    if (text == NULL || text[0] == '\0' || !canvas_goes_on(canvas))
        return;
    line.align = ALIGN_LEFT;
    layout = lay_out(canvas, &line, text);
    cairo_save(canvas->cairo);
    cairo_translate(canvas->cairo, at.x_mm * PT_PER_MM, at.y_mm * PT_PER_MM);
    cairo_rotate(canvas->cairo, -3.14159265358979323846 / 2.0);
    show(canvas, &line, layout);
    cairo_restore(canvas->cairo);
    g_object_unref(layout);
}

/* ---- which font ------------------------------------------------------------------ */

static void describe(PangoFont *font, struct buf *found)
{
    PangoFontDescription *face = pango_font_describe(font);
    const char *name = pango_font_description_get_family(face);

    buf_puts(found, name != NULL ? name : "");
    pango_font_description_free(face);
}

bool canvas_font(const char **asked, struct buf *found)
{
    PangoContext *text =
        pango_font_map_create_context(pango_cairo_font_map_get_default());
    PangoFontDescription *face = pango_font_description_from_string(family);
    PangoFont *font = pango_context_load_font(text, face);
    size_t start = found->len;

    *asked = family;
    if (font != NULL) {
        describe(font, found);
        g_object_unref(font);
    }
    pango_font_description_free(face);
    g_object_unref(text);
    return strcmp(found->data + start, family) == 0;
}
