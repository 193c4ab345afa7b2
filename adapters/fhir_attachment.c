#include "adapters/fhir_out.h"

#include "adapters/fhir_time.h"

#include <openssl/evp.h>
#include <stdlib.h>

static size_t base64_size(size_t len)
{
    return (len + 2) / 3 * 4 + 1;
}

static void out_base64(struct buf *b, const char *key, const void *bytes,
                       size_t len)
{
    char *text = malloc(base64_size(len));

    if (text == NULL || len > INT32_MAX) {
        b->err = ERR_MEMORY;
    } else {
        EVP_EncodeBlock((unsigned char *)text, bytes, (int)len);
        fhir_out_text(b, key, text);
    }
    free(text);
}

static void out_hash(struct buf *b, const struct fhir_attachment *a)
{
    unsigned char digest[EVP_MAX_MD_SIZE];
    unsigned int len = 0;

    if (EVP_Digest(a->bytes, a->len, digest, &len, EVP_sha1(), NULL) == 1)
        out_base64(b, "hash", digest, len);
    else
        b->err = ERR_MEMORY;
}

void fhir_out_attachment(struct buf *b, const char *key,
                         const struct fhir_attachment *a)
{
    char time[FHIR_TIME_SIZE];

    fhir_out_open(b, key, '{');
    fhir_out_text(b, "contentType", a->content_type);
    out_base64(b, "data", a->bytes, a->len);
    fhir_out_int(b, "size", (long long)a->len);
    out_hash(b, a);
    fhir_out_text(b, "title", a->title);
    if (a->created_ms != 0) {
        fhir_time_write_ms(a->created_ms, time);
        fhir_out_text(b, "creation", time);
    }
    fhir_out_close(b, '}');
}
