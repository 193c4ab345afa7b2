/*
 * worksheet_page - one page of worksheet_kit.h, and the text that an
 * independent reader (poppler) finds on it
 */
#ifndef HEADGATE_TESTS_WORKSHEET_PAGE_H
#define HEADGATE_TESTS_WORKSHEET_PAGE_H

#include "tests/poppler_kit.h"
#include "tests/worksheet_kit.h"

static struct sheet_kit kit;
static struct buf page, text;

static inline int start(void **state)
{
    (void)state;
    write_kit_start(&kit.w);
    buf_init(&page, WORKSHEET_MAX);
    buf_init(&text, POPPLER_TEXT_MAX);
    return 0;
}

static inline int stop(void **state)
{
    (void)state;
    zone_free(kit.w.zone);
    buf_clear(&page);
    buf_clear(&text);
    return 0;
}

static inline void draw_text(void)
{
    sheet_kit_draw(&kit, CANVAS_PDF, &page);
    poppler_text(&page, &text);
}

static inline void assert_says(const char *words)
{
    if (strstr(text.data, words) == NULL)
        fail_msg("the page does not say: %s\nbut: %s", words, text.data);
}

static inline void assert_silent(const char *words)
{
    if (strstr(text.data, words) != NULL)
        fail_msg("the page says: %s", words);
}

#endif
