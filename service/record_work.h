/*
 * record_work - what the two files of the record share; private to them
 *
 *     record.c       how the record does, its token of a file, opening
 *     record_call.c  one request
 */
#ifndef HEADGATE_SERVICE_RECORD_WORK_H
#define HEADGATE_SERVICE_RECORD_WORK_H

#include "adapters/origin.h"
#include "service/record.h"

enum { RECORD_TOKEN_MAX = 16384, RECORD_URL_MAX = 16384 };

struct record {
    struct http_client *client;
    struct record_options options;
    struct origin origin;
    char *url, *token_file;
    char *token; /* of the file; NULL for none */
    struct record_view view;
    int failures;     /* in a row */
    int pauses;       /* in a row */
    int64_t pause_ms; /* how long the pause was meant to be */
    int64_t probe_ms; /* when the probe began; 0: none is under way */
};

/* What an answer means for the state. */
void record_note_answer(struct record *r, const struct http_answer *answer);
/* No token is to be had. */
void record_note_denied(struct record *r);
/* Has somebody put another token into the file?  Then it is in use. */
bool record_has_new_token(struct record *r);

#endif
