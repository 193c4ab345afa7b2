/* The rows that are missing in the site's map, as CSV to be filled in. */
#include "service/check_codes_work.h"

#include <string.h>

static void put_field(struct buf *out, const char *text)
{
    if (strpbrk(text, ",\"\r\n") == NULL) {
        buf_puts(out, text);
        return;
    }
    buf_puts(out, "\"");
    for (; *text != '\0'; text++)
        buf_add(out, *text == '"' ? "\"\"" : text, *text == '"' ? 2 : 1);
    buf_puts(out, "\"");
}

static void put_row(struct buf *out, const char *system, const char *code,
                    const char *target, const char *note)
{
    put_field(out, system);
    buf_puts(out, ",");
    put_field(out, code);
    buf_printf(out, ",%s,,,,", target);
    put_field(out, note);
    buf_puts(out, "\n");
}

/* What a person needs to know who fills the row in. */
static void note_of(const struct check_row *row, struct buf *note)
{
    buf_printf(note, "%s", check_kind_word(row->kind));
    if (row->display[0] != '\0')
        buf_printf(note, " '%s'", row->display);
    buf_printf(note, ", %zu times", row->missing);
    for (size_t i = 0; i < row->unit_count; i++)
        buf_printf(note, "%s%s", i == 0 ? ", units: " : " ",
                   row->units[i].text[0] != '\0' ? row->units[i].text
                                                 : "(none)");
}

static size_t put_code(const struct check_row *row, struct buf *out)
{
    struct buf note;

    /* nothing that a row could name */
    if (row->missing == 0 || row->system[0] == '\0' || row->code[0] == '\0')
        return 0;
    buf_init(&note, 4096);
    note_of(row, &note);
    put_row(out, row->system, row->code, "", note.data);
    buf_clear(&note);
    return 1;
}

/* Was the unit text in a row before this one? */
static bool is_said(const struct check *check, size_t until, const char *text)
{
    for (size_t i = 0; i < until; i++) {
        const struct check_row *row = check->rows[i];

        for (size_t k = 0; k < row->unit_count; k++) {
            if (row->units[k].kind == SAMPLE_UNIT_TEXT &&
                row->units[k].read_as[0] == '\0' && check_row_is_number(row) &&
                strcmp(row->units[k].text, text) == 0)
                return true;
        }
    }
    return false;
}

static size_t put_unit(const struct check *check, size_t at,
                       const struct check_unit *unit, struct buf *out)
{
    const struct check_row *row = check->rows[at];
    struct buf note;
    size_t put = 1;

    if (!check_unit_is_bad(row, unit) || unit->read_as[0] != '\0')
        return 0;
    buf_init(&note, 4096);
    if (unit->kind == SAMPLE_UNIT_TEXT && !is_said(check, at, unit->text)) {
        buf_printf(&note, "unit of %s, %zu times: target is a UCUM code",
                   row->target, unit->count);
        put_row(out, CODES_UNIT, unit->text, "", note.data);
    } else if (unit->kind == SAMPLE_UNIT_NONE) {
        buf_printf(&note,
                   "%zu times without a unit: fill in unit_default, or change "
                   "the row that you have",
                   unit->count);
        put_row(out, row->system, row->code, row->target, note.data);
    } else {
        put = 0;
    }
    buf_clear(&note);
    return put;
}

size_t check_missing_rows(const struct check *check, struct buf *out)
{
    size_t count = 0;

    buf_puts(out, "source_system,source_code,target,unit_default,arm_rule,"
                  "valid_from,note\n");
    for (size_t i = 0; i < check->row_count; i++)
        count += put_code(check->rows[i], out);
    for (size_t i = 0; i < check->row_count; i++) {
        for (size_t k = 0; k < check->rows[i]->unit_count; k++)
            count += put_unit(check, i, &check->rows[i]->units[k], out);
    }
    return count;
}

/* ---- maps that could be switched on ---------------------------------------- */

/* What each is about, and why it is off.  See config/ONBOARDING.md. */
static const struct {
    const char *system, *file, *why;
} optional[] = {
    { CODES_SCT, "snomed-ct.csv",
      "SNOMED CT needs a licence in many countries" },
    { CODES_MDC, "second-hand.csv",
      "its codes are to be checked against a licensed copy first" },
    { CODES_LOINC, "second-hand.csv",
      "its codes are to be checked against a licensed copy first" },
};

static bool is_on(const struct check *check, const char *file)
{
    for (int i = 0; i < check->config->map_count; i++) {
        const char *path = check->config->maps[i];
        const char *name = strrchr(path, '/');

        if (strcmp(name != NULL ? name + 1 : path, file) == 0)
            return true;
    }
    return false;
}

static bool lacks(const struct check *check, const char *system)
{
    for (size_t i = 0; i < check->row_count; i++) {
        const struct check_row *row = check->rows[i];

        if (row->missing > 0 && row->code[0] != '\0' &&
            strcmp(row->system, system) == 0)
            return true;
    }
    return false;
}

void check_say_maps(const struct check *check, struct buf *out)
{
    for (size_t i = 0; i < COUNT(optional); i++) {
        if (is_on(check, optional[i].file) || !lacks(check, optional[i].system))
            continue;
        buf_printf(out,
                   "Some codes of %s are rows of the optional map "
                   "maps/%s, which is off: %s.\n",
                   optional[i].system, optional[i].file, optional[i].why);
    }
}
