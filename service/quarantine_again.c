/* What waits in quarantine, on its way in once more. */
#include "service/quarantine_act.h"

#include "service/hl7_intake.h"
#include "service/poll_take.h"

#include <stdlib.h>

static void say_first(const struct outcome *o, struct buf *why)
{
    for (size_t i = 0; i < o->count; i++) {
        if (o->issues[i].severity < SEV_ERROR)
            continue;
        buf_printf(why, "%s (%s)", o->issues[i].text,
                   o->issues[i].place[0] != '\0' ? o->issues[i].place
                                                 : "the whole of it");
        return;
    }
    buf_puts(why, "it cannot be read");
}

/* ---- HL7 v2 --------------------------------------------------------------- */

static void say_issue(const struct hl7_issues *issues, struct buf *why)
{
    char place[64];

    for (size_t i = 0; i < issues->count; i++) {
        const struct hl7_issue *one = &issues->list[i];

        if (one->severity != HL7_ERROR)
            continue;
        hl7_place_write(&one->place, place);
        buf_printf(why, "%s (%s)", one->text, place);
        return;
    }
    buf_puts(why, "it cannot be read");
}

/* NULL: it has no section in the settings any more. */
static const struct hl7_profile *profile_of(const struct quarantine_site *site,
                                            const struct quarantine_item *item,
                                            const struct buf *bytes)
{
    const struct hl7_profile *profile =
        hl7_senders_named(site->senders, item->source);
    struct hl7_sender_head head;

    if (profile != NULL ||
        hl7_senders_peek(bytes->data, bytes->len, &head) != ERR_OK)
        return profile;
    return hl7_senders_find(site->senders, &head, NULL, NULL);
}

static enum err again_hl7(struct db *db, const struct quarantine_site *site,
                          const struct quarantine_item *item,
                          const struct buf *bytes, bool *taken, struct buf *why)
{
    struct hl7_intake in = { .bytes = bytes->data,
                             .len = bytes->len,
                             .reader = site->reader,
                             .way = item->way,
                             .line = item->line,
                             .start = item->start,
                             .merge_implied = site->merge_implied,
                             .now_ms = site->now_ms,
                             .again = true };
    enum err e;

    in.profile = profile_of(site, item, bytes);
    if (in.profile == NULL) {
        buf_puts(why, "its sender has no section in the settings any more");
        return ERR_OK;
    }
    e = hl7_intake_read(&in);
    if (e == ERR_OK)
        e = hl7_intake_apply(db, &in);
    *taken = e == ERR_OK && !in.quarantined && in.id != 0;
    if (e == ERR_OK && !*taken)
        say_issue(&in.issues, why);
    hl7_intake_clear(&in);
    return e;
}

/* ---- of the record -------------------------------------------------------- */

static enum err again_record(struct db *db, const struct quarantine_site *site,
                             const struct quarantine_item *item,
                             const struct buf *bytes, bool *taken,
                             struct buf *why)
{
    struct fhir_reader reader = site->reader;
    struct fhir_page page;
    struct poll_take take = { .page = &page,
                              .body = bytes->data,
                              .reader = &reader,
                              .merge_implied = site->merge_implied,
                              .anew = true,
                              .source = (enum take_source)item->way,
                              .file = (int)item->file,
                              .now_ms = site->now_ms };
    enum err e = fhir_page_read(bytes->data, bytes->len, &page);

    if (e == ERR_FORM || e == ERR_LIMIT) {
        buf_puts(why, "it is no resource in JSON");
        return ERR_OK;
    }
    if (e != ERR_OK)
        return e;
    reader.self = site->record[0] != '\0' ? site->record : NULL;
    e = poll_take(db, &take);
    fhir_page_clear(&page);
    /* known: a newer version of it has come since */
    *taken = e == ERR_OK && take.refused == 0 && take.stored + take.known > 0;
    if (e == ERR_OK && !*taken)
        buf_puts(why, "it is refused as before; headgate quarantine show says "
                      "for what");
    return e;
}

/* ---- a line of a file ----------------------------------------------------- */

static enum err apply(struct db *db, const struct quarantine_site *site,
                      const struct quarantine_item *item,
                      const struct buf *bytes, struct fhir_doc *doc,
                      bool *taken, struct buf *why)
{
    size_t count = fhir_doc_count(doc);
    struct intake in = { .doc = doc,
                         .reader = &site->reader,
                         .body = bytes->data,
                         .len = bytes->len,
                         .source = SOURCE_FEED,
                         .merge_implied = site->merge_implied,
                         .sender = item->source,
                         .way = item->way,
                         .now_ms = site->now_ms,
                         .results = calloc(count + 1, sizeof(*in.results)) };
    enum err e = in.results != NULL ? intake_apply(db, &in) : ERR_MEMORY;

    if (e == ERR_CONFLICT && in.all_failed)
        e = ERR_OK;
    *taken = e == ERR_OK && count > 0;
    for (size_t i = 0; e == ERR_OK && *taken && i < count; i++) {
        if (in.results[i].status < 400)
            continue;
        *taken = false;
        say_first(&fhir_doc_item(doc, i)->outcome, why);
    }
    free(in.results);
    return e;
}

static enum err again_line(struct db *db, const struct quarantine_site *site,
                           const struct quarantine_item *item,
                           const struct buf *bytes, bool *taken,
                           struct buf *why)
{
    struct outcome outcome;
    struct fhir_doc *doc = NULL;
    enum err e;

    outcome_init(&outcome);
    e = fhir_read(&site->reader, bytes->data, bytes->len, &outcome, &doc);
    if (e == ERR_FORM || e == ERR_LIMIT) {
        say_first(&outcome, why);
        return ERR_OK;
    }
    if (e == ERR_OK)
        e = apply(db, site, item, bytes, doc, taken, why);
    fhir_doc_free(doc);
    return e;
}

/* ---- either --------------------------------------------------------------- */

static enum err bundle_of_message(const struct quarantine_site *site,
                                  const struct quarantine_item *item,
                                  const struct buf *bytes, struct buf *out)
{
    struct hl7_intake in = { .bytes = bytes->data,
                             .len = bytes->len,
                             .profile = profile_of(site, item, bytes),
                             .reader = site->reader,
                             .way = item->way,
                             .now_ms = site->now_ms,
                             .again = true };
    enum err e = ERR_ABSENT;

    if (in.profile == NULL)
        return e;
    e = hl7_intake_read(&in);
    if (e == ERR_OK && in.oru.bundle.len > 0)
        buf_add(out, in.oru.bundle.data, in.oru.bundle.len);
    else if (e == ERR_OK)
        e = ERR_ABSENT;
    hl7_intake_clear(&in);
    return e == ERR_OK ? buf_ok(out) : e;
}

enum err quarantine_bundle(struct db *db, const struct quarantine_site *site,
                           const struct quarantine_item *item, struct buf *out)
{
    struct buf bytes;
    enum err e;

    if (item->held || item->message == 0)
        return quarantine_bytes(db, item, out);
    buf_init(&bytes, BODY_MAX);
    e = quarantine_bytes(db, item, &bytes);
    if (e == ERR_OK)
        e = bundle_of_message(site, item, &bytes, out);
    buf_clear(&bytes);
    return e;
}

enum err quarantine_again(struct db *db, const struct quarantine_site *site,
                          const struct quarantine_item *item, bool *taken,
                          struct buf *why)
{
    struct buf bytes;
    enum err e;

    *taken = false;
    buf_init(&bytes, BODY_MAX);
    e = quarantine_bytes(db, item, &bytes);
    if (e == ERR_ABSENT) {
        buf_puts(why, "its bytes were not kept; the sender has it still");
        e = ERR_OK;
    } else if (e == ERR_OK && item->message != 0) {
        e = again_hl7(db, site, item, &bytes, taken, why);
    } else if (e == ERR_OK && item->way >= QUARANTINE_POLL &&
               item->way <= QUARANTINE_BY_ID) {
        e = again_record(db, site, item, &bytes, taken, why);
    } else if (e == ERR_OK) {
        e = again_line(db, site, item, &bytes, taken, why);
    }
    buf_clear(&bytes);
    return e;
}
