/* capture_kit - what goes to standard error, into a file and back as text */
#ifndef HEADGATE_TESTS_CAPTURE_KIT_H
#define HEADGATE_TESTS_CAPTURE_KIT_H

#include "tests/test.h"

#include <unistd.h>

static FILE *capture;
static int stderr_before;

static inline void capture_start(void)
{
    capture = tmpfile();
    assert_non_null(capture);
    fflush(stderr);
    stderr_before = dup(STDERR_FILENO);
    assert_true(dup2(fileno(capture), STDERR_FILENO) >= 0);
}

/* Returns how many bytes came; text ends with a NUL. */
static inline size_t capture_stop(char *text, size_t size)
{
    size_t len;

    dup2(stderr_before, STDERR_FILENO);
    close(stderr_before);
    rewind(capture);
    len = fread(text, 1, size - 1, capture);
    text[len] = '\0';
    fclose(capture);
    return len;
}

#endif
