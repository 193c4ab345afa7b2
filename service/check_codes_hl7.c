/* Messages of HL7 v2 in a sample: each as the Bundle that it becomes. */
#include "service/check_codes_work.h"

#include "adapters/hl7_batch.h"
#include "adapters/hl7_oru.h"
#include "service/hl7_senders.h"

#include <string.h>

/* The place of an issue without its numbers: "OBX-5". */
static void tell_issue(struct check *check, const struct hl7_issue *issue)
{
    char place[HL7_PLACE_SIZE];

    if (issue->place.field > 0)
        snprintf(place, sizeof(place), "%s-%d", issue->place.segment,
                 issue->place.field);
    else
        snprintf(place, sizeof(place), "%s", issue->place.segment);
    check_on_refused(check, issue->word, place);
}

/* How a sender that nobody has described yet is read. */
static struct hl7_profile stranger(const struct check *check)
{
    struct hl7_profile profile = { .name = "sample", .accept_test = true };

    profile.zone = check->zone;
    return profile;
}

static enum err read_results(struct check *check,
                             const struct hl7_message *message,
                             const struct hl7_profile *profile)
{
    struct hl7_oru oru;
    enum err e = hl7_oru_read(message, profile, check->config->fhir_base, &oru);

    if (e != ERR_OK)
        return e;
    if (oru.bundle.len > 0)
        e = fhir_sample_read(&check->sample, oru.bundle.data, oru.bundle.len);
    for (size_t i = 0; i < oru.issues.count; i++) {
        if (oru.issues.list[i].severity == HL7_ERROR)
            tell_issue(check, &oru.issues.list[i]);
    }
    check->sample.refused += oru.issues.errors;
    hl7_oru_clear(&oru);
    return e;
}

static enum err read_message(struct check *check,
                             const struct hl7_senders *senders,
                             const struct hl7_batch_message *m,
                             const char *name)
{
    const struct hl7_profile *profile = NULL;
    struct hl7_profile unknown = stranger(check);
    struct hl7_message *message = NULL;
    struct hl7_issues issues = { .count = 0 };
    struct hl7_sender_head head;
    struct hl7_fault fault;
    char place[HL7_PLACE_SIZE];
    enum err e;

    if (hl7_senders_peek(m->bytes, m->len, &head) == ERR_OK)
        profile = hl7_senders_find(senders, &head, NULL, NULL);
    if (profile == NULL) {
        check->strangers++;
        profile = &unknown;
    }
    e = hl7_read(m->bytes, m->len, profile->charset, &message, &fault);
    if (e == ERR_MEMORY)
        return e;
    if (e != ERR_OK) {
        hl7_place_write(&fault.place, place);
        fprintf(stderr, "headgate: %s:%llu: %s: %s\n", name,
                (unsigned long long)m->line, place, fault.text);
        check->unreadable++;
        return ERR_OK;
    }
    check->messages++;
    e = hl7_admit(message, profile, &issues);
    for (size_t i = 0; e == ERR_DENIED && i < issues.count; i++)
        tell_issue(check, &issues.list[i]);
    if (e == ERR_DENIED) {
        check->sample.refused++;
        e = ERR_OK;
    } else if (e == ERR_OK) {
        e = read_results(check, message, profile);
    }
    hl7_free(message);
    return e == ERR_LIMIT || e == ERR_FORM ? ERR_OK : e;
}

static enum err read_all(struct check *check, const struct hl7_senders *senders,
                         struct hl7_batch *batch, const char *name)
{
    struct hl7_batch_message m;
    enum err e;

    while ((e = hl7_batch_next(batch, &m)) != ERR_ABSENT) {
        if (e == ERR_FORM || e == ERR_LIMIT) {
            fprintf(stderr, "headgate: %s:%llu: %s\n", name,
                    (unsigned long long)m.line,
                    m.problem != NULL ? m.problem : err_word(e));
            check->unreadable++;
            continue;
        }
        if (e == ERR_OK)
            e = read_message(check, senders, &m, name);
        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

enum err check_read_hl7(struct check *check, const char *name,
                        feed_read_fn read, void *arg)
{
    struct hl7_senders *senders = NULL;
    struct hl7_batch *batch = NULL;
    struct buf why;
    enum err e;

    buf_init(&why, 4096);
    e = hl7_senders_open(check->config, &senders, &why);
    if (e != ERR_OK)
        fprintf(stderr, "headgate: %s\n", why.len > 0 ? why.data : err_word(e));
    if (e == ERR_OK)
        e = hl7_batch_new(read, arg, 0, &batch);
    if (e == ERR_OK)
        e = read_all(check, senders, batch, name);
    hl7_batch_free(batch);
    hl7_senders_close(senders);
    buf_clear(&why);
    return e;
}
