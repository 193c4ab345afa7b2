/*
 * fuzz_fhir - libFuzzer target: any bytes as a FHIR body
 *
 * Link with adapters, planner, jansson and libcrypto, all built with
 * -fsanitize=fuzzer,address,undefined; start from tests/corpus/fhir.
 *
 * Beyond not crashing: an item's bytes lie inside the body, what was read can
 * be respelled, and the respelled resource reads to the same digest.
 */
#include "adapters/fhir_read.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

/* A broken promise must stop the fuzzer in every kind of build. */
static void must(bool kept)
{
    if (!kept)
        abort();
}

static void check_text(const char *text)
{
    if (text != NULL)
        must(strlen(text) < SIZE_MAX);
}

static void check_observation(const struct fhir_observation *o)
{
    must(o->reading_count <= FHIR_READINGS_MAX);
    must(o->name_count <= FHIR_FOCUS_MAX);
    check_text(o->root_code);
    check_text(o->performer);
    for (size_t i = 0; i < o->reading_count; i++) {
        must(o->readings[i].reading.quantity < QUANTITY_COUNT);
        must(o->readings[i].hold < HOLD_COUNT);
        check_text(o->readings[i].region);
    }
    for (size_t i = 0; i < o->name_count; i++) {
        const struct fhir_ref *ref = &o->names[i].ref;

        must(ref->literal != NULL || ref->value != NULL);
        must(ref->literal == NULL || ref->literal[0] != '#');
    }
}

static void check_respell(const struct fhir_reader *reader, const char *body,
                          const struct fhir_item *item)
{
    struct fhir_doc *doc = NULL;
    struct outcome outcome;
    struct buf out;

    buf_init(&out, 1 << 24);
    outcome_init(&outcome);
    must(fhir_respell(body + item->offset, item->len, "fuzz",
                      "{\"versionId\":\"1\"}", &out) == ERR_OK);
    must(fhir_read(reader, out.data, out.len, &outcome, &doc) == ERR_OK);
    must(strcmp(fhir_doc_item(doc, 0)->id, "fuzz") == 0);
    must(memcmp(fhir_doc_item(doc, 0)->digest, item->digest,
                sizeof(item->digest)) == 0);
    fhir_doc_free(doc);
    buf_clear(&out);
}

static void check_item(const struct fhir_reader *reader, const char *body,
                       size_t len, const struct fhir_item *item)
{
    must(item->outcome.count <= OUTCOME_ISSUES_MAX);
    must(item->offset <= len && item->len <= len - item->offset);
    must(!item->only_held || outcome_refuses(&item->outcome));
    if (outcome_refuses(&item->outcome) && !item->only_held)
        return;
    must(body[item->offset] == '{' &&
         body[item->offset + item->len - 1] == '}');
    if (item->type == FHIR_OBSERVATION)
        check_observation(&item->u.observation);
    check_respell(reader, body, item);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct fhir_reader reader;
    static struct codes *codes;
    static struct zone *zone;
    const char *body = (const char *)data;
    struct fhir_doc *doc = NULL;
    struct outcome outcome;

    if (codes == NULL) {
        must(codes_new("https://headgate.example/fhir", &codes) == ERR_OK);
        must(zone_load("UTC", &zone) == ERR_OK);
        reader = (struct fhir_reader){ .codes = codes,
                                       .base = "https://headgate.example/fhir",
                                       .zone = zone,
                                       .now_s = 1780315200,
                                       .entries_max = 100 };
    }
    outcome_init(&outcome);
    if (fhir_read(&reader, body, size, &outcome, &doc) != ERR_OK) {
        must(doc == NULL && outcome_refuses(&outcome));
        return 0;
    }
    for (size_t i = 0; i < fhir_doc_count(doc); i++)
        check_item(&reader, body, size, fhir_doc_item(doc, i));
    fhir_doc_free(doc);
    return 0;
}
