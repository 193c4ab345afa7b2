/* The canvas: what an independent reader (poppler) finds in a page, and that
 * the same calls give the same bytes. */
#include "tests/test.h"

#include "adapters/canvas.h"
#include "tests/poppler_kit.h"

static struct buf page, text;

static int start(void **state)
{
    (void)state;
    buf_init(&page, 1 << 20);
    buf_init(&text, POPPLER_TEXT_MAX);
    return 0;
}

static int stop(void **state)
{
    (void)state;
    buf_clear(&page);
    buf_clear(&text);
    return 0;
}

static struct canvas *open_page(enum canvas_form form, enum canvas_paper paper)
{
    const struct canvas_page setup = { .form = form,
                                       .paper = paper,
                                       .title = "A <page> & more",
                                       .author = "headgate test",
                                       .made_s = 1772800200 };
    struct canvas *canvas;

    assert_int_equal(canvas_open(&setup, &canvas), ERR_OK);
    buf_empty(&page);
    return canvas;
}

static const struct canvas_type plain = { .size_pt = 10 };

static void finish(struct canvas *canvas)
{
    assert_int_equal(canvas_close(canvas, &page), ERR_OK);
}

/* Every kind of thing, once. */
static void draw_all(struct canvas *canvas)
{
    struct canvas_type wrapped = plain;

    wrapped.width_mm = 30;
    wrapped.align = ALIGN_RIGHT;
    for (int i = FILL_LIGHT; i <= FILL_DOTTED; i++)
        canvas_area(canvas, (struct box){ 10 + 12 * i, 10, 10, 8 },
                    (enum canvas_fill)i);
    for (int i = MARK_CIRCLE; i <= MARK_DOWN; i++)
        canvas_mark(canvas, (struct canvas_point){ 10 + 6 * i, 25 }, 2.5,
                    (enum canvas_mark)i);
    for (int i = DASH_NONE; i <= DASH_MIXED; i++)
        canvas_line(canvas, (struct canvas_point){ 10, 30 + 2 * i },
                    (struct canvas_point){ 60, 30 + 2 * i },
                    (struct canvas_pen){ .width_mm = 0.3,
                                         .dash = (enum canvas_dash)i });
    canvas_frame(canvas, (struct box){ 8, 8, 90, 40 },
                 (struct canvas_pen){ .width_mm = 0.5, .grey = 0.5 });
    canvas_clip(canvas, (struct box){ 10, 50, 20, 10 });
    canvas_text(canvas, 10, 50, &plain, "clipped at its end");
    canvas_unclip(canvas);
    canvas_text(canvas, 10, 62, &wrapped, "three words here and two more");
    canvas_text_upwards(canvas, (struct canvas_point){ 5, 60 }, &plain, "up");
}

/* ISO 216: A4 is 210 mm by 297 mm; ANSI/ASME Y14.1: letter is 8.5 by 11
 * inches; a point is 1/72 of an inch. */
static void a_page_has_the_size_of_its_paper(void **state)
{
    (void)state;
    finish(open_page(CANVAS_PDF, CANVAS_A4));
    poppler_run("pdfinfo", &page, "", &text);
    assert_non_null(strstr(text.data, "Page size:       595.276 x 841.89 pts"));
    assert_non_null(strstr(text.data, "Pages:           1\n"));
    finish(open_page(CANVAS_PDF, CANVAS_LETTER));
    poppler_run("pdfinfo", &page, "", &text);
    assert_non_null(strstr(text.data, "Page size:       612 x 792 pts"));
}

/* 1772800200 is 2026-03-06T12:30:00Z (date -u -d @1772800200). */
static void a_document_says_what_made_it_and_when(void **state)
{
    (void)state;
    finish(open_page(CANVAS_PDF, CANVAS_A4));
    poppler_run("TZ=UTC pdfinfo -isodates", &page, "", &text);
    assert_non_null(strstr(text.data, "Title:           A <page> & more\n"));
    assert_non_null(strstr(text.data, "Author:          headgate test\n"));
    assert_non_null(strstr(text.data, "CreationDate:    2026-03-06T12:30:00Z"));
    finish(open_page(CANVAS_SVG, CANVAS_A4));
    assert_non_null(strstr(page.data, "<title>A &lt;page> &amp; more</title>"));
}

static void the_same_calls_give_the_same_bytes(void **state)
{
    struct canvas *canvas;
    struct buf first;

    (void)state;
    buf_init(&first, 1 << 20);
    for (int form = CANVAS_PDF; form <= CANVAS_SVG; form++) {
        canvas = open_page((enum canvas_form)form, CANVAS_A4);
        draw_all(canvas);
        finish(canvas);
        buf_empty(&first);
        buf_add(&first, page.data, page.len);
        /* a page between, which must not number those after it */
        finish(open_page(CANVAS_SVG, CANVAS_LETTER));
        canvas = open_page((enum canvas_form)form, CANVAS_A4);
        draw_all(canvas);
        finish(canvas);
        assert_int_equal(page.len, first.len);
        assert_memory_equal(page.data, first.data, first.len);
    }
    buf_clear(&first);
}

/* Where poppler finds it; points. */
static struct poppler_word word_at(const char *wanted)
{
    static struct poppler_word words[64];
    size_t count = poppler_words(&page, &text, words, COUNT(words));

    for (size_t i = 0; i < count; i++) {
        if (strcmp(words[i].text, wanted) == 0)
            return words[i];
    }
    fail_msg("no word %s", wanted);
    return words[0];
}

static void text_stands_where_it_is_put(void **state)
{
    struct canvas *canvas = open_page(CANVAS_PDF, CANVAS_A4);
    struct canvas_type right = plain, middle = plain;
    double width_mm, mm = 72.0 / 25.4;

    (void)state;
    right.align = ALIGN_RIGHT;
    middle.align = ALIGN_CENTRE;
    canvas_text(canvas, 50, 20, &plain, "left");
    canvas_text(canvas, 50, 30, &right, "right");
    canvas_text(canvas, 50, 40, &middle, "middle");
    canvas_measure(canvas, &middle, "middle", &width_mm);
    finish(canvas);
    assert_near(word_at("left").x, 50 * mm, 0.5);
    assert_near(word_at("left").y, 20 * mm, 1.5);
    assert_near(word_at("right").right, 50 * mm, 0.5);
    assert_near(word_at("middle").x, (50 - width_mm / 2) * mm, 0.5);
    assert_near(word_at("middle").right, (50 + width_mm / 2) * mm, 0.5);
}

static void a_narrow_face_is_a_tenth_narrower(void **state)
{
    struct canvas *canvas = open_page(CANVAS_PDF, CANVAS_A4);
    struct canvas_type narrow = plain;
    double wide_mm, narrow_mm;

    (void)state;
    narrow.narrow = true;
    canvas_measure(canvas, &plain, "1250 mL/min", &wide_mm);
    canvas_measure(canvas, &narrow, "1250 mL/min", &narrow_mm);
    canvas_text(canvas, 20, 20, &narrow, "narrower");
    canvas_measure(canvas, &narrow, "narrower", &wide_mm);
    finish(canvas);
    assert_near(word_at("narrower").right - word_at("narrower").x,
                wide_mm * 72.0 / 25.4, 0.5);
    canvas = open_page(CANVAS_PDF, CANVAS_A4);
    canvas_measure(canvas, &plain, "1250 mL/min", &wide_mm);
    assert_int_equal(canvas_close(canvas, NULL), ERR_OK);
    assert_near(narrow_mm / wide_mm, 0.9, 0.01);
}

static void text_is_wrapped_and_cut(void **state)
{
    static const char words[] = "one\ntwo three four five six seven eight nine";
    struct canvas *canvas = open_page(CANVAS_PDF, CANVAS_A4);
    struct canvas_type type = plain;
    double line_mm = canvas_measure(canvas, &type, "one", NULL), width_mm;

    (void)state;
    type.width_mm = 30;
    assert_true(canvas_measure(canvas, &type, words, &width_mm) >
                2.5 * line_mm);
    assert_true(width_mm <= 30.001);
    type.most_lines = 2;
    assert_near(canvas_measure(canvas, &type, words, &width_mm), 2 * line_mm,
                0.1);
    assert_true(width_mm <= 30.001);
    assert_near(canvas_text(canvas, 10, 10, &type, ""), 0, 0);
    assert_near(canvas_measure(canvas, &type, NULL, &width_mm), 0, 0);
    assert_int_equal(canvas_close(canvas, NULL), ERR_OK);
}

/* RFC 3629: neither byte may be; U+FFFD stands in its place (Unicode 3.9). */
static void what_is_no_text_is_replaced(void **state)
{
    struct canvas *canvas = open_page(CANVAS_PDF, CANVAS_A4);

    (void)state;
    canvas_text(canvas, 10, 10, &plain,
                "a\xff\xfe"
                "b\tc\x01"
                "d");
    finish(canvas);
    poppler_text(&page, &text);
    assert_non_null(strstr(text.data, "a\ufffd\ufffdb c d"));
}

static void a_name_from_right_to_left_stands_in_its_place(void **state)
{
    struct canvas *canvas = open_page(CANVAS_PDF, CANVAS_A4);
    struct poppler_word before, after;

    (void)state;
    canvas_text(canvas, 10, 10, &plain,
                "first \u05d0\u05d1\u05d2 \u05d3\u05d4 last");
    finish(canvas);
    before = word_at("first");
    after = word_at("last");
    assert_near(before.x, 10 * 72.0 / 25.4, 0.5);
    assert_true(after.x > before.right + 20);
}

static void a_page_that_is_too_long_is_refused(void **state)
{
    struct canvas *canvas = open_page(CANVAS_SVG, CANVAS_A4);
    struct buf small;

    (void)state;
    buf_init(&small, 100);
    draw_all(canvas);
    assert_int_equal(canvas_close(canvas, &small), ERR_LIMIT);
    buf_clear(&small);
    assert_int_equal(canvas_close(NULL, &small), ERR_OK);
}

static void what_cannot_be_drawn_is_left_out(void **state)
{
    struct canvas *canvas = open_page(CANVAS_PDF, CANVAS_A4);

    (void)state;
    canvas_mark(canvas, (struct canvas_point){ NAN, 5 }, 2, MARK_DISC);
    canvas_area(canvas, (struct box){ 5, 5, -1, 3 }, FILL_RISING);
    canvas_area(canvas, (struct box){ 5, 5, INFINITY, 3 }, FILL_DOTTED);
    canvas_path(canvas, NULL, 0, (struct canvas_pen){ .width_mm = 1 });
    canvas_text(canvas, 10, 10, &plain, "still here");
    finish(canvas);
    poppler_text(&page, &text);
    assert_non_null(strstr(text.data, "still here"));
}

static void the_font_is_there(void **state)
{
    const char *asked;

    (void)state;
    buf_empty(&text);
    assert_true(canvas_font(&asked, &text));
    assert_string_equal(text.data, asked);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_page_has_the_size_of_its_paper),
        cmocka_unit_test(a_document_says_what_made_it_and_when),
        cmocka_unit_test(the_same_calls_give_the_same_bytes),
        cmocka_unit_test(text_stands_where_it_is_put),
        cmocka_unit_test(a_narrow_face_is_a_tenth_narrower),
        cmocka_unit_test(text_is_wrapped_and_cut),
        cmocka_unit_test(what_is_no_text_is_replaced),
        cmocka_unit_test(a_name_from_right_to_left_stands_in_its_place),
        cmocka_unit_test(a_page_that_is_too_long_is_refused),
        cmocka_unit_test(what_cannot_be_drawn_is_left_out),
        cmocka_unit_test(the_font_is_there),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
