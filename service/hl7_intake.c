#include "service/hl7_intake_work.h"

#include "service/hl7_senders.h"

#include <openssl/evp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- who, and which ------------------------------------------------------- */

/* Behind the seventh field of MSH: the same message that is sent again may
 * have another time there, and has nothing else changed. */
static size_t behind_time(const char *bytes, size_t len)
{
    size_t at = len >= 3 && memcmp(bytes, "\xef\xbb\xbf", 3) == 0 ? 3 : 0;
    char separator;

    if (len - at < 4)
        return 0;
    separator = bytes[at + 3];
    at += 4; /* MSH-2 begins here */
    for (int field = 2; field <= 7; field++) {
        const char *next = memchr(bytes + at, separator, len - at);

        if (next == NULL)
            return 0;
        at = (size_t)(next - bytes) + 1;
    }
    return at;
}

static enum err digest(struct hl7_intake *in)
{
    size_t from = behind_time(in->bytes, in->len);
    unsigned char bytes[EVP_MAX_MD_SIZE];

    if (EVP_Digest(in->bytes + from, in->len - from, bytes, NULL, EVP_sha256(),
                   NULL) != 1)
        return ERR_MEMORY;
    memcpy(in->digest, bytes, sizeof(in->digest));
    return ERR_OK;
}

/* *named: there is a head by which the message can be kept. */
static void look_at_head(struct hl7_intake *in, bool *named)
{
    struct hl7_sender_head head;

    *named = hl7_senders_peek(in->bytes, in->len, &head) == ERR_OK;
    if (!*named)
        return;
    memcpy(in->application, head.application, sizeof(in->application));
    memcpy(in->facility, head.facility, sizeof(in->facility));
    memcpy(in->control, head.control, sizeof(in->control));
    *named = head.control[0] != '\0';
}

/* ---- reading -------------------------------------------------------------- */

/*
 * What cannot be taken apart is kept, and stands in quarantine, if it is known
 * whose it is: its bytes may be of another character set than was said.  Of
 * what has no head nothing can be known.
 */
static enum err say_unreadable(struct hl7_intake *in, bool named, enum err e,
                               const struct hl7_fault *fault)
{
    enum hl7_error code = e == ERR_LIMIT     ? HL7_TOO_LONG
                          : e == ERR_UNKNOWN ? HL7_TABLE_VALUE
                                             : HL7_DATA_TYPE;
    const char *word = e == ERR_LIMIT     ? "too-long"
                       : e == ERR_UNKNOWN ? "not-supported"
                                          : "bad-request";

    if (e == ERR_MEMORY)
        return e;
    hl7_issue_add(&in->issues, HL7_ERROR, code, word, &fault->place, "%s",
                  fault->text);
    in->rejected = !named;
    return ERR_OK;
}

enum { SHOWN_MAX = 24 };

/* What may be shown of a field of MSH: a name, and no more than that. */
static void show(const char *field, char out[SHOWN_MAX + 1])
{
    size_t len = strnlen(field, SHOWN_MAX);

    memcpy(out, field, len);
    for (size_t i = 0; i < len; i++) {
        if (out[i] < ' ' || out[i] > '~' || out[i] == '"')
            out[i] = '?';
    }
    out[len] = '\0';
    if (field[len] != '\0') /* cut, and that is seen */
        memcpy(out + len - 3, "...", 3);
}

/* Whoever connects a new machine sees this first: say what is to be set. */
static void say_stranger(struct hl7_intake *in)
{
    char text[sizeof(((struct hl7_issue *)NULL)->text)];
    char application[SHOWN_MAX + 1], facility[SHOWN_MAX + 1];

    show(in->application, application);
    show(in->facility, facility);
    snprintf(text, sizeof(text),
             "No section [sender NAME] is for MSH-3 \"%s\" and MSH-4 \"%s\": "
             "its application, facility (and certificate, if set) have to be "
             "those of this sender",
             application, facility);
    in->rejected = true;
    hl7_say(in, HL7_ERROR, HL7_UNKNOWN_KEY, "forbidden", "MSH", 3, text);
}

static void check_receiver(struct hl7_intake *in)
{
    if (in->receivers == NULL ||
        hl7_receiver_is_ours(in->receivers, hl7_field(in->message, 0, 5)))
        return;
    in->rejected = true;
    hl7_say(in, HL7_ERROR, HL7_UNKNOWN_KEY, "not-found", "MSH", 5,
            "The message is for another receiver");
}

/* The Bundle that was made of it; that it is none would be a fault of ours. */
static enum err read_bundle(struct hl7_intake *in)
{
    struct outcome outcome;
    enum err e;

    if (in->oru.bundle.len == 0)
        return ERR_OK;
    outcome_init(&outcome);
    e = fhir_read(&in->reader, in->oru.bundle.data, in->oru.bundle.len,
                  &outcome, &in->doc);
    if (e == ERR_MEMORY)
        return e;
    if (e == ERR_OK && fhir_doc_count(in->doc) != in->oru.entry_count)
        e = ERR_FORM;
    if (e != ERR_OK) {
        fhir_doc_free(in->doc);
        in->doc = NULL;
        hl7_say(in, HL7_ERROR, e == ERR_LIMIT ? HL7_TOO_LONG : HL7_INTERNAL,
                e == ERR_LIMIT ? "too-many" : "internal", "", 0,
                e == ERR_LIMIT ? "More results than are taken in one message"
                               : "The results cannot be taken apart");
        return ERR_OK;
    }
    in->results = calloc(in->oru.entry_count + 1, sizeof(*in->results));
    in->matches = calloc(in->oru.entry_count + 1, sizeof(*in->matches));
    return in->results != NULL && in->matches != NULL ? ERR_OK : ERR_MEMORY;
}

static void take_issues(struct hl7_intake *in, const struct hl7_issues *from)
{
    for (size_t i = 0; i < from->count; i++)
        hl7_issue_add(&in->issues, from->list[i].severity, from->list[i].code,
                      from->list[i].word, &from->list[i].place, "%s",
                      from->list[i].text);
    in->issues.dropped += from->dropped;
    /* errors that had no room count all the same */
    for (size_t i = 0; i < from->count; i++)
        in->issues.errors -= from->list[i].severity == HL7_ERROR ? 1 : 0;
    in->issues.errors += from->errors;
}

static enum err read_results(struct hl7_intake *in)
{
    enum err e =
        hl7_oru_read(in->message, in->profile, in->reader.base, &in->oru);

    if (e == ERR_LIMIT) {
        hl7_say(in, HL7_ERROR, HL7_TOO_LONG, "too-many", "", 0,
                "More results than are taken in one message");
        return ERR_OK;
    }
    if (e != ERR_OK)
        return e;
    take_issues(in, &in->oru.issues);
    return read_bundle(in);
}

enum err hl7_intake_read(struct hl7_intake *in)
{
    struct hl7_fault fault = { .text = "" };
    bool named;
    enum err e = digest(in);

    look_at_head(in, &named);
    in->reader.now_s = in->now_ms / 1000;
    if (e == ERR_OK)
        e = hl7_read(in->bytes, in->len,
                     in->profile != NULL ? in->profile->charset : NULL,
                     &in->message, &fault);
    in->wants = e == ERR_OK ? hl7_wants(in->message)
                            : hl7_wants_of_head(in->bytes, in->len);
    if (in->profile == NULL && e != ERR_MEMORY) {
        say_stranger(in);
        return ERR_OK;
    }
    if (e != ERR_OK)
        return say_unreadable(in, named, e, &fault);
    check_receiver(in);
    if (hl7_admit(in->message, in->profile, &in->issues) != ERR_OK)
        in->rejected = true;
    return in->rejected ? ERR_OK : read_results(in);
}

void hl7_intake_clear(struct hl7_intake *in)
{
    fhir_doc_free(in->doc);
    hl7_free(in->message);
    hl7_oru_clear(&in->oru);
    free(in->results);
    free(in->matches);
    buf_clear(&in->before);
    in->before_journal = 0;
    in->doc = NULL;
    in->message = NULL;
    in->results = NULL;
    in->matches = NULL;
}
