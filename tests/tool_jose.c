/*
 * Signs, verifies and shows keys for the checks against independent libraries:
 *
 *     tool_jose keys KEY.pem...        the public halves, a JWK Set
 *     tool_jose sign KEY.pem <PAYLOAD  a statement, in compact form
 *     tool_jose verify KEYS.json       reads a statement a line; answers a
 *                                      line: "ok PAYLOAD" or "no WORD"
 *
 * node tests/peers/smart.mjs headgate tool_jose
 */
#include "adapters/jose.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { KEYS_MAX = 8, LINE_SIZE = 2 * JOSE_TOKEN_MAX };

static void read_all(FILE *f, struct buf *out)
{
    char piece[4096];
    size_t len;

    while ((len = fread(piece, 1, sizeof(piece), f)) > 0)
        buf_add(out, piece, len);
}

static bool read_file(const char *path, struct buf *out)
{
    FILE *f = fopen(path, "r");

    if (f == NULL) {
        fprintf(stderr, "%s: cannot be read\n", path);
        return false;
    }
    read_all(f, out);
    fclose(f);
    return buf_ok(out) == ERR_OK;
}

static struct jose_key *read_key(const char *path)
{
    struct jose_key *key = NULL;
    struct buf pem, why;

    buf_init(&pem, JOSE_SET_MAX);
    buf_init(&why, 1000);
    if (read_file(path, &pem) &&
        jose_key_read_pem(pem.data, pem.len, NULL, &key, &why) != ERR_OK)
        fprintf(stderr, "%s: %s\n", path, why.data);
    buf_clear(&pem);
    buf_clear(&why);
    return key;
}

static int show_keys(int count, char **paths)
{
    struct jose_key *keys[KEYS_MAX] = { NULL };
    struct buf out;
    bool fine = count > 0 && count <= KEYS_MAX;

    buf_init(&out, JOSE_SET_MAX);
    for (int i = 0; fine && i < count; i++)
        fine = (keys[i] = read_key(paths[i])) != NULL;
    if (fine) {
        jose_keys_write((const struct jose_key *const *)keys, (size_t)count,
                        &out);
        puts(out.data);
    }
    for (int i = 0; i < KEYS_MAX; i++)
        jose_key_free(keys[i]);
    buf_clear(&out);
    return fine ? 0 : 1;
}

static int sign(const char *path)
{
    struct jose_key *key = read_key(path);
    struct buf payload, token;
    enum err e = ERR_FORM;

    if (key == NULL)
        return 1;
    buf_init(&payload, JOSE_TOKEN_MAX);
    buf_init(&token, JOSE_TOKEN_MAX);
    read_all(stdin, &payload);
    if (buf_ok(&payload) == ERR_OK)
        e = jose_sign(key, payload.data != NULL ? payload.data : "",
                      payload.len, &token);
    if (e == ERR_OK)
        puts(token.data);
    jose_key_free(key);
    buf_clear(&payload);
    buf_clear(&token);
    return e == ERR_OK ? 0 : 1;
}

static int verify(const char *path)
{
    static char line[LINE_SIZE];
    struct jose_keys *keys = NULL;
    struct buf json, why;
    enum err e = ERR_IO;

    buf_init(&json, JOSE_SET_MAX);
    buf_init(&why, 1000);
    if (read_file(path, &json))
        e = jose_keys_read(json.data, json.len, &keys, &why);
    if (e != ERR_OK)
        fprintf(stderr, "%s: %s\n", path, why.data);
    while (e == ERR_OK && fgets(line, sizeof(line), stdin) != NULL) {
        struct buf payload;
        enum err judged;

        buf_init(&payload, JOSE_TOKEN_MAX);
        judged = jose_verify(keys, line, strcspn(line, "\n"), &payload);
        printf("%s %s\n", judged == ERR_OK ? "ok" : "no",
               judged != ERR_OK  ? err_word(judged)
               : payload.len > 0 ? payload.data
                                 : "");
        buf_clear(&payload);
    }
    jose_keys_free(keys);
    buf_clear(&json);
    buf_clear(&why);
    return e == ERR_OK ? 0 : 1;
}

int main(int argc, char **argv)
{
    if (argc >= 3 && strcmp(argv[1], "keys") == 0)
        return show_keys(argc - 2, argv + 2);
    if (argc == 3 && strcmp(argv[1], "sign") == 0)
        return sign(argv[2]);
    if (argc == 3 && strcmp(argv[1], "verify") == 0)
        return verify(argv[2]);
    fputs("usage: tool_jose keys KEY.pem... | sign KEY.pem | "
          "verify KEYS.json\n",
          stderr);
    return 2;
}
