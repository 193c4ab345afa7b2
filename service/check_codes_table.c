/* Uses of codes, counted by kind, system and code. */
#include "service/check_codes_work.h"

#include <stdlib.h>
#include <string.h>

static size_t bucket_of(enum sample_kind kind, const char *system,
                        const char *code)
{
    uint32_t hash = 2166136261U + (uint32_t)kind; /* FNV-1a */

    for (const char *p = system; *p != '\0'; p++)
        hash = (hash ^ (unsigned char)*p) * 16777619U;
    hash *= 16777619U;
    for (const char *p = code; *p != '\0'; p++)
        hash = (hash ^ (unsigned char)*p) * 16777619U;
    return hash % CHECK_BUCKETS;
}

/* What fits; control characters would spoil the table of a person. */
static void copy_text(char *out, size_t size, const char *text)
{
    size_t len = 0;

    for (; text != NULL && *text != '\0' && len + 1 < size; text++) {
        unsigned char c = (unsigned char)*text;

        out[len++] = *text;
        if (c < ' ' || c == 0x7f)
            out[len - 1] = '?';
    }
    /* no half of a character */
    if (text != NULL && ((unsigned char)*text & 0xc0U) == 0x80) {
        while (len > 0 && ((unsigned char)out[len - 1] & 0xc0U) == 0x80)
            len--;
        if (len > 0)
            len--;
    }
    out[len] = '\0';
}

static struct check_row *row_new(const struct sample_use *use)
{
    size_t system_size = strlen(use->system) + 1;
    size_t code_size = strlen(use->code) + 1;
    struct check_row *row = calloc(1, sizeof(*row) + system_size + code_size);

    if (row == NULL)
        return NULL;
    row->kind = use->kind;
    row->system = (char *)(row + 1);
    row->code = row->system + system_size;
    copy_text(row->system, system_size, use->system);
    copy_text(row->code, code_size, use->code);
    return row;
}

static struct check_row *row_of(struct check *check,
                                const struct sample_use *use)
{
    struct check_row **bucket =
        &check->buckets[bucket_of(use->kind, use->system, use->code)];
    struct check_row *row;

    for (row = *bucket; row != NULL; row = row->next) {
        if (row->kind == use->kind && strcmp(row->code, use->code) == 0 &&
            strcmp(row->system, use->system) == 0)
            return row;
    }
    if (check->row_count == CHECK_ROWS_MAX) {
        check->rows_dropped++;
        return NULL;
    }
    row = row_new(use);
    if (row == NULL) {
        check->err = ERR_MEMORY;
        return NULL;
    }
    row->next = *bucket;
    *bucket = row;
    check->rows[check->row_count++] = row;
    return row;
}

static void count_unit(struct check_row *row, const struct sample_use *use)
{
    struct check_unit fresh = { .kind = use->unit_kind,
                                .fits = use->fits,
                                .count = 1 };

    if (use->unit_kind == SAMPLE_NO_NUMBER)
        return;
    copy_text(fresh.text, sizeof(fresh.text), use->unit);
    copy_text(fresh.read_as, sizeof(fresh.read_as), use->read_as);
    for (size_t i = 0; i < row->unit_count; i++) {
        struct check_unit *u = &row->units[i];

        if (u->kind == fresh.kind && u->fits == fresh.fits &&
            strcmp(u->text, fresh.text) == 0 &&
            strcmp(u->read_as, fresh.read_as) == 0) {
            u->count++;
            return;
        }
    }
    if (row->unit_count < CHECK_UNITS_MAX)
        row->units[row->unit_count++] = fresh;
    else
        row->units_dropped++;
}

static void count_word(struct check_row *row, const char *word)
{
    for (size_t i = 0; i < row->word_count; i++) {
        if (strcmp(row->words[i].word, word) == 0) {
            row->words[i].count++;
            return;
        }
    }
    if (row->word_count < CHECK_WORDS_MAX)
        row->words[row->word_count++] = (struct check_count){ word, 1 };
}

/* Of exact words the case does not count: one row for all spellings. */
static struct check_row *row_of_words(struct check *check,
                                      const struct sample_use *use)
{
    char low[256];
    struct sample_use plain = *use;

    copy_text(low, sizeof(low), use->code);
    for (char *p = low; *p != '\0'; p++) {
        if (*p >= 'A' && *p <= 'Z')
            *p = (char)(*p - 'A' + 'a');
    }
    plain.code = low;
    return row_of(check, &plain);
}

void check_on_use(void *arg, const struct sample_use *use)
{
    struct check *check = arg;
    struct check_row *row = strcmp(use->system, CODES_TEXT) == 0
                                ? row_of_words(check, use)
                                : row_of(check, use);

    if (row == NULL)
        return;
    if (row->display[0] == '\0')
        copy_text(row->display, sizeof(row->display), use->display);
    if (row->count > 0 && strcmp(row->target, use->target) != 0)
        row->changes = true;
    copy_text(row->target, sizeof(row->target), use->target);
    row->count++;
    row->missing += use->missing;
    count_unit(row, use);
    row->holds[use->hold]++;
    for (size_t i = 0; i < use->word_count; i++)
        count_word(row, use->words[i]);
}

void check_on_refused(void *arg, const char *word, const char *place)
{
    struct check *check = arg;
    struct check_refusal *r;

    for (size_t i = 0; i < check->refusal_count; i++) {
        r = &check->refusals[i];
        if (strcmp(r->word, word) == 0 && strcmp(r->place, place) == 0) {
            r->count++;
            return;
        }
    }
    if (check->refusal_count == CHECK_REFUSALS_MAX)
        return;
    r = &check->refusals[check->refusal_count++];
    r->word = word;
    r->count = 1;
    copy_text(r->place, sizeof(r->place), place);
}

void check_clear(struct check *check)
{
    for (size_t i = 0; i < check->row_count; i++)
        free(check->rows[i]);
    check->row_count = 0;
}

static int compare(const void *a, const void *b)
{
    const struct check_row *const *x = a, *const *y = b;
    int order;

    if ((*x)->kind != (*y)->kind)
        return (*x)->kind < (*y)->kind ? -1 : 1;
    order = strcmp((*x)->system, (*y)->system);
    return order != 0 ? order : strcmp((*x)->code, (*y)->code);
}

void check_sort(struct check *check)
{
    size_t size = sizeof(check->rows) / CHECK_ROWS_MAX; /* of a pointer */

    qsort(check->rows, check->row_count, size, compare);
}

bool check_row_is_number(const struct check_row *row)
{
    enum quantity q;

    return row->kind == SAMPLE_CODE &&
           quantity_by_code(row->target, strlen(row->target), &q) == ERR_OK &&
           quantity_info(q)->kind == VALUE_NUMBER;
}

bool check_unit_is_bad(const struct check_row *row,
                       const struct check_unit *unit)
{
    return check_row_is_number(row) && !unit->fits;
}

size_t check_unread(const struct check_row *row)
{
    for (size_t i = 0; i < row->word_count; i++) {
        if (strcmp(row->words[i].word, "value-unread") == 0)
            return row->words[i].count;
    }
    return 0;
}

bool check_is_missing(const struct check *check)
{
    for (size_t i = 0; i < check->row_count; i++) {
        const struct check_row *row = check->rows[i];

        if (row->missing > 0 || check_unread(row) > 0)
            return true;
        for (size_t k = 0; k < row->unit_count; k++) {
            if (check_unit_is_bad(row, &row->units[k]))
                return true;
        }
    }
    return check->rows_dropped > 0;
}
