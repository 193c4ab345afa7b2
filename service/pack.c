#include "service/pack.h"

#include <stdlib.h>
#include <zstd.h>

enum { DICTIONARY_1 = 1, LEVEL = 3 };

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

enum err pack(const char *data, size_t len, struct buf *out)
{
    size_t bound = ZSTD_compressBound(len);
    char *room = malloc(bound + 1);
    ZSTD_CCtx *context = ZSTD_createCCtx();
    enum err e = ERR_MEMORY;

    if (room != NULL && context != NULL) {
        size_t n =
            ZSTD_compress_usingDict(context, room + 1, bound, data, len,
                                    dictionary, sizeof(dictionary) - 1, LEVEL);

        room[0] = DICTIONARY_1;
        if (!ZSTD_isError(n)) {
            buf_add(out, room, n + 1);
            e = buf_ok(out);
        }
    }
    ZSTD_freeCCtx(context);
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
