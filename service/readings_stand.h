/*
 * readings_stand - a sign of emergency stands until it is ended
 *
 * Store thread only.  The newest version of an Observation takes the place of
 * those before.  A sign of emergency that one of these had is not ended by a
 * version that cannot be read, or that says otherwise without being a
 * correction (amended, corrected, withdrawn, or a new version by its owner,
 * who names its id): it stays in the history as it was, and the newer version
 * is held beside it, for a person.
 */
#ifndef HEADGATE_SERVICE_READINGS_STAND_H
#define HEADGATE_SERVICE_READINGS_STAND_H

#include "service/db.h"
#include "service/readings.h"

/* A reading of an earlier version that is in use. */
struct stand_reading {
    struct reading reading;
    int64_t owner;
    int64_t how; /* enum access_how */
};

/* What was held of it, of whichever version. */
struct stand_held {
    int slot, version; /* version 0: not known */
    enum quantity quantity;
    enum sign sign;
    enum hold hold;
    bool emergency, live;
    char hint[64];
};

struct stand {
    int version;                                  /* of what is placed now */
    struct stand_reading used[FHIR_READINGS_MAX]; /* emergencies only */
    size_t used_count;
    struct stand_held held[FHIR_READINGS_MAX];
    size_t held_count;
};

/* What stands of a resource, before its readings are removed. */
MUST_CHECK enum err stand_read(struct db *db, int64_t resource, int version,
                               struct stand *s);

/* Hold this reading (a copy of one of o) where it would end what stands, or
 * where it is a sign of emergency that came at once and says that it is old. */
void stand_judge(const struct stand *s, const struct fhir_observation *o,
                 struct fhir_reading *fr);

/* Was it held, and did it come at once? */
bool stand_is_live(const struct stand *s, const struct fhir_observation *o,
                   const struct fhir_reading *fr);

/* Have the readings that were placed ended what stood?  Only if all that are
 * about it are in use. */
bool stand_is_ended(const struct fhir_observation *o,
                    const struct reading *stands,
                    const struct readings_fate *fate);
/* Is any reading about it, so that people see the newer version? */
bool stand_is_shown(const struct fhir_observation *o,
                    const struct reading *stands);

/* Does the stored version of this resource, or one before it, have this sign
 * of emergency in use? */
MUST_CHECK enum err stand_has(struct db *db, int64_t resource,
                              const struct fhir_reading *fr, bool *has);

#endif
