/*
 * hl7_work - what the parts of the reader of HL7 v2 share; not for others
 *
 * A message is one text, of which each repetition ends in a NUL in place of
 * the delimiter behind it, and five lists, each of which points into the next:
 *
 *     segments --> fields --> repetitions --> components --> values
 *
 * An element of a list owns what lies between its own first and the first of
 * the element behind it; therefore each list has one element more than there
 * are things.
 */
#ifndef HEADGATE_ADAPTERS_HL7_WORK_H
#define HEADGATE_ADAPTERS_HL7_WORK_H

#include "adapters/hl7.h"
#include "adapters/hl7_charset.h"

#include <stdint.h>

struct hl7_segment {
    char name[4];
    uint32_t sequence; /* among those of its name, from 1 */
    uint32_t field;    /* its first */
    uint32_t damage;   /* its first */
};

enum { HL7_DAMAGE_MAX = 256 * 1024 }; /* components */

/* Where bytes came that are not of the set; field 0: in the segment. */
struct hl7_spot {
    int field, repetition, component;
};

struct hl7_repetition {
    uint32_t component; /* its first */
    uint32_t raw;       /* where it begins in raw */
};

struct hl7_message {
    struct hl7_delimiters delimiters;
    struct hl7_counts counts;
    struct buf raw;    /* the message in UTF-8; behind it MSH-1 */
    struct buf text;   /* values without escapes, each with its NUL; first "" */
    struct buf head;   /* the MSH segment in the bytes in which it came */
    struct buf mask;   /* of the same length: where its delimiters are */
    struct buf damage; /* of struct hl7_spot, in the order of the message */
    void *lists;       /* the five below; one block */
    struct hl7_segment *segments;
    struct hl7_repetition *repetitions;
    uint32_t *fields;     /* their first repetition */
    uint32_t *components; /* their first value */
    uint32_t *values;     /* where they begin in text */
    size_t segment_count, field_count, repetition_count, component_count,
        value_count;
};

/* While a message is read. */
struct hl7_reader {
    struct hl7_message *m;
    struct hl7_charset charset;
    struct hl7_fault *fault;
    struct hl7_place at; /* of what is being read */
    size_t len;          /* of the message in m->raw */
    struct buf bad;      /* of struct hl7_bad, by their place in m->raw */
    size_t next_bad;     /* the first that was not passed yet */
    uint16_t *seen;      /* of each name: how many segments */
};

/* Say where and what; returns e. */
MUST_CHECK enum err hl7_fail(struct hl7_reader *reader, enum err e,
                             const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* m->raw into the lists.  Errors of hl7_read. */
MUST_CHECK enum err hl7_split(struct hl7_reader *reader);

/* The end of a line, or of the bytes: where its CR or LF stands. */
size_t hl7_line_end(const char *bytes, size_t len, size_t from);
/* Behind the end of the line that stands at end: CR, LF or CRLF. */
size_t hl7_line_pass(const char *bytes, size_t len, size_t end);
bool hl7_is_blank(const char *line, size_t len);

enum { HL7_NAMES = 26 * 36 * 36 };
/* 0..35; -1: neither a capital nor a digit. */
int hl7_name_digit(char c);
/* The number of a segment's name among all names; -1: it has none. */
int hl7_name_number(const char *line, size_t len, char field);

/* Where the part that begins at `from` ends: at sep or at end. */
const char *hl7_part_end(const char *from, const char *end, char sep);

/*
 * hl7_delimiters_read - the delimiters that a message names
 *
 * bytes  from "MSH" on
 *
 * ERR_FORM  it does not begin like that, or they are not different printable
 *           characters that are neither letters nor digits
 */
MUST_CHECK enum err hl7_delimiters_read(const char *bytes, size_t len,
                                        struct hl7_delimiters *delimiters);

/*
 * hl7_unescape - append a value without its escapes to message->text
 *
 * Bytes of \Xhh..\ that are not of the character set, or a NUL, stay as they are
 * written, and are counted.
 *
 * ERR_LIMIT, ERR_MEMORY
 */
MUST_CHECK enum err hl7_unescape(struct hl7_message *message,
                                 struct hl7_charset *charset, const char *from,
                                 const char *end);

#endif
