/*
 * fhir_sample - which codes and units a sample of FHIR resources uses, and
 * what would come of them
 *
 * Each Observation and BodyStructure of a body is read as it would be if it
 * came alone (fhir_read); what is told on is codes, units and words of
 * outcomes, no value of a patient.  Which access a reading belongs to is not
 * asked: that needs a store.
 */
#ifndef HEADGATE_ADAPTERS_FHIR_SAMPLE_H
#define HEADGATE_ADAPTERS_FHIR_SAMPLE_H

#include "adapters/fhir_read.h"

enum sample_kind {
    SAMPLE_CODE,   /* Observation.code, component.code */
    SAMPLE_VALUE,  /* of a coded value, or the type of an access */
    SAMPLE_METHOD, /* coding, or exact words (CODES_TEXT) */
    SAMPLE_SITE,   /* body site or location, likewise */
    SAMPLE_KIND_COUNT
};

enum sample_unit {
    SAMPLE_NO_NUMBER, /* the value is none that has a unit, or is absent */
    SAMPLE_UNIT_NONE, /* a number without a unit */
    SAMPLE_UNIT_CODE, /* Quantity.code of UCUM */
    SAMPLE_UNIT_TEXT, /* Quantity.unit alone */
    SAMPLE_UNIT_OTHER /* a code of another system than UCUM */
};

enum { SAMPLE_WORDS_MAX = 8 };

/* One use of one coding.  Strings are borrowed until on_use returns. */
struct sample_use {
    enum sample_kind kind;
    const char *system, *code; /* "" what was not sent */
    const char *display;       /* as sent; NULL */
    const char *target;        /* what it is mapped to; "" it is not */
    /* none of the codings of its concept means anything, and this is the
     * first of them: it wants a row */
    bool missing;
    /* SAMPLE_CODE */
    enum sample_unit unit_kind;
    const char *unit;    /* as sent; "" none */
    const char *read_as; /* the UCUM code that it is taken for; NULL none */
    bool fits;           /* read_as converts to the unit of the quantity */
    enum hold hold;      /* why the reading would be held */
    /* stable words of what else would be said of this value */
    const char *words[SAMPLE_WORDS_MAX];
    size_t word_count;
};

struct sample_reader {
    const struct fhir_reader *reader;
    void (*on_use)(void *arg, const struct sample_use *use);
    /* a resource that would be refused: the stable word, and the place
     * without numbers, "Observation.component.code" */
    void (*on_refused)(void *arg, const char *word, const char *place);
    void *arg;
    /* counted up */
    size_t observations, accesses, others, refused;
};

/*
 * fhir_sample_read - a resource or a Bundle of them
 *
 * ERR_FORM    not JSON or no resource: nothing of it was read
 * ERR_MEMORY
 */
MUST_CHECK enum err fhir_sample_read(struct sample_reader *sample,
                                     const char *json, size_t len);

/* How many numbers of which unit a quantity could be sent in: does a value in
 * this unit convert?  read_as: as above. */
bool fhir_sample_fits(const struct code_entry *entry, const char *ucum);

#endif
