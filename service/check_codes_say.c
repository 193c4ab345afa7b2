/* The table of a sample, for people. */
#include "service/check_codes_work.h"

#include <string.h>

const char *check_kind_word(enum sample_kind kind)
{
    static const char *const words[SAMPLE_KIND_COUNT] = {
        [SAMPLE_CODE] = "code",
        [SAMPLE_VALUE] = "value",
        [SAMPLE_METHOD] = "method",
        [SAMPLE_SITE] = "body site",
    };

    return words[kind];
}

static const char *heading_of(enum sample_kind kind)
{
    static const char *const words[SAMPLE_KIND_COUNT] = {
        [SAMPLE_CODE] = "What was measured",
        [SAMPLE_VALUE] = "Coded values",
        [SAMPLE_METHOD] = "Methods",
        [SAMPLE_SITE] = "Body sites",
    };

    return words[kind];
}

static const char *system_of(const char *system)
{
    if (strcmp(system, CODES_TEXT) == 0)
        return "exact words (" CODES_TEXT ")";
    return system[0] != '\0' ? system : "(no system)";
}

static void say_target(const struct check_row *row, struct buf *out)
{
    if (row->target[0] == '\0' && row->system[0] == '\0' && row->missing > 0)
        buf_puts(out, "NOT USABLE: without a system no map can name it");
    else if (row->target[0] == '\0' && row->missing > 0)
        buf_puts(out, "MISSING");
    else if (row->target[0] == '\0')
        buf_puts(out, "not mapped; another code beside it is");
    else if (strcmp(row->target, "ignore") == 0)
        buf_puts(out, "ignored");
    else if (strcmp(row->target, "store") == 0)
        buf_puts(out, "kept, not used");
    else
        buf_puts(out, row->target);
    if (row->changes)
        buf_puts(out, " (changes with the date of the measurement)");
}

static void say_unit(const struct check_row *row, const struct check_unit *u,
                     struct buf *out)
{
    buf_puts(out, "      unit ");
    if (u->kind == SAMPLE_UNIT_NONE)
        buf_puts(out, "none");
    else
        buf_printf(out, "'%s'%s", u->text,
                   u->kind == SAMPLE_UNIT_TEXT    ? " (text)"
                   : u->kind == SAMPLE_UNIT_OTHER ? " (no code of UCUM)"
                                                  : "");
    buf_printf(out, ", %zu times", u->count);
    if (!check_row_is_number(row))
        buf_puts(out, "");
    else if (u->fits && strcmp(u->text, u->read_as) == 0)
        buf_puts(out, ": converts");
    else if (u->fits)
        buf_printf(out, ": read as %s, converts", u->read_as);
    else if (u->read_as[0] != '\0')
        buf_printf(out, ": DOES NOT FIT: %s is no unit of this", u->read_as);
    else if (u->kind == SAMPLE_UNIT_NONE)
        buf_puts(out, ": MISSING: give the row a unit_default, or send one");
    else if (u->kind == SAMPLE_UNIT_TEXT)
        buf_puts(out, ": MISSING: this word is not known");
    else if (u->kind == SAMPLE_UNIT_CODE)
        buf_puts(out, ": NOT KNOWN as a code of UCUM: the sender has to send "
                      "another, or the unit as text");
    else
        buf_puts(out, ": NOT KNOWN: only codes of UCUM are read");
    buf_puts(out, "\n");
}

static void say_fate(const struct check_row *row, struct buf *out)
{
    for (int h = HOLD_NONE + 1; h < HOLD_COUNT; h++) {
        if (row->holds[h] > 0)
            buf_printf(out, "      would be held for a person: %s, %zu times\n",
                       hold_word((enum hold)h), row->holds[h]);
    }
    for (size_t i = 0; i < row->word_count; i++)
        buf_printf(out, "      said of it: %s, %zu times\n", row->words[i].word,
                   row->words[i].count);
}

static void say_row(const struct check_row *row, struct buf *out)
{
    buf_printf(out, "    %s", row->code[0] != '\0' ? row->code : "(no code)");
    if (row->display[0] != '\0')
        buf_printf(out, " '%s'", row->display);
    buf_printf(out, ", %zu times -> ", row->count);
    say_target(row, out);
    buf_puts(out, "\n");
    for (size_t i = 0; i < row->unit_count; i++)
        say_unit(row, &row->units[i], out);
    if (row->units_dropped > 0)
        buf_printf(out, "      more units, %zu times\n", row->units_dropped);
    say_fate(row, out);
}

static void say_rows(const struct check *check, struct buf *out)
{
    const struct check_row *last = NULL;

    for (size_t i = 0; i < check->row_count; i++) {
        const struct check_row *row = check->rows[i];

        if (last == NULL || last->kind != row->kind)
            buf_printf(out, "\n%s\n", heading_of(row->kind));
        if (last == NULL || last->kind != row->kind ||
            strcmp(last->system, row->system) != 0)
            buf_printf(out, "  %s\n", system_of(row->system));
        say_row(row, out);
        last = row;
    }
    if (check->rows_dropped > 0)
        buf_printf(out,
                   "\nMore than %d different codes: %zu uses are not listed.\n",
                   CHECK_ROWS_MAX, check->rows_dropped);
}

/* A sign that cannot be read may be an emergency that nobody sees. */
static void say_unread(const struct check *check, struct buf *out)
{
    bool any = false;

    for (size_t i = 0; i < check->row_count; i++) {
        const struct check_row *row = check->rows[i];
        size_t count = check_unread(row);

        if (count == 0)
            continue;
        if (!any)
            buf_puts(out, "\nMissing: signs whose values cannot be read; each "
                          "would be held for a person.\nMap the coded value "
                          "('present' or 'absent' for a yes or no), or let the "
                          "sender send\na code instead of words:\n");
        any = true;
        buf_printf(out, "    %s -> %s, %zu times\n", row->code, row->target,
                   count);
    }
}

static void say_refusals(const struct check *check, struct buf *out)
{
    if (check->refusal_count == 0)
        return;
    buf_printf(out, "\nWould be refused: %zu\n", check->sample.refused);
    for (size_t i = 0; i < check->refusal_count; i++)
        buf_printf(out, "    %s at %s, %zu times\n", check->refusals[i].word,
                   check->refusals[i].place, check->refusals[i].count);
}

static void say_head(const struct check *check, struct buf *out)
{
    buf_printf(out, "Read: %zu files", check->files);
    if (check->messages > 0)
        buf_printf(out, ", %zu messages of HL7 v2", check->messages);
    buf_printf(out, ", %zu Observations, %zu accesses",
               check->sample.observations, check->sample.accesses);
    if (check->lists > 0)
        buf_printf(out, ", %zu codes of lists", check->lists);
    if (check->sample.others > 0)
        buf_printf(out, ", %zu resources of other types", check->sample.others);
    if (check->unreadable > 0)
        buf_printf(out, "; NOT READABLE: %zu", check->unreadable);
    buf_puts(out, "\nMaps: the codes of the program");
    for (int i = 0; i < check->config->map_count; i++)
        buf_printf(out, ", %s", check->config->maps[i]);
    buf_puts(out, "\n");
    if (check->strangers > 0)
        buf_printf(out,
                   "%zu messages are of no sender that the configuration "
                   "names: their own codes are\nlisted as of "
                   "'urn:headgate:hl7:sample:...', and will be of "
                   "'urn:headgate:hl7:NAME:...'.\n",
                   check->strangers);
}

void check_say(const struct check *check, struct buf *out)
{
    struct buf rows;
    size_t count;

    say_head(check, out);
    say_rows(check, out);
    say_refusals(check, out);
    say_unread(check, out);
    buf_init(&rows, out->ceiling);
    count = check_missing_rows(check, &rows);
    if (count > 0)
        buf_printf(out,
                   "\nMissing: %zu rows. Fill in the targets ('ignore' and "
                   "'store' are targets too), put\nthem into a map of the "
                   "site, and run this again: values of codes that are not\n"
                   "mapped are not looked at.\n\n%s",
                   count, rows.data);
    buf_clear(&rows);
    check_say_maps(check, &rows);
    if (rows.len > 0)
        buf_printf(out, "\n%s", rows.data);
    if (count == 0 && !check_is_missing(check))
        buf_puts(out, "\nNothing is missing.\n");
    buf_clear(&rows);
    buf_puts(out,
             "\nThis rests on the codes and units of the sample alone, never "
             "on their displays, and\non nothing that the store knows: which "
             "access a reading belongs to is not asked.\nWhat a code means is "
             "for somebody who knows the sender, and is to be checked by a\n"
             "second person under local policy. Decision support: clinicians "
             "decide.\n");
}
