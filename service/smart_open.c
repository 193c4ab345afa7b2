/* Settings and keys of smart. */
#include "service/file.h"
#include "service/smart_work.h"

#include <openssl/crypto.h>
#include <stdlib.h>
#include <string.h>

enum { KEY_FILE_MAX = 65536 };

static char *copy_text(const char *text)
{
    size_t len = strlen(text) + 1;
    char *copy = malloc(len);

    if (copy != NULL)
        memcpy(copy, text, len);
    return copy;
}

static enum err read_key(const char *path, const char *kid,
                         struct jose_key **key, struct buf *why)
{
    struct buf pem, what;
    enum err e;

    buf_init(&pem, KEY_FILE_MAX);
    buf_init(&what, SMART_WHY_SIZE);
    e = file_read(path, &pem, why);
    if (e == ERR_OK) {
        e = jose_key_read_pem(pem.data, pem.len, kid, key, &what);
        if (e == ERR_FORM || e == ERR_RANGE) {
            buf_printf(why, "%s: %s", path, what.data);
            e = ERR_CONFIG;
        }
    }
    if (pem.data != NULL)
        OPENSSL_cleanse(pem.data, pem.len);
    buf_clear(&pem);
    buf_clear(&what);
    return e;
}

static enum err read_keys(struct smart *s, const struct smart_options *o,
                          struct buf *why)
{
    enum err e = read_key(o->key_path, o->key_id, &s->key, why);

    if (e != ERR_OK || o->next_key_path == NULL)
        return e;
    e = read_key(o->next_key_path, NULL, &s->next_key, why);
    if (e == ERR_OK &&
        strcmp(jose_key_kid(s->key), jose_key_kid(s->next_key)) == 0) {
        buf_printf(why, "%s: is the same key as %s", o->next_key_path,
                   o->key_path);
        e = ERR_CONFIG;
    }
    return e;
}

void smart_free(struct smart *s)
{
    smart_drop_token(s);
    jose_key_free(s->key);
    jose_key_free(s->next_key);
    free(s->record_url);
    free(s->client_id);
    free(s->token_url);
    free(s->scopes);
    free(s);
}

static enum err copy_options(struct smart *s, const struct smart_options *o)
{
    s->options = *o;
    s->record_url = copy_text(o->record_url);
    s->client_id = copy_text(o->client_id);
    s->scopes = copy_text(o->scopes);
    if (o->token_url != NULL)
        s->token_url = copy_text(o->token_url);
    s->error = "";
    /* the caller's texts may be gone when they are next looked at */
    s->options.record_url = s->record_url;
    s->options.client_id = s->client_id;
    s->options.scopes = s->scopes;
    s->options.token_url = s->token_url;
    s->options.key_path = s->options.next_key_path = s->options.key_id = NULL;
    return s->record_url != NULL && s->client_id != NULL && s->scopes != NULL &&
                   (o->token_url == NULL || s->token_url != NULL)
               ? ERR_OK
               : ERR_MEMORY;
}

enum err smart_make(const struct smart_options *options, struct smart **out,
                    struct buf *why)
{
    struct smart *s;
    enum err e = smart_check_options(options, why);

    if (e != ERR_OK)
        return e;
    s = calloc(1, sizeof(*s));
    if (s == NULL)
        return ERR_MEMORY;
    e = copy_options(s, options);
    if (e == ERR_OK)
        e = read_keys(s, options, why);
    if (e == ERR_OK)
        *out = s;
    else
        smart_free(s);
    return e;
}

enum err smart_try(const struct smart_options *options, struct buf *keys,
                   struct buf *why)
{
    struct smart *s;
    enum err e = smart_make(options, &s, why);

    if (e != ERR_OK)
        return e;
    smart_write_keys(s, keys);
    smart_free(s);
    return buf_ok(keys);
}
