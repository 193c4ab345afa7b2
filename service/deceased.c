#include "service/deceased.h"

#include "adapters/catalogue.h"
#include "planner/triage.h"

#include <stdio.h>
#include <string.h>

struct fact {
    bool dead, doubtful;
    enum deceased_by by;
    char died[FHIR_TIME_SIZE];
};

static enum err load(struct db *db, int64_t patient, struct fact *fact)
{
    const enum query q = Q_DECEASED_GET;
    enum err e = db_first(db, q, "i", patient);
    const char *died;

    if (e != ERR_OK)
        return e;
    died = db_text(db, q, 0);
    *fact = (struct fact){ .dead = died != NULL,
                           .by = (enum deceased_by)db_int(db, q, 1),
                           .doubtful = db_int(db, q, 2) != 0 };
    snprintf(fact->died, sizeof(fact->died), "%s", died != NULL ? died : "");
    db_done(db, q);
    return ERR_OK;
}

static void set_dead(struct fact *fact, const struct fhir_patient *said)
{
    *fact = (struct fact){ .dead = true,
                           .by = said->of_v2 ? DECEASED_BY_V2
                                             : DECEASED_BY_RECORD };
    snprintf(fact->died, sizeof(fact->died), "%s", said->died);
}

/* What is so once this was said, too. */
static void change(struct fact *fact, const struct fhir_patient *said)
{
    bool of_record = fact->dead && fact->by == DECEASED_BY_RECORD;

    switch (said->death) {
    case DEATH_UNSAID:
        if (!said->of_v2 && (of_record || !fact->dead))
            *fact = (struct fact){ .dead = false };
        return;
    case DEATH_NO:
        if (!said->of_v2 || !of_record)
            *fact = (struct fact){ .dead = false };
        return;
    case DEATH_YES:
        if (!said->of_v2 || !of_record)
            set_dead(fact, said);
        return;
    case DEATH_DOUBTFUL: /* what stood goes on standing */
        if (!said->of_v2 || !of_record)
            fact->doubtful = true;
        return;
    }
}

enum err deceased_take(struct db *db, int64_t patient,
                       const struct fhir_patient *said)
{
    struct fact before, now;
    enum err e = load(db, patient, &before);

    if (e != ERR_OK)
        return e;
    now = before;
    change(&now, said);
    if (now.dead == before.dead && now.by == before.by &&
        now.doubtful == before.doubtful && strcmp(now.died, before.died) == 0)
        return ERR_OK;
    e = db_run(db, Q_DECEASED_SET, "isii", patient, now.dead ? now.died : NULL,
               INT64(now.by), INT64(now.doubtful));
    return e == ERR_OK && now.dead != before.dead
               ? db_run(db, Q_NEWS_OF_PATIENT, "i", patient)
               : e;
}

enum err deceased_read(struct db *db, const struct fhir_reader *reader)
{
    return patients_read(db, reader, Q_PATIENT_STORED, deceased_take);
}

enum err deceased_ended(struct db *db, int64_t access, enum group group,
                        int number, bool *ended)
{
    const enum query q = Q_DECISION_END;
    enum err e = db_first(db, q, "iiii", access, INT64(group), INT64(number),
                          INT64(ACT_END));

    *ended = e == ERR_OK && db_int(db, q, 0) == END_DECEASED;
    db_done(db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

void deceased_say(const struct patient *patient, char text[DECEASED_TEXT_SIZE])
{
    text[0] = '\0';
    if (patient->deceased && patient->died[0] != '\0')
        /* TRANSLATORS: a day, a month or a year: 2026-11-20 */
        snprintf(text, DECEASED_TEXT_SIZE,
                 _("recorded as deceased since %s; if that is wrong, have it "
                   "put right in the record"),
                 patient->died);
    else if (patient->deceased)
        snprintf(text, DECEASED_TEXT_SIZE, "%s",
                 _("recorded as deceased, the day is not known; if that is "
                   "wrong, have it put right in the record"));
    else if (patient->death_doubtful)
        snprintf(text, DECEASED_TEXT_SIZE, "%s",
                 _("something was sent of a death that cannot be as it is "
                   "said; it is not acted upon: ask, and have it put right in "
                   "the record"));
}
