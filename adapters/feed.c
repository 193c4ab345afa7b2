#include "adapters/feed.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

/*
 * The window into the file:
 *
 *     data          from            to             FEED_SIZE
 *      |   taken     |   to be read  |    room        |
 *
 * It holds the longest line with its end, and enough after it to see that
 * something follows.
 */
enum { FEED_SIZE = FEED_LINE_MAX + (64 << 10), BOM_SIZE = 3 };

struct feed {
    feed_read_fn read;
    void *arg;
    char *data;
    size_t from, to;
    uint64_t offset;       /* of data[from] in the file */
    uint64_t number;       /* lines taken */
    bool begun;            /* the byte order mark has been looked for */
    bool ended;            /* nothing more is to be read */
    bool again;            /* the last line is to be given once more */
    struct feed_line last; /* as given by feed_next */
    enum err last_err;
};

enum err feed_read_file(void *arg, char *data, size_t size, size_t *got)
{
    FILE *file = arg;

    *got = fread(data, 1, size, file);
    return *got == 0 && ferror(file) ? ERR_IO : ERR_OK;
}

enum err feed_new_at(feed_read_fn read, void *arg, uint64_t offset,
                     uint64_t lines, struct feed **out)
{
    struct feed *f = calloc(1, sizeof(*f));

    if (f == NULL)
        return ERR_MEMORY;
    f->data = malloc(FEED_SIZE);
    if (f->data == NULL) {
        free(f);
        return ERR_MEMORY;
    }
    f->read = read;
    f->arg = arg;
    f->offset = offset;
    f->number = lines;
    f->begun = offset > 0; /* a byte order mark stands at the start only */
    *out = f;
    return ERR_OK;
}

enum err feed_new(feed_read_fn read, void *arg, struct feed **out)
{
    return feed_new_at(read, arg, 0, 0, out);
}

void feed_free(struct feed *feed)
{
    if (feed == NULL)
        return;
    free(feed->data);
    free(feed);
}

void feed_again(struct feed *feed)
{
    feed->again = true;
}

uint64_t feed_taken(const struct feed *feed)
{
    return feed->again ? feed->last.offset : feed->offset;
}

uint64_t feed_lines(const struct feed *feed)
{
    return feed->again ? feed->last.number - 1 : feed->number;
}

/* ---- the window --------------------------------------------------------- */

static void take(struct feed *f, size_t len)
{
    f->from += len;
    f->offset += len;
}

/* Read once, to the end of the window; what has been taken makes room. */
static enum err fill(struct feed *f)
{
    size_t got = 0;
    enum err e;

    if (f->from > 0) {
        memmove(f->data, f->data + f->from, f->to - f->from);
        f->to -= f->from;
        f->from = 0;
    }
    if (f->ended || f->to == FEED_SIZE)
        return ERR_OK;
    e = f->read(f->arg, f->data + f->to, FEED_SIZE - f->to, &got);
    if (e != ERR_OK)
        return e;
    f->to += got;
    f->ended = got == 0;
    return ERR_OK;
}

/* Before anything is taken: pass over the byte order mark. */
static enum err begin(struct feed *f)
{
    enum err e = ERR_OK;

    while (!f->begun && e == ERR_OK) {
        if (f->to < BOM_SIZE && !f->ended) {
            e = fill(f);
            continue;
        }
        f->begun = true;
        if (f->to >= BOM_SIZE && memcmp(f->data, "\xef\xbb\xbf", BOM_SIZE) == 0)
            take(f, BOM_SIZE);
    }
    return e;
}

/* ---- one object by its brackets and strings ------------------------------- */

static bool is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

/* The text without blanks at its ends. */
static void trim(const char **text, size_t *len)
{
    while (*len > 0 && is_blank((*text)[*len - 1]))
        (*len)--;
    while (*len > 0 && is_blank((*text)[0])) {
        (*text)++;
        (*len)--;
    }
}

/* First byte after the string that opens at *at; false if it does not close. */
static bool pass_string(const char *text, size_t len, size_t *at)
{
    for (size_t i = *at + 1; i < len; i++) {
        if (text[i] == '\\') {
            i++;
        } else if (text[i] == '"') {
            *at = i;
            return true;
        }
    }
    return false;
}

/*
 * Is the text, which has no blanks at its ends, one object?  Only brackets
 * and strings are looked at, as much as keeps it within its entry: the
 * receiver judges the rest.
 */
static bool is_object(const char *text, size_t len)
{
    char close[FEED_DEPTH_MAX] = { 0 };
    size_t depth = 0;

    if (len == 0 || text[0] != '{')
        return false;
    for (size_t i = 0; i < len; i++) {
        char c = text[i];

        if (c == '"') {
            if (!pass_string(text, len, &i))
                return false;
        } else if (c == '{' || c == '[') {
            if (depth == FEED_DEPTH_MAX)
                return false;
            close[depth++] = c == '{' ? '}' : ']';
        } else if (c == '}' || c == ']') {
            if (depth == 0 || close[--depth] != c)
                return false;
            if (depth == 0)
                return i + 1 == len;
        }
    }
    return false;
}

/* ---- lines ---------------------------------------------------------------- */

/* Take the line of len bytes at from, and its end if it has one. */
static void take_line(struct feed *f, size_t len, bool has_end)
{
    f->number++;
    f->last = (struct feed_line){ .number = f->number,
                                  .offset = f->offset,
                                  .text = f->data + f->from,
                                  .len = len };
    if (len > 0 && f->data[f->from + len - 1] == '\r')
        f->last.len--;
    take(f, len + (has_end ? 1 : 0));
}

/* The line at from is too long: pass over the rest of it, window by window. */
static enum err skip_line(struct feed *f)
{
    struct feed_line line = { .number = ++f->number, .offset = f->offset };
    const char *end = NULL;
    enum err e = ERR_OK;

    while (e == ERR_OK && end == NULL && !(f->ended && f->from == f->to)) {
        size_t len = f->to - f->from;

        end = memchr(f->data + f->from, '\n', len);
        if (end != NULL)
            len = (size_t)(end - (f->data + f->from)) + 1;
        take(f, len);
        if (end == NULL)
            e = fill(f);
    }
    line.len = (size_t)(f->offset - line.offset) - (end != NULL ? 1 : 0);
    f->last = line;
    return e == ERR_OK ? ERR_LIMIT : e;
}

/* The next line, blank or not. */
static enum err next_line(struct feed *f)
{
    size_t seen = 0;
    enum err e = begin(f);

    while (e == ERR_OK) {
        size_t len = f->to - f->from;
        const char *end = memchr(f->data + f->from + seen, '\n', len - seen);

        if (end != NULL)
            len = (size_t)(end - (f->data + f->from));
        if (len > FEED_LINE_MAX + 1) /* one more may be the CR of the end */
            return skip_line(f);
        if (end != NULL || f->ended) {
            if (end == NULL && len == 0)
                return ERR_ABSENT;
            if (len > FEED_LINE_MAX && f->data[f->from + len - 1] != '\r')
                return skip_line(f);
            take_line(f, len, end != NULL);
            return ERR_OK;
        }
        seen = len;
        e = fill(f);
    }
    return e;
}

static enum err find_line(struct feed *feed)
{
    const char *text;
    size_t len;
    enum err e;

    do {
        e = next_line(feed);
        if (e != ERR_OK)
            return e;
        text = feed->last.text;
        len = feed->last.len;
        trim(&text, &len);
    } while (len == 0);
    return is_object(text, len) ? ERR_OK : ERR_FORM;
}

enum err feed_next(struct feed *feed, struct feed_line *line)
{
    if (!feed->again)
        feed->last_err = find_line(feed);
    feed->again = false;
    if (feed->last_err == ERR_OK || feed->last_err == ERR_FORM ||
        feed->last_err == ERR_LIMIT)
        *line = feed->last;
    return feed->last_err;
}

enum err feed_head(struct feed *feed, const char **head, size_t *len)
{
    enum err e = begin(feed);

    while (e == ERR_OK && !feed->ended &&
           feed->to - feed->from < FEED_HEAD_SIZE)
        e = fill(feed);
    *head = feed->data + feed->from;
    *len = feed->to - feed->from;
    if (*len > FEED_HEAD_SIZE)
        *len = FEED_HEAD_SIZE;
    return e;
}

/* ---- NDJSON or a document ------------------------------------------------- */

static bool ends_in(const char *name, const char *ending)
{
    size_t len = strlen(name), end = strlen(ending);

    return len >= end && strcasecmp(name + len - end, ending) == 0;
}

bool feed_named_lines(const char *name)
{
    return ends_in(name, ".ndjson") || ends_in(name, ".jsonl");
}

enum look { LOOK_FURTHER, LOOK_LINES, LOOK_DOCUMENT };

/* A whole object in the first line that is not blank, and more after it? */
static enum look look(const char *text, size_t len)
{
    const char *end;
    size_t first;

    while (len > 0 && is_blank(text[0])) {
        text++;
        len--;
    }
    end = memchr(text, '\n', len);
    if (end == NULL)
        return LOOK_FURTHER;
    first = (size_t)(end - text);
    len -= first;
    trim(&end, &len);
    trim(&text, &first);
    if (!is_object(text, first))
        return LOOK_DOCUMENT;
    return len > 0 ? LOOK_LINES : LOOK_FURTHER;
}

enum err feed_is_lines(struct feed *feed, const char *name, bool *lines)
{
    enum look found = LOOK_FURTHER;
    enum err e;

    if (name != NULL && feed_named_lines(name)) {
        *lines = true;
        return ERR_OK;
    }
    e = begin(feed);
    while (e == ERR_OK) {
        bool all = feed->ended || feed->to - feed->from == FEED_SIZE;

        found = look(feed->data + feed->from, feed->to - feed->from);
        if (found != LOOK_FURTHER || all)
            break;
        e = fill(feed);
    }
    if (e == ERR_OK)
        *lines = found == LOOK_LINES;
    return e;
}

enum err feed_read_on(void *arg, char *data, size_t size, size_t *got)
{
    struct feed *f = arg;
    enum err e = begin(f);
    size_t len;

    if (e == ERR_OK && f->from == f->to && !f->ended)
        e = fill(f);
    if (e != ERR_OK)
        return e;
    len = f->to - f->from < size ? f->to - f->from : size;
    memcpy(data, f->data + f->from, len);
    take(f, len);
    *got = len;
    return ERR_OK;
}

enum err feed_rest(struct feed *feed, struct buf *out)
{
    enum err e = begin(feed);

    while (e == ERR_OK && !(feed->ended && feed->from == feed->to)) {
        buf_add(out, feed->data + feed->from, feed->to - feed->from);
        take(feed, feed->to - feed->from);
        e = buf_ok(out);
        if (e == ERR_OK)
            e = fill(feed);
    }
    return e;
}
