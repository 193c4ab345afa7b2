#include "adapters/quarantine_text.h"

#include "adapters/fhir_out.h"
#include "adapters/fhir_time.h"
#include "adapters/queue_text.h"
#include "adapters/units.h"

#include <stdio.h>
#include <string.h>

/* What comes from a record must not steer the terminal. */
static void say(struct buf *out, const char *before, const char *text)
{
    if (text[0] == '\0')
        return;
    buf_puts(out, before);
    queue_text_clean(out, text);
}

/* What a person can do about each reason; N stands for the number. */
static const struct {
    const char *reason, *mend;
} mends[] = {
    { "unit",
      "headgate quarantine map N --unit UCUM says which unit is meant "
      "(\"mL/min\"): its word then means that wherever this code comes with "
      "it; of a value without one, that of its code" },
    { "code", "the codings contradict each other: the sender corrects it, or "
              "headgate quarantine discard N" },
    { "implausible", "ask the unit: headgate quarantine release N --as-sent "
                     "if the value is right (map N --access NAME before or "
                     "after it, if its access is not clear); else a corrected "
                     "version, or headgate quarantine discard N" },
    { "side", "headgate quarantine map N --side left|right, or --access NAME" },
    { "access", "headgate quarantine map N --access NAME, or --side "
                "left|right" },
    { "time", "headgate quarantine release N once that time has come, or "
              "release N --as-sent if an old time is right; or a corrected "
              "version" },
    { "value", "ask the unit now, then act on what it says; headgate "
               "quarantine map N --code CODE --target MEANING if a code of it "
               "is not known; a corrected version, or headgate quarantine "
               "discard N" },
    { "otherwise", "ask the unit now; headgate quarantine release N --as-sent "
                   "if the newer report is right; else headgate quarantine "
                   "discard N, and the sign before it stands" },
};
static const char otherwise[] =
    "the sender corrects it and sends it again; once what it rests on is "
    "mended here, headgate quarantine release N; else headgate quarantine "
    "discard N";

static const char no_unit[] =
    "headgate quarantine map N --unit UCUM gives values of its code that come "
    "without a unit this one (\"mL/min\"); a code of headgate's own system "
    "takes none: then its sender has to send the unit, or headgate quarantine "
    "discard N";
static const char other_unit[] =
    "it came in a unit that this cannot be measured in: its sender corrects "
    "it and sends it again, or headgate quarantine discard N";

/* Of a unit it stands in the hint what came: "unit?", "unit ml?". */
static const char *mend_of_unit(const char *hint, const char *mend)
{
    size_t len = strlen(hint);
    const char *known;

    if (strcmp(hint, "unit?") == 0)
        return no_unit;
    return len > 6 && strncmp(hint, "unit ", 5) == 0 &&
                   units_of_text(hint + 5, len - 6, &known) == ERR_OK
               ? other_unit
               : mend;
}

void quarantine_write_mend(const struct quarantine_line *line, struct buf *out)
{
    const char *text = otherwise;

    for (size_t i = 0; i < COUNT(mends) && line->held; i++) {
        if (strcmp(mends[i].reason, line->reason) == 0)
            text = mends[i].mend;
    }
    if (line->held && strcmp(line->reason, "unit") == 0 && line->hint != NULL)
        text = mend_of_unit(line->hint, text);
    for (; *text != '\0'; text++) {
        if (text[0] == 'N' && (text[1] == ' ' || text[1] == ';' ||
                               text[1] == ',' || text[1] == '\0'))
            buf_printf(out, "%lld", (long long)line->number);
        else
            buf_add(out, text, 1);
    }
}

static void write_whose(const struct quarantine_line *line, struct buf *out)
{
    if (line->held) {
        say(out, "",
            line->patient_name[0] != '\0' ? line->patient_name
                                          : "name not known");
        say(out, ", ", line->patient_number);
        say(out, ", ", line->unit);
    } else {
        buf_puts(out, "from ");
        say(out, "", line->source[0] != '\0' ? line->source : "nobody known");
        say(out, ", of patient ", line->patient_number);
    }
}

void quarantine_write_line(const struct quarantine_line *line,
                           const struct zone *zone, struct buf *out)
{
    char date[FHIR_TIME_SIZE];

    fhir_date_write(line->since_ms / 1000, zone, date);
    buf_printf(out, "%lld  %s  ", (long long)line->number, date);
    write_whose(line, out);
    say(out, ": ", line->what);
    if (line->emergency)
        buf_puts(out, line->held ? ", A SIGN OF EMERGENCY"
                                 : ", A SIGN OF EMERGENCY MAY BE IN IT");
    say(out, ": ", line->why);
    say(out, "; ", line->hint);
    say(out, "; at ", line->place);
    if (line->observation[0] != '\0') {
        say(out, "  (Observation/", line->observation);
        buf_puts(out, ")");
    }
    buf_puts(out, "\n    To mend it: ");
    quarantine_write_mend(line, out);
    buf_puts(out, "\n");
}

static void json_text(struct buf *out, const char *key, const char *text)
{
    if (text[0] == '\0')
        fhir_out_raw(out, key, "null", 4);
    else
        fhir_out_text(out, key, text);
}

void quarantine_write_json(const struct quarantine_line *line, struct buf *out)
{
    char since[FHIR_TIME_SIZE];
    struct buf mend, object, *all = out;

    buf_init(&object, (size_t)32 * 1024);
    out = &object; /* what stands before a value decides on its comma */

    fhir_time_write(line->since_ms / 1000, since);
    buf_init(&mend, 2000);
    quarantine_write_mend(line, &mend);
    fhir_out_open(out, NULL, '{');
    fhir_out_int(out, "number", line->number);
    fhir_out_text(out, "kind", line->held ? "held" : "quarantined");
    fhir_out_text(out, "since", since);
    json_text(out, "patient", line->patient_name);
    json_text(out, "patient_number", line->patient_number);
    json_text(out, "unit", line->unit);
    json_text(out, "what", line->what);
    fhir_out_text(out, "reason", line->reason);
    json_text(out, "why", line->why);
    json_text(out, "hint", line->hint);
    json_text(out, "place", line->place);
    json_text(out, "source", line->source);
    json_text(out, "way", line->way);
    json_text(out, "observation", line->observation);
    fhir_out_raw(out, "emergency", line->emergency ? "true" : "false",
                 line->emergency ? 4 : 5);
    fhir_out_text(out, "mend", mend.data);
    fhir_out_close(out, '}');
    buf_printf(all, "%s\n", object.data);
    buf_clear(&object);
    buf_clear(&mend);
}

void quarantine_write_age(int64_t age_ms, struct buf *out)
{
    const int64_t hour = INT64_C(3600) * 1000, day = 24 * hour;
    int64_t n = age_ms >= 2 * day ? age_ms / day : age_ms / hour;

    if (n < 1)
        buf_puts(out, "less than an hour");
    else
        buf_printf(out, "%lld %s%s", (long long)n,
                   age_ms >= 2 * day ? "day" : "hour", n == 1 ? "" : "s");
}

void quarantine_write_sum(const struct quarantine_sum *sum, const char *why,
                          int64_t now_ms, struct buf *out)
{
    buf_printf(out, "%6lld %s, %s", (long long)sum->count,
               sum->held ? "held" : "not taken in", sum->reason);
    say(out, ": ", why);
    buf_puts(out, " (the oldest for ");
    quarantine_write_age(now_ms - sum->oldest_ms, out);
    buf_puts(out, ")\n");
}

/* C1 controls, and marks of the direction of writing, as UTF-8. */
static size_t steers(const unsigned char *at, size_t left)
{
    if (left >= 2 && at[0] == 0xC2 && at[1] < 0xA0)
        return 2;
    if (left >= 3 && at[0] == 0xE2 &&
        ((at[1] == 0x80 && (at[2] == 0x8E || at[2] == 0x8F ||
                            (at[2] >= 0xA8 && at[2] <= 0xAE))) ||
         (at[1] == 0x81 && at[2] >= 0xA6 && at[2] <= 0xA9)))
        return 3;
    return 0;
}

/* Bytes of the character here; 0: this is no UTF-8 (RFC 3629), and a byte by
 * itself may steer a terminal too. */
static size_t character(const unsigned char *at, size_t left)
{
    static const struct {
        unsigned char low, high, second_low, second_high;
        size_t len;
    } forms[] = { { 0x00, 0x7F, 0, 0, 1 },       { 0xC2, 0xDF, 0x80, 0xBF, 2 },
                  { 0xE0, 0xE0, 0xA0, 0xBF, 3 }, { 0xE1, 0xEC, 0x80, 0xBF, 3 },
                  { 0xED, 0xED, 0x80, 0x9F, 3 }, { 0xEE, 0xEF, 0x80, 0xBF, 3 },
                  { 0xF0, 0xF0, 0x90, 0xBF, 4 }, { 0xF1, 0xF3, 0x80, 0xBF, 4 },
                  { 0xF4, 0xF4, 0x80, 0x8F, 4 } };

    for (size_t i = 0; i < COUNT(forms); i++) {
        size_t k = 2;

        if (*at < forms[i].low || *at > forms[i].high)
            continue;
        if (forms[i].len == 1)
            return 1;
        if (left < forms[i].len || at[1] < forms[i].second_low ||
            at[1] > forms[i].second_high)
            return 0;
        while (k < forms[i].len && (at[k] & 0xC0) == 0x80)
            k++;
        return k == forms[i].len ? k : 0;
    }
    return 0;
}

void quarantine_write_raw(const char *bytes, size_t len, struct buf *out)
{
    bool begins = true;

    for (size_t i = 0; i < len; i++) {
        const unsigned char *at = (const unsigned char *)bytes + i;
        size_t skip = steers(at, len - i), whole = character(at, len - i);
        bool ends = *at == '\n' || *at == '\r';

        if (ends && *at == '\r' && i + 1 < len && at[1] == '\n')
            i++;
        if (begins && !ends)
            buf_puts(out, "  ");
        begins = ends;
        if (ends)
            buf_puts(out, "\n");
        else if (skip > 0 || whole == 0 || (*at < 0x20 && *at != '\t') ||
                 *at == 0x7F)
            buf_puts(out, "?");
        else
            buf_add(out, bytes + i, whole);
        i += skip > 0 ? skip - 1 : whole > 1 ? whole - 1 : 0;
    }
    if (!begins)
        buf_puts(out, "\n");
}
