/* fseeko, fileno and realpath are in the XSI part of POSIX. */
#define _XOPEN_SOURCE 700 /* NOLINT(bugprone-reserved-identifier) */

#include "service/load_state.h"

#include "adapters/hex.h"

#include <inttypes.h>
#include <openssl/evp.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { PATH_ROOM = 8192 };

/* ---- how a file is -------------------------------------------------------- */

/* SHA-256 of the bytes from at on, as many as there are up to len. */
static enum err digest_part(FILE *file, uint64_t at, size_t len,
                            unsigned char out[LOAD_DIGEST_SIZE])
{
    unsigned size = LOAD_DIGEST_SIZE;
    char *data = malloc(len > 0 ? len : 1);
    size_t got = 0;
    enum err e = data != NULL ? ERR_OK : ERR_MEMORY;

    /* Not through the FILE: its position and buffer are the reader's. */
    while (e == ERR_OK && got < len) {
        ssize_t n =
            pread(fileno(file), data + got, len - got, (off_t)(at + got));

        if (n == 0)
            break;
        if (n < 0)
            e = ERR_IO;
        else
            got += (size_t)n;
    }
    if (e == ERR_OK &&
        EVP_Digest(data, got, out, &size, EVP_sha256(), NULL) != 1)
        e = ERR_MEMORY;
    free(data);
    return e;
}

enum err load_state_take(FILE *file, uint64_t offset, struct load_state *state)
{
    uint64_t tail = offset < LOAD_TAIL_SIZE ? offset : LOAD_TAIL_SIZE;
    struct stat info;
    enum err e;

    if (fstat(fileno(file), &info) != 0)
        return ERR_IO;
    state->size = (uint64_t)info.st_size;
    state->modified_ns = (int64_t)info.st_mtim.tv_sec * 1000000000 +
                         (int64_t)info.st_mtim.tv_nsec;
    state->offset = offset;
    e = digest_part(file, 0, LOAD_HEAD_SIZE, state->head);
    return e == ERR_OK
               ? digest_part(file, offset - tail, (size_t)tail, state->tail)
               : e;
}

enum err load_state_fits(FILE *file, const struct load_state *state,
                         struct buf *why)
{
    struct load_state now = { .size = 0 };
    enum err e = load_state_take(file, state->offset, &now);

    if (e != ERR_OK)
        return e;
    if (now.size != state->size)
        buf_printf(why, "it has %" PRIu64 " bytes now and had %" PRIu64,
                   now.size, state->size);
    else if (memcmp(now.head, state->head, LOAD_DIGEST_SIZE) != 0)
        buf_puts(why, "its first 64 KiB are others");
    else if (memcmp(now.tail, state->tail, LOAD_DIGEST_SIZE) != 0)
        buf_printf(why, "what stands before byte %" PRIu64 " is something else",
                   state->offset);
    else if (now.modified_ns != state->modified_ns)
        buf_puts(why, "it was written to since");
    else
        return ERR_OK;
    return ERR_CONFLICT;
}

/* ---- the state file ------------------------------------------------------- */

static void put_digest(FILE *out, const char *key,
                       const unsigned char digest[LOAD_DIGEST_SIZE])
{
    char text[2 * LOAD_DIGEST_SIZE + 1];

    hex_write(digest, LOAD_DIGEST_SIZE, text);
    fprintf(out, "%s %s\n", key, text);
}

static void put_state(FILE *out, const struct load_state *s)
{
    fputs("headgate-load 1\n", out);
    fprintf(out, "size %" PRIu64 "\nmodified %" PRId64 "\n", s->size,
            s->modified_ns);
    put_digest(out, "head", s->head);
    put_digest(out, "tail", s->tail);
    fprintf(out, "offset %" PRIu64 "\nlines %" PRIu64 "\n", s->offset,
            s->lines);
    fprintf(out,
            "counts %" PRIu64 " %" PRIu64 " %" PRIu64 " %" PRIu64 "\n"
            "errors %" PRIu64 "\n",
            s->counts.stored, s->counts.there, s->counts.held,
            s->counts.refused, s->errors_bytes);
}

/* It is not synced: after a loss of power an older one, or none, is there,
 * and what is then sent again is known to the service. */
enum err load_state_write(const char *path, const struct load_state *state)
{
    char beside[PATH_ROOM + 8];
    FILE *out;
    bool ok;

    if (snprintf(beside, sizeof(beside), "%s.tmp", path) >= PATH_ROOM)
        return ERR_IO;
    out = fopen(beside, "w");
    if (out == NULL)
        return ERR_IO;
    put_state(out, state);
    ok = ferror(out) == 0;
    ok = fclose(out) == 0 && ok;
    if (ok && rename(beside, path) == 0)
        return ERR_OK;
    unlink(beside);
    return ERR_IO;
}

static bool take_digest(const char *hex, unsigned char out[LOAD_DIGEST_SIZE])
{
    for (size_t i = 0; i < LOAD_DIGEST_SIZE; i++) {
        unsigned byte;

        if (sscanf(hex + 2 * i, "%2x", &byte) != 1)
            return false;
        out[i] = (unsigned char)byte;
    }
    return true;
}

static bool get_state(FILE *in, struct load_state *s)
{
    char head[2 * LOAD_DIGEST_SIZE + 1], tail[2 * LOAD_DIGEST_SIZE + 1];
    int version = 0;

    return fscanf(in, "headgate-load %d size %" SCNu64 " modified %" SCNd64,
                  &version, &s->size, &s->modified_ns) == 3 &&
           version == 1 &&
           fscanf(in, " head %64[0-9a-f] tail %64[0-9a-f]", head, tail) == 2 &&
           strlen(head) == sizeof(head) - 1 &&
           strlen(tail) == sizeof(tail) - 1 && take_digest(head, s->head) &&
           take_digest(tail, s->tail) &&
           fscanf(in, " offset %" SCNu64 " lines %" SCNu64, &s->offset,
                  &s->lines) == 2 &&
           fscanf(in,
                  " counts %" SCNu64 " %" SCNu64 " %" SCNu64 " %" SCNu64
                  " errors %" SCNu64,
                  &s->counts.stored, &s->counts.there, &s->counts.held,
                  &s->counts.refused, &s->errors_bytes) == 5 &&
           s->offset <= s->size;
}

enum err load_state_read(const char *path, struct load_state *state)
{
    struct load_state read = { .size = 0 };
    FILE *in = fopen(path, "r");
    bool whole;

    if (in == NULL)
        return access(path, F_OK) == 0 ? ERR_IO : ERR_ABSENT;
    whole = get_state(in, &read);
    fclose(in);
    if (!whole)
        return ERR_FORM;
    *state = read;
    return ERR_OK;
}

/* ---- where ---------------------------------------------------------------- */

static const char *name_of(const char *path)
{
    const char *slash = strrchr(path, '/');

    return slash != NULL ? slash + 1 : path;
}

/* Some digits that tell files of one name apart. */
static void put_mark(const char *file, struct buf *out)
{
    unsigned char digest[LOAD_DIGEST_SIZE];
    unsigned size = sizeof(digest);
    char *whole = realpath(file, NULL);
    const char *text = whole != NULL ? whole : file;

    if (EVP_Digest(text, strlen(text), digest, &size, EVP_sha256(), NULL) == 1)
        buf_printf(out, "-%02x%02x%02x%02x", digest[0], digest[1], digest[2],
                   digest[3]);
    free(whole);
}

enum err load_state_path(const char *file, const char *folder,
                         const char *errors, struct buf *out)
{
    size_t len = (size_t)(name_of(errors) - errors);

    if (folder != NULL)
        buf_printf(out, "%s/%s", folder, name_of(file));
    else
        buf_printf(out, "%.*s%s", (int)len, errors, name_of(file));
    if (folder != NULL)
        put_mark(file, out);
    buf_puts(out, ".headgate-load");
    return buf_ok(out);
}
