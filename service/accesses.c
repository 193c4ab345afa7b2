#include "service/accesses_work.h"

#include "service/news.h"
#include "service/resources.h"

#include <stdio.h>
#include <string.h>

static void copy(char *to, size_t size, const char *from)
{
    snprintf(to, size, "%s", from != NULL ? from : "");
}

enum err access_get(struct db *db, int64_t id, struct access *a)
{
    const enum query q = Q_ACCESS_GET;
    enum err e = db_first(db, q, "i", id);
    const char *anchor;

    if (e != ERR_OK)
        return e;
    *a = (struct access){ .id = id,
                          .patient = db_int(db, q, 0),
                          .type = (enum sign)db_int(db, q, 2),
                          .side = (enum side)db_int(db, q, 3),
                          .active = db_int(db, q, 6) != 0,
                          .implied = db_int(db, q, 7) != 0,
                          .resource = db_int(db, q, 8),
                          .merged = db_int(db, q, 9) };
    anchor = db_text(db, q, 1);
    a->anchor_is_literal = anchor[0] == 'r';
    copy(a->anchor, sizeof(a->anchor), anchor + 2);
    copy(a->region, sizeof(a->region), db_text(db, q, 4));
    copy(a->label, sizeof(a->label), db_text(db, q, 5));
    db_done(db, q);
    return ERR_OK;
}

enum err access_by_alias(struct db *db, const char *alias, int64_t *access)
{
    enum err e = db_first(db, Q_ACCESS_BY_ALIAS, "s", alias);

    if (e == ERR_OK) {
        *access = db_int(db, Q_ACCESS_BY_ALIAS, 0);
        db_done(db, Q_ACCESS_BY_ALIAS);
    }
    return e;
}

enum err access_add(struct db *db, int64_t patient, const char *alias,
                    enum side side, const char *region, bool implied,
                    int64_t *access)
{
    enum err e = db_new_id(db, access);

    if (e == ERR_OK)
        e = db_run(db, Q_ACCESS_ADD, "iiisiisi", *access, partition_of(*access),
                   patient, alias, INT64(SIGN_TYPE_UNKNOWN), INT64(side),
                   region, INT64(implied));
    if (e == ERR_OK)
        e = db_run(db, Q_ACCESS_ALIAS_ADD, "si", alias, *access);
    return e;
}

/*
 * One is merged into the other: an event.  Its readings stay as they came and
 * are read through it; what was put to people goes over, unless the other
 * has its own of that group.
 */
enum err access_merge(struct db *db, int64_t from, int64_t into)
{
    static const enum query moves[] = {
        Q_ACCESS_MERGE, Q_ACCESS_REMERGE,  Q_ACCESS_ALIAS_MOVE,
        Q_RIVAL_MOVE,   Q_EVIDENCE_MOVE,   Q_EPISODE_MOVE,
        Q_REPEAT_MOVE,  Q_TASK_MOVE_ACCESS
    };

    for (size_t i = 0; i < COUNT(moves); i++) {
        enum err e = db_run(db, moves[i], "ii", from, into);

        if (e != ERR_OK)
            return e;
    }
    /* what did not go over is ended by its review */
    return news_mark(db, from, 0);
}

/*
 * The access of this name, if it is one of the patient: ERR_ABSENT if the name
 * is new or has become free.
 *
 * An access of somebody else that is known only by a name that some reading
 * gave does not keep out the BodyStructure of that name.  It loses the name
 * and nothing else: its readings stay with the patient they were sent for,
 * and what was suggested stays open.  *rival is set to it where both may be
 * one person; then the two accesses become one as soon as the patients do.
 */
static enum err owned_by_alias(struct db *db, int64_t patient,
                               const char *alias, int64_t *access,
                               int64_t *rival)
{
    struct access a = { .id = 0 };
    bool differ;
    enum err e = access_by_alias(db, alias, access);

    if (e == ERR_OK)
        e = access_get(db, *access, &a);
    if (e != ERR_OK || a.patient == patient)
        return e;
    if (a.resource != 0)
        return ERR_CONFLICT; /* that would move a history */
    e = patients_differ(db, a.patient, patient, &differ);
    if (e == ERR_OK)
        e = db_run(db, Q_ACCESS_ALIAS_DROP, "s", alias);
    if (e == ERR_OK && !differ)
        *rival = a.id;
    return e == ERR_OK ? ERR_ABSENT : e;
}

static enum err join_free_alias(struct db *db, int64_t patient,
                                const char *alias, int64_t rival,
                                int64_t *known)
{
    enum err e =
        *known != 0
            ? db_run(db, Q_ACCESS_ALIAS_ADD, "si", alias, *known)
            : access_add(db, patient, alias, SIDE_UNKNOWN, "", false, known);

    if (e == ERR_OK && rival != 0)
        e = db_run(db, Q_RIVAL_ADD, "iii", rival, partition_of(rival), *known);
    return e;
}

static enum err join_alias(struct db *db, int64_t patient, const char *alias,
                           int64_t *known)
{
    int64_t found, rival = 0;
    enum err e = owned_by_alias(db, patient, alias, &found, &rival);

    if (e == ERR_OK && *known != 0 && *known != found)
        return access_merge(db, found, *known);
    if (e == ERR_OK) {
        *known = found;
        return ERR_OK;
    }
    return e == ERR_ABSENT ? join_free_alias(db, patient, alias, rival, known)
                           : e;
}

enum err access_unite_rivals(struct db *db, int64_t patient)
{
    const enum query q = Q_RIVAL_LIST;
    int64_t from[CANDIDATES_MAX], into[CANDIDATES_MAX];
    size_t count = 0;
    enum err e = db_query(db, q, "i", patient);

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (count == CANDIDATES_MAX)
            continue;
        from[count] = db_int(db, q, 0);
        into[count++] = db_int(db, q, 1);
    }
    if (e == ERR_ABSENT)
        e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < count; i++)
        e = access_merge(db, from[i], into[i]);
    return e;
}

enum err access_candidates(struct db *db, int64_t patient,
                           struct candidate list[CANDIDATES_MAX], size_t *count)
{
    const enum query q = Q_ACCESS_OF_PATIENT;
    enum err e = db_query(db, q, "i", patient);

    *count = 0;
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        struct candidate *c = &list[*count];

        if (*count == CANDIDATES_MAX)
            continue;
        c->id = db_int(db, q, 0);
        c->side = (enum side)db_int(db, q, 2);
        copy(c->region, sizeof(c->region), db_text(db, q, 3));
        c->implied = db_int(db, q, 5) != 0;
        ++*count;
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* "arm" leaves open which part of it. */
static bool regions_agree(const char *a, const char *b)
{
    static const char *const parts[] = { "forearm", "upper-arm" };
    const char *part = strcmp(a, "arm") == 0   ? b
                       : strcmp(b, "arm") == 0 ? a
                                               : "";

    for (size_t i = 0; i < COUNT(parts); i++) {
        if (strcmp(part, parts[i]) == 0)
            return true;
    }
    return a[0] == '\0' || b[0] == '\0' || strcmp(a, b) == 0;
}

bool access_agrees(const struct candidate *c, enum side side,
                   const char *region)
{
    if (side != SIDE_UNKNOWN && c->side != SIDE_UNKNOWN && c->side != side)
        return false;
    return regions_agree(c->region, region);
}

/* The first real access of a patient takes over the only implied one, if
 * nothing contradicts. */
static enum err take_over_implied(struct db *db, int64_t patient,
                                  int64_t access, enum side side,
                                  const char *region)
{
    struct candidate list[CANDIDATES_MAX];
    const struct candidate *implied = NULL;
    size_t count;
    enum err e = access_candidates(db, patient, list, &count);

    for (size_t i = 0; e == ERR_OK && i < count; i++) {
        if (list[i].id == access)
            continue;
        if (!list[i].implied || implied != NULL)
            return ERR_OK; /* another real one, or two implied: a person
                              decides */
        implied = &list[i];
    }
    if (e != ERR_OK || implied == NULL || !access_agrees(implied, side, region))
        return e;
    return access_merge(db, implied->id, access);
}

enum err access_unite_implied(struct db *db, int64_t patient)
{
    struct candidate list[CANDIDATES_MAX];
    size_t count;
    enum err e = access_candidates(db, patient, list, &count);

    if (e != ERR_OK || count != 2 || !list[0].implied || !list[1].implied ||
        !access_agrees(&list[0], list[1].side, list[1].region))
        return e;
    return access_merge(db, list[1].id, list[0].id);
}

static const char *type_word_capital(enum sign type)
{
    switch ((int)type) {
    case SIGN_TYPE_AVF:
        return "Fistula";
    case SIGN_TYPE_AVG:
        return "Graft";
    case SIGN_TYPE_CVC:
        return "Catheter";
    default:
        return "Access";
    }
}

/* "Fistula A-7 (left upper arm, brachiocephalic)", or what is known of it. */
static void write_label(const struct fhir_item *item, char label[160])
{
    const struct fhir_access *a = &item->u.access;
    const char *number =
        item->identifier_count > 0 ? item->identifiers[0].value : "";
    const char *side = a->side == SIDE_LEFT    ? "left"
                       : a->side == SIDE_RIGHT ? "right"
                                               : "";
    char place[128];

    if (a->text != NULL)
        snprintf(place, sizeof(place), "%s", a->text);
    else
        snprintf(place, sizeof(place), "%s%s%s", side,
                 side[0] != '\0' && a->region[0] != '\0' ? " " : "", a->region);
    /* it stands within the line: "Left" becomes "left", "AVF" stays */
    if (place[0] >= 'A' && place[0] <= 'Z' && place[1] >= 'a')
        place[0] = (char)(place[0] - 'A' + 'a');
    snprintf(label, 160, "%s%s%s%s%s%s", type_word_capital(a->type),
             number[0] != '\0' ? " " : "", number, place[0] != '\0' ? " (" : "",
             place, place[0] != '\0' ? ")" : "");
}

enum err access_take(struct db *db, const struct fhir_item *item,
                     const char *fid, int64_t resource, bool merge_implied,
                     int64_t *access)
{
    const struct fhir_access *a = &item->u.access;
    char alias[ALIAS_SIZE], literal[FID_SIZE + 16], label[160];
    int64_t patient, known = 0;
    bool united;
    enum err e = patient_of_ref(db, &a->patient, &patient, &united);

    /* the identifiers first: they are what people call it */
    for (size_t i = 0; e == ERR_OK && i < item->identifier_count; i++) {
        if (alias_of_identifier(item->identifiers[i].system,
                                item->identifiers[i].value, alias))
            e = join_alias(db, patient, alias, &known);
    }
    snprintf(literal, sizeof(literal), "BodyStructure/%s", fid);
    if (e == ERR_OK && alias_of_literal(literal, alias))
        e = join_alias(db, patient, alias, &known);
    if (e == ERR_OK && item->full_url != NULL &&
        strncmp(item->full_url, "urn:", 4) != 0 &&
        alias_of_literal(item->full_url, alias))
        e = join_alias(db, patient, alias, &known);
    if (e != ERR_OK)
        return e;
    write_label(item, label);
    e = db_run(db, Q_ACCESS_SET, "iiiiissi", known, resource, patient,
               INT64(a->type), INT64(a->side), a->region, label,
               INT64(a->active));
    if (e == ERR_OK && merge_implied && a->active)
        e = take_over_implied(db, patient, known, a->side, a->region);
    *access = known;
    return e;
}

enum err access_list(struct db *db, int64_t patient, int64_t *accesses,
                     size_t max, size_t *count)
{
    struct candidate list[CANDIDATES_MAX];
    enum err e = access_candidates(db, patient, list, count);

    if (e != ERR_OK)
        return e;
    if (*count > max)
        *count = max;
    for (size_t i = 0; i < *count; i++)
        accesses[i] = list[i].id;
    return ERR_OK;
}

enum err access_other_leads(struct db *db, const struct access *a, bool *leads)
{
    enum err e = db_first(db, Q_ACCESS_BEFORE, "iii", a->patient, a->id,
                          INT64(SIGN_TYPE_CVC));

    db_done(db, Q_ACCESS_BEFORE);
    *leads = e == ERR_OK;
    return e == ERR_ABSENT ? ERR_OK : e;
}

bool access_is_central(const struct access *a)
{
    return strcmp(a->region, "thigh") == 0 || strcmp(a->region, "chest") == 0;
}

bool access_is_forearm(const struct access *a)
{
    return strcmp(a->region, "forearm") == 0;
}
