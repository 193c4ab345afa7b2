/* What a file is, by its first bytes; the lines themselves are in feed.c. */
#include "adapters/feed.h"

#include "adapters/hl7_batch.h"

#include <stdio.h>
#include <string.h>

#define BLANKS " \t\r\n"

static bool starts(const char *head, size_t len, const char *with, size_t n)
{
    return len >= n && memcmp(head, with, n) == 0;
}

/* UTF-16 and UTF-32 begin with a mark of theirs, or have zeros in every
 * letter of ASCII; no text that is read here has one. */
static bool is_wide(const char *head, size_t len)
{
    return starts(head, len, "\xff\xfe", 2) ||
           starts(head, len, "\xfe\xff", 2) || memchr(head, 0, len) != NULL;
}

enum feed_kind feed_kind_of(const char *head, size_t len, const char *name)
{
    size_t at = starts(head, len, "\xef\xbb\xbf", 3) ? 3 : 0;

    if (starts(head, len, "\x1f\x8b", 2))
        return FEED_GZIP;
    if (hl7_batch_looks(head, len) || hl7_batch_looks(head + at, len - at))
        return FEED_HL7;
    if (is_wide(head, len))
        return FEED_UTF16;
    while (at < len && strchr(BLANKS, head[at]) != NULL)
        at++;
    /* Blanks that fill the whole head: what comes may still be read. */
    if (at == len)
        return len < FEED_HEAD_SIZE ? FEED_EMPTY : FEED_JSON;
    if (head[at] == '{' || (name != NULL && feed_named_lines(name)))
        return FEED_JSON;
    return FEED_OTHER;
}

const char *feed_kind_reason(enum feed_kind kind)
{
    static const char *const reasons[] = {
        [FEED_JSON] = NULL,
        [FEED_HL7] = NULL,
        [FEED_EMPTY] = "the file is empty",
        [FEED_GZIP] = "the file is compressed (gzip); unpack it first, for "
                      "example with gunzip",
        [FEED_UTF16] = "the file is not UTF-8 (it is UTF-16, or binary)",
        [FEED_OTHER] = "the file is neither JSON (NDJSON, a Bundle, a "
                       "resource) nor HL7 v2"
    };

    return (size_t)kind < COUNT(reasons) ? reasons[kind] : reasons[FEED_OTHER];
}

/* The string that begins at text[*at], "" if it is a long one; *at is moved
 * to its end. */
static void take_string(const char *text, size_t len, size_t *at, char *out,
                        size_t size)
{
    size_t begin = ++*at;

    while (*at < len && text[*at] != '"')
        *at += text[*at] == '\\' ? 2 : 1;
    snprintf(out, size, "%.*s",
             *at < len && *at - begin < size ? (int)(*at - begin) : 0,
             text + begin);
}

bool feed_is_bundle(const char *text, size_t len)
{
    char word[16] = "", before[16] = "";
    int depth = 0;

    for (size_t i = 0; i < len; i++) {
        if (text[i] == '{' || text[i] == '[')
            depth++;
        else if (text[i] == '}' || text[i] == ']')
            depth--;
        else if (text[i] == ',' && depth == 1)
            before[0] = '\0';
        else if (text[i] == ':' && depth == 1)
            memcpy(before, word, sizeof(before));
        if (text[i] != '"')
            continue;
        take_string(text, len, &i, word, sizeof(word));
        if (depth == 1 && strcmp(before, "resourceType") == 0)
            return strcmp(word, "Bundle") == 0;
    }
    return false;
}
