#include "service/tokens.h"

#include "adapters/hex.h"
#include "adapters/rights.h"

#include <openssl/crypto.h>
#include <openssl/evp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { TOKENS_MAX = 256, LINE_SIZE = 4096, NAME_MAX_LEN = 63 };

/* Bytes of a SHA-256. */
#define DIGEST ((size_t)32)

struct tokens {
    size_t count;
    bool none; /* it is said that there is none on purpose */
    struct {
        unsigned char digest[DIGEST];
        int line;
        char name[NAME_MAX_LEN + 1];
        char *scopes; /* NULL: everything */
    } clients[TOKENS_MAX];
};

/* All that can be held to: a limit (category=...) cannot. */
static bool are_scopes(const char *list)
{
    const char *word;
    struct right scope;
    size_t len;
    int count = 0;

    for (; rights_next(&list, &word, &len); count++) {
        if (right_read(word, len, &scope) != ERR_OK || scope.query != NULL ||
            (scope.level != RIGHT_SYSTEM && scope.level != RIGHT_LOCAL))
            return false;
    }
    return count <= RIGHT_WORDS_MAX;
}

static char *copy_text(const char *text)
{
    size_t len = strlen(text) + 1;
    char *copy = malloc(len);

    if (copy != NULL)
        memcpy(copy, text, len);
    return copy;
}

/*
 * What is wrong with a line; NULL: nothing.  A blank line or a comment is fine
 * and adds nothing.  The words repeat nothing: who made a mistake may have put
 * a token there.
 */
static const char *read_line(struct tokens *t, const char *line, int number)
{
    const char *name, *digest, *rest = line;
    size_t name_len, digest_len;

    if (!rights_next(&rest, &name, &name_len) || *name == '#')
        return NULL;
    if (name_len == 4 && memcmp(name, "none", 4) == 0 &&
        rest[strspn(rest, " \t\r\n")] == '\0') {
        t->none = true;
        return NULL;
    }
    if (t->count == TOKENS_MAX)
        return "one client more than can be";
    if (name_len > NAME_MAX_LEN || !rights_next(&rest, &digest, &digest_len) ||
        !hex_read(digest, digest_len, t->clients[t->count].digest, DIGEST))
        return "not a name and the 64 hexadecimal digits of a SHA-256";
    rest += strspn(rest, " \t\r\n");
    if (!are_scopes(rest))
        return "behind the SHA-256 stands what is no scope of a service, such "
               "as system/Observation.c";
    t->clients[t->count].line = number;
    memcpy(t->clients[t->count].name, name, name_len);
    t->clients[t->count].name[name_len] = '\0';
    if (*rest != '\0') {
        t->clients[t->count].scopes = copy_text(rest);
        if (t->clients[t->count].scopes == NULL)
            return "there is no memory for it";
    }
    t->count++;
    return NULL;
}

/* Does the text hold a whole line, or the last of the file? */
static bool is_whole(const char *line, FILE *f)
{
    return strchr(line, '\n') != NULL || feof(f);
}

static enum err read_lines(FILE *f, const char *path, struct tokens *t,
                           struct buf *why)
{
    char line[LINE_SIZE];

    for (int n = 1; fgets(line, sizeof(line), f) != NULL; n++) {
        const char *wrong =
            is_whole(line, f) ? read_line(t, line, n) : "the line is too long";

        if (wrong == NULL)
            continue;
        buf_printf(why, "%s:%d: %s", path, n, wrong);
        return ERR_CONFIG;
    }
    if (ferror(f)) {
        buf_printf(why, "%s: cannot be read", path);
        return ERR_IO;
    }
    if (t->count > 0 || t->none)
        return ERR_OK;
    buf_printf(why,
               "%s: there is no token in it: nobody could come in (if that is "
               "meant, write a line: none)",
               path);
    return ERR_CONFIG;
}

enum err tokens_load(const char *path, struct tokens **out, struct buf *why)
{
    struct tokens *t = calloc(1, sizeof(*t));
    FILE *f = fopen(path, "r");
    enum err e;

    if (t == NULL || f == NULL) {
        buf_printf(why, "%s: cannot be read", path);
        e = t == NULL ? ERR_MEMORY : ERR_IO;
    } else {
        e = read_lines(f, path, t, why);
    }
    if (f != NULL)
        fclose(f);
    if (e == ERR_OK)
        *out = t;
    else
        tokens_free(t);
    return e;
}

void tokens_free(struct tokens *t)
{
    for (size_t i = 0; t != NULL && i < t->count; i++)
        free(t->clients[i].scopes);
    free(t);
}

const char *tokens_bearer(const char *authorization)
{
    if (authorization == NULL || strncasecmp(authorization, "Bearer ", 7) != 0)
        return NULL;
    return authorization[7] != '\0' ? authorization + 7 : NULL;
}

bool tokens_accept(const struct tokens *t, const char *token,
                   struct tokens_client *client)
{
    unsigned char digest[EVP_MAX_MD_SIZE];
    unsigned int len = 0;
    size_t found = TOKENS_MAX;

    if (token == NULL ||
        EVP_Digest(token, strlen(token), digest, &len, EVP_sha256(), NULL) != 1)
        return false;
    /* all of them, so that the time does not tell which; the first counts */
    for (size_t i = t->count; i > 0; i--) {
        if (CRYPTO_memcmp(digest, t->clients[i - 1].digest, DIGEST) == 0)
            found = i - 1;
    }
    if (found == TOKENS_MAX)
        return false;
    *client = (struct tokens_client){ t->clients[found].line,
                                      t->clients[found].scopes,
                                      t->clients[found].name };
    return true;
}
