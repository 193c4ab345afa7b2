#include "adapters/hl7_oru_work.h"

#include <stdint.h>
#include <string.h>

/* OBX-5, by the data type that OBX-2 names (table 0125). */
typedef bool reader(struct oru *o, struct oru_result *r);

static struct hl7_place place_of(const struct oru *o,
                                 const struct oru_result *r, int component)
{
    return oru_place(o, r->segment, 5, 0, component);
}

static bool fail(struct oru *o, const struct oru_result *r, int component,
                 enum err e, const char *word, const char *text)
{
    struct hl7_place place = place_of(o, r, component);

    if (e == ERR_LIMIT)
        oru_error(o, &place, HL7_TOO_LONG, "too-long",
                  "More than the 18 digits that a number may have");
    else
        oru_error(o, &place, HL7_DATA_TYPE, word, text);
    return false;
}

/* One number, or one time: of several nobody can say which counts. */
static bool is_single(struct oru *o, const struct oru_result *r)
{
    if (hl7_repetitions(o->message, r->segment, 5) == 1)
        return true;
    return fail(o, r, 0, ERR_FORM, "bad-value",
                "Several values in one result: a result each is needed");
}

/* ---- numbers ----------------------------------------------------------- */

static bool read_nm(struct oru *o, struct oru_result *r)
{
    enum err e;

    if (!is_single(o, r))
        return false;
    e = oru_is_simple(o, r->segment, 5, 1)
            ? hl7_number_read(oru_field(o, r->segment, 5), r->value.low)
            : ERR_FORM;
    if (e != ERR_OK)
        return fail(o, r, 0, e, "bad-value",
                    "Not a number: a sign, digits and a point are allowed");
    r->value.kind = ORU_QUANTITY;
    return true;
}

static bool read_sn(struct oru *o, struct oru_result *r)
{
    const char *parts[HL7_SN_PARTS];
    struct hl7_sn sn;
    enum err e;
    int at;

    if (!is_single(o, r))
        return false;
    for (int i = 0; i < HL7_SN_PARTS; i++)
        parts[i] = oru_text(o, r->segment, 5, 1, i + 1);
    e = hl7_sn_read(parts, &sn, &at);
    if (e != ERR_OK)
        return fail(o, r, at, e, "bad-value",
                    "Not a structured number of which anything can be made");
    r->value.comparator = sn.comparator;
    memcpy(r->value.low, sn.low, sizeof(sn.low));
    memcpy(r->value.high, sn.high, sizeof(sn.high));
    switch (sn.kind) {
    case HL7_SN_EMPTY:
        r->value.kind = ORU_ABSENT;
        r->value.why = "No value was sent";
        break;
    case HL7_SN_QUANTITY:
        r->value.kind = ORU_QUANTITY;
        break;
    case HL7_SN_RANGE:
        r->value.kind = ORU_RANGE;
        break;
    case HL7_SN_RATIO:
        r->value.kind = ORU_RATIO;
        break;
    case HL7_SN_TEXT:
        r->value.kind = ORU_STRING;
        buf_empty(&o->value);
        buf_puts(&o->value, sn.text);
        break;
    }
    return true;
}

/* ---- codes and texts --------------------------------------------------- */

bool oru_names_something(const struct oru *o, const struct oru_result *r,
                         int repetition)
{
    static const int parts[] = { 1, 2, 4, 5, 9 };

    for (size_t i = 0; i < COUNT(parts); i++) {
        if (oru_says(oru_text(o, r->segment, 5, repetition, parts[i])))
            return true;
    }
    return false;
}

static bool read_coded(struct oru *o, struct oru_result *r, enum oru_kind kind)
{
    size_t count = hl7_repetitions(o->message, r->segment, 5);
    struct hl7_place place =
        oru_place(o, r->segment, 5, HL7_REPETITIONS_MAX + 1, 0);
    bool any = false;

    if (count > HL7_REPETITIONS_MAX) {
        oru_error(o, &place, HL7_TOO_LONG, "too-many",
                  "Of the repetitions of a value the first ten are taken");
        count = HL7_REPETITIONS_MAX;
    }
    for (size_t i = 1; i <= count; i++)
        any = any || oru_names_something(o, r, (int)i);
    r->value.kind = any ? kind : ORU_ABSENT;
    r->value.why = "No value was sent";
    r->value.repetitions = any ? count : 1;
    return true;
}

static bool read_cwe(struct oru *o, struct oru_result *r)
{
    return read_coded(o, r, ORU_CONCEPT);
}

static bool read_is(struct oru *o, struct oru_result *r)
{
    return read_coded(o, r, ORU_CODE);
}

/* The repetitions of a text, one a line, into o->value. */
static bool read_text(struct oru *o, struct oru_result *r)
{
    size_t count = hl7_repetitions(o->message, r->segment, 5);
    struct hl7_place place = place_of(o, r, 0);

    buf_empty(&o->value);
    for (size_t i = 1; i <= count; i++) {
        if (i > 1)
            buf_puts(&o->value, "\n");
        oru_whole(o, r->segment, 5, (int)i, &o->value);
    }
    if (o->value.len > ORU_TEXT_MAX || o->value.err != ERR_OK) {
        oru_error(o, &place, HL7_TOO_LONG, "too-long",
                  "A text has 16384 bytes at most");
        return false;
    }
    r->value.kind = oru_says(o->value.data) ? ORU_STRING : ORU_ABSENT;
    r->value.why = "No value was sent";
    return true;
}

/* Where the settings allow it: a text that is a number, with a unit in OBX-6
 * or behind it. */
static bool read_st(struct oru *o, struct oru_result *r)
{
    bool has_unit = hl7_repetitions(o->message, r->segment, 6) > 0;
    char number[HL7_NUMBER_SIZE];
    const char *unit;

    if (!read_text(o, r))
        return false;
    if (!o->profile->numbers_in_text || r->value.kind != ORU_STRING ||
        hl7_number_in_text(o->value.data, number, &unit) != ERR_OK ||
        (unit == NULL) != has_unit)
        return true;
    r->value.kind = ORU_QUANTITY;
    r->value.unit = unit;
    memcpy(r->value.low, number, sizeof(number));
    return true;
}

/* ---- times ------------------------------------------------------------- */

static bool read_dtm(struct oru *o, struct oru_result *r)
{
    if (!is_single(o, r) || !oru_read_time(o, r->segment, 5, 1, &r->value.time))
        return false;
    r->value.kind =
        r->value.time.precision == HL7_HOUR ? ORU_PERIOD : ORU_DATE_TIME;
    return true;
}

static bool read_tm(struct oru *o, struct oru_result *r)
{
    struct hl7_place place = place_of(o, r, 0);

    if (!is_single(o, r))
        return false;
    r->value.kind = ORU_CLOCK;
    if (hl7_clock_read(oru_field(o, r->segment, 5), r->value.clock) == ERR_OK)
        return true;
    oru_warn(o, &place, HL7_DATA_TYPE, "not-computed",
             "Not a time of day as FHIR has it (HHMM or HHMMSS); kept as text");
    return read_text(o, r);
}

/* ---- which ------------------------------------------------------------- */

static const struct {
    const char *type;
    reader *read;
} types[] = {
    { "NM", read_nm },  { "SN", read_sn },   { "CWE", read_cwe },
    { "CE", read_cwe }, { "CNE", read_cwe }, { "CF", read_cwe },
    { "IS", read_is },  { "ID", read_is },   { "ST", read_st },
    { "TX", read_st },  { "FT", read_text }, { "DT", read_dtm },
    { "TS", read_dtm }, { "DTM", read_dtm }, { "TM", read_tm },
};

/* The other data types of table 0440 (HL7 Terminology: those of all versions). */
static bool is_other_type(const char *type)
{
    static const char *const known[] = {
        "AD",  "AUI", "CCD", "CCP", "CD",  "CK",  "CM",  "CN",  "CNN", "CNS",
        "CP",  "CQ",  "CSU", "CX",  "DDI", "DIN", "DLD", "DLN", "DLT", "DR",
        "DTN", "ED",  "EI",  "EIP", "ELD", "ERL", "FC",  "FN",  "GTS", "HD",
        "ICD", "JCC", "LA1", "LA2", "MA",  "MO",  "MOC", "MOP", "MSG", "NA",
        "NDL", "NR",  "OCD", "OSD", "OSP", "PIP", "PL",  "PLN", "PN",  "PPN",
        "PRL", "PT",  "PTA", "QIP", "QSC", "RCD", "RFR", "RI",  "RMC", "RP",
        "RPT", "SAD", "SCV", "SI",  "SPD", "SPS", "SRT", "TN",  "TQ",  "UVC",
        "VH",  "VID", "VR",  "WVI", "WVS", "XAD", "XCN", "XON", "XPN", "XTN"
    };

    for (size_t i = 0; i < COUNT(known); i++) {
        if (strcmp(known[i], type) == 0)
            return true;
    }
    return false;
}

static reader *reader_of(const char *type)
{
    for (size_t i = 0; i < COUNT(types); i++) {
        if (strcmp(types[i].type, type) == 0)
            return types[i].read;
    }
    return NULL;
}

bool oru_may_repeat(const struct oru *o, const struct oru_result *r)
{
    const char *type = oru_field(o, r->segment, 2);
    reader *read = reader_of(type);

    /* Who withdraws a result need not say of what type it was; an X without a
     * type is how machines name their parts. */
    return read == read_cwe || read == read_is ||
           (type[0] == '\0' && r->letter != 'X');
}

static bool read_other(struct oru *o, struct oru_result *r, const char *type)
{
    struct hl7_place place = oru_place(o, r->segment, 2, 0, 0);

    if (type[0] == '\0') {
        oru_error(o, &place, HL7_MISSING, "missing-element",
                  "A value needs a data type");
        return false;
    }
    if (!is_other_type(type)) {
        oru_error(o, &place, HL7_TABLE_VALUE, "bad-value",
                  "Not a data type of HL7 that a value may have");
        return false;
    }
    oru_warn(o, &place, HL7_DATA_TYPE, "not-supported",
             "A value of this data type is not kept; the result is, without "
             "it");
    r->value.kind = ORU_ABSENT;
    r->value.why = "A value of a data type that is not kept was sent";
    return true;
}

/* Of two units nobody can say which the number is in. */
static bool has_one_unit(struct oru *o, const struct oru_result *r)
{
    struct hl7_place place = oru_place(o, r->segment, 6, 1, 4);

    if ((r->value.kind != ORU_QUANTITY && r->value.kind != ORU_RANGE &&
         r->value.kind != ORU_RATIO) ||
        r->value.unit != NULL || !oru_units_differ(o, r->segment))
        return true;
    oru_error(o, &place, HL7_TABLE_VALUE, "unit",
              "The alternate unit is another one than the unit: it is not sure "
              "what was measured");
    return false;
}

bool oru_read_value(struct oru *o, struct oru_result *r)
{
    const char *type = oru_field(o, r->segment, 2);
    reader *read = reader_of(type);

    r->value.repetitions = 1;
    if (r->withdrawn || r->promote)
        return true;
    if (oru_is_value_damaged(o, r->segment))
        return false;
    r->value.kind = ORU_ABSENT;
    r->value.why = "No value was sent";
    if (hl7_is_null(o->message, r->segment, 5)) {
        r->value.why = "The sender has deleted the value";
        return true;
    }
    if (hl7_repetitions(o->message, r->segment, 5) == 0)
        return true;
    if (read == NULL)
        return read_other(o, r, type);
    return read(o, r) && has_one_unit(o, r);
}
