#include "service/explain.h"

#include "adapters/catalogue.h"
#include "adapters/fhir_time.h"
#include "adapters/queue_text.h"
#include "adapters/wording.h"
#include "service/audit_whom.h"
#include "service/deceased.h"
#include "service/held.h"
#include "service/names.h"
#include "service/replaced.h"
#include "service/suggest.h"

#include <string.h>

enum { FOUND_MAX = 8, TEXT_MAX = 4 * WORDING_SIZE_MAX };

/* ---- which one ------------------------------------------------------------ */

struct found {
    int64_t access; /* of the first */
    size_t count;
};

static void list_one(struct db *db, enum query q, struct buf *out)
{
    const char *name = db_text(db, q, 4);

    buf_puts(out, "  ");
    queue_text_clean(out, access_words(db_text(db, q, 1), db_text(db, q, 2)));
    buf_puts(out, "; ");
    queue_text_clean(out, name != NULL ? name : "name not known");
    buf_puts(out, ", ");
    queue_text_clean(out, short_anchor(db_text(db, q, 5)));
    buf_puts(out, db_int(db, q, 3) != 0 ? "\n" : " (no longer in use)\n");
}

/* One more than are listed tells that there are more. */
static enum err find(struct db *db, enum query q, const char *name,
                     struct found *found, struct buf *list)
{
    enum err e = db_query(db, q, "si", name, INT64(FOUND_MAX + 1));

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (found->count++ == 0)
            found->access = db_int(db, q, 0);
        if (found->count <= FOUND_MAX) {
            list_one(db, q, list);
            e = audit_saw(db, AUDIT_SAW_ACCESS, db_int(db, q, 0));
        }
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

static void say_not_one(const char *name, const struct found *found,
                        const struct buf *list, struct buf *out)
{
    buf_puts(out, found->count == 0 ? "No access is called \""
                                    : "More than one access answers to \"");
    queue_text_clean(out, name);
    if (found->count == 0) {
        buf_puts(out, "\", and no patient with an access that is in use.\n");
        return;
    }
    buf_puts(out, "\":\n");
    buf_add(out, list->data, list->len);
    if (found->count > FOUND_MAX)
        buf_puts(out, "  ... and more\n");
    buf_puts(out, "Name it by its own identifier or id.\n");
}

/* ---- what has been said --------------------------------------------------- */

static void say_open(struct db *db, enum query q, bool reminder,
                     const struct zone *zone, struct buf *out)
{
    char due[FHIR_TIME_SIZE], opened[FHIR_TIME_SIZE];
    bool taken = db_int(db, q, 2) == EPISODE_TAKEN;
    bool overdue = reminder && db_int(db, q, 3) != 0;
    int fid = reminder ? 5 : 6;

    fhir_date_write(db_int(db, q, reminder ? 4 : 5), zone, due);
    buf_printf(out, "  %s%s %lld: ", group_word((enum group)db_int(db, q, 0)),
               reminder ? " reminder" : "", (long long)db_int(db, q, 1));
    if (!reminder) {
        fhir_date_write(db_int(db, q, 4), zone, opened);
        buf_printf(out, "%s, open since %s, ",
                   urgency_word((enum urgency)db_int(db, q, 3)), opened);
    }
    buf_printf(out, "%s%s by %s, Task/%s%s\n", taken ? "in hand, " : "",
               overdue ? "overdue," : "due", due, db_text(db, q, fid),
               db_int(db, q, fid + 1) != 0 ? ", not posted (silent mode)" : "");
}

static enum err say_all(struct db *db, enum query q, int64_t access,
                        bool reminder, const struct zone *zone, struct buf *out)
{
    enum err e = db_query(db, q, "i", access);

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK)
        say_open(db, q, reminder, zone, out);
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* What a person made of the newest of each group. */
static void say_closed(struct db *db, const struct zone *zone, struct buf *out)
{
    const enum query q = Q_EPISODE_CLOSED;
    char date[FHIR_TIME_SIZE];
    int64_t state = db_int(db, q, 2);

    fhir_date_write(db_int(db, q, 3), zone, date);
    buf_printf(out, "  %s %lld: %s by a person on %s, Task/%s\n",
               group_word((enum group)db_int(db, q, 0)),
               (long long)db_int(db, q, 1),
               state == EPISODE_DONE       ? "completed"
               : state == EPISODE_DECLINED ? "declined"
                                           : "set aside",
               date, db_text(db, q, 4));
}

static enum err say_people(struct db *db, const struct review *review,
                           int64_t access, struct buf *out)
{
    const enum query q = Q_EPISODE_CLOSED;
    bool any = false;
    enum err e = db_query(db, q, "iiii", access, INT64(EPISODE_DONE),
                          INT64(EPISODE_DECLINED), INT64(EPISODE_VOID));

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (!any)
            buf_puts(out, "\nWhat people decided\n");
        any = true;
        say_closed(db, review->zone, out);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err say_said(struct db *db, const struct review *review,
                         int64_t access, struct buf *out)
{
    size_t before;
    enum err e;

    buf_puts(out, "\nOpen\n");
    before = out->len;
    e = say_all(db, Q_EPISODE_OF_ACCESS, access, false, review->zone, out);
    if (e == ERR_OK)
        e = say_all(db, Q_REPEAT_OF_ACCESS, access, true, review->zone, out);
    if (e == ERR_OK && out->len == before)
        buf_puts(out, "  Nothing is open for this access.\n");
    if (review->silent)
        buf_puts(out, "  Silent mode: nothing is posted.\n");
    return e == ERR_OK ? say_people(db, review, access, out) : e;
}

/* Before a page is read: is it the right patient, and is all of him in it? */
static enum err say_held(struct db *db, int64_t patient, struct buf *out)
{
    struct held_count held;
    enum err e = held_of_patient(db, patient, &held);

    if (e != ERR_OK || held.readings == 0)
        return e;
    /* TRANSLATORS: a label of at most 9 characters, then the sentence */
    buf_printf(out,
               _("Held      readings of this patient that are held and not "
                 "used: %1$lld, of them signs of emergency: %2$lld; see "
                 "headgate quarantine\n"),
               (long long)held.readings, (long long)held.emergencies);
    return ERR_OK;
}

static void say_field(struct buf *out, const char *label, const char *text)
{
    size_t before;

    buf_puts(out, label);
    for (size_t n = queue_text_columns(label, strlen(label)); n < 10; n++)
        buf_puts(out, " ");
    before = out->len;
    queue_text_clean(out, text);
    if (out->len == before)
        buf_puts(out, _("not known"));
}

static void say_death(const struct patient *patient, struct buf *out)
{
    char text[DECEASED_TEXT_SIZE];

    deceased_say(patient, text);
    if (text[0] == '\0')
        return;
    /* TRANSLATORS: a label of at most 9 characters, then the sentence */
    buf_printf(out, _("Death     %s\n"), text);
}

/* The record has two of him, and says which one counts. */
static enum err say_replaced(struct db *db, int64_t patient, struct buf *out)
{
    char number[ALIAS_SIZE];
    struct buf clean;
    enum err e = replaced_by(db, patient, number);

    if (e != ERR_OK || number[0] == '\0')
        return e;
    buf_init(&clean, (size_t)5 * ALIAS_SIZE);
    queue_text_clean(&clean, number);
    /* TRANSLATORS: a label of at most 9 characters, then the sentence, with the
     * number of a patient */
    buf_printf(out,
               _("Record    this record was replaced by %s: look at both, and "
                 "have the access sent with that one\n"),
               clean.len > 0 ? clean.data : "?");
    buf_clear(&clean);
    return ERR_OK;
}

static enum err say_head(struct db *db, const struct review *review,
                         const struct look *look, struct buf *out)
{
    const enum query q = Q_PATIENT_NUMBER;
    enum err e = db_first(db, q, "i", look->patient.id);

    if (e != ERR_OK)
        return e;
    /* TRANSLATORS: of these three: at most 9 characters each */
    say_field(out, _("Patient"), look->patient.name);
    buf_puts(out, " (");
    queue_text_clean(out, short_anchor(db_text(db, q, 0)));
    db_done(db, q);
    buf_puts(out, ")\n");
    say_death(&look->patient, out);
    e = say_replaced(db, look->patient.id, out);
    if (e != ERR_OK)
        return e;
    say_field(out, _("Unit"), look->patient.unit);
    buf_puts(out, "\n");
    say_field(out, _("Access"), access_name(&look->access));
    buf_puts(out, "\n");
    e = say_held(db, look->patient.id, out);
    if (e == ERR_OK)
        e = say_said(db, review, look->access.id, out);
    buf_puts(out, "\n");
    return e;
}

/* ---- what holds ----------------------------------------------------------- */

static void say_given_up(const struct look *look, struct buf *out)
{
    if (look->access.active)
        return;
    buf_puts(out, look->access.type == SIGN_TYPE_CVC
                      ? _("This access is no longer in use: only haemorrhage "
                          "and infection are looked at.")
                      : _("This access is no longer in use: only the hand, "
                          "haemorrhage and infection are looked at."));
    buf_puts(out, "\n\n");
}

static enum err say_review(struct db *db, const struct review *review,
                           int64_t access, struct buf *out)
{
    struct look look;
    struct readiness readiness;
    struct wording w;
    struct buf text, label;
    enum err e = look_at(db, review, access, &look);

    if (e != ERR_OK)
        return e;
    buf_init(&label, WORDING_SIZE_MAX);
    queue_text_clean(&label, access_name(&look.access));
    readiness_assess(&look.history, review->policy, &look.findings, &readiness);
    w = (struct wording){ .history = &look.history,
                          .policy = review->policy,
                          .findings = &look.findings,
                          .zone = review->zone,
                          .access_label = label.data };
    buf_init(&text, TEXT_MAX);
    e = say_head(db, review, &look, out);
    if (look.patient.deceased) {
        buf_puts(&text, _("No rule is looked at, and nothing is put to people. "
                          "What is measured is stored as before.\n"));
    } else {
        say_given_up(&look, &text);
        wording_review(&w, &readiness, &text);
    }
    if (e == ERR_OK)
        e = buf_ok(&text);
    if (e == ERR_OK)
        buf_add(out, text.data, text.len);
    buf_clear(&text);
    buf_clear(&label);
    look_clear(&look);
    return e;
}

enum err explain_find(struct db *db, const char *name, int *status,
                      int64_t *access, struct buf *out)
{
    struct found found = { .count = 0 };
    struct buf list;
    enum err e;

    buf_init(&list, WORDING_SIZE_MAX);
    e = find(db, Q_ACCESS_NAMED, name, &found, &list);
    if (e == ERR_OK && found.count == 0)
        e = find(db, Q_ACCESS_OF_NAMED, name, &found, &list);
    *status = found.count == 0 ? 404 : found.count == 1 ? 200 : 409;
    *access = found.access;
    if (e == ERR_OK && found.count != 1)
        say_not_one(name, &found, &list, out);
    buf_clear(&list);
    return e == ERR_OK ? buf_ok(out) : e;
}

enum err explain_access(struct db *db, const struct review *review,
                        const char *name, int *status, struct buf *out)
{
    int64_t access;
    enum err e = explain_find(db, name, status, &access, out);

    if (e == ERR_OK && *status == 200)
        e = say_review(db, review, access, out);
    return e == ERR_OK ? buf_ok(out) : e;
}
