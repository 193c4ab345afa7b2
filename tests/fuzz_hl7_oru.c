/*
 * fuzz_hl7_oru - libFuzzer target: any bytes as a result message of HL7 v2
 *
 * The first byte chooses the settings of the sender, the rest is the message.
 * Link with adapters, planner, jansson and libcrypto, all built with
 * -fsanitize=fuzzer,address,undefined; start from tests/corpus/hl7.
 *
 * Beyond not crashing: whatever is made of a message can be read as a Bundle,
 * one item for each entry, and no item is of a form that FHIR does not know.
 */
#include "adapters/fhir_read.h"
#include "adapters/hl7_oru.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define BASE "https://headgate.example/fhir"

/* A broken promise must stop the fuzzer in every kind of build. */
static void must(bool kept)
{
    if (!kept)
        abort();
}

static struct fhir_reader reader;
static struct hl7_profile profile;

static void prepare(uint8_t choice)
{
    static struct codes *codes;
    static struct zone *zone;

    if (codes == NULL) {
        must(codes_new(BASE, &codes) == ERR_OK);
        must(zone_load("Europe/Berlin", &zone) == ERR_OK);
        reader = (struct fhir_reader){ .codes = codes,
                                       .base = BASE,
                                       .zone = zone,
                                       .now_s = 1780315200,
                                       .entries_max = HL7_ENTRIES_MAX };
    }
    profile = (struct hl7_profile){
        .name = "hall-north",
        .zone = zone,
        .access_field = (enum hl7_access_field)(choice & 3),
        .numbers_in_text = (choice & 4) != 0,
        .accept_test = true,
    };
    if ((choice & 8) != 0)
        memcpy(profile.access_system, "urn:access", 11);
    if ((choice & 16) != 0)
        memcpy(profile.charset, "8859/1", 7);
    else
        memcpy(profile.charset, "UNICODE UTF-8", 14);
}

static bool is_of_form(const char *word)
{
    static const char *const form[] = { "json-syntax",   "not-a-resource",
                                        "bad-element",   "missing-element",
                                        "bad-value",     "bad-datetime",
                                        "invariant",     "bad-reference",
                                        "not-supported", "too-many" };

    for (size_t i = 0; i < COUNT(form); i++) {
        if (strcmp(form[i], word) == 0)
            return true;
    }
    return false;
}

static void check_bundle(const struct hl7_oru *oru)
{
    struct fhir_doc *doc = NULL;
    struct outcome outcome;

    outcome_init(&outcome);
    must(fhir_read(&reader, oru->bundle.data, oru->bundle.len, &outcome,
                   &doc) == ERR_OK);
    must(fhir_doc_bundle(doc) == BUNDLE_BATCH);
    must(fhir_doc_count(doc) == oru->entry_count);
    for (size_t i = 0; i < fhir_doc_count(doc); i++) {
        const struct outcome *o = &fhir_doc_item(doc, i)->outcome;

        for (size_t k = 0; k < o->count; k++)
            must(o->issues[k].severity < SEV_ERROR ||
                 !is_of_form(o->issues[k].word));
    }
    fhir_doc_free(doc);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct hl7_issues issues = { .count = 0 };
    struct hl7_message *message;
    struct hl7_fault fault;
    struct hl7_oru oru;
    enum err e;

    if (size == 0)
        return 0;
    /* a sample begins with the M of MSH: take it as both */
    prepare(data[0]);
    if (data[0] != 'M') {
        data++;
        size--;
    }
    if (hl7_read((const char *)data, size, profile.charset, &message, &fault) !=
        ERR_OK)
        return 0;
    e = hl7_admit(message, &profile, &issues);
    must((e == ERR_OK) == (issues.errors == 0));
    e = hl7_oru_read(message, &profile, BASE, &oru);
    must(e == ERR_OK || e == ERR_LIMIT);
    must((oru.bundle.len > 0) == (oru.entry_count > 0));
    must(oru.issues.count <= HL7_ISSUES_MAX);
    if (oru.bundle.len > 0)
        check_bundle(&oru);
    hl7_oru_clear(&oru);
    hl7_free(message);
    return 0;
}
