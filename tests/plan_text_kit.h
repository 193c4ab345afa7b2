/*
 * plan_text_kit - the page of an invented plan, and what stands on it
 */
#ifndef HEADGATE_TESTS_PLAN_TEXT_KIT_H
#define HEADGATE_TESTS_PLAN_TEXT_KIT_H

#include "tests/plan_write_kit.h"

static struct write_kit kit;
static struct buf page;

/* As few lines as they are written: blanks and line feeds become one blank. */
static inline char *flat(void)
{
    static char text[PLAN_DOCUMENT_MAX];
    size_t len = 0;

    for (size_t i = 0; i < page.len; i++) {
        bool blank = page.data[i] == ' ' || page.data[i] == '\n';

        if (!blank)
            text[len++] = page.data[i];
        else if (len > 0 && text[len - 1] != ' ')
            text[len++] = ' ';
    }
    text[len] = '\0';
    return text;
}

static inline const char *write_page(void)
{
    buf_empty(&page);
    plan_text(&kit.d, &page);
    assert_int_equal(buf_ok(&page), ERR_OK);
    return flat();
}

static inline void assert_says(const char *want)
{
    if (strstr(flat(), want) == NULL)
        fail_msg("\"%s\" is not in:\n%s", want, page.data);
}

static inline void assert_silent(const char *word)
{
    if (strstr(flat(), word) != NULL)
        fail_msg("\"%s\" is in:\n%s", word, page.data);
}

#endif
