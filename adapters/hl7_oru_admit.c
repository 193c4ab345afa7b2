#include "adapters/hl7_oru_work.h"

#include <string.h>

static bool is_one_of(const char *text, const char *const *words, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (strcmp(words[i], text) == 0)
            return true;
    }
    return false;
}

static void refuse(const struct hl7_message *m, int field, int component,
                   struct hl7_issues *issues, enum hl7_error code,
                   const char *word, const char *text)
{
    struct hl7_place place = hl7_place_of(m, 0);

    place.field = field;
    place.component = component;
    hl7_issue_add(issues, HL7_ERROR, code, word, &place, "%s", text);
}

static const char *header(const struct hl7_message *m, int field, int component)
{
    return hl7_text(m, 0, field, 1, component, 1);
}

/* Before 2.3.1 there was no structure, and some senders left the event out. */
static void check_type(const struct hl7_message *m, struct hl7_issues *issues)
{
    const char *event = header(m, 9, 2), *structure = header(m, 9, 3);

    if (strcmp(header(m, 9, 1), "ORU") != 0)
        refuse(m, 9, 1, issues, HL7_MESSAGE_TYPE, "not-supported",
               "Only results are taken: ORU^R01");
    else if (event[0] != '\0' && strcmp(event, "R01") != 0)
        refuse(m, 9, 2, issues, HL7_EVENT, "not-supported",
               "Of ORU, only the event R01 is taken");
    else if (structure[0] != '\0' && strcmp(structure, "ORU_R01") != 0)
        refuse(m, 9, 3, issues, HL7_MESSAGE_TYPE, "not-supported",
               "The structure of ORU^R01 is ORU_R01");
}

static void check_version(const struct hl7_message *m,
                          struct hl7_issues *issues)
{
    /* table 0104 */
    static const char *const known[] = { "2.3",   "2.3.1", "2.3.2", "2.4",
                                         "2.5",   "2.5.1", "2.6",   "2.7",
                                         "2.7.1", "2.8",   "2.8.1", "2.8.2" };

    if (!is_one_of(header(m, 12, 1), known, COUNT(known)))
        refuse(m, 12, 1, issues, HL7_VERSION, "not-supported",
               "Versions 2.3 to 2.8 of HL7 are taken");
}

static void check_processing(const struct hl7_message *m,
                             const struct hl7_profile *profile,
                             struct hl7_issues *issues)
{
    static const char *const test[] = { "T", "D" };
    const char *id = header(m, 11, 1);

    if (strcmp(id, "P") == 0 ||
        (profile->accept_test && is_one_of(id, test, COUNT(test))))
        return;
    refuse(m, 11, 1, issues, HL7_PROCESSING_ID, "not-supported",
           is_one_of(id, test, COUNT(test))
               ? "Messages of training and debugging are not taken from this "
                 "sender"
               : "The processing id is P, T or D");
}

static void check_control(const struct hl7_message *m,
                          struct hl7_issues *issues)
{
    const char *control = header(m, 10, 1);

    if (!oru_says(control))
        refuse(m, 10, 0, issues, HL7_MISSING, "missing-element",
               "A message needs a control id");
    else if (strlen(control) >= sizeof(((struct hl7_oru *)NULL)->control))
        refuse(m, 10, 0, issues, HL7_TOO_LONG, "too-long",
               "A control id has 199 bytes at most");
}

enum err hl7_admit(const struct hl7_message *message,
                   const struct hl7_profile *profile, struct hl7_issues *issues)
{
    size_t errors = issues->errors;

    check_type(message, issues);
    check_control(message, issues);
    check_processing(message, profile, issues);
    check_version(message, issues);
    return issues->errors == errors ? ERR_OK : ERR_DENIED;
}
