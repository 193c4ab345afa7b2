/*
 * The words of the tables that answers are made of.
 *
 * Source: HL7 tables 0008, 0155 and 0357.
 */
#include "adapters/hl7_ack.h"
#include "adapters/hl7_ack_work.h"
#include "adapters/hl7_work.h"

#include <string.h>

static const char *const answer_words[] = {
    [HL7_AA] = "AA", [HL7_AE] = "AE", [HL7_AR] = "AR",
    [HL7_CA] = "CA", [HL7_CE] = "CE", [HL7_CR] = "CR",
};

const char *hl7_answer_word(enum hl7_answer answer)
{
    return answer_words[answer];
}

const char *hl7_error_text(enum hl7_error code)
{
    static const struct {
        enum hl7_error code;
        const char *text;
    } rows[] = {
        { HL7_SEQUENCE, "Segment sequence error" },
        { HL7_MISSING, "Required field missing" },
        { HL7_DATA_TYPE, "Data type error" },
        { HL7_TABLE_VALUE, "Table value not found" },
        { HL7_TOO_LONG, "Value too long" },
        { HL7_MESSAGE_TYPE, "Unsupported message type" },
        { HL7_EVENT, "Unsupported event code" },
        { HL7_PROCESSING_ID, "Unsupported processing id" },
        { HL7_VERSION, "Unsupported version id" },
        { HL7_UNKNOWN_KEY, "Unknown key identifier" },
        { HL7_DUPLICATE_KEY, "Duplicate key identifier" },
        { HL7_LOCKED, "Application record locked" },
        { HL7_INTERNAL, "Application error" },
    };

    for (size_t i = 0; i < COUNT(rows); i++) {
        if (rows[i].code == code)
            return rows[i].text;
    }
    return "";
}

/* ---- when an answer is wanted --------------------------------------------- */

static const char *const wanted_words[] = { [HL7_WANTED_NONE] = "",
                                            [HL7_WANTED_ALWAYS] = "AL",
                                            [HL7_WANTED_NEVER] = "NE",
                                            [HL7_WANTED_ERROR] = "ER",
                                            [HL7_WANTED_SUCCESS] = "SU" };

const char *hl7_wanted_word(enum hl7_wanted wanted)
{
    return wanted_words[wanted];
}

static enum hl7_wanted wanted_of(const char *word, size_t len)
{
    if (len == 0 || (len == 2 && memcmp(word, "\"\"", 2) == 0))
        return HL7_WANTED_NONE;
    for (unsigned i = HL7_WANTED_ALWAYS; i < COUNT(wanted_words); i++) {
        if (len == 2 && memcmp(word, wanted_words[i], 2) == 0)
            return (enum hl7_wanted)i;
    }
    return HL7_WANTED_ALWAYS;
}

static struct hl7_wants both(enum hl7_wanted accept,
                             enum hl7_wanted application)
{
    return (struct hl7_wants){ .enhanced = accept != HL7_WANTED_NONE ||
                                           application != HL7_WANTED_NONE,
                               .accept = accept,
                               .application = application };
}

static enum hl7_wanted read_wanted(const struct hl7_message *message, int field)
{
    const char *word = hl7_field(message, 0, field);

    return wanted_of(word, strlen(word));
}

struct hl7_wants hl7_wants(const struct hl7_message *message)
{
    return both(read_wanted(message, 15), read_wanted(message, 16));
}

/* The first part of it, as hl7_field would have it. */
static enum hl7_wanted look_wanted(const struct hl7_ack_head *head, int field)
{
    struct hl7_ack_span word = hl7_ack_field(head, field);
    const char signs[] = { head->d.repetition, head->d.component,
                           head->d.subcomponent };

    for (size_t i = 0; i < sizeof(signs); i++)
        word.len =
            (size_t)(hl7_part_end(word.at, word.at + word.len, signs[i]) -
                     word.at);
    return wanted_of(word.at, word.len);
}

struct hl7_wants hl7_wants_of_head(const char *head, size_t len)
{
    struct hl7_ack_head look = hl7_ack_look(NULL, head, len);

    return both(look_wanted(&look, 15), look_wanted(&look, 16));
}

bool hl7_is_wanted(enum hl7_wanted wanted, bool success)
{
    return wanted == HL7_WANTED_ALWAYS ||
           (wanted == HL7_WANTED_ERROR && !success) ||
           (wanted == HL7_WANTED_SUCCESS && success);
}
