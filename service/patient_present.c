#include "service/patient_present.h"

#include "adapters/catalogue.h"
#include "adapters/fhir_time.h"
#include "adapters/queue_text.h"
#include "planner/policy.h"
#include "planner/reading.h"
#include "service/names.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

enum { LISTED_MAX = 20 };

/* ---- what there is ------------------------------------------------------------- */

static enum err read_readings(struct db *db, struct patient_present *p)
{
    const enum query q = Q_PRESENT_READINGS;
    enum err e = db_first(db, q, "i", p->patient.id);

    if (e == ERR_OK) {
        p->readings = db_int(db, q, 0);
        p->first_s = db_int(db, q, 1);
        p->last_s = db_int(db, q, 2);
    }
    db_done(db, q);
    return e;
}

static enum err read_open(struct db *db, struct patient_present *p)
{
    const enum query q = Q_PRESENT_OPEN;
    enum err e = db_first(db, q, "ii", p->patient.id, INT64(URGENCY_IMMEDIATE));

    if (e == ERR_OK) {
        p->suggestions = db_int(db, q, 0);
        p->reminders = db_int(db, q, 1);
        p->emergencies = db_int(db, q, 2);
    }
    db_done(db, q);
    return e;
}

static enum err read_tied(struct db *db, int64_t since_s,
                          struct patient_present *p)
{
    const enum query q = Q_PRESENT_TIED;
    enum err e = db_first(db, q, "iiiii", p->patient.id, since_s,
                          INT64(Q_DOWEL_DIAMETER), INT64(Q_BAND_STRETCHED),
                          INT64(Q_BAND_RELEASED));

    if (e == ERR_OK)
        p->tied = db_int(db, q, 0);
    db_done(db, q);
    return e;
}

static enum err read_number(struct db *db, struct patient_present *p)
{
    const enum query q = Q_PRESENT_NUMBER;
    enum err e = db_first(db, q, "i", p->patient.id);

    if (e == ERR_OK)
        snprintf(p->number, sizeof(p->number), "%s",
                 short_anchor(db_text(db, q, 0)));
    db_done(db, q);
    return e;
}

enum err patient_present(struct db *db, int64_t patient, int64_t since_s,
                         struct patient_present *p)
{
    enum err e;

    *p = (struct patient_present){ .readings = 0 };
    e = patient_get(db, patient, &p->patient);
    if (e == ERR_OK)
        e = read_number(db, p);
    if (e == ERR_OK)
        e = read_readings(db, p);
    if (e == ERR_OK)
        e = read_open(db, p);
    return e == ERR_OK ? read_tied(db, since_s, p) : e;
}

bool patient_present_is_urgent(const struct patient_present *p)
{
    return p->emergencies > 0 || p->tied > 0;
}

bool patient_present_is_called(const struct patient_present *p,
                               const char *name)
{
    const char *whole =
        p->patient.name[0] != '\0' ? p->patient.name : p->number;
    size_t len = strlen(name), family = strcspn(whole, ",");

    return strcasecmp(name, whole) == 0 ||
           (p->patient.name[0] != '\0' && len == family &&
            strncasecmp(name, whole, family) == 0);
}

/* ---- for people ----------------------------------------------------------------- */

static void write_day(struct buf *out, int64_t at_s)
{
    char text[FHIR_TIME_SIZE];

    fhir_time_write(at_s, text);
    buf_printf(out, "%.10s", text);
}

/* Writes what the row of a list says, to the end of its line. */
typedef void (*row_fn)(struct db *db, struct buf *out);

static enum err write_rows(struct db *db, enum query q, int64_t patient,
                           bool all, row_fn write, struct buf *out)
{
    size_t count = 0;
    enum err e = db_query(db, q, "ii", patient, INT64_MAX);

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (++count > LISTED_MAX && !all)
            continue;
        buf_puts(out, "  ");
        write(db, out);
    }
    db_done(db, q);
    if (count > LISTED_MAX && !all) {
        count -= LISTED_MAX;
        buf_puts(out, "  ");
        /* TRANSLATORS: of a list that is cut short; how many more */
        buf_printf(out,
                   ngettext("... and %zu more (--all shows it)",
                            "... and %zu more (--all shows them)", count),
                   count);
        buf_puts(out, "\n");
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

static void write_alias(struct db *db, struct buf *out)
{
    queue_text_clean(out, db_text(db, Q_PRESENT_ALIASES, 0) + 2);
    buf_puts(out, "\n");
}

static void write_access(struct db *db, struct buf *out)
{
    const enum query q = Q_PRESENT_ACCESSES;

    queue_text_clean(out, access_words(db_text(db, q, 0), db_text(db, q, 1)));
    buf_puts(out, db_int(db, q, 2) != 0 ? "\n" : _(" (not in use)\n"));
}

static void write_suggestion(struct db *db, struct buf *out)
{
    const enum query q = Q_PRESENT_SUGGESTIONS;
    enum urgency urgency = (enum urgency)db_int(db, q, 0);

    buf_puts(out, urgency == URGENCY_IMMEDIATE ? _("PHONE NOW:")
                                               : urgency_word(urgency));
    buf_puts(out, "  ");
    queue_text_clean(out, db_text(db, q, 1));
    buf_puts(out, "\n");
}

static enum err write_who(struct db *db, const struct patient *who, bool all,
                          struct buf *out)
{
    buf_puts(out, _("This would remove all that is kept of:"));
    buf_puts(out, "\n\n  ");
    queue_text_clean(out, who->name[0] != '\0' ? who->name
                                               : _("(no name is known)"));
    buf_puts(out, "\n  ");
    if (who->born_s != INT64_MIN) {
        buf_puts(out, _("born:"));
        buf_puts(out, " ");
        write_day(out, who->born_s);
        buf_puts(out, "\n  ");
    }
    buf_puts(out, _("unit:"));
    buf_puts(out, " ");
    queue_text_clean(out, who->unit[0] != '\0' ? who->unit : "-");
    buf_puts(out, "\n");
    return write_rows(db, Q_PRESENT_ALIASES, who->id, all, write_alias, out);
}

static enum err write_open(struct db *db, const struct patient_present *p,
                           bool all, struct buf *out)
{
    buf_printf(out, "\n");
    buf_printf(out,
               /* TRANSLATORS: two numbers */
               _("Open: %1$lld suggestions, %2$lld reminders.  They end here, "
                 "and stay open at the clinical record."),
               (long long)p->suggestions, (long long)p->reminders);
    buf_puts(out, "\n");
    return write_rows(db, Q_PRESENT_SUGGESTIONS, p->patient.id, all,
                      write_suggestion, out);
}

enum err patient_present_write(struct db *db, const struct patient_present *p,
                               bool all, struct buf *out)
{
    enum err e = write_who(db, &p->patient, all, out);

    if (e != ERR_OK)
        return e;
    buf_printf(out, "\n%s\n", _("Accesses:"));
    e = write_rows(db, Q_PRESENT_ACCESSES, p->patient.id, all, write_access,
                   out);
    if (e != ERR_OK)
        return e;
    buf_puts(out, "\n");
    buf_printf(out, _("Readings: %lld"), (long long)p->readings);
    if (p->readings > 0) {
        buf_puts(out, ", ");
        write_day(out, p->first_s);
        buf_puts(out, " - ");
        write_day(out, p->last_s);
    }
    buf_puts(out, "\n");
    e = write_open(db, p, all, out);
    return e == ERR_OK ? buf_ok(out) : e;
}

void patient_present_write_urgent(const struct patient_present *p,
                                  struct buf *out)
{
    if (p->emergencies > 0)
        buf_printf(
            out, "%s\n",
            _("SOMETHING VERY URGENT IS OPEN: a suggestion to phone now, "
              "or a sign of emergency that is held back.  Who is removed "
              "is watched no more."));
    if (p->tied > 0)
        buf_printf(out, "%s\n",
                   _("A BAND IS BEING TIED, or was within the last hours: a "
                     "case is under way."));
    if (patient_present_is_urgent(p))
        buf_printf(
            out, "%s\n",
            _("Make sure that those who treat the patient know, by local "
              "policy.  To remove the patient all the same say "
              "--even-if-urgent too."));
}
