#include "service/deceased.h"

#include "adapters/catalogue.h"
#include "planner/triage.h"
#include "service/log.h"

#include <stdio.h>
#include <string.h>

enum {
    DOUBT_SAID = 1,     /* bits of patient.deceased_doubt */
    DOUBT_MEASURED = 2, /* the statements of the queue ask for it by 2 */
    LEEWAY_S = DAY_S,   /* a result may be dated when the laboratory had it */
    LATER_MAX = 1000
};

struct fact {
    bool dead, doubtful, measured;
    enum deceased_by by;
    char died[FHIR_TIME_SIZE];
    int64_t by_s; /* dead by this moment; INT64_MIN a store of before */
};

static enum err load(struct db *db, int64_t patient, struct fact *fact)
{
    const enum query q = Q_DECEASED_GET;
    enum err e = db_first(db, q, "i", patient);
    const char *died;
    unsigned doubt;

    if (e != ERR_OK)
        return e;
    died = db_text(db, q, 0);
    doubt = (unsigned)db_int(db, q, 2);
    *fact = (struct fact){ .dead = died != NULL,
                           .by = (enum deceased_by)db_int(db, q, 1),
                           .doubtful = (doubt & DOUBT_SAID) != 0,
                           .measured = (doubt & DOUBT_MEASURED) != 0,
                           .by_s = db_is_null(db, q, 3) ? INT64_MIN
                                                        : db_int(db, q, 3) };
    snprintf(fact->died, sizeof(fact->died), "%s", died != NULL ? died : "");
    db_done(db, q);
    return ERR_OK;
}

static enum err store(struct db *db, int64_t patient, const struct fact *fact)
{
    return db_run(db, Q_DECEASED_SET, "isiii", patient,
                  fact->dead ? fact->died : NULL, INT64(fact->by),
                  INT64((fact->doubtful ? DOUBT_SAID : 0) |
                        (fact->measured ? DOUBT_MEASURED : 0)),
                  fact->by_s);
}

/* Of a time that leaves a day or a year open, or of none, the moment at which
 * it was heard first: what is measured after that is of one who lives. */
static int64_t dead_by(const struct fact *before,
                       const struct fhir_patient *said)
{
    int64_t at_s =
        before->dead && before->by_s != INT64_MIN ? before->by_s : said->told_s;

    if (at_s < said->died_start_s)
        return said->died_start_s;
    return at_s > said->died_end_s ? said->died_end_s : at_s;
}

static void set_dead(struct fact *fact, const struct fhir_patient *said)
{
    *fact = (struct fact){ .dead = true,
                           .measured = fact->measured,
                           .by_s = dead_by(fact, said),
                           .by = said->of_v2 ? DECEASED_BY_V2
                                             : DECEASED_BY_RECORD };
    snprintf(fact->died, sizeof(fact->died), "%s", said->died);
}

static void set_alive(struct fact *fact)
{
    *fact = (struct fact){ .by_s = INT64_MIN };
}

/* What is so once this was said, too. */
static void change(struct fact *fact, const struct fhir_patient *said)
{
    bool of_record = fact->dead && fact->by == DECEASED_BY_RECORD;

    switch (said->death) {
    case DEATH_UNSAID:
        if (!said->of_v2 && (of_record || !fact->dead))
            set_alive(fact);
        return;
    case DEATH_NO:
        if (!said->of_v2 || !of_record)
            set_alive(fact);
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

/* ---- what is measured of the dead ------------------------------------------ */

/* Of one row of Q_DECEASED_LATER. */
static bool speaks_of_life(struct db *db, int64_t by_s)
{
    const enum query q = Q_DECEASED_LATER;
    const struct reading r = { .quantity = (enum quantity)db_int(db, q, 0),
                               .sign = (enum sign)db_int(db, q, 1),
                               .present = db_int(db, q, 2) != 0,
                               .status = (enum reading_status)db_int(db, q, 3),
                               .start_s = db_int(db, q, 4),
                               .value = db_double(db, q, 5) };

    return reading_is_emergency(&r) ||
           (reading_counts(&r) && r.start_s > by_s + LEEWAY_S);
}

static enum err is_measured(struct db *db, int64_t patient, int64_t by_s,
                            bool *measured)
{
    const enum query q = Q_DECEASED_LATER;
    enum err e = db_first(db, Q_DECEASED_HELD, "ii", patient, by_s);

    *measured = e == ERR_OK;
    db_done(db, Q_DECEASED_HELD);
    if (e != ERR_ABSENT)
        return e;
    e = db_query(db, q, "iiiii", patient, by_s, INT64(LATER_MAX),
                 INT64(Q_BLEEDING_ACTIVE), INT64(Q_RUPTURE_THREAT));
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK)
        *measured = *measured || speaks_of_life(db, by_s);
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* Is what was measured after it found out anew, too; what is not acted upon
 * any more, or again, is for all accesses to be reviewed. */
static enum err settle(struct db *db, int64_t patient,
                       const struct fact *before, struct fact *now)
{
    bool was = before->dead && !before->measured;
    enum err e = ERR_OK;

    now->measured = false;
    if (now->dead && now->by_s != INT64_MIN)
        e = is_measured(db, patient, now->by_s, &now->measured);
    if (e != ERR_OK ||
        (now->dead == before->dead && now->by == before->by &&
         now->doubtful == before->doubtful && now->by_s == before->by_s &&
         now->measured == before->measured &&
         strcmp(now->died, before->died) == 0))
        return e;
    if (now->measured && !before->measured)
        log_event(LOG_WARN, "death.doubtful", KEY_INT("row", patient));
    e = store(db, patient, now);
    return e == ERR_OK && was != (now->dead && !now->measured)
               ? db_run(db, Q_NEWS_OF_PATIENT, "i", patient)
               : e;
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
    return settle(db, patient, &before, &now);
}

enum err deceased_judge(struct db *db, int64_t patient, bool *changed)
{
    struct fact before, now;
    enum err e = load(db, patient, &before);

    *changed = false;
    if (e == ERR_ABSENT) /* a withdrawal that names nobody */
        return ERR_OK;
    if (e != ERR_OK || !before.dead)
        return e;
    now = before;
    e = settle(db, patient, &before, &now);
    *changed = now.measured != before.measured;
    return e;
}

/* ---- the store of before ----------------------------------------------------- */

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
    if (patient->death_measured && patient->died[0] != '\0')
        /* TRANSLATORS: a day, a month or a year: 2026-11-20 */
        snprintf(text, DECEASED_TEXT_SIZE,
                 _("recorded as deceased on %s, but something is dated later: "
                   "the death is doubtful and is not acted upon; ask now, and "
                   "have it put right in the record"),
                 patient->died);
    else if (patient->death_measured)
        snprintf(text, DECEASED_TEXT_SIZE, "%s",
                 _("recorded as deceased, but something is dated later: the "
                   "death is doubtful and is not acted upon; ask now, and have "
                   "it put right in the record"));
    else if (patient->deceased && patient->died[0] != '\0')
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
