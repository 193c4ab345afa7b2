#include "adapters/queue_text.h"

#include "adapters/civil.h"

#include <string.h>

/* What stands at text: its code point, and its bytes in *len; 0 bytes if it
 * is not UTF-8.  A NUL ends every sequence, so that it is never passed. */
static uint32_t decode(const char *text, size_t *len)
{
    static const uint32_t least[] = { 0, 0, 0x80, 0x800, 0x10000 };
    const unsigned char *c = (const unsigned char *)text;
    size_t n = c[0] < 0x80 ? 1 : c[0] < 0xe0 ? 2 : c[0] < 0xf0 ? 3 : 4;
    uint32_t point = n == 1 ? c[0] : c[0] & (0x7fU >> n);

    *len = 0;
    if (c[0] >= 0xf8 || (c[0] >= 0x80 && c[0] < 0xc2))
        return 0;
    for (size_t i = 1; i < n; i++) {
        if ((c[i] & 0xc0) != 0x80)
            return 0;
        point = point << 6 | (c[i] & 0x3f);
    }
    /* Neither longer than needed, nor a surrogate, nor beyond Unicode. */
    if (point < least[n] || (point >= 0xd800 && point < 0xe000) ||
        point > 0x10ffff)
        return 0;
    *len = n;
    return point;
}

static bool is_gap(uint32_t point)
{
    return point <= 0x20 || (point >= 0x7f && point < 0xa0) ||
           point == 0x2028 || point == 0x2029;
}

/* Soft hyphen, joiners, marks and overrides of writing direction, and the
 * mark of byte order: nothing that a reader could see. */
static bool is_unseen(uint32_t point)
{
    return point == 0xad || point == 0x61c ||
           (point >= 0x200b && point <= 0x200f) ||
           (point >= 0x202a && point <= 0x202e) ||
           (point >= 0x2060 && point <= 0x206f) || point == 0xfeff;
}

static bool is_combining(uint32_t point)
{
    return (point >= 0x300 && point < 0x370) ||
           (point >= 0x1ab0 && point < 0x1b00) ||
           (point >= 0x1dc0 && point < 0x1e00) ||
           (point >= 0x20d0 && point < 0x2100) ||
           (point >= 0xfe20 && point < 0xfe30);
}

bool queue_text_is_utf8(const char *text)
{
    size_t len = 1;

    while (*text != '\0' && len > 0) {
        (void)decode(text, &len);
        text += len;
    }
    return len > 0;
}

void queue_text_clean(struct buf *out, const char *text)
{
    bool gap = false;
    size_t len, written = 0;

    for (; *text != '\0'; text += len > 0 ? len : 1) {
        uint32_t point = decode(text, &len);

        if (len > 0 && is_unseen(point))
            continue;
        if (len > 0 && is_gap(point)) {
            gap = written > 0;
            continue;
        }
        if (written++ == QUEUE_TEXT_MAX) {
            buf_puts(out, "...");
            return;
        }
        if (gap)
            buf_add(out, " ", 1);
        buf_add(out, len > 0 ? text : "?", len > 0 ? len : 1);
        gap = false;
    }
}

/* Bytes of the character at the start, with the marks that stand on it. */
static size_t character(const char *text, size_t len)
{
    size_t at = 0, n;

    do {
        (void)decode(text + at, &n);
        at += n > 0 ? n : 1;
    } while (at < len && is_combining(decode(text + at, &n)));
    return at < len ? at : len;
}

size_t queue_text_columns(const char *text, size_t len)
{
    size_t columns = 0;

    for (size_t at = 0; at < len; at += character(text + at, len - at))
        columns++;
    return columns;
}

/* Bytes of text up to the end of the next word. */
static size_t word_end(const struct queue_span *s, size_t from)
{
    const char *blank;

    while (from < s->len && s->text[from] == ' ')
        from++;
    blank = memchr(s->text + from, ' ', s->len - from);
    return blank != NULL ? (size_t)(blank - s->text) : s->len;
}

/* Does a unit of measure begin here, after a number? */
static bool is_unit(const struct queue_span *s, size_t end)
{
    static const char *const units[] = { "mL/min", "L/min", "mmHg", "mm",
                                         "%",      "cm",    "day",  "days" };
    size_t from = end + 1, len;

    if (end == 0 || from >= s->len || s->text[end - 1] < '0' ||
        s->text[end - 1] > '9')
        return false;
    len = word_end(s, from) - from;
    while (len > 1 && strchr(".,;:)", s->text[from + len - 1]) != NULL)
        len--;
    for (size_t i = 0; i < COUNT(units); i++) {
        if (strlen(units[i]) == len &&
            memcmp(units[i], s->text + from, len) == 0)
            return true;
    }
    return false;
}

/* A word that is longer than the line: as many characters as there is room
 * for. */
static size_t cut(const struct queue_span *s, size_t columns)
{
    size_t end = 0;

    for (size_t i = 0; i < columns && end < s->len; i++)
        end += character(s->text + end, s->len - end);
    return end;
}

bool queue_text_line(struct queue_span *rest, size_t columns,
                     struct queue_span *line)
{
    size_t end = 0, next = 0, loose = 0;

    if (rest->len == 0)
        return false;
    /* end: as far as the line may go; loose: the same without regard to
     * units, for a line too short for a number and its unit. */
    while (next < rest->len) {
        next = word_end(rest, next);
        if (queue_text_columns(rest->text, next) > columns)
            break;
        loose = next;
        if (!is_unit(rest, next))
            end = next;
    }
    if (end == 0)
        end = loose > 0 ? loose : cut(rest, columns);
    *line = (struct queue_span){ rest->text, end };
    while (end < rest->len && rest->text[end] == ' ')
        end++;
    rest->text += end;
    rest->len -= end;
    return true;
}

size_t queue_columns(int columns)
{
    columns = columns == 0 ? QUEUE_COLUMNS_DEFAULT : columns;
    columns = columns < QUEUE_COLUMNS_LEAST ? QUEUE_COLUMNS_LEAST : columns;
    return (size_t)(columns > QUEUE_COLUMNS_MOST ? QUEUE_COLUMNS_MOST
                                                 : columns);
}

/* One line, without its line feed. */
static void wrap_line(struct queue_span rest, size_t columns, struct buf *out)
{
    enum { HANG = 2, INDENT_MOST = 24 };
    size_t indent = 0;
    struct queue_span line;

    while (indent < rest.len && rest.text[indent] == ' ')
        indent++;
    rest.text += indent;
    rest.len -= indent;
    /* what fits is a line of a table, and keeps its columns */
    if (indent + queue_text_columns(rest.text, rest.len) > columns &&
        indent > INDENT_MOST)
        indent = INDENT_MOST;
    for (bool first = true; queue_text_line(&rest, columns - indent, &line);
         first = false) {
        if (!first)
            buf_puts(out, "\n");
        buf_printf(out, "%*s", (int)indent, "");
        buf_add(out, line.text, line.len);
        indent += first ? HANG : 0;
    }
    buf_puts(out, "\n");
}

void queue_page_wrap(const char *text, size_t len, int columns, struct buf *out)
{
    const char *end = text + len;

    while (text < end) {
        const char *feed = memchr(text, '\n', (size_t)(end - text));
        const char *stop = feed != NULL ? feed : end;

        wrap_line((struct queue_span){ text, (size_t)(stop - text) },
                  queue_columns(columns), out);
        text = stop + 1;
    }
}

static int64_t local_day(int64_t at_s, const struct zone *zone)
{
    return civil_day_of_s(at_s + zone_offset_s(zone, at_s));
}

int64_t queue_days(int64_t due_s, int64_t now_s, const struct zone *zone)
{
    return local_day(due_s, zone) - local_day(now_s, zone);
}
