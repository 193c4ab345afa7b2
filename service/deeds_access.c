/* Accesses of a patient, and two of them that are one. */
#include "adapters/catalogue.h"
#include "adapters/fhir_out.h"
#include "service/accesses_work.h"
#include "service/again.h"
#include "service/deeds.h"
#include "service/names.h"
#include "service/news.h"
#include "service/quarantine_item.h"

#include <stdio.h>
#include <string.h>

enum { ACCESSES_LISTED_MAX = 64 };

/* ---- which are meant ---------------------------------------------------------- */

static enum err find(struct db *db, struct access_deed *d, const char *name,
                     struct access *a)
{
    const enum query q = Q_ACCESS_CALLED;
    int64_t id = 0;
    size_t count = 0;
    enum err e = db_query(db, q, "s", name);

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (count++ == 0)
            id = db_int(db, q, 0);
    }
    if (e != ERR_ABSENT)
        return e;
    if (count == 0)
        return deed_refuse(&d->status, &d->text, 404,
                           _("No access has this name or number: %s"), name);
    if (count > 1)
        return deed_refuse(&d->status, &d->text, 409,
                           _("More than one access has the name %s; use its "
                             "number, as headgate access list shows it."),
                           name);
    return access_get(db, id, a);
}

/* ---- may they become one? ------------------------------------------------------ */

/* How much is known of it: by nothing but its patient, by a name, by its
 * BodyStructure. */
static int rank(const struct access *a)
{
    return a->resource != 0 ? 2 : a->implied ? 0 : 1;
}

static const char *contradiction(const struct access *from,
                                 const struct access *into)
{
    const struct candidate c = { .side = into->side };
    struct candidate place = c;

    snprintf(place.region, sizeof(place.region), "%s", into->region);
    if (!access_agrees(&c, from->side, ""))
        return _("One is on the left, the other on the right: they are two.");
    if (from->type != SIGN_TYPE_UNKNOWN && into->type != SIGN_TYPE_UNKNOWN &&
        from->type != into->type)
        return _("They are of different types (fistula, graft, catheter): they "
                 "are two.");
    if (!access_agrees(&place, SIDE_UNKNOWN, from->region))
        return _("They are in different places: they are two.");
    return NULL;
}

static const char *misfit(const struct access *from, const struct access *into)
{
    if (from->id == into->id)
        return _("These are names of one access already.");
    if (from->merged != 0 || into->merged != 0)
        return _("One of them was merged into another access before.");
    if (from->patient != into->patient)
        return _("They are of different patients.");
    if (from->resource != 0 && into->resource != 0)
        return _("Both have come as a BodyStructure: they are two, until "
                 "whoever keeps them says otherwise.");
    if (rank(from) > rank(into))
        return _("Less is known of the second than of the first: merge the "
                 "second into the first.");
    if (!into->active)
        return _("The second is no longer in use: what is measured now cannot "
                 "be of it.");
    return contradiction(from, into);
}

/* ---- merging -------------------------------------------------------------------- */

static enum err count_readings(struct db *db, int64_t access, long long *count)
{
    enum err e = db_first(db, Q_READING_COUNT_OF, "i", access);

    *count = e == ERR_OK ? db_int(db, Q_READING_COUNT_OF, 0) : 0;
    db_done(db, Q_READING_COUNT_OF);
    return e;
}

static const char *name_of(const struct access *a)
{
    return a->label[0] != '\0' ? a->label : a->anchor;
}

static enum err keep(struct db *db, const struct access_deed *d,
                     const struct access *from, const struct access *into)
{
    char number[24];
    const struct deed deed = { .item = from->id,
                               .act = DEED_ACCESS_MERGE,
                               .detail = number,
                               .who = d->who,
                               .why = d->why,
                               .now_ms = d->now_ms };

    snprintf(number, sizeof(number), "%lld", (long long)into->id);
    return deed_add(db, &deed, NULL);
}

enum err access_deed_merge(struct db *db, struct access_deed *d)
{
    struct access from = { .id = 0 }, into = { .id = 0 };
    char about[DEED_ABOUT_SIZE] = "";
    long long count = 0;
    const char *wrong;
    enum err e;

    d->status = 200;
    e = find(db, d, d->from, &from);
    if (e == ERR_OK)
        e = find(db, d, d->into, &into);
    if (e != ERR_OK)
        return e;
    wrong = misfit(&from, &into);
    if (wrong != NULL)
        return deed_refuse(&d->status, &d->text, 409, "%s", wrong);
    e = count_readings(db, from.id, &count);
    if (e == ERR_OK)
        e = access_merge(db, from.id, into.id);
    if (e == ERR_OK)
        e = news_mark(db, into.id, d->now_ms);
    if (e == ERR_OK)
        e = keep(db, d, &from, &into);
    if (e == ERR_OK)
        e = again_patient(db, d->reader, from.patient);
    if (e == ERR_OK)
        e = deed_about(db, into.id, about);
    if (e != ERR_OK)
        return e;
    /* TRANSLATORS: a number, then the name of an access */
    buf_printf(&d->text,
               ngettext("Merged: %1$lld reading now counts as of %2$s.  Both "
                        "are reviewed anew; this cannot be undone.",
                        "Merged: %1$lld readings now count as of %2$s.  Both "
                        "are reviewed anew; this cannot be undone.",
                        (unsigned long)count),
               count, name_of(&into));
    buf_printf(&d->text, "\n%s\n", about);
    return buf_ok(&d->text);
}

/* ---- the list -------------------------------------------------------------------- */

static const char *known_by(bool implied, bool has_resource)
{
    return has_resource ? _("BodyStructure")
           : implied
               ? _("implied: readings that name no access")
               : _("known by the name that readings give; no BodyStructure");
}

static const char *side_word(enum side side)
{
    return side == SIDE_LEFT    ? _("left")
           : side == SIDE_RIGHT ? _("right")
                                : _("side not known");
}

static void write_json(struct db *db, enum query q, struct buf *out)
{
    static const char *const sides[] = { "", "left", "right" };
    bool known = db_int(db, q, 7) != 0;

    buf_puts(out, "{");
    fhir_out_int(out, "number", db_int(db, q, 0));
    fhir_out_text(out, "name",
                  access_words(db_text(db, q, 1), db_text(db, q, 2)));
    fhir_out_text(out, "kind",
                  known                   ? "body-structure"
                  : db_int(db, q, 6) != 0 ? "implied"
                                          : "named");
    fhir_out_text(out, "side", sides[db_int(db, q, 3)]);
    fhir_out_text(out, "region", db_text(db, q, 4));
    fhir_out_bool(out, "active", db_int(db, q, 5) != 0);
    fhir_out_int(out, "readings", db_int(db, q, 8));
    fhir_out_int(out, "open", db_int(db, q, 9));
    fhir_out_text(out, "patient", db_text(db, q, 10));
    fhir_out_text(out, "patient_number", short_anchor(db_text(db, q, 11)));
    fhir_out_close(out, '}');
    buf_puts(out, "\n");
}

static void write_line(struct db *db, enum query q, struct buf *out)
{
    long long readings = db_int(db, q, 8), open = db_int(db, q, 9);

    buf_printf(out, "%lld  %s\n    ", (long long)db_int(db, q, 0),
               access_words(db_text(db, q, 1), db_text(db, q, 2)));
    /* TRANSLATORS: how it is known, its side, then "in use" or not */
    buf_printf(out, _("%1$s; %2$s; %3$s"),
               known_by(db_int(db, q, 6) != 0, db_int(db, q, 7) != 0),
               side_word((enum side)db_int(db, q, 3)),
               db_int(db, q, 5) != 0 ? _("in use") : _("no longer in use"));
    buf_puts(out, "\n    ");
    buf_printf(
        out, ngettext("%lld reading", "%lld readings", (unsigned long)readings),
        readings);
    buf_puts(out, "; ");
    buf_printf(out,
               ngettext("%lld open suggestion", "%lld open suggestions",
                        (unsigned long)open),
               open);
    buf_puts(out, "\n");
}

enum err access_deed_list(struct db *db, const char *patient, bool json,
                          struct buf *out)
{
    const enum query q = Q_ACCESS_LIST_NAMED;
    size_t count = 0;
    enum err e = db_query(db, q, "si", patient, INT64(ACCESSES_LISTED_MAX));

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        count++;
        if (json)
            write_json(db, q, out);
        else
            write_line(db, q, out);
    }
    if (e != ERR_ABSENT)
        return e;
    return count > 0 ? buf_ok(out) : ERR_ABSENT;
}
