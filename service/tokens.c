#include "service/tokens.h"

#include <openssl/crypto.h>
#include <openssl/evp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { TOKENS_MAX = 256 };

/* Bytes of a SHA-256. */
#define DIGEST ((size_t)32)

struct tokens {
    size_t count;
    unsigned char digests[TOKENS_MAX][DIGEST];
};

static int hex(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    if (c >= 'a' && c <= 'f')
        return c - 'a' + 10;
    return c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
}

static bool read_digest(const char *text, unsigned char digest[DIGEST])
{
    if (strlen(text) != 2 * DIGEST)
        return false;
    for (size_t i = 0; i < DIGEST; i++) {
        int high = hex(text[2 * i]), low = hex(text[2 * i + 1]);

        if (high < 0 || low < 0)
            return false;
        digest[i] = (unsigned char)(high * 16 + low);
    }
    return true;
}

/* A blank line or a comment is fine and adds nothing. */
static bool read_line(struct tokens *t, const char *line)
{
    char name[64], digest[2 * DIGEST + 2], more[2];
    int n;

    line += strspn(line, " \t\r\n");
    if (*line == '\0' || *line == '#')
        return true;
    n = sscanf(line, "%63s %65s %1s", name, digest, more);
    if (n != 2 || t->count == TOKENS_MAX ||
        !read_digest(digest, t->digests[t->count]))
        return false;
    t->count++;
    return true;
}

enum err tokens_load(const char *path, struct tokens **out, struct buf *why)
{
    struct tokens *t = calloc(1, sizeof(*t));
    FILE *f = fopen(path, "r");
    char line[512];
    enum err e = ERR_OK;

    if (t == NULL || f == NULL) {
        buf_printf(why, "%s: cannot be read", path);
        e = t == NULL ? ERR_MEMORY : ERR_IO;
    }
    for (int n = 1; e == ERR_OK && fgets(line, sizeof(line), f) != NULL; n++) {
        if (read_line(t, line))
            continue;
        buf_printf(why,
                   "%s:%d: not a name and the 64 hexadecimal digits of a "
                   "SHA-256",
                   path, n);
        e = ERR_CONFIG;
    }
    if (e == ERR_OK && ferror(f)) {
        buf_printf(why, "%s: cannot be read", path);
        e = ERR_IO;
    } else if (e == ERR_OK && t->count == 0) {
        buf_printf(why, "%s: there is no token in it: nobody could come in",
                   path);
        e = ERR_CONFIG;
    }
    if (f != NULL)
        fclose(f);
    if (e != ERR_OK) {
        free(t);
        return e;
    }
    *out = t;
    return ERR_OK;
}

void tokens_free(struct tokens *t)
{
    free(t);
}

bool tokens_accept(const struct tokens *t, const char *authorization)
{
    unsigned char digest[EVP_MAX_MD_SIZE];
    unsigned int len = 0;
    bool found = false;

    if (authorization == NULL || strncasecmp(authorization, "Bearer ", 7) != 0)
        return false;
    authorization += 7;
    if (authorization[0] == '\0')
        return false;
    if (EVP_Digest(authorization, strlen(authorization), digest, &len,
                   EVP_sha256(), NULL) != 1)
        return false;
    /* all of them, so that the time does not tell which */
    for (size_t i = 0; i < t->count; i++)
        found |= CRYPTO_memcmp(digest, t->digests[i], DIGEST) == 0;
    return found;
}
