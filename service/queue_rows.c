/* The rows of the queue: read, and put in order. */
#include "service/queue_rows.h"

#include "adapters/catalogue.h"
#include "adapters/wording.h"
#include "planner/rules.h"
#include "service/held.h"
#include "service/names.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { EMERGENCIES_MAX = 1000, HELD_TEXT_SIZE = 512 };

void queue_rows_clear(struct queue_rows *l)
{
    for (size_t i = 0; i < l->text_count; i++)
        free(l->texts[i]);
    free(l->texts);
    free(l->rows);
    *l = (struct queue_rows){ .err = ERR_OK };
}

static void *grow(void *array, size_t *size, size_t each)
{
    size_t bigger = *size > 0 ? 2 * *size : 64;
    void *more = realloc(array, bigger * each);

    if (more != NULL)
        *size = bigger;
    return more;
}

static const char *keep(struct queue_rows *l, const char *text)
{
    size_t len = text != NULL ? strlen(text) + 1 : 0;
    char *copy;

    if (len <= 1 || l->err != ERR_OK)
        return "";
    if (l->text_count == l->text_size) {
        char **more = grow(l->texts, &l->text_size, sizeof(*l->texts));

        if (more == NULL) {
            l->err = ERR_MEMORY;
            return "";
        }
        l->texts = more;
    }
    copy = malloc(len);
    if (copy == NULL) {
        l->err = ERR_MEMORY;
        return "";
    }
    memcpy(copy, text, len);
    l->texts[l->text_count++] = copy;
    return copy;
}

/* NULL for nothing to read. */
static const char *keep_or_none(struct queue_rows *l, const char *text)
{
    return text != NULL && text[0] != '\0' ? keep(l, text) : NULL;
}

static const char *keep_if_any(struct queue_rows *l, const char *text)
{
    return text != NULL ? keep(l, text) : NULL;
}

static struct queue_row *add_row(struct queue_rows *l)
{
    if (l->count == l->size) {
        struct queue_row *more = grow(l->rows, &l->size, sizeof(*l->rows));

        if (more == NULL) {
            l->err = ERR_MEMORY;
            return NULL;
        }
        l->rows = more;
    }
    return &l->rows[l->count++];
}

static const char *rules_text(struct queue_rows *l, unsigned rules)
{
    struct buf b;
    const char *text;

    buf_init(&b, 512);
    rules_words(rules, &b);
    text = keep(l, b.data);
    buf_clear(&b);
    return text;
}

static void take_referral(struct db *db, struct queue_rows *l)
{
    const enum query q = Q_EPISODE_QUEUE;
    bool taken = db_int(db, q, 2) == EPISODE_TAKEN;
    bool in_hand = taken && db_int(db, q, 21) == 0; /* 21: handed over */
    bool ground_gone = taken && db_int(db, q, 4) == 0;
    struct queue_row *row = add_row(l);

    if (row == NULL)
        return;
    *row = (struct queue_row){
        .group = group_word((enum group)db_int(db, q, 1)),
        .ground_gone = ground_gone,
        .state = in_hand ? EPISODE_TAKEN : EPISODE_OPEN,
        .urgency = (enum urgency)db_int(db, q, 3),
        .rules = rules_text(l, (unsigned)db_int(db, q, 4)),
        .opened_s = db_int(db, q, 5),
        .due_s = db_int(db, q, 6),
        .headline = keep(l, db_text(db, q, 7)),
        .suggestion = keep(l, db_text(db, q, 8)),
        .task_id = keep(l, db_text(db, q, 9)),
        .access = keep(l, access_words(db_text(db, q, 10), db_text(db, q, 11))),
        .patient_name = keep(l, db_text(db, q, 12)),
        .patient_number = keep(l, short_anchor(db_text(db, q, 13))),
        .unit = keep(l, db_text(db, q, 14)),
        .silent = db_int(db, q, 15) != 0,
        .put_off_until_s = db_int(db, q, 16),
        .put_off_by = keep_or_none(l, db_text(db, q, 17)),
        .owner = keep_or_none(l, db_text(db, q, 18)),
        .escalated = db_int(db, q, 19) != 0 && !in_hand && !ground_gone,
        .access_id = db_int(db, q, 0),
        .patient_id = db_int(db, q, 20),
        .deceased = db_int(db, q, 22) != 0,
        .died = keep_if_any(l, db_text(db, q, 23)),
        .replaced_by = keep_or_none(l, short_anchor(db_text(db, q, 24)))
    };
}

static void take_reminder(struct db *db, struct queue_rows *l)
{
    const enum query q = Q_REPEAT_QUEUE;
    struct queue_row *row = add_row(l);

    if (row == NULL)
        return;
    *row = (struct queue_row){
        .reminder = true,
        .group = group_word((enum group)db_int(db, q, 1)),
        .state = (enum episode_state)db_int(db, q, 2),
        .urgency = URGENCY_ROUTINE,
        .rules = "",
        .due_s = db_int(db, q, 3),
        .headline = keep(l, db_text(db, q, 4)),
        .suggestion = "",
        .task_id = keep(l, db_text(db, q, 5)),
        .access = keep(l, access_words(db_text(db, q, 6), db_text(db, q, 7))),
        .patient_name = keep(l, db_text(db, q, 8)),
        .patient_number = keep(l, short_anchor(db_text(db, q, 9))),
        .unit = keep(l, db_text(db, q, 10)),
        .silent = db_int(db, q, 11) != 0,
        .access_id = db_int(db, q, 0),
        .patient_id = db_int(db, q, 12),
        .opened_s = db_int(db, q, 13),
        .deceased = db_int(db, q, 14) != 0,
        .died = keep_if_any(l, db_text(db, q, 15)),
        .replaced_by = keep_or_none(l, short_anchor(db_text(db, q, 16)))
    };
}

/* What cannot be used as it is, said for each reason. */
static void write_held(const char *reason, const char *seen, const char *why,
                       char text[HELD_TEXT_SIZE])
{
    /* TRANSLATORS: of these four: what was seen, and why it is held */
    if (strcmp(reason, hold_word(HOLD_VALUE)) == 0)
        snprintf(text, HELD_TEXT_SIZE,
                 _("a sign of emergency that could not be read: %1$s (%2$s)"),
                 seen, why);
    else if (strcmp(reason, hold_word(HOLD_OTHERWISE)) == 0)
        snprintf(text, HELD_TEXT_SIZE,
                 _("a report that would end a sign of emergency, and is no "
                   "correction: %1$s (%2$s)"),
                 seen, why);
    else if (strcmp(reason, hold_word(HOLD_TIME)) == 0)
        snprintf(text, HELD_TEXT_SIZE,
                 _("a sign of emergency whose time is in doubt: %1$s (%2$s)"),
                 seen, why);
    else
        snprintf(text, HELD_TEXT_SIZE,
                 _("a sign of emergency that could not be placed: %1$s (%2$s)"),
                 seen, why);
}

/* Why, and what of it was noted when it came: of what it contradicts, what that
 * was (readings_stand.c). */
static void write_reason(enum quantity quantity, const char *word,
                         const char *hint, char text[HELD_TEXT_SIZE])
{
    static const char before[] = "before: ";
    const char *why = _(held_reason_words(quantity, word));

    if (hint[0] == '\0')
        snprintf(text, HELD_TEXT_SIZE, "%s", why);
    else if (strncmp(hint, before, strlen(before)) == 0)
        /* TRANSLATORS: why it is held, and the sign that was there before */
        snprintf(text, HELD_TEXT_SIZE, _("%1$s; before: %2$s"), why,
                 wording_name(hint + strlen(before)));
    else
        snprintf(text, HELD_TEXT_SIZE, "%s; %s", why, hint);
}

static const char *held_margin(const char *reason)
{
    /* TRANSLATORS: of these three: at most 17 characters each */
    if (strcmp(reason, hold_word(HOLD_VALUE)) == 0)
        return _("NOT READ");
    if (strcmp(reason, hold_word(HOLD_OTHERWISE)) == 0)
        return _("CONTRADICTED");
    if (strcmp(reason, hold_word(HOLD_TIME)) == 0)
        return _("TIME IN DOUBT");
    return NULL;
}

/* What is held and may be an emergency: no rule sees it, so people must. */
static void take_held(struct db *db, struct queue_rows *l)
{
    const enum query q = Q_HELD_EMERGENCIES;
    enum quantity quantity = (enum quantity)db_int(db, q, 1);
    const char *seen =
        wording_name(held_words(quantity, (enum sign)db_int(db, q, 2)));
    const char *word = db_text(db, q, 0), *hint = db_text(db, q, 8);
    struct queue_row *row = add_row(l);
    char text[HELD_TEXT_SIZE], reason[HELD_TEXT_SIZE];

    if (row == NULL)
        return;
    write_reason(quantity, word, hint != NULL ? hint : "", reason);
    write_held(word, seen, reason, text);
    *row = (struct queue_row){ .held = true,
                               .patient_id = db_int(db, q, 11),
                               .state = EPISODE_OPEN,
                               .urgency = URGENCY_IMMEDIATE,
                               .opened_s = db_int(db, q, 3) / 1000,
                               .headline = keep(l, text),
                               .suggestion = _("ask the unit now"),
                               .margin = held_margin(word),
                               .escalated = db_int(db, q, 9) != 0,
                               .died = keep_if_any(l, db_text(db, q, 10)),
                               .observation = keep(l, db_text(db, q, 4)),
                               .patient_name = keep(l, db_text(db, q, 5)),
                               .patient_number =
                                   keep(l, short_anchor(db_text(db, q, 6))),
                               .unit = keep(l, db_text(db, q, 7)),
                               .access = "",
                               .rules = "",
                               .group = "",
                               .task_id = "" };
}

/* A whole input that could not be taken in, and may have such a sign in it. */
static void take_input(struct db *db, struct queue_rows *l)
{
    const enum query q = Q_QUARANTINE_EMERGENCIES;
    const char *why = db_text(db, q, 5), *place = db_text(db, q, 4);
    const char *source = db_text(db, q, 2);
    struct queue_row *row = add_row(l);
    char text[512];

    if (row == NULL)
        return;
    /* TRANSLATORS: who sent it, the fault, and where: OBX[1]-5 */
    snprintf(text, sizeof(text),
             _("an input from %1$s that could not be used, in which a sign of "
               "emergency may be: %2$s (%3$s)"),
             source != NULL ? source : "", why != NULL ? why : "",
             place != NULL ? place : "");
    *row = (struct queue_row){ .held = true,
                               .state = EPISODE_OPEN,
                               .urgency = URGENCY_IMMEDIATE,
                               .input = db_int(db, q, 0),
                               .opened_s = db_int(db, q, 1) / 1000,
                               .headline = keep(l, text),
                               .suggestion =
                                   _("ask the unit now; what was sent can be "
                                     "read with headgate quarantine show"),
                               /* TRANSLATORS: at most 17 characters */
                               .margin = _("NOT TAKEN IN"),
                               .escalated = db_int(db, q, 8) != 0,
                               .patient_name = "",
                               .patient_number = keep(l, db_text(db, q, 7)),
                               .unit = "", /* of whom it is nobody knows */
                               .access = "",
                               .rules = "",
                               .group = "",
                               .task_id = "" };
}

static enum err read_inputs(struct db *db, struct queue_rows *l)
{
    const enum query q = Q_QUARANTINE_EMERGENCIES;
    enum err e = db_query(db, q, "i", INT64(EMERGENCIES_MAX));

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK)
        take_input(db, l);
    return e == ERR_ABSENT ? l->err : e;
}

static enum err read_held(struct db *db, int64_t held_from_s,
                          struct queue_rows *l)
{
    const enum query q = Q_HELD_EMERGENCIES;
    enum err e = db_query(db, q, "ii", held_from_s, INT64(EMERGENCIES_MAX));

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK)
        take_held(db, l);
    return e == ERR_ABSENT ? l->err : e;
}

/* Visits that are due come after what is to be measured again. */
static enum err read_rows(struct db *db, enum query q, const char *format,
                          struct queue_rows *l,
                          void (*take)(struct db *, struct queue_rows *))
{
    enum err e = db_query(db, q, format, INT64(GROUP_FOLLOW_UP));

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (l->count < QUEUE_ROWS_MAX)
            take(db, l);
        else
            l->cut = true;
    }
    return e == ERR_ABSENT ? l->err : e;
}

/* Among the immediate ones what kills first comes first. */
static const enum group in_order[] = { GROUP_BLEEDING, GROUP_HAND,
                                       GROUP_LOW_FLOW, GROUP_INFECTION };
enum {
    RANK_HELD = 0,
    RANK_IMMEDIATE = 1,
    RANK_OTHER = RANK_IMMEDIATE + COUNT(in_order),
    RANK_LATER,
    RANK_GONE,    /* only waits to be closed */
    RANK_PUT_OFF, /* comes back by itself */
    RANKS
};

static int rank(const struct queue_row *row, int64_t now_s)
{
    size_t i = 0;

    if (row->held || row->ground_gone)
        return row->held ? RANK_HELD : RANK_GONE;
    if (queue_is_put_off(row, now_s))
        return RANK_PUT_OFF;
    if (row->reminder || row->urgency != URGENCY_IMMEDIATE)
        return RANK_LATER;
    while (i < COUNT(in_order) &&
           strcmp(row->group, group_word(in_order[i])) != 0)
        i++;
    return RANK_IMMEDIATE + (int)i;
}

/* Within a rank as the statements gave them. */
static enum err sort_rows(struct queue_rows *l, int64_t now_s)
{
    struct queue_row *sorted;
    size_t count = 0;

    if (l->count == 0)
        return ERR_OK;
    sorted = calloc(l->count, sizeof(*sorted));
    if (sorted == NULL)
        return ERR_MEMORY;
    for (int r = 0; r < RANKS; r++) {
        for (size_t i = 0; i < l->count; i++) {
            if (rank(&l->rows[i], now_s) == r)
                sorted[count++] = l->rows[i];
        }
    }
    free(l->rows);
    l->rows = sorted;
    l->size = l->count;
    return ERR_OK;
}

enum err queue_rows_read(struct db *db, int64_t held_from_s, int64_t now_s,
                         struct queue_rows *l)
{
    enum err e;

    *l = (struct queue_rows){ .err = ERR_OK };
    e = read_held(db, held_from_s, l);
    if (e == ERR_OK)
        e = read_inputs(db, l);
    if (e == ERR_OK)
        e = read_rows(db, Q_EPISODE_QUEUE, "", l, take_referral);
    if (e == ERR_OK)
        e = read_rows(db, Q_REPEAT_QUEUE, "i", l, take_reminder);
    return e == ERR_OK ? sort_rows(l, now_s) : e;
}
