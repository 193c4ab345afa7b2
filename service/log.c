/*
 * A line is built on the stack and leaves in one write(), so that lines of
 * several threads do not mix:
 *
 *     time=2026-01-02T03:04:05.678Z level=warn event=outbox.retry row=5
 */
#include "service/log.h"

#include <errno.h>
#include <inttypes.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { LINE_SIZE = 1024 };

static const char *const level_words[] = { "debug", "info", "warn", "error" };

static atomic_int least_level = LOG_INFO;

/* A line of limited length; a field that does not fit is left out whole. */
struct line {
    size_t len;
    char text[LINE_SIZE];
};

void log_set_level(enum log_level level)
{
    atomic_store(&least_level, (int)level);
}

bool log_says(enum log_level level)
{
    return (int)level >= atomic_load(&least_level);
}

uint64_t log_now_ns(void)
{
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (uint64_t)now.tv_sec * 1000000000 + (uint64_t)now.tv_nsec;
}

int64_t log_ms_since(uint64_t began_ns)
{
    return began_ns != 0 ? (int64_t)((log_now_ns() - began_ns) / 1000000) : 0;
}

enum err log_level_by_word(const char *word, enum log_level *level)
{
    for (size_t i = 0; i < COUNT(level_words); i++) {
        if (strcmp(level_words[i], word) == 0) {
            *level = (enum log_level)i;
            return ERR_OK;
        }
    }
    return ERR_UNKNOWN;
}

__attribute__((format(printf, 2, 3))) static void add(struct line *l,
                                                      const char *format, ...)
{
    size_t room = LINE_SIZE - 1 - l->len; /* one byte for the newline */
    va_list args;
    int n;

    va_start(args, format);
    n = vsnprintf(l->text + l->len, room, format, args);
    va_end(args);
    if (n > 0 && (size_t)n < room)
        l->len += (size_t)n;
}

static void add_time(struct line *l)
{
    struct timespec now;
    struct tm utc;

    if (clock_gettime(CLOCK_REALTIME, &now) != 0 ||
        gmtime_r(&now.tv_sec, &utc) == NULL)
        return;
    add(l, "time=%04d-%02d-%02dT%02d:%02d:%02d.%03ldZ ", utc.tm_year + 1900,
        utc.tm_mon + 1, utc.tm_mday, utc.tm_hour, utc.tm_min, utc.tm_sec,
        now.tv_nsec / 1000000);
}

static void add_field(struct line *l, const struct log_field *f)
{
    if (f->word == NULL)
        add(l, " %s=%" PRId64, f->key, f->number);
    else if (strpbrk(f->word, " =") != NULL || f->word[0] == '\0')
        add(l, " %s=\"%s\"", f->key, f->word);
    else
        add(l, " %s=%s", f->key, f->word);
}

void log_write(enum log_level level, const char *event,
               const struct log_field *fields)
{
    int errno_before = errno; /* a caller may still want to look at it */
    struct line l = { 0 };
    ssize_t n;

    if (!log_says(level) || (unsigned)level >= COUNT(level_words))
        return;
    add_time(&l);
    add(&l, "level=%s event=%s", level_words[level], event);
    for (; fields->key != NULL; fields++)
        add_field(&l, fields);
    l.text[l.len++] = '\n';
    do
        n = write(STDERR_FILENO, l.text, l.len);
    while (n < 0 && errno == EINTR);
    errno = errno_before; /* a log that nobody takes stops nothing */
}
