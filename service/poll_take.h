/*
 * poll_take - what came from the clinical record goes into the store
 *
 * Store thread only.  Whatever way it came (a poll, a hook, an export, one
 * read by its id), it is taken as the entries of a feed are: what is unclear
 * is held, what cannot be read is noted and does not stop the rest.  What is
 * known in this version, or in a newer one, is left out before anything is
 * read, so that an overlap costs nothing.
 *
 * A resource keeps the id that it has at the record, unless it was known here
 * before under another: then both names mean it, and what comes later of it is
 * the record's word, which stands.
 *
 * Whom an Observation speaks of and who is not known here is noted, to be read
 * at the record by its id.
 */
#ifndef HEADGATE_SERVICE_POLL_TAKE_H
#define HEADGATE_SERVICE_POLL_TAKE_H

#include "adapters/feed.h"
#include "adapters/fhir_page.h"
#include "service/resources.h"

enum take_source { TAKE_POLL = 1, TAKE_HOOK, TAKE_BULK, TAKE_BY_ID };

struct poll_take {
    /* in */
    const struct fhir_page *page;
    const char *body;
    const struct fhir_reader *reader; /* self: the base of the record */
    bool merge_implied;
    bool anew; /* also what is known in this version already */
    enum take_source source;
    int file;                        /* of an export, from 1; else 0 */
    const struct feed_entry *places; /* of each entry in the file; or NULL */
    int64_t now_ms;
    /* out: numbers of entries */
    unsigned known, stored, refused, withdrawn, others;
    bool news;    /* accesses have news: wake the review */
    bool fetches; /* something is to be read by its id */
};

/* Errors are those of the store; entries that are not taken are no error. */
MUST_CHECK enum err poll_take(struct db *db, struct poll_take *take);

/* Note what was not taken; text: for a person, with no value of a patient. */
MUST_CHECK enum err poll_not_taken(struct db *db, const struct poll_take *take,
                                   size_t entry, int status, const char *place,
                                   const char *text);

/* Note that a resource is to be read at the record by its id, though it may
 * be known here. */
MUST_CHECK enum err poll_fetch_later(struct db *db, enum fhir_type kind,
                                     const char *remote, int64_t now_ms);

/*
 * record_origin - by which id, and in which version, the record has this
 *
 * resource  its number here
 * ERR_ABSENT  it did not come from the record
 */
MUST_CHECK enum err record_origin(struct db *db, int64_t resource,
                                  char remote[FID_SIZE],
                                  char version[FID_SIZE]);

#endif
