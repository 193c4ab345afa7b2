/*
 * command_check_work - what the parts of headgate check share
 *
 *     command_check.c         its command line, and what is looked at
 *     command_check_record.c  the record
 *     check_files.c           the files and folders that settings name
 *     check_store.c           the store
 *     check_hl7.c             senders of HL7 v2 (see command.h)
 *     check_tls.c             the listener, certificates (see command.h)
 *
 * Each part prints what it finds, in lines that begin with its word; false:
 * a service would not start so, or not do what the settings say.
 */
#ifndef HEADGATE_SERVICE_COMMAND_CHECK_WORK_H
#define HEADGATE_SERVICE_COMMAND_CHECK_WORK_H

#include "service/command.h"

enum { CHECK_WHY_MAX = 4096, CHECK_FOUND_MAX = 128 * 1024 };

/* ---- command_check.c ---- */

/* Each line below the word. */
void check_print_lines(const char *word, const char *lines);

/* ---- check_files.c ---- */

bool check_policy(const struct config *config);
bool check_zone(const struct config *config);
bool check_maps(const struct config *config);
/* The files of secrets: that they can be read, not what is in them. */
bool check_tokens(const struct config *config);
/* The keys that sign for us, and those that others sign with. */
bool check_keys(const struct config *config);
bool check_drop(const struct config *config);
/* What others on this machine could do; and what it gives. */
bool check_modes(const struct config *config);

/* ---- check_store.c ---- */

/* One that no service has open is read through; quick: it is only opened. */
bool check_store(const struct config *config, bool quick);

#endif
