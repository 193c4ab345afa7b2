/*
 * hl7 - a message of HL7 v2 (ER7) taken apart: segments, fields, repetitions,
 * components, subcomponents
 *
 * Bytes of the sender's character set come in; every text that goes out is
 * UTF-8.  Delimiters are those of the message itself.  Escapes are resolved
 * after splitting.  Nothing is interpreted here beyond the form.
 *
 * Everything is counted from 1, as the standard does; segments from 0, in the
 * order of the message.  MSH-1 is the field separator itself, MSH-2 the
 * other delimiters.
 *
 * Source: HL7 v2.5.1, chapter 2 (2.5 to 2.8: delimiters, escapes, message
 * construction, character sets); tolerances are listed in hl7_counts.
 *
 * Escapes: \F\ \S\ \T\ \R\ \E\ \P\ the delimiters, \Xhh..\ bytes of the
 * message's character set, \.br\ and \.sp\ a line feed, \.spN\ as many
 * (N up to 20), \H\ and \N\ nothing.  \Cxxyy\ \Mxxyyzz\ \Zdd\ stay as they
 * are.  So does what is unknown or does not end, and is counted.
 */
#ifndef HEADGATE_ADAPTERS_HL7_H
#define HEADGATE_ADAPTERS_HL7_H

#include "adapters/buf.h"

#include <stdbool.h>
#include <stddef.h>

enum {
    HL7_MESSAGE_MAX = 1024 * 1024, /* bytes */
    HL7_SEGMENTS_MAX = 20000,
    HL7_CHARSET_SIZE = 32
};

/* Where in a message: "OBX[3]-5.1", "PID[1]-3[2].4.1".  0: not that deep. */
struct hl7_place {
    char segment[4]; /* "OBX"; "" the whole message */
    int sequence;    /* the how-manieth of its name, from 1 */
    int field, repetition, component, subcomponent;
};
enum { HL7_PLACE_SIZE = 64 };
void hl7_place_write(const struct hl7_place *place, char out[HL7_PLACE_SIZE]);

/*
 * MSH-1 and MSH-2.  0: the message has none of these.  MSH-2 may lack the
 * subcomponent ("^~\"), or this and the escape ("^~"); "^~&" lacks the escape
 * (common practice, no source).  Truncation: 2.7 and later.
 */
struct hl7_delimiters {
    char field, component, repetition, escape, subcomponent, truncation;
};

/* What was let pass, though the standard has it otherwise. */
struct hl7_counts {
    unsigned line_feeds;      /* segments that end in CRLF or LF */
    unsigned unknown_escapes; /* kept as they are */
    unsigned blank_segments;  /* skipped */
    unsigned damage;          /* see hl7_damages */
};

struct hl7_message;

/* Why a message cannot be taken apart; text has no value of the message.
 * Filled if hl7_read fails with other than ERR_MEMORY. */
struct hl7_fault {
    struct hl7_place place;
    char text[160];
};

/*
 * hl7_read - take a message apart
 *
 * bytes    one message, from "MSH" on; not borrowed.  A byte order mark of
 *          UTF-8 before it is skipped; an empty MSH-18 then means UTF-8.
 * charset  what an empty MSH-18 means, as in table 0211 ("8859/1",
 *          "UNICODE UTF-8", "ASCII"); NULL or "": ASCII.  Of several in MSH-18
 *          the first counts.
 *
 * ERR_FORM     no MSH in front, delimiters that are not different printable
 *              characters other than letters and digits, a segment without a
 *              name, a second MSH, bytes in MSH that are not of the character
 *              set, a NUL.  Elsewhere such bytes are let pass: see hl7_damages
 * ERR_UNKNOWN  a character set that is not known
 * ERR_LIMIT    longer than HL7_MESSAGE_MAX, too many segments, or hundreds of
 *              thousands of such places
 * ERR_MEMORY
 */
MUST_CHECK enum err hl7_read(const char *bytes, size_t len, const char *charset,
                             struct hl7_message **message,
                             struct hl7_fault *fault);
void hl7_free(struct hl7_message *message);

const struct hl7_delimiters *hl7_delimiters(const struct hl7_message *message);
const struct hl7_counts *hl7_counts(const struct hl7_message *message);

size_t hl7_segments(const struct hl7_message *message);
/* "OBX"; "" beyond the last. */
const char *hl7_name(const struct hl7_message *message, size_t segment);
/* The place of a segment: name and sequence. */
struct hl7_place hl7_place_of(const struct hl7_message *message,
                              size_t segment);
/* The first segment of this name at or after `from`; hl7_segments() if there
 * is none. */
size_t hl7_find(const struct hl7_message *message, const char *name,
                size_t from);

/* How many there are; 0: the field is empty or not there. */
size_t hl7_fields(const struct hl7_message *message, size_t segment);
size_t hl7_repetitions(const struct hl7_message *message, size_t segment,
                       int field);
size_t hl7_components(const struct hl7_message *message, size_t segment,
                      int field, int repetition);
size_t hl7_subcomponents(const struct hl7_message *message, size_t segment,
                         int field, int repetition, int component);

/*
 * hl7_text - one value, without escapes
 *
 * component, subcomponent  1 if there is only one.  A field without
 *     components is its own first component, and so on.
 *
 * "" if it is empty or not there.  Lives as long as the message.
 */
const char *hl7_text(const struct hl7_message *message, size_t segment,
                     int field, int repetition, int component,
                     int subcomponent);
/* A whole repetition as it came (in UTF-8), with delimiters and escapes. */
const char *hl7_raw(const struct hl7_message *message, size_t segment,
                    int field, int repetition);
/* Is the field `""`: its value is to be deleted? */
bool hl7_is_null(const struct hl7_message *message, size_t segment, int field);

/* The MSH segment in the bytes in which it came, without its end. */
const char *hl7_head(const struct hl7_message *message, size_t *len);
/* As long as that; a delimiter there is a delimiter, and never part of a
 * character of some other character set. */
const char *hl7_head_mask(const struct hl7_message *message);

/*
 * hl7_damages - where bytes came that are not of the character set
 *
 * There stands U+FFFD instead, which may be more or fewer characters than were
 * meant: who reads a value asks whether it is one that was sent.  One place for
 * each component, in the order of the segment; without a field it is the
 * segment as a whole, in which delimiters may have been lost (a shift of ISO
 * 2022 that never ended).  How many there are; 0: the segment is as it was
 * sent.  U+FFFD that the sender wrote is none.
 */
size_t hl7_damages(const struct hl7_message *message, size_t segment);
/* i below hl7_damages(). */
struct hl7_place hl7_damage(const struct hl7_message *message, size_t segment,
                            size_t i);

/* Shorthand: first repetition, component and subcomponent. */
const char *hl7_field(const struct hl7_message *message, size_t segment,
                      int field);

#endif
