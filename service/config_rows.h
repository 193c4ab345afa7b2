/*
 * config_rows - the table of all settings; private to config*.c
 *
 * Everything known about a key stands in its row; the parser, the overrides
 * and the reference file all walk the same table.
 */
#ifndef HEADGATE_SERVICE_CONFIG_ROWS_H
#define HEADGATE_SERVICE_CONFIG_ROWS_H

#include <stddef.h>

enum config_type {
    T_INT,
    T_BOOL,
    T_PATH,    /* relative to the folder of the file that names it */
    T_MAP,     /* a path that may be given several times; must be readable */
    T_URL,     /* http or https; kept without a slash at its end */
    T_TEXT,    /* anything that fits */
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
    const char *unit;
    const char *help;
};

enum { CONFIG_ROWS_MAX = 96 };

/* The rows, in the order of the reference file. */
const struct config_row *config_rows(size_t *count);

#endif
