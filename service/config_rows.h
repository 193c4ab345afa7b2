/*
 * config_rows - the table of all settings; private to config*.c
 *
 * Everything known about a key stands in its row; the parser, the overrides
 * and the reference file all walk the same table.
 */
#ifndef HEADGATE_SERVICE_CONFIG_ROWS_H
#define HEADGATE_SERVICE_CONFIG_ROWS_H

#include "adapters/buf.h"

#include <stddef.h>

enum config_type {
    T_INT,
    T_BOOL,
    T_PATH,    /* relative to the folder of the file that names it */
    T_MAP,     /* a path that may be given several times; must be readable */
    T_URL,     /* http or https; kept without a slash at its end */
    T_TEXT,    /* anything that fits */
    T_URI,     /* with a scheme, and without blanks */
    T_CHOICE,  /* one of the words in `unit`, kept as its number */
    T_SYSTEM,  /* key.NAME = URI, may be given several times */
    T_ADDRESS, /* numeric, IPv4 or IPv6 */
    T_ZONE,
    T_LEVEL
};

struct config_row {
    const char *key; /* "section.key" */
    enum config_type type;
    size_t where;
    long least, most; /* a number's range, or the length of a text */
    const char *fallback;
    const char *unit; /* of a number; of T_CHOICE the words, with blanks */
    const char *help;
};

enum { CONFIG_ROWS_MAX = 160, CONFIG_SENDER_ROWS_MAX = 24 };

/* The rows, in the order of the reference file. */
const struct config_row *config_rows(size_t *count);

/* Of a section [sender NAME]; `where` is in struct config_sender, and the
 * keys are without the section. */
const struct config_row *config_sender_rows(size_t *count);
/* The words of such a section as comments, for the reference file. */
void config_sender_reference(struct buf *out);

/* A text as comment lines of limited width, behind "; ". */
void config_write_comment(struct buf *out, const char *text);
/* The form of a value as a comment line, or nothing. */
void config_write_form(struct buf *out, const struct config_row *row);

struct config;
/* What [mllp] and [sender NAME] must say together; NULL, or what is wrong
 * (in room, of size bytes, or static). */
const char *config_check_hl7(const struct config *config, char *room,
                             size_t size);

#endif
