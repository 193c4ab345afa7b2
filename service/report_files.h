/*
 * report_files - the weekly report as files, one for each unit
 *
 *     FOLDER/2026-W47-UNIT.txt
 *
 * Loop thread.  Once the day and hour of the settings have come, the page of
 * the week before is written, and after a downtime those of up to WEEKS_BACK
 * weeks that were missed.  Each file appears whole (written beside, then
 * renamed).  Which week was written last is in the store: no week is written
 * twice, but for one whose files a stop interrupted.
 *
 * What else a name has than letters, digits, '-' and '_' becomes '_', with a
 * mark that tells two such names apart.
 */
#ifndef HEADGATE_SERVICE_REPORT_FILES_H
#define HEADGATE_SERVICE_REPORT_FILES_H

#include "adapters/zone.h"
#include "service/store.h"

struct report_files;

struct report_files_options {
    uv_loop_t *loop;
    struct store *store;
    const struct zone *zone; /* of the site */
    const char *folder;      /* borrowed */
    int weekday, hour;       /* 1 is Monday; at the site */
    int64_t (*now_ms)(void);
};

/* ERR_MEMORY */
MUST_CHECK enum err report_files_open(
    const struct report_files_options *options, struct report_files **out);

/* It may be time: called each minute, and at the start. */
void report_files_look(struct report_files *files);

/* on_closed is called at once, or when what is under way has ended. */
void report_files_close(struct report_files *files,
                        void (*on_closed)(void *arg), void *arg);

/* The Monday (a day since 1970-01-01) of the newest week that is to have been
 * written by now. */
int64_t report_files_due(int64_t now_ms, const struct zone *zone, int weekday,
                         int hour);

/* The name of a unit's file, without the folder. */
enum { REPORT_NAME_SIZE = 120 };
void report_files_name(int64_t week, const char *unit,
                       char out[REPORT_NAME_SIZE]);

#endif
