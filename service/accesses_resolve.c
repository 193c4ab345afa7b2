/* Which access an Observation means, see access_resolve. */
#include "service/accesses_work.h"

#include <stdio.h>
#include <string.h>

/* May this reference mean an access at all, or is it another resource? */
static bool may_be_access(const struct fhir_access_name *name)
{
    const char *literal = name->ref.literal;
    const char *slash;
    size_t len = strlen("BodyStructure");

    if (name->ref.type != NULL)
        return strcmp(name->ref.type, "BodyStructure") == 0;
    if (literal == NULL || strncmp(literal, "urn:", 4) == 0)
        return true;
    slash = strrchr(literal, '/');
    return slash != NULL && (size_t)(slash - literal) >= len &&
           strncmp(slash - len, "BodyStructure", len) == 0;
}

/* The patient's own access of a name that went to somebody else's, who may be
 * the same person. */
static enum err own_rival(struct db *db, int64_t patient, struct access *a)
{
    enum err e = db_first(db, Q_RIVAL_OF, "ii", a->id, patient);
    int64_t own;

    if (e != ERR_OK)
        return e == ERR_ABSENT ? ERR_OK : e;
    own = db_int(db, Q_RIVAL_OF, 0);
    db_done(db, Q_RIVAL_OF);
    return access_get(db, own, a);
}

/* Does the number of a hand go with the arm of the access?  Where the arm is
 * not known, only what says that it is the hand of the access does. */
static bool arm_fits(const struct access_question *q, const struct access *a)
{
    if (q->scope != SCOPE_ARM || q->side == SIDE_UNKNOWN)
        return true;
    if (a->side == SIDE_UNKNOWN)
        return q->is_sign || q->access_arm;
    return a->side == q->side;
}

/* Is this access one of the patient's, and not contradicted by the side? */
static enum err accept(struct db *db, const struct access_question *q,
                       int64_t id, struct access_answer *answer)
{
    struct access a;
    enum err e = access_get(db, id, &a);

    if (e == ERR_OK && a.patient != q->patient)
        e = own_rival(db, q->patient, &a);
    if (e != ERR_OK)
        return e;
    if (a.patient != q->patient)
        answer->hold = HOLD_ACCESS;
    else if (!arm_fits(q, &a))
        answer->hold = HOLD_SIDE;
    else
        answer->access = a.id;
    return ERR_OK;
}

static bool is_focus(const struct fhir_access_name *name)
{
    return name->how == ACCESS_BY_FOCUS_REF || name->how == ACCESS_BY_FOCUS_ID;
}

/* The focus wins over what follows it; but two of the patient's accesses in
 * the focus leave open which of them is meant. */
static enum err check_others(struct db *db, const struct access_question *q,
                             size_t from, struct access_answer *answer)
{
    const struct fhir_observation *o = q->observation;
    char alias[ALIAS_SIZE];
    struct access a;
    enum err e = ERR_OK;

    for (size_t i = from; i < o->name_count && answer->access != 0; i++) {
        const struct fhir_ref *ref = &o->names[i].ref;
        int64_t found;

        if (!is_focus(&o->names[i]) || !is_focus(&o->names[from - 1]) ||
            !(alias_of_literal(ref->literal, alias) ||
              alias_of_identifier(ref->system, ref->value, alias)))
            continue;
        e = access_by_alias(db, alias, &found);
        if (e == ERR_OK)
            e = access_get(db, found, &a);
        if (e != ERR_OK && e != ERR_ABSENT)
            return e;
        if (e == ERR_OK && a.patient == q->patient && a.id != answer->access) {
            answer->access = 0;
            answer->hold = HOLD_ACCESS;
        }
    }
    return ERR_OK;
}

/* The next letter or digit of a name, in lower case, without the zeros that a
 * number begins with; 0 at its end. */
static int next_mark(const char **at, bool *in_number)
{
    for (; **at != '\0'; ++*at) {
        unsigned char c = (unsigned char)**at;
        bool digit = c >= '0' && c <= '9';

        if (c == '0' && !*in_number && (*at)[1] >= '0' && (*at)[1] <= '9')
            continue;
        if (!digit && c < 0x80 && !((c | 0x20U) >= 'a' && (c | 0x20U) <= 'z')) {
            *in_number = false;
            continue;
        }
        *in_number = digit;
        ++*at;
        return c >= 'A' && c <= 'Z' ? c + 'a' - 'A' : c;
    }
    return 0;
}

/* The same name but for case, blanks, marks between and leading zeros? */
static bool is_similar(const char *a, const char *b)
{
    bool number_a = false, number_b = false;
    int x, y;

    do {
        x = next_mark(&a, &number_a);
        y = next_mark(&b, &number_b);
    } while (x == y && x != 0);
    return x == y;
}

/* A name that is new may be a slip of the pen: is there another access of the
 * patient, and one that is called almost so? */
static enum err look_beside(struct db *db, int64_t patient, const char *alias,
                            struct access_answer *answer)
{
    const enum query q = Q_ACCESS_NAMES_OF_PATIENT;
    const char *value = strrchr(alias, '|');
    enum err e = db_query(db, q, "ii", patient, answer->access);

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        const char *other = strrchr(db_text(db, q, 0), '|');

        answer->beside = true;
        if (value != NULL && other != NULL && is_similar(value + 1, other + 1))
            answer->similar = true;
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* Try what the Observation itself names.  *named: it named something. */
static enum err by_name(struct db *db, const struct access_question *q,
                        struct access_answer *answer, bool *named)
{
    const struct fhir_observation *o = q->observation;
    char alias[ALIAS_SIZE], unknown[ALIAS_SIZE] = "";
    int64_t found;
    enum err e;

    for (size_t i = 0; i < o->name_count; i++) {
        const struct fhir_ref *ref = &o->names[i].ref;

        if (!(alias_of_literal(ref->literal, alias) ||
              alias_of_identifier(ref->system, ref->value, alias)))
            continue;
        e = access_by_alias(db, alias, &found);
        if (e != ERR_OK && e != ERR_ABSENT)
            return e;
        if (e == ERR_OK) {
            *named = true;
            answer->how = o->names[i].how;
            e = accept(db, q, found, answer);
            return e == ERR_OK ? check_others(db, q, i + 1, answer) : e;
        }
        if (unknown[0] == '\0' && may_be_access(&o->names[i])) {
            snprintf(unknown, sizeof(unknown), "%s", alias);
            answer->how = o->names[i].how;
        }
    }
    if (unknown[0] == '\0')
        return ERR_OK;
    /* Named, and not come yet: known under that name from now on. */
    *named = true;
    answer->provisional = true;
    e = access_add(db, q->patient, unknown,
                   q->scope == SCOPE_ARM ? q->side : o->site.side, "", false,
                   &answer->access);
    return e == ERR_OK ? look_beside(db, q->patient, unknown, answer) : e;
}

static enum err imply(struct db *db, const struct access_question *q,
                      struct access_answer *answer)
{
    static const char *const sides[] = { "", "left", "right" };
    bool is_arm =
        strcmp(q->region, "hand") != 0 && strcmp(q->region, "finger") != 0;
    const char *region = is_arm ? q->region : "";
    char alias[ALIAS_SIZE];
    int64_t found;
    enum err e;

    snprintf(alias, sizeof(alias), "i:implied|%lld|%s|%s",
             (long long)q->patient, sides[q->side], region);
    answer->how = ACCESS_BY_IMPLIED;
    answer->assumed = true;
    e = access_by_alias(db, alias, &found);
    if (e == ERR_OK)
        return accept(db, q, found, answer);
    if (e != ERR_ABSENT)
        return e;
    return access_add(db, q->patient, alias, q->side, region, true,
                      &answer->access);
}

/* Nobody named it: side and region, or the only one there is. */
static enum err by_exclusion(struct db *db, const struct access_question *q,
                             struct access_answer *answer)
{
    bool unsided;
    bool of_hand = q->scope == SCOPE_ARM;
    const char *region = of_hand ? "" : q->region;
    struct candidate list[CANDIDATES_MAX];
    size_t count, matches = 0, at = 0;
    bool said = q->side != SIDE_UNKNOWN || region[0] != '\0';
    enum err e = access_candidates(db, q->patient, list, &count);

    if (e != ERR_OK)
        return e;
    if (count == 0)
        return imply(db, q, answer);
    for (size_t i = 0; i < count; i++) {
        if (!access_agrees(&list[i], q->side, region))
            continue;
        matches++;
        at = i;
    }
    answer->assumed = true;
    answer->how = said ? ACCESS_BY_SITE : ACCESS_BY_SOLE;
    /* a sign of the hand without an access is to be looked at; a pressure may
     * be that of the other hand */
    unsided = (matches == 0 && of_hand) ||
              (matches == 1 && of_hand && !q->is_sign && !q->access_arm &&
               q->side != SIDE_UNKNOWN && list[at].side == SIDE_UNKNOWN);
    if (matches == 0 && of_hand && !q->is_sign && !q->access_arm)
        answer->other_arm = true;
    else if (unsided)
        answer->hold = HOLD_SIDE;
    else if (matches != 1)
        answer->hold = HOLD_ACCESS;
    else
        answer->access = list[at].id;
    return ERR_OK;
}

enum err access_resolve(struct db *db, const struct access_question *question,
                        struct access_answer *answer)
{
    bool named = false;
    enum err e;

    *answer = (struct access_answer){ .hold = HOLD_NONE };
    e = by_name(db, question, answer, &named);
    if (e != ERR_OK || named)
        return e;
    return by_exclusion(db, question, answer);
}
