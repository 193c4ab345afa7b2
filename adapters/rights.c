#include "adapters/rights.h"

#include <string.h>

/* In the order in which the letters must stand. */
static const struct {
    unsigned permit;
    char letter;
    const char *word;
} permits[] = { { RIGHT_CREATE, 'c', "create" },
                { RIGHT_READ, 'r', "read" },
                { RIGHT_UPDATE, 'u', "update" },
                { RIGHT_DELETE, 'd', "delete" },
                { RIGHT_SEARCH, 's', "search" } };

static const struct {
    enum right_level level;
    const char *word;
} levels[] = { { RIGHT_SYSTEM, "system" },
               { RIGHT_LOCAL, "headgate" },
               { RIGHT_USER, "user" },
               { RIGHT_PATIENT, "patient" } };

static bool is_word(const char *text, size_t len, const char *word)
{
    return strlen(word) == len && memcmp(text, word, len) == 0;
}

static bool read_level(const char *text, size_t len, enum right_level *level)
{
    for (size_t i = 0; i < COUNT(levels); i++) {
        if (is_word(text, len, levels[i].word)) {
            *level = levels[i].level;
            return true;
        }
    }
    return false;
}

/* Version 1 words, or letters in their order, each once. */
static unsigned read_permits(const char *text, size_t len)
{
    unsigned found = 0;
    size_t at = 0;

    if (is_word(text, len, "read"))
        return RIGHT_READ | RIGHT_SEARCH;
    if (is_word(text, len, "write"))
        return RIGHT_CREATE | RIGHT_UPDATE | RIGHT_DELETE;
    if (is_word(text, len, "*"))
        return RIGHT_ALL;
    for (size_t i = 0; i < COUNT(permits); i++) {
        if (at < len && text[at] == permits[i].letter) {
            found |= permits[i].permit;
            at++;
        }
    }
    return at == len ? found : 0;
}

static bool read_type(const char *text, size_t len, struct right *scope)
{
    static const char letters[] = "abcdefghijklmnopqrstuvwxyz"
                                  "ABCDEFGHIJKLMNOPQRSTUVWXYZ-";

    if (len == 0 || len >= sizeof(scope->type) ||
        (!is_word(text, len, "*") && strspn(text, letters) < len))
        return false;
    memcpy(scope->type, text, len);
    scope->type[len] = '\0';
    return true;
}

enum err right_read(const char *text, size_t len, struct right *out)
{
    struct right s = { .query = memchr(text, '?', len) };
    size_t head = s.query != NULL ? (size_t)(s.query - text) : len;
    const char *slash = memchr(text, '/', head), *dot;

    if (slash == NULL || !read_level(text, (size_t)(slash - text), &s.level))
        return ERR_FORM;
    dot = memchr(slash, '.', head - (size_t)(slash - text));
    if (dot == NULL || !read_type(slash + 1, (size_t)(dot - slash - 1), &s))
        return ERR_FORM;
    s.permits = read_permits(dot + 1, head - (size_t)(dot + 1 - text));
    if (s.permits == 0)
        return ERR_FORM;
    if (s.query != NULL) {
        s.query++;
        s.query_len = len - head - 1;
        if (s.query_len == 0)
            return ERR_FORM;
    }
    *out = s;
    return ERR_OK;
}

bool rights_next(const char **at, const char **word, size_t *len)
{
    *word = *at + strspn(*at, " \t\r\n");
    *len = strcspn(*word, " \t\r\n");
    *at = *word + *len;
    return *len > 0;
}

void rights_say(unsigned what, struct buf *out)
{
    size_t left = 0;

    for (size_t i = 0; i < COUNT(permits); i++)
        left += (what & permits[i].permit) != 0;
    for (size_t i = 0; i < COUNT(permits); i++) {
        if ((what & permits[i].permit) == 0)
            continue;
        buf_puts(out, permits[i].word);
        left--;
        if (left > 0)
            buf_puts(out, left == 1 ? " or " : ", ");
    }
}

void rights_letters(unsigned what, struct buf *out)
{
    for (size_t i = 0; i < COUNT(permits); i++) {
        if ((what & permits[i].permit) != 0)
            buf_add(out, &permits[i].letter, 1);
    }
}

/* ---- what is missing ---------------------------------------------------- */

/* What of wanted this grant lets do. */
static unsigned covered(const struct right *wanted, const struct right *grant)
{
    if (wanted->level != grant->level ||
        (strcmp(grant->type, "*") != 0 &&
         strcmp(grant->type, wanted->type) != 0))
        return 0;
    if (grant->query != NULL &&
        (wanted->query == NULL || wanted->query_len != grant->query_len ||
         memcmp(wanted->query, grant->query, grant->query_len) != 0))
        return 0;
    return wanted->permits & grant->permits;
}

unsigned rights_left(const struct right *wanted, const char *granted)
{
    unsigned left = wanted->permits;
    const char *word;
    struct right grant;
    size_t len;

    for (int i = 0; i < RIGHT_WORDS_MAX && rights_next(&granted, &word, &len);
         i++) {
        if (right_read(word, len, &grant) == ERR_OK)
            left &= ~covered(wanted, &grant);
    }
    return left;
}

static bool has_word(const char *list, const char *want, size_t want_len)
{
    const char *word;
    size_t len;

    for (int i = 0; i < RIGHT_WORDS_MAX && rights_next(&list, &word, &len);
         i++) {
        if (len == want_len && memcmp(word, want, len) == 0)
            return true;
    }
    return false;
}

static void say_missing(const struct right *s, unsigned left, struct buf *out)
{
    buf_puts(out, out->len > 0 ? "; may not " : "may not ");
    rights_say(left, out);
    buf_printf(out, " %s (%s/%s.",
               strcmp(s->type, "*") == 0 ? "all types" : s->type,
               levels[s->level].word, s->type);
    rights_letters(left, out);
    if (s->query != NULL)
        buf_printf(out, "?%.*s", (int)s->query_len, s->query);
    buf_puts(out, ")");
}

void rights_missing(const char *wanted, const char *granted, struct buf *out)
{
    const char *word;
    struct right want;
    size_t len;

    for (int i = 0; i < RIGHT_WORDS_MAX && rights_next(&wanted, &word, &len);
         i++) {
        unsigned left;

        if (right_read(word, len, &want) != ERR_OK) {
            if (!has_word(granted, word, len))
                buf_printf(out, "%snot granted: %.*s", out->len > 0 ? "; " : "",
                           (int)len, word);
            continue;
        }
        left = rights_left(&want, granted);
        if (left != 0)
            say_missing(&want, left, out);
    }
}
