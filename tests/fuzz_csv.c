/*
 * fuzz_csv - libFuzzer target: any bytes as CSV, and as a site's code map
 *
 * Link with adapters, planner and libcsv, all built with
 * -fsanitize=fuzzer,address,undefined; start from tests/corpus/csv.
 *
 * Beyond not crashing: rows that were read, written anew with every field in
 * quotes, read as the same rows; a map that is refused leaves no row and says
 * why; one that was taken cannot be added twice.
 */
#include "adapters/codes_rows.h"
#include "adapters/csv_file.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

/* A broken promise must stop the fuzzer in every kind of build. */
static void must(bool kept)
{
    if (!kept)
        abort();
}

/* Rows with every field in quotes (RFC 4180, 2.5 to 2.7). */
static enum err write_row(void *arg, const struct csv_row *row)
{
    struct buf *out = arg;

    must(row->count >= 1 && row->count <= CSV_FIELDS_MAX && row->line >= 1);
    for (size_t i = 0; i < row->count; i++) {
        const char *text = row->fields[i];

        must(strlen(text) < CSV_FIELD_SIZE);
        buf_puts(out, i > 0 ? ",\"" : "\"");
        for (; *text != '\0'; text++)
            buf_add(out, *text == '"' ? "\"\"" : text, *text == '"' ? 2 : 1);
        buf_puts(out, "\"");
    }
    buf_puts(out, "\r\n");
    return buf_ok(out);
}

static void check_rows(const char *text, size_t len)
{
    struct csv_fault fault;
    struct buf once, twice;
    enum err e;

    buf_init(&once, 1 << 24);
    buf_init(&twice, 1 << 24);
    e = csv_file_read(text, len, write_row, &once, &fault);
    must(e == ERR_OK || fault.text != NULL);
    if (e == ERR_OK) {
        must(csv_file_read(once.data, once.len, write_row, &twice, &fault) ==
             ERR_OK);
        must(once.len == twice.len &&
             memcmp(once.data, twice.data, once.len) == 0);
    }
    buf_clear(&once);
    buf_clear(&twice);
}

static void check_map(const char *text, size_t len)
{
    struct codes *codes = NULL;
    struct buf why;
    size_t before;
    enum err e;

    must(codes_new("https://headgate.example/fhir", &codes) == ERR_OK);
    buf_init(&why, 4096);
    before = codes->count;
    e = codes_add_csv(codes, text, len, &why);
    if (e != ERR_OK) {
        must(codes->count == before && why.len > 0);
    } else if (codes->count > before) {
        before = codes->count;
        must(codes_add_csv(codes, text, len, &why) == ERR_CONFLICT);
        must(codes->count == before && why.len > 0);
    }
    must(codes_find(codes, CODES_LOINC, "8480-6", CODES_NEWEST).quantity ==
         Q_SYSTOLIC_PRESSURE);
    buf_clear(&why);
    codes_free(codes);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    check_rows((const char *)data, size);
    check_map((const char *)data, size);
    return 0;
}
