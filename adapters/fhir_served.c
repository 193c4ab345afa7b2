#include "adapters/fhir_served.h"

#define KEPT                                                                   \
    (SERVE_CREATE | SERVE_READ | SERVE_VREAD | SERVE_UPDATE |                  \
     SERVE_HISTORY_INSTANCE | SERVE_SEARCH | SERVE_CONDITIONAL)
#define SHOWN (SERVE_READ | SERVE_VREAD | SERVE_HISTORY_INSTANCE | SERVE_SEARCH)

static const struct fhir_served served[] = {
    { FHIR_OBSERVATION, KEPT | SERVE_HISTORY_TYPE,
      "Measurements, hand signs and events of a dialysis access. The bytes "
      "that were received are served back, apart from id and meta." },
    { FHIR_BODY_STRUCTURE, KEPT,
      "One for each access; Observation.focus names it." },
    { FHIR_PATIENT, KEPT,
      "Only what is needed to name a person in the queue." },
    { FHIR_TASK, SHOWN | SERVE_HISTORY_TYPE | SERVE_UPDATE | SERVE_PATCH,
      "Suggested reviews and reminders. A person changes status, owner, note "
      "and output with an update or a patch; what a Task is about stays as it "
      "is. Sorted by priority, Tasks come in the order of urgency (routine, "
      "urgent, asap, stat)." },
    { FHIR_PROVENANCE, SHOWN, "Where a Task comes from." },
    { FHIR_DOCUMENT_REFERENCE, SHOWN, "The worksheet of a Task." },
    { FHIR_SERVICE_REQUEST, SHOWN, "The order that a Task proposes." },
    { FHIR_FLAG, SHOWN, "The warning on the chart that goes with a Task." },
    { FHIR_LIST, SHOWN,
      "Of each dialysis unit the patients for whom a suggestion or a reminder "
      "is open, with the reason and since when; found by the identifier "
      "NamingSystem/unit-list, value: the name of the unit." },
};

const struct fhir_served *fhir_served(size_t i)
{
    return i < COUNT(served) ? &served[i] : NULL;
}

unsigned fhir_serves(enum fhir_type type)
{
    for (size_t i = 0; i < COUNT(served); i++) {
        if (served[i].type == type)
            return served[i].interactions;
    }
    return 0;
}

const char *fhir_interaction(size_t i, unsigned *bit)
{
    static const struct {
        unsigned bit;
        const char *word;
    } words[] = {
        { SERVE_CREATE, "create" },
        { SERVE_READ, "read" },
        { SERVE_VREAD, "vread" },
        { SERVE_UPDATE, "update" },
        { SERVE_PATCH, "patch" },
        { SERVE_HISTORY_INSTANCE, "history-instance" },
        { SERVE_HISTORY_TYPE, "history-type" },
        { SERVE_SEARCH, "search-type" },
    };

    if (i >= COUNT(words))
        return NULL;
    *bit = words[i].bit;
    return words[i].word;
}
