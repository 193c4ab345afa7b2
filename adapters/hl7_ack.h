/*
 * hl7_ack - the answer to a message of HL7 v2
 *
 * Written in the delimiters, version and character set of the message, sender
 * and receiver exchanged; MSA-2 is its control id, byte for byte.
 *
 * Source: HL7 v2.5.1, 2.9 (original and enhanced mode), 2.15 (ERR, MSA);
 * tables 0008, 0155, 0357, 0516.
 */
#ifndef HEADGATE_ADAPTERS_HL7_ACK_H
#define HEADGATE_ADAPTERS_HL7_ACK_H

#include "adapters/hl7_oru.h"

#include <stdint.h>

/* Table 0008. */
enum hl7_answer { HL7_AA, HL7_AE, HL7_AR, HL7_CA, HL7_CE, HL7_CR };
const char *hl7_answer_word(enum hl7_answer answer); /* "AA" */

/* What table 0357 says of a code; "": it does not have it. */
const char *hl7_error_text(enum hl7_error code);

/* Table 0155: when an answer is wanted; NONE: the field is empty. */
enum hl7_wanted {
    HL7_WANTED_NONE,
    HL7_WANTED_ALWAYS,
    HL7_WANTED_NEVER,
    HL7_WANTED_ERROR,
    HL7_WANTED_SUCCESS
};

const char *hl7_wanted_word(enum hl7_wanted wanted); /* "AL"; NONE: "" */

/* MSH-15 and MSH-16; enhanced if either is there.  A word that the table does
 * not have is ALWAYS: an answer too many does less harm than none. */
struct hl7_wants {
    bool enhanced;
    enum hl7_wanted accept, application;
};
struct hl7_wants hl7_wants(const struct hl7_message *message);
/* Of a message that could not be taken apart, by its first bytes: who cannot be
 * understood is answered in the mode that was asked for all the same.  No MSH
 * there, or one that ends before: original mode. */
struct hl7_wants hl7_wants_of_head(const char *head, size_t len);
/* Is an answer of this kind wanted for that outcome?  NONE: no. */
bool hl7_is_wanted(enum hl7_wanted wanted, bool success);

/*
 * hl7_ack_write - the whole answer, segments ended by CR, without framing
 *
 * message  what is answered; NULL if it could not be taken apart: then head
 *          (its first bytes) is searched for what an answer needs, as far as
 *          it goes
 * control  of the answer (MSH-10), unique
 * at_s     its time (MSH-7), written in UTC
 * issues   may be NULL; errors become ERR segments: from 2.5 on one for each
 *          issue, with ERR-2, ERR-3, ERR-4, ERR-8; before that one segment in
 *          which ERR-1 is repeated for each error, and the first error's text
 *          in MSA-3.  Without a version of the second: as 2.5.1.
 *
 * Fields of the message that cannot stand in an answer (too long, control
 * characters) are left out; MSA-2 is cut there.  Delimiters that cannot be
 * used become "|^~\&".  Never more than HL7_ACK_MAX bytes, if control is at
 * most 200.
 */
enum { HL7_ACK_MAX = 32 * 1024 };
void hl7_ack_write(const struct hl7_message *message, const char *head,
                   size_t head_len, enum hl7_answer answer, const char *control,
                   int64_t at_s, const struct hl7_issues *issues,
                   struct buf *out);

#endif
