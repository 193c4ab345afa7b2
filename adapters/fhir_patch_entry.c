/*
 * A patch as an entry of a Bundle: R4 has no resource for it, so a JSON Patch
 * comes as the data of a Binary (http.html, 3.1.0.5.1: "patch" in a batch or
 * transaction; the section number is from memory).
 */
#include "adapters/fhir_json.h"
#include "adapters/fhir_served.h"

#include <openssl/evp.h>
#include <string.h>
#include <strings.h>

/* The text of a base64Binary, which may have blanks in it; NULL: it is none. */
static const char *decode(struct fhir_ctx *c, const char *data, size_t *len)
{
    size_t size = strlen(data), count = 0, pads = 0;
    unsigned char *text = fhir_keep(c, size + 4);
    unsigned char *out = text != NULL ? fhir_keep(c, size + 4) : NULL;
    int got;

    if (out == NULL)
        return NULL;
    for (size_t i = 0; i < size; i++) {
        if (strchr(" \t\r\n", data[i]) == NULL)
            text[count++] = (unsigned char)data[i];
    }
    while (pads < 2 && pads < count && text[count - 1 - pads] == '=')
        pads++;
    got = count > 0 && count % 4 == 0 ? EVP_DecodeBlock(out, text, (int)count)
                                      : -1;
    if (got < (int)pads)
        return NULL;
    *len = (size_t)got - pads;
    out[*len] = '\0';
    return (const char *)out;
}

/* "application/json-patch+json", perhaps with parameters behind it. */
static bool is_json_patch(json_t *binary)
{
    const char *type = fhir_string(binary, "contentType");
    size_t len = sizeof(FHIR_JSON_PATCH) - 1;

    return fhir_is(binary, "resourceType", "Binary") && type != NULL &&
           strncasecmp(type, FHIR_JSON_PATCH, len) == 0 &&
           strchr("; ", type[len]) != NULL;
}

static void read_data(struct fhir_ctx *c, json_t *binary)
{
    const char *data = fhir_string(binary, "data");

    if (!is_json_patch(binary) || data == NULL) {
        fhir_say_at(c, "resource", SEV_ERROR, "not-supported",
                    "A patch is taken as the data of a Binary whose "
                    "contentType is " FHIR_JSON_PATCH);
        return;
    }
    c->item->patch = decode(c, data, &c->item->patch_len);
    if (c->item->patch == NULL && c->err == ERR_OK)
        fhir_say_at(c, "resource", SEV_ERROR, "bad-value",
                    "Binary.data is not base64");
}

void fhir_read_patch(struct fhir_ctx *c, json_t *binary, json_t *request)
{
    static const char prefix[] = "Task/";
    struct fhir_item *item = c->item;
    const char *url = fhir_string(request, "url");
    size_t back;

    item->type = FHIR_TASK;
    item->type_name = "Task";
    item->method = "PATCH";
    item->if_match = fhir_string(request, "ifMatch");
    item->if_none_match = fhir_string(request, "ifNoneMatch");
    if (url == NULL || strncmp(url, prefix, sizeof(prefix) - 1) != 0 ||
        !fhir_is_id(url + sizeof(prefix) - 1)) {
        back = fhir_place_push(&c->place, "request");
        fhir_say_at(c, "url", SEV_ERROR, "not-supported",
                    "Only a Task can be patched, by its id");
        fhir_place_pop(&c->place, back);
        return;
    }
    item->url_id = url + sizeof(prefix) - 1;
    read_data(c, binary);
}
