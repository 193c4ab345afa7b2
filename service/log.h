/*
 * log - one line of key=value on standard error per event, without patients
 *
 * A field is a number or a literal of the program: no field takes run-time
 * text, so that nothing from a record can reach the log.  At debug there is a
 * line for each request, message, poll, try of a delivery and call of the
 * record; they have no more of a patient than the others.
 *
 *     log_event(LOG_WARN, "outbox.retry", KEY_INT("row", id), KEY_ERR(e));
 */
#ifndef HEADGATE_SERVICE_LOG_H
#define HEADGATE_SERVICE_LOG_H

#include "planner/err.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum log_level { LOG_DEBUG, LOG_INFO, LOG_WARN, LOG_ERROR };

struct log_field {
    const char *key;
    const char *word; /* NULL: number counts */
    int64_t number;
};

/* "" makes sure that the key, and the word, are literals */
#define KEY_INT(k, n)  ((struct log_field){ "" k, NULL, (int64_t)(n) })
#define KEY_WORD(k, w) ((struct log_field){ "" k, "" w, 0 })
/* a word out of a table of the program, never one that came in */
#define KEY_TABLE(k, w) ((struct log_field){ "" k, (w), 0 })
/* a name that the settings give, such as that of [sender NAME] */
#define KEY_SETTING(k, w) ((struct log_field){ "" k, (w), 0 })
#define KEY_ERR(e)        ((struct log_field){ "err", err_word(e), 0 })

#define log_event(level, event, ...)                                           \
    log_write(level, "" event,                                                 \
              (const struct log_field[]){ __VA_ARGS__, { NULL, NULL, 0 } })

/* Lines below this level are dropped; default LOG_INFO. */
void log_set_level(enum log_level level);
MUST_CHECK enum err log_level_by_word(const char *word, enum log_level *level);

/* Is a line of this level written?  For what would be looked up for it alone. */
bool log_says(enum log_level level);

/* Milliseconds since a moment of log_now_ns(), for a field; 0 of 0. */
int64_t log_ms_since(uint64_t began_ns);
/* A clock that nobody sets. */
uint64_t log_now_ns(void);

/* Thread-safe; one write() per line: time, level, event, fields. */
void log_write(enum log_level level, const char *event,
               const struct log_field *fields);

#endif
