#include "service/pack.h"

#include <pthread.h>
#include <stdlib.h>
#include <zstd.h>

enum { DICTIONARY_1 = 1, LEVEL = 3 };

/*
 * What is needed to compress, made once in each thread: making it anew for
 * each body costs more than the body does.  It lives as long as its thread.
 */
struct packer {
    ZSTD_CCtx *context;
    ZSTD_CDict *dictionary;
};
static pthread_key_t packer_key;
static pthread_once_t packer_once = PTHREAD_ONCE_INIT;
static bool packer_keyed;

/* Raw content: what bodies have in common, the commonest last. */
static const char dictionary[] =
    "{\"resourceType\":\"Patient\",\"id\":\"\",\"identifier\":[{\"system\":\""
    "urn:oid:\",\"value\":\"\"}],\"name\":[{\"family\":\"\",\"given\":[\"\"]}]"
    ",\"gender\":\"female\",\"birthDate\":\"19\",\"managingOrganization\":{"
    "\"display\":\"\"}}{\"resourceType\":\"BodyStructure\",\"active\":true,"
    "\"morphology\":{\"coding\":[{\"system\":\"https://headgate.example/fhir/"
    "CodeSystem/av-access-type\",\"code\":\"avf\"}]},\"locationQualifier\":[{"
    "\"coding\":[{\"system\":\"http://snomed.info/sct\",\"code\":\"419161000\""
    ",\"display\":\"Unilateral left\"}]}],\"patient\":{\"reference\":\"Patient/"
    "\"}}{\"resourceType\":\"Task\",\"meta\":{\"tag\":[{\"system\":\"https://"
    "headgate.example/fhir/CodeSystem/av-task\",\"code\":\"machine-suggested\""
    "}]},\"identifier\":[{\"system\":\"https://headgate.example/fhir/"
    "NamingSystem/task-key\",\"value\":\"\"}],\"status\":\"requested\","
    "\"intent\":\"proposal\",\"priority\":\"routine\",\"description\":\"\","
    "\"restriction\":{\"period\":{\"start\":\"\",\"end\":\"\"}},\"input\":[{"
    "\"type\":{\"coding\":[{\"system\":\"https://headgate.example/fhir/"
    "CodeSystem/av-task-io\",\"code\":\"trigger\"}]},\"valueReference\":{"
    "\"reference\":\"Observation/\"}}]}{\"resourceType\":\"Bundle\",\"type\":"
    "\"batch\",\"entry\":[{\"resource\":{\"request\":{\"method\":\"PUT\","
    "\"url\":\"Observation/\"}},\"component\":[{\"code\":{\"coding\":[{"
    "\"system\":\"http://loinc.org\",\"code\":\"8480-6\",\"display\":\""
    "Systolic blood pressure\"}]},\"valueQuantity\":{\"value\":,\"unit\":\""
    "mmHg\",\"system\":\"http://unitsofmeasure.org\",\"code\":\"mm[Hg]\"}}]"
    "{\"resourceType\":\"Observation\",\"id\":\"\",\"identifier\":[{\"system\""
    ":\"https://\",\"value\":\"\"}],\"status\":\"final\",\"category\":[{"
    "\"coding\":[{\"system\":\"http://terminology.hl7.org/CodeSystem/"
    "observation-category\",\"code\":\"procedure\"}]}],\"code\":{\"coding\":[{"
    "\"system\":\"https://headgate.example/fhir/CodeSystem/av-observation\","
    "\"code\":\"access-flow\",\"display\":\"Access blood flow (Qa)\"}]},"
    "\"subject\":{\"reference\":\"Patient/\",\"display\":\"\"},\"focus\":[{"
    "\"reference\":\"BodyStructure/\"}],\"effectiveDateTime\":\"2026-01-01T08:"
    "00:00+00:00\",\"issued\":\"2026-01-01T08:00:00.000Z\",\"performer\":[{"
    "\"display\":\"\"}],\"method\":{\"coding\":[{\"system\":\"https://headgate."
    "example/fhir/CodeSystem/av-method\",\"code\":\"ultrasound-dilution\"}],"
    "\"text\":\"Ultrasound dilution\"},\"valueQuantity\":{\"value\":,\"unit\":"
    "\"mL/min\",\"system\":\"http://unitsofmeasure.org\",\"code\":\"mL/min\"}}";

static void packer_free(void *arg)
{
    struct packer *p = arg;

    ZSTD_freeCCtx(p->context);
    ZSTD_freeCDict(p->dictionary);
    free(p);
}

static void make_key(void)
{
    packer_keyed = pthread_key_create(&packer_key, packer_free) == 0;
}

/* NULL: out of memory. */
static struct packer *packer_of_thread(void)
{
    struct packer *p;

    if (pthread_once(&packer_once, make_key) != 0 || !packer_keyed)
        return NULL;
    p = pthread_getspecific(packer_key);
    if (p != NULL)
        return p;
    p = calloc(1, sizeof(*p));
    if (p == NULL)
        return NULL;
    p->context = ZSTD_createCCtx();
    p->dictionary = ZSTD_createCDict(dictionary, sizeof(dictionary) - 1, LEVEL);
    if (p->context != NULL && p->dictionary != NULL &&
        pthread_setspecific(packer_key, p) == 0)
        return p;
    packer_free(p);
    return NULL;
}

enum err pack(const char *data, size_t len, struct buf *out)
{
    size_t bound = ZSTD_compressBound(len);
    char *room = malloc(bound + 1);
    struct packer *p = packer_of_thread();
    enum err e = ERR_MEMORY;

    if (room != NULL && p != NULL) {
        size_t n = ZSTD_compress_usingCDict(p->context, room + 1, bound, data,
                                            len, p->dictionary);

        room[0] = DICTIONARY_1;
        if (!ZSTD_isError(n)) {
            buf_add(out, room, n + 1);
            e = buf_ok(out);
        }
    }
    free(room);
    return e;
}

enum err unpack(const void *packed, size_t len, size_t bytes, struct buf *out)
{
    const char *data = packed;
    ZSTD_DCtx *context;
    char *room;
    size_t n;
    enum err e = ERR_FORM;

    if (len < 1 || data[0] != DICTIONARY_1)
        return ERR_FORM;
    if (bytes > out->ceiling - out->len)
        return ERR_LIMIT;
    room = malloc(bytes + 1);
    context = ZSTD_createDCtx();
    if (room == NULL || context == NULL) {
        e = ERR_MEMORY;
    } else {
        n = ZSTD_decompress_usingDict(context, room, bytes, data + 1, len - 1,
                                      dictionary, sizeof(dictionary) - 1);
        if (n == bytes) {
            buf_add(out, room, bytes);
            e = buf_ok(out);
        }
    }
    ZSTD_freeDCtx(context);
    free(room);
    return e;
}
