#include "adapters/json_pretty.h"

#include <string.h>

static void break_line(struct buf *out, size_t depth)
{
    buf_puts(out, "\n");
    for (size_t i = 0; i < depth; i++)
        buf_puts(out, "  ");
}

static bool is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

/* How long the string that begins here is, with its quotes. */
static size_t string_len(const char *json, size_t len)
{
    size_t n = 1;

    while (n < len && json[n] != '"')
        n += json[n] == '\\' ? 2 : 1;
    return n < len ? n + 1 : len;
}

/* An object or list that holds nothing stays on its line. */
static bool is_empty(const char *json, size_t len)
{
    size_t n = 1;

    while (n < len && is_blank(json[n]))
        n++;
    return n < len && (json[n] == '}' || json[n] == ']');
}

void json_pretty(const char *json, size_t len, struct buf *out)
{
    size_t depth = 0;
    bool was_empty = false;

    for (size_t i = 0; i < len; i++) {
        size_t n = 1;

        if (is_blank(json[i]))
            continue;
        if (json[i] == '"')
            n = string_len(json + i, len - i);
        if (json[i] == '}' || json[i] == ']') {
            depth -= depth > 0 ? 1 : 0;
            if (!was_empty)
                break_line(out, depth);
        }
        buf_add(out, json + i, n);
        was_empty = false;
        if (json[i] == '{' || json[i] == '[') {
            depth++;
            was_empty = is_empty(json + i, len - i);
            if (!was_empty)
                break_line(out, depth);
        } else if (json[i] == ',') {
            break_line(out, depth);
        } else if (json[i] == ':') {
            buf_puts(out, " ");
        }
        i += n - 1;
    }
    buf_puts(out, "\n");
}
