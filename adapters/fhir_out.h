/*
 * fhir_out - JSON as text, for the fhir writers; private to them
 *
 * Each call appends one member (or one item of an array, with key NULL) and
 * the comma before it where one is needed; that is seen from the last byte of
 * the buffer.  What FHIR does not allow is never written: a member without a
 * value is left out, and so is a string with nothing to read in it.
 */
#ifndef HEADGATE_ADAPTERS_FHIR_OUT_H
#define HEADGATE_ADAPTERS_FHIR_OUT_H

#include "adapters/buf.h"
#include "adapters/fhir_write.h"

/* bracket: '{' or '['; and '}' or ']' */
void fhir_out_open(struct buf *b, const char *key, char bracket);
void fhir_out_close(struct buf *b, char bracket);

/*
 * A string.  Bytes that are not UTF-8 are dropped (a text may have been cut
 * within a character), control characters other than a line feed are blanks.
 * NULL or nothing but blanks: no member.
 */
void fhir_out_text(struct buf *b, const char *key, const char *text);
/* The text of two parts: base and what follows it. */
void fhir_out_join(struct buf *b, const char *key, const char *base,
                   const char *rest);
void fhir_out_int(struct buf *b, const char *key, long long value);
void fhir_out_decimal(struct buf *b, const char *key, double value);
void fhir_out_bool(struct buf *b, const char *key, bool value);

/* JSON known to be valid, without the blanks between its tokens. */
void fhir_out_raw(struct buf *b, const char *key, const char *json, size_t len);

/* A CodeableConcept with one coding of our CodeSystem of this name. */
void fhir_out_concept(struct buf *b, const char *key, const char *base,
                      const char *system, const char *code, const char *display,
                      const char *text);
void fhir_out_identifier(struct buf *b, const char *key, const char *base,
                         const char *system, const char *value);
/* The literal of a reference, with its version; no member if it has none. */
void fhir_out_literal(struct buf *b, const char *key,
                      const struct fhir_out_ref *ref);
/* A Reference; no member if it says nothing. */
void fhir_out_ref(struct buf *b, const char *key,
                  const struct fhir_out_ref *ref);

/* "<base>/rules/HF-1|1": a rule of a policy, as a uri; no member if one of the
 * two is NULL. */
void fhir_out_rule(struct buf *b, const char *key, const char *base,
                   const char *rule, const char *policy_version);

/* What an Attachment holds inline; bytes are borrowed. */
struct fhir_attachment {
    const char *content_type;
    const char *bytes;
    size_t len;
    const char *title;
    int64_t created_ms; /* 0: not said */
};

/*
 * An Attachment with data (base64), size in bytes and hash.  Attachment.hash is
 * the base64 of SHA-1 by R4's own definition.
 */
void fhir_out_attachment(struct buf *b, const char *key,
                         const struct fhir_attachment *a);

#endif
