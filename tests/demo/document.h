/*
 * document - what the generator hands to the writer: one per Observation
 *
 * Inside tests/demo only.
 */
#ifndef HEADGATE_TESTS_DEMO_DOCUMENT_H
#define HEADGATE_TESTS_DEMO_DOCUMENT_H

#include "tests/demo/demo.h"
#include "tests/demo/scenario.h"

enum { DOCUMENT_VALUES_MAX = 12 };

struct value {
    enum quantity quantity; /* Q_NONE: the code that no map knows */
    double number;          /* in the unit of quantity_info(); NAN for signs */
    enum sign sign;
    enum bound bound;
    bool wrong_unit; /* print litres and say millilitres */
};

struct document {
    size_t row;      /* of the patient */
    int access;      /* DEMO_ACCESS_... */
    unsigned number; /* of the unit's identifier; kept by a later version */
    const char *status;
    int64_t at_s, arrives_s;
    bool whole_day; /* only the date was written down */
    bool panel;     /* a session's panel, in whose components values stand */
    enum method method;
    size_t count;
    struct value values[DOCUMENT_VALUES_MAX];
};

enum arrival { ARRIVAL_PATIENT, ARRIVAL_ACCESS, ARRIVAL_DOCUMENT };

/* One line of the feed; seq makes the order total. */
struct entry {
    int64_t arrives_s;
    size_t seq;
    enum arrival kind;
    size_t index; /* row of the patient, or of the document */
    int access;   /* ARRIVAL_ACCESS */
};

struct demo {
    int64_t end_day;
    struct document *documents;
    size_t count, size;
    struct entry *entries;
    size_t entry_count;
};

/* The day on which the access of a patient was created. */
int64_t document_created_day(size_t row, int64_t end_day);

void write_patient(size_t row, struct buf *out);
void write_access(size_t row, int access, int64_t end_day, struct buf *out);
void write_document(const struct document *d, struct buf *out);

#endif
