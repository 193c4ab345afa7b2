/*
 * hl7_ack_work - the first segment of what is answered, for hl7_ack alone
 */
#ifndef HEADGATE_ADAPTERS_HL7_ACK_WORK_H
#define HEADGATE_ADAPTERS_HL7_ACK_WORK_H

#include "adapters/hl7.h"

struct hl7_ack_span {
    const char *at; /* borrowed from the message, or static */
    size_t len;
};

struct hl7_ack_head {
    struct hl7_delimiters d; /* those of the answer */
    const char *msh;         /* the segment; "" if it was not found */
    const char *mask;        /* where its delimiters are; as long */
    size_t len;
    char separator; /* of its fields */
};

/* Of a message, or (NULL) of the first bytes of what is none. */
struct hl7_ack_head hl7_ack_look(const struct hl7_message *message,
                                 const char *head, size_t len);

/* MSH-3 and later, in the bytes of the message; empty if it is not there. */
struct hl7_ack_span hl7_ack_field(const struct hl7_ack_head *head, int field);

#endif
