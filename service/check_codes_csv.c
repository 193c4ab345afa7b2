/* Lists of codes in a sample: system, code, unit. */
#include "service/check_codes_work.h"

#include "adapters/csv_file.h"
#include "adapters/units.h"

#include <string.h>

enum list_column {
    LIST_SYSTEM,
    LIST_CODE,
    LIST_UNIT,
    LIST_DISPLAY,
    LIST_COUNT
};

static const char *const list_columns[LIST_COUNT] = { "system", "code", "unit",
                                                      "display" };

struct list {
    struct check *check;
    const char *name;
    bool headed;
    size_t width;
    int place[LIST_COUNT]; /* -1: not there */
};

static enum err complain(const struct list *l, size_t line, const char *text)
{
    fprintf(stderr, "headgate: %s:%zu: %s\n", l->name, line, text);
    return ERR_FORM;
}

static enum err read_header(struct list *l, const struct csv_row *row)
{
    l->headed = true;
    l->width = row->count;
    for (size_t i = 0; i < row->count; i++) {
        size_t c = 0;

        while (c < LIST_COUNT && strcmp(list_columns[c], row->fields[i]) != 0)
            c++;
        if (c == LIST_COUNT || l->place[c] >= 0)
            return complain(l, row->line,
                            "the columns are system, code, and if you like "
                            "unit and display");
        l->place[c] = (int)i;
    }
    if (l->place[LIST_SYSTEM] < 0 || l->place[LIST_CODE] < 0)
        return complain(l, row->line, "columns system and code are needed");
    return ERR_OK;
}

static const char *field_of(const struct list *l, const struct csv_row *row,
                            enum list_column c)
{
    return l->place[c] < 0 ? "" : row->fields[l->place[c]];
}

/* A unit of a list may be a code or a text: nobody has said which. */
static void read_unit(const struct check *check, const struct code_entry *entry,
                      const char *unit, struct sample_use *use)
{
    use->unit = unit;
    if (entry->meaning == CODE_QUANTITY &&
        quantity_info(entry->quantity)->kind != VALUE_NUMBER)
        return;
    if (unit[0] == '\0') {
        use->unit_kind = SAMPLE_UNIT_NONE;
        use->read_as = entry->unit;
    } else if (units_listed(unit, strlen(unit))) {
        use->unit_kind = SAMPLE_UNIT_CODE;
        use->read_as = unit;
    } else {
        use->unit_kind = SAMPLE_UNIT_TEXT;
        if (units_of_text(unit, strlen(unit), &use->read_as) != ERR_OK)
            use->read_as = codes_unit_of(check->codes, use->system, use->code,
                                         unit, CODES_NEWEST);
    }
    use->fits = fhir_sample_fits(entry, use->read_as);
}

/* A sign of any quantity; "" if it is none. */
static const char *sign_word(const struct codes *codes, const char *system,
                             const char *code)
{
    for (unsigned q = 1; q < QUANTITY_COUNT; q++) {
        enum sign s =
            codes_sign(codes, (enum quantity)q, system, code, CODES_NEWEST);

        if (s != SIGN_NONE)
            return sign_info(s)->code;
    }
    return "";
}

/* A list does not say where a code stands: whatever it is mapped to. */
static enum err on_row(void *arg, const struct csv_row *row)
{
    struct list *l = arg;
    const struct codes *codes = l->check->codes;
    struct sample_use use = { .kind = SAMPLE_CODE, .unit = "" };
    struct code_entry entry;
    struct body_site site;
    char word[CODES_SITE_SIZE];

    if (!l->headed)
        return read_header(l, row);
    if (row->count != l->width)
        return complain(l, row->line, "not as many fields as the header has");
    use.system = field_of(l, row, LIST_SYSTEM);
    use.code = field_of(l, row, LIST_CODE);
    use.display = field_of(l, row, LIST_DISPLAY);
    entry = codes_find(codes, use.system, use.code, CODES_NEWEST);
    site = codes_site(codes, use.system, use.code, CODES_NEWEST);
    codes_site_word(&site, word);
    use.target = codes_entry_word(&entry);
    if (entry.meaning == CODE_UNKNOWN) {
        enum method m = codes_method(codes, use.system, use.code, CODES_NEWEST);

        use.target = m != METHOD_UNSTATED ? method_code(m)
                     : word[0] != '\0'    ? word
                                       : sign_word(codes, use.system, use.code);
        use.kind = m != METHOD_UNSTATED    ? SAMPLE_METHOD
                   : word[0] != '\0'       ? SAMPLE_SITE
                   : use.target[0] != '\0' ? SAMPLE_VALUE
                                           : SAMPLE_CODE;
    }
    use.missing = use.target[0] == '\0';
    if (use.kind == SAMPLE_CODE &&
        (use.missing || entry.meaning == CODE_QUANTITY))
        read_unit(l->check, &entry, field_of(l, row, LIST_UNIT), &use);
    l->check->lists++;
    check_on_use(l->check, &use);
    return l->check->err;
}

enum err check_read_csv(struct check *check, const char *name, const char *text,
                        size_t len)
{
    struct list l = { .check = check,
                      .name = name,
                      .place = { -1, -1, -1, -1 } };
    struct csv_fault fault;
    enum err e = csv_file_read(text, len, on_row, &l, &fault);

    if (e != ERR_OK && fault.text != NULL)
        return complain(&l, fault.line, fault.text);
    if (e == ERR_OK && !l.headed)
        return complain(&l, 1,
                        "neither FHIR, nor HL7 v2, nor a list of codes "
                        "with the columns system and code");
    return e;
}
