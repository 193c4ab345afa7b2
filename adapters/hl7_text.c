/*
 * The escapes of HL7 v2: \F\ and its like, within a value.
 *
 * What begins with the escape character goes up to the next one.  If there is
 * none, the rest is text; so every byte is looked at twice at most.
 */
#include "adapters/hl7_work.h"

#include <string.h>

enum { SPACES_MAX = 20 };

const char *hl7_part_end(const char *from, const char *end, char sep)
{
    const char *found =
        sep == '\0' ? NULL : memchr(from, sep, (size_t)(end - from));

    return found != NULL ? found : end;
}

/* -1: not a hexadecimal digit. */
static int digit(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    if (c >= 'A' && c <= 'F')
        return c - 'A' + 10;
    return c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

/* X and pairs of digits, one or more? */
static bool is_hex(const char *at, size_t len)
{
    if (len < 3 || len % 2 == 0 || at[0] != 'X')
        return false;
    for (size_t i = 1; i < len; i++) {
        if (digit(at[i]) < 0)
            return false;
    }
    return true;
}

static void add_bytes(const char *at, size_t len, struct buf *out)
{
    for (size_t i = 1; i + 1 < len; i += 2) {
        char byte = (char)(digit(at[i]) * 16 + digit(at[i + 1]));

        buf_add(out, &byte, 1);
    }
}

/*
 * The bytes of the escape at *at, and of those that follow at once: some
 * senders write each byte of a character as an escape of its own.  *at is then
 * behind them.  Bytes that are not of the set stay as they were written: what
 * stands beside them in the message may be urgent.
 */
static enum err hex(struct hl7_message *m, struct hl7_charset *charset,
                    const char **at, const char *end)
{
    char sign = m->delimiters.escape;
    const char *from = *at;
    size_t before = m->text.len, bad;
    struct buf bytes;
    enum err e;

    buf_init(&bytes, HL7_MESSAGE_MAX);
    while (*at < end && **at == sign) {
        const char *close = hl7_part_end(*at + 1, end, sign);
        size_t len = (size_t)(close - *at) - 1;

        if (close == end || !is_hex(*at + 1, len))
            break;
        add_bytes(*at + 1, len, &bytes);
        *at = close + 1;
    }
    e = buf_ok(&bytes);
    if (e == ERR_OK && memchr(bytes.data, '\0', bytes.len) != NULL)
        e = ERR_FORM;
    if (e == ERR_OK)
        e = hl7_charset_decode(charset, bytes.data, bytes.len, &m->text, &bad);
    buf_clear(&bytes);
    if (e != ERR_FORM)
        return e;
    m->counts.unknown_escapes++;
    m->text.len = before;
    buf_add(&m->text, from, (size_t)(*at - from));
    return buf_ok(&m->text);
}

/* The delimiter that a letter stands for; 0: none. */
static char delimiter_of(const struct hl7_delimiters *d, char letter)
{
    switch (letter) {
    case 'F':
        return d->field;
    case 'S':
        return d->component;
    case 'T':
        return d->subcomponent;
    case 'R':
        return d->repetition;
    case 'E':
        return d->escape;
    case 'P':
        return d->truncation;
    default:
        return '\0';
    }
}

/* How many lines .br, .sp and .spN end; 0: it is none of these. */
static int lines_of(const char *at, size_t len)
{
    int lines = 0;

    if (len == 3 && (memcmp(at, ".br", 3) == 0 || memcmp(at, ".sp", 3) == 0))
        return 1;
    if (len < 4 || len > 6 || memcmp(at, ".sp", 3) != 0)
        return 0;
    for (size_t i = at[3] == '+' && len > 4 ? 4 : 3; i < len; i++) {
        if (at[i] < '0' || at[i] > '9')
            return 0;
        lines = lines * 10 + (at[i] - '0');
    }
    return lines <= SPACES_MAX ? lines : 0;
}

/* Those that stay as they are and are in order: \Cxxyy\ \Mxxyyzz\ \Zdd\. */
static bool is_kept(const char *at, size_t len)
{
    if (at[0] == 'Z')
        return len > 1;
    if (!(at[0] == 'C' && len == 5) &&
        !(at[0] == 'M' && (len == 5 || len == 7)))
        return false;
    for (size_t i = 1; i < len; i++) {
        if (digit(at[i]) < 0)
            return false;
    }
    return true;
}

/* An escape of len bytes at `at`, its signs around it; not \X. */
static void escape(struct hl7_message *m, const char *at, size_t len)
{
    char letter = '\0';
    int lines = lines_of(at, len);

    if (len == 1)
        letter = delimiter_of(&m->delimiters, at[0]);
    if (letter != '\0') {
        buf_add(&m->text, &letter, 1);
    } else if (lines > 0) {
        while (lines-- > 0)
            buf_add(&m->text, "\n", 1);
    } else if (!(len == 1 && (at[0] == 'H' || at[0] == 'N'))) {
        m->counts.unknown_escapes += is_kept(at, len) ? 0 : 1;
        buf_add(&m->text, at - 1, len + 2);
    }
}

enum err hl7_unescape(struct hl7_message *message, struct hl7_charset *charset,
                      const char *from, const char *end)
{
    char sign = message->delimiters.escape;

    while (from < end) {
        const char *open = hl7_part_end(from, end, sign), *close;
        enum err e = ERR_OK;

        buf_add(&message->text, from, (size_t)(open - from));
        if (open == end)
            break;
        close = hl7_part_end(open + 1, end, sign);
        if (close == end) {
            message->counts.unknown_escapes++;
            buf_add(&message->text, open, (size_t)(end - open));
            break;
        }
        from = close + 1;
        if (is_hex(open + 1, (size_t)(close - open) - 1)) {
            from = open;
            e = hex(message, charset, &from, end);
        } else {
            escape(message, open + 1, (size_t)(close - open) - 1);
        }
        if (e != ERR_OK)
            return e;
    }
    return buf_ok(&message->text);
}
