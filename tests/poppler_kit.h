/*
 * poppler_kit - what an independent reader (poppler-utils) makes of a PDF
 */
#ifndef HEADGATE_TESTS_POPPLER_KIT_H
#define HEADGATE_TESTS_POPPLER_KIT_H

#include "adapters/buf.h"
#include "tests/test.h"

#include <unistd.h>

enum { POPPLER_TEXT_MAX = 1 << 20 };

/* The output of "TOOL OPTIONS FILE -", or of "TOOL FILE" for pdfinfo, on
 * these bytes; no-break spaces are plain ones. */
static inline void poppler_run(const char *command, const struct buf *pdf,
                               const char *after, struct buf *out)
{
    char path[] = "/tmp/headgate-test-XXXXXX", line[512], piece[4096];
    int fd = mkstemp(path);
    FILE *pipe;
    size_t len;

    assert_true(fd >= 0);
    assert_int_equal(write(fd, pdf->data, pdf->len), (ssize_t)pdf->len);
    assert_int_equal(close(fd), 0);
    snprintf(line, sizeof(line), "%s %s %s", command, path, after);
    pipe = popen(line, "r");
    assert_non_null(pipe);
    buf_empty(out);
    while ((len = fread(piece, 1, sizeof(piece), pipe)) > 0)
        buf_add(out, piece, len);
    assert_int_equal(pclose(pipe), 0);
    assert_int_equal(unlink(path), 0);
    assert_int_equal(buf_ok(out), ERR_OK);
    for (size_t i = 0; i + 1 < out->len; i++) {
        if ((unsigned char)out->data[i] == 0xc2 &&
            (unsigned char)out->data[i + 1] == 0xa0) {
            out->data[i] = ' ';
            memmove(out->data + i + 1, out->data + i + 2, out->len - i - 1);
            out->len--;
        }
    }
}

/* Its text in the order of drawing, with line feeds as spaces. */
static inline void poppler_text(const struct buf *pdf, struct buf *out)
{
    poppler_run("pdftotext -raw -enc UTF-8", pdf, "-", out);
    for (size_t i = 0; i < out->len; i++) {
        if (out->data[i] == '\n' || out->data[i] == '\f')
            out->data[i] = ' ';
    }
}

/* A word and the box that it stands in, in points from the upper left. */
struct poppler_word {
    double x, y, right, bottom;
    char text[64];
};

static inline size_t poppler_words(const struct buf *pdf, struct buf *scratch,
                                   struct poppler_word *words, size_t max)
{
    size_t count = 0;
    const char *at;

    poppler_run("pdftotext -bbox -enc UTF-8", pdf, "-", scratch);
    at = scratch->data;
    while ((at = strstr(at, "<word ")) != NULL && count < max) {
        struct poppler_word *w = &words[count++];

        assert_int_equal(sscanf(at,
                                "<word xMin=\"%lf\" yMin=\"%lf\" xMax=\"%lf\" "
                                "yMax=\"%lf\">%63[^<]",
                                &w->x, &w->y, &w->right, &w->bottom, w->text),
                         5);
        at++;
    }
    return count;
}

#endif
