/*
 * config_work - one reading of settings; private to config*.c
 *
 *     config.c         the file, the overrides, what must fit together
 *     config_set.c     a value into its field, by the type of its row
 *     config_rows.c    the rows
 *     config_reference.c  the reference file
 *     config_sender.c  [sender NAME], and [mllp] as a whole
 *     config_say.c     complaints, with their place
 *     config_live.c    what may change while a service runs
 *     config_tls.c     what must fit together of TLS, and its files
 */
#ifndef HEADGATE_SERVICE_CONFIG_WORK_H
#define HEADGATE_SERVICE_CONFIG_WORK_H

#include "service/config.h"
#include "service/config_rows.h"

/* One loading. */
struct config_reader {
    struct config *config;
    struct buf *why;
    const char *path;    /* of the file; NULL for defaults and overrides */
    size_t folder_len;   /* of path, with its slash; 0 for none */
    void *base;          /* of the row that is being set: config, or a sender */
    const char *section; /* of a sender; NULL: as the row's key says */
    const char *name;    /* of a coding system; NULL */
    bool seen[CONFIG_ROWS_MAX]; /* in the file */
    bool sender_seen[CONFIG_SENDERS_MAX][CONFIG_SENDER_ROWS_MAX];
};

/* Say what is wrong with a value; ERR_CONFIG. */
MUST_CHECK enum err config_refuse(const struct config_reader *l, int line,
                                  const struct config_row *row,
                                  const char *value, const char *what);

/* A value into l->base, by its row; line 0: of no file. */
MUST_CHECK enum err config_set(const struct config_reader *l, int line,
                               const struct config_row *row, const char *value);

/* The section is one of a sender; *name is what follows. */
bool config_is_sender(const char *section, const char **name);

/* A key of such a section. */
MUST_CHECK enum err config_set_sender(struct config_reader *l, int line,
                                      const char *section, const char *name,
                                      const char *key, const char *value);
/* "sender NAME.key=value"; len: up to the equals sign. */
MUST_CHECK enum err config_override_sender(struct config_reader *l,
                                           const char *text, size_t len);

/* What [http] and [record] say of TLS and proxies, together; NULL, or what is
 * wrong (in room, or static). */
const char *config_check_tls(const struct config *config, char *room,
                             size_t size);

/* A numeric address of this machine alone? */
bool config_is_loopback(const char *address);

#endif
