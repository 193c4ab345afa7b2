/* The table of a sample, as one JSON object. */
#include "service/check_codes_work.h"

#include "adapters/fhir_out.h"

#include <string.h>

static void put_count(struct buf *out, const char *key, size_t count)
{
    fhir_out_int(out, key, (long long)count);
}

static void put_unit(struct buf *out, const struct check_row *row,
                     const struct check_unit *u)
{
    static const char *const kinds[] = { [SAMPLE_NO_NUMBER] = "none",
                                         [SAMPLE_UNIT_NONE] = "none",
                                         [SAMPLE_UNIT_CODE] = "ucum",
                                         [SAMPLE_UNIT_TEXT] = "text",
                                         [SAMPLE_UNIT_OTHER] = "other" };

    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "unit", u->text);
    fhir_out_text(out, "kind", kinds[u->kind]);
    fhir_out_text(out, "read_as", u->read_as);
    put_count(out, "count", u->count);
    if (check_row_is_number(row))
        fhir_out_bool(out, "converts", u->fits);
    fhir_out_close(out, '}');
}

static void put_fates(struct buf *out, const struct check_row *row)
{
    fhir_out_open(out, "held", '{');
    for (int h = HOLD_NONE + 1; h < HOLD_COUNT; h++) {
        if (row->holds[h] > 0)
            put_count(out, hold_word((enum hold)h), row->holds[h]);
    }
    fhir_out_close(out, '}');
    fhir_out_open(out, "said", '{');
    for (size_t i = 0; i < row->word_count; i++)
        put_count(out, row->words[i].word, row->words[i].count);
    fhir_out_close(out, '}');
}

static void put_row(struct buf *out, const struct check_row *row)
{
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "kind", check_kind_word(row->kind));
    fhir_out_text(out, "system", row->system);
    fhir_out_text(out, "code", row->code);
    fhir_out_text(out, "display", row->display);
    put_count(out, "count", row->count);
    fhir_out_text(out, "target", row->target);
    if (row->changes)
        fhir_out_bool(out, "changes_with_date", true);
    put_count(out, "missing", row->missing);
    fhir_out_open(out, "units", '[');
    for (size_t i = 0; i < row->unit_count; i++)
        put_unit(out, row, &row->units[i]);
    fhir_out_close(out, ']');
    put_fates(out, row);
    fhir_out_close(out, '}');
}

static void put_refusals(struct buf *out, const struct check *check)
{
    fhir_out_open(out, "refused", '[');
    for (size_t i = 0; i < check->refusal_count; i++) {
        fhir_out_open(out, NULL, '{');
        fhir_out_text(out, "word", check->refusals[i].word);
        fhir_out_text(out, "place", check->refusals[i].place);
        put_count(out, "count", check->refusals[i].count);
        fhir_out_close(out, '}');
    }
    fhir_out_close(out, ']');
}

void check_write_json(const struct check *check, struct buf *out)
{
    struct buf rows;
    size_t count;

    fhir_out_open(out, NULL, '{');
    put_count(out, "files", check->files);
    put_count(out, "messages", check->messages);
    put_count(out, "observations", check->sample.observations);
    put_count(out, "accesses", check->sample.accesses);
    put_count(out, "list_codes", check->lists);
    put_count(out, "other_resources", check->sample.others);
    put_count(out, "unreadable", check->unreadable);
    put_count(out, "unknown_senders", check->strangers);
    put_count(out, "would_be_refused", check->sample.refused);
    fhir_out_bool(out, "missing", check_is_missing(check));
    fhir_out_open(out, "codes", '[');
    for (size_t i = 0; i < check->row_count; i++)
        put_row(out, check->rows[i]);
    fhir_out_close(out, ']');
    put_count(out, "codes_not_listed", check->rows_dropped);
    put_refusals(out, check);
    buf_init(&rows, out->ceiling);
    count = check_missing_rows(check, &rows);
    put_count(out, "missing_rows", count);
    fhir_out_text(out, "missing_csv", count > 0 ? rows.data : NULL);
    buf_clear(&rows);
    buf_init(&rows, out->ceiling);
    check_say_maps(check, &rows);
    fhir_out_text(out, "optional_maps", rows.len > 0 ? rows.data : NULL);
    buf_clear(&rows);
    fhir_out_text(out, "caution",
                  "Decision support. What a code means is for somebody who "
                  "knows the sender, to be checked by a second person under "
                  "local policy.");
    fhir_out_close(out, '}');
    buf_puts(out, "\n");
}
