#include "adapters/progress.h"

#include <inttypes.h>
#include <string.h>
#include <unistd.h>

/* Parts of the line, in columns; the bar takes what is left. */
enum { NAME_MOST = 24, BAR_LEAST = 8, AMOUNT_SIZE = 64 };

/* A guess from less than this says nothing. */
enum { GUESS_AFTER_MS = 2000 };

/* ---- parts ---------------------------------------------------------------- */

static bool is_control(unsigned char c)
{
    return c < 0x20 || c == 0x7f;
}

/*
 * As much of the name as fits, from its end: the end tells files apart.  Cut
 * between characters; what a terminal would obey becomes "?".  Returns its
 * columns.
 */
static size_t put_name(const char *name, size_t most, char *text)
{
    size_t columns = 0, at = strlen(name), len = 0;

    while (at > 0 && columns < most) {
        do
            at--;
        while (at > 0 && ((unsigned char)name[at] & 0xc0) == 0x80 &&
               strlen(name) - at < most * 4);
        columns++;
    }
    for (; name[at] != '\0' && len < most * 4; at++)
        text[len++] =
            (char)(is_control((unsigned char)name[at]) ? '?' : name[at]);
    text[len] = '\0';
    return columns;
}

static const char *const units[] = { "kB", "MB", "GB", "TB", "PB", "EB" };

/* "1.8 MB" */
static void put_one(double bytes, char *text, size_t size)
{
    size_t unit = 0;

    bytes /= 1e3;
    while (unit + 1 < sizeof(units) / sizeof(units[0]) && bytes >= 1e3) {
        bytes /= 1e3;
        unit++;
    }
    snprintf(text, size, "%.1f %s", bytes, units[unit]);
}

/* "12.3 of 28.4 MB": both in the unit that suits the larger. */
static void put_amount(uint64_t done, uint64_t total, char text[AMOUNT_SIZE])
{
    double scale = 1e3;
    size_t unit = 0;

    while (unit < 5 && (double)(total > done ? total : done) >= scale * 1e3) {
        scale *= 1e3;
        unit++;
    }
    if (total == 0)
        snprintf(text, AMOUNT_SIZE, "%.1f %s", (double)done / scale,
                 units[unit]);
    else
        snprintf(text, AMOUNT_SIZE, "%.1f of %.1f %s", (double)done / scale,
                 (double)total / scale, units[unit]);
}

/* ", 1.8 MB/s", or nothing where that cannot be said. */
static void put_rate(uint64_t done, int64_t spent_ms, char text[AMOUNT_SIZE])
{
    char amount[AMOUNT_SIZE / 2];

    text[0] = '\0';
    if (done == 0 || spent_ms < GUESS_AFTER_MS)
        return;
    put_one((double)done / ((double)spent_ms / 1e3), amount, sizeof(amount));
    snprintf(text, AMOUNT_SIZE, ", %s/s", amount);
}

/* ", 8 s left", or nothing where that cannot be said. */
static void put_left(uint64_t done, uint64_t from, uint64_t total,
                     int64_t spent_ms, char text[AMOUNT_SIZE])
{
    double left_s;

    text[0] = '\0';
    if (done <= from || done >= total || spent_ms < GUESS_AFTER_MS)
        return;
    left_s = (double)spent_ms / 1e3 *
             ((double)(total - done) / (double)(done - from));
    if (left_s < 99.5)
        snprintf(text, AMOUNT_SIZE, ", %.0f s left", left_s);
    else if (left_s < 99.5 * 60)
        snprintf(text, AMOUNT_SIZE, ", %.0f min left", left_s / 60);
    else if (left_s < 99.5 * 3600)
        snprintf(text, AMOUNT_SIZE, ", %.0f h left", left_s / 3600);
}

static void put_bar(char *bar, size_t size, double share)
{
    size_t full = (size_t)((double)size * share);

    memset(bar, '=', full);
    memset(bar + full, '.', size - full);
    bar[size] = '\0';
}

/* ---- the line ------------------------------------------------------------- */

size_t progress_text(const struct progress *p, uint64_t done_bytes,
                     int64_t now_ms, char text[PROGRESS_TEXT_SIZE])
{
    char name[NAME_MOST * 4 + 1], amount[AMOUNT_SIZE], left[AMOUNT_SIZE];
    char rate[AMOUNT_SIZE];
    char bar[PROGRESS_COLUMNS_MOST + 1];
    uint64_t total = p->total_bytes;
    /* A file may have grown since its size was asked. */
    uint64_t done = total > 0 && done_bytes > total ? total : done_bytes;
    size_t most = (size_t)p->columns - 1, used, name_most = most / 4;
    double share = total > 0 ? (double)done / (double)total : 0;

    if (name_most > NAME_MOST)
        name_most = NAME_MOST;
    used = put_name(p->name, name_most, name);
    put_amount(done, total, amount);
    put_left(done, p->from_bytes, total, now_ms - p->start_ms, left);
    put_rate(done > p->from_bytes ? done - p->from_bytes : 0,
             now_ms - p->start_ms, rate);
    if (total == 0) {
        if (used + 2 + strlen(amount) + strlen(rate) > most)
            rate[0] = '\0';
        snprintf(text, PROGRESS_TEXT_SIZE, "%s  %s%s", name, amount, rate);
        return used + 2 + strlen(amount) + strlen(rate);
    }
    used += strlen("  100 % ") + strlen(amount);
    if (used + strlen(rate) + strlen(left) + BAR_LEAST + 3 <= most)
        used += strlen(rate);
    else
        rate[0] = '\0';
    if (used + strlen(left) <= most)
        used += strlen(left);
    else
        left[0] = '\0';
    bar[0] = '\0';
    if (used + BAR_LEAST + strlen("[] ") <= most) {
        put_bar(bar, most - used - strlen("[] "), share);
        used = most;
    }
    snprintf(text, PROGRESS_TEXT_SIZE, "%s  %3d %% %s%s%s%s%s%s", name,
             (int)(share * 100), bar[0] != '\0' ? "[" : "", bar,
             bar[0] != '\0' ? "] " : "", amount, rate, left);
    return used;
}

void progress_start(struct progress *p, FILE *out, const char *name,
                    uint64_t total_bytes, int columns, int64_t now_ms)
{
    int width = columns == 0 ? PROGRESS_COLUMNS_DEFAULT : columns;

    if (width < PROGRESS_COLUMNS_LEAST)
        width = PROGRESS_COLUMNS_LEAST;
    if (width > PROGRESS_COLUMNS_MOST)
        width = PROGRESS_COLUMNS_MOST;
    *p = (struct progress){ .out = isatty(fileno(out)) ? out : NULL,
                            .name = name,
                            .total_bytes = total_bytes,
                            .columns = width,
                            .start_ms = now_ms,
                            .next_ms = now_ms };
}

void progress_update(struct progress *p, uint64_t done_bytes, int64_t now_ms)
{
    char text[PROGRESS_TEXT_SIZE];
    size_t columns;

    if (p->out == NULL || now_ms < p->next_ms)
        return;
    p->next_ms = now_ms + PROGRESS_STEP_MS;
    columns = progress_text(p, done_bytes, now_ms, text);
    /* Blanks over what the line before leaves: no escapes are needed. */
    fprintf(p->out, "\r%s%*s", text,
            (int)(p->shown > columns ? p->shown - columns : 0), "");
    fflush(p->out);
    p->shown = columns;
}

void progress_clear(struct progress *p)
{
    if (p->out == NULL || p->shown == 0)
        return;
    fprintf(p->out, "\r%*s\r", (int)p->shown, "");
    fflush(p->out);
    p->shown = 0;
}
