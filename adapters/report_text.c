#include "adapters/report_text.h"

#include "adapters/civil.h"
#include "adapters/fhir_out.h"
#include "adapters/queue_text.h"

#include <stdio.h>
#include <string.h>

enum { LINE_MAX_BYTES = 32 * 1024, PAGE_COLUMNS = 90, PAGE_BYTES = 1 << 20 };

/* ---- weeks ---------------------------------------------------------------- */

static int64_t monday_of(int64_t day)
{
    return day - ((day % 7 + 7 + 3) % 7); /* 1970-01-01 was a Thursday */
}

/* A week belongs to the year that its Thursday is in (ISO 8601). */
void report_week_write(int64_t week, char out[REPORT_WEEK_SIZE])
{
    int year = civil_of_day(week + 3).year;
    int64_t first = monday_of(civil_to_day(year, 1, 4));

    snprintf(out, REPORT_WEEK_SIZE, "%04d-W%02d", year % 10000,
             (int)((week - first) / 7 + 1) % 100);
}

bool report_week_read(const char *text, int64_t *week)
{
    static const char form[] = "9999-W99";
    char back[REPORT_WEEK_SIZE];
    int year, number;

    for (size_t i = 0; i < sizeof(form); i++) {
        if (form[i] == '9' ? text[i] < '0' || text[i] > '9'
                           : text[i] != form[i])
            return false;
    }
    year = (text[0] - '0') * 1000 + (text[1] - '0') * 100 +
           (text[2] - '0') * 10 + (text[3] - '0');
    number = (text[6] - '0') * 10 + (text[7] - '0');
    if (year < 1970 || number < 1)
        return false;
    *week = monday_of(civil_to_day(year, 1, 4)) + (int64_t)(number - 1) * 7;
    report_week_write(*week, back); /* there may be no week 53 */
    return strcmp(back, text) == 0;
}

/* ---- words ---------------------------------------------------------------- */

const char *report_class_word(enum report_class class)
{
    static const char *const words[REPORT_CLASSES] = {
        [REPORT_TAKEN] = "taken",
        [REPORT_REFUSED] = "refused",
        [REPORT_QUARANTINED] = "quarantined",
        [REPORT_HELD] = "held",
        [REPORT_UNKNOWN] = "unknown-code",
        [REPORT_TOLERATED] = "tolerated",
    };

    return (unsigned)class < REPORT_CLASSES ? words[class] : "";
}

static const char *class_title(enum report_class class)
{
    static const char *const titles[REPORT_CLASSES] = {
        [REPORT_TAKEN] = "Readings that were used",
        [REPORT_REFUSED] = "Refused, and answered with an error",
        [REPORT_QUARANTINED] = "Could not be taken in; put into quarantine",
        [REPORT_HELD] = "Readings that are kept and not used",
        [REPORT_UNKNOWN] = "Codes that no map has; kept and not used",
        [REPORT_TOLERATED] = "Used, though not as it should be",
    };

    return titles[class];
}

enum { ANY = REPORT_CLASSES };

/* One reason, one thing that its sender can change; of a class, or a place,
 * before any. */
static const struct {
    const char *reason;
    int class;
    const char *place; /* NULL: any */
    const char *mend;
} mends[] = {
    { "unit", ANY, NULL,
      "send the unit with every value, as a code of UCUM (\"mL/min\", "
      "\"mm[Hg]\")" },
    { "unit-assumed", ANY, NULL,
      "send the unit as a code of UCUM (\"mL/min\", \"mm[Hg]\"), and that it "
      "is one" },
    { "code", ANY, NULL,
      "send codings that mean the same, or one of them only" },
    { "code-conflict", ANY, NULL,
      "send codings that mean the same, or one of them only" },
    { "code-unclear", ANY, NULL, "send a code that says what was measured" },
    { "code-unknown", REPORT_HELD, NULL,
      "send a code and its system beside the text (OBX-3.1 and OBX-3.3, "
      "code.coding): a text alone can be in no map" },
    { "code-unknown", ANY, NULL,
      "tell the people of headgate what the code means, so that they map it; "
      "or send a code of a public system" },
    { "implausible", ANY, NULL,
      "check the value where it is entered or measured, and its unit; send a "
      "correction under the same identifier" },
    { "side", ANY, NULL,
      "name the side, and the same one in code, body site and access" },
    { "access-side", ANY, NULL,
      "name the side, and the same one in code, body site and access" },
    { "access", ANY, NULL,
      "name the access with every reading, by its identifier" },
    { "access-ambiguous", ANY, NULL,
      "name the access with every reading, by its identifier" },
    { "time", ANY, NULL,
      "set the clock and time zone of the machine or system" },
    { "future-time", ANY, NULL,
      "set the clock and time zone of the machine or system" },
    { "value", ANY, NULL,
      "answer with a code that is mapped, or with yes or no; correct what was "
      "sent (status C)" },
    { "not-computed", ANY, NULL,
      "send a number as a number (NM, valueQuantity), and an answer as a "
      "code" },
    { "stage-assumed", ANY, NULL, "send the grade itself, as a code" },
    { "out-of-order", ANY, NULL,
      "send reports in their order, each with the time at which it was issued "
      "(OBR-22, issued)" },
    { "no-subject", ANY, NULL, "name the patient by number or reference" },
    { "no-time", ANY, NULL, "say when it was measured" },
    { "bad-datetime", ANY, NULL,
      "write times as the standard does, with the offset from UTC" },
    { "death-doubtful", ANY, NULL,
      "check the time of death where it is entered, and send it again" },
    { "bad-value", REPORT_TOLERATED, NULL,
      "name the character set in MSH-18, and send no other" },
    { "missing-element", ANY, NULL,
      "send the element that the standard requires" },
    { "identity", ANY, "PID-5",
      "check whether the number of the patient is mistyped: another name is "
      "known for it" },
    { "identity", ANY, "OBX-4",
      "number results of the same code and time in OBX-4, or in OBX-21" },
    { "identity", ANY, NULL,
      "use each identifier for one thing and one person only" },
    { "duplicate", ANY, "MSH-10", "give each message a number of its own" },
    { "not-found", ANY, "MSH-5",
      "send here only what is for this receiver, or name it as agreed" },
    { "not-found", ANY, NULL,
      "name the result by the same identifier and time as when it was sent "
      "first" },
    { "forbidden", ANY, "MSH-3",
      "agree on MSH-3 and MSH-4 with the people of headgate" },
    { "json-syntax", ANY, NULL, "send JSON: one whole resource" },
    { "not-supported", REPORT_HELD, NULL,
      "send the value in a data type that is taken (NM, SN, CWE, ST ...)" },
    { "not-supported", ANY, NULL, "leave out what is not taken here" },
    { "too-many", ANY, NULL, "send fewer of them at once" },
    { "too-long", ANY, NULL, "send it shorter, or in several parts" },
    { "error", ANY, NULL,
      "mend first what is named: with it these mostly go as well" },
};
static const char otherwise[] = "correct it at the place named and send it "
                                "again under the same identifier";

const char *report_mend(const struct report_row *row)
{
    if (row->class == REPORT_TAKEN)
        return "";
    for (size_t i = 0; i < COUNT(mends); i++) {
        if (strcmp(mends[i].reason, row->reason) == 0 &&
            (mends[i].class == ANY || mends[i].class == (int)row->class) &&
            (mends[i].place == NULL || strcmp(mends[i].place, row->place) == 0))
            return mends[i].mend;
    }
    return otherwise;
}

/* ---- the page ------------------------------------------------------------- */

static void say(struct buf *out, const char *before, const char *text)
{
    if (text[0] == '\0')
        return;
    buf_puts(out, before);
    queue_text_clean(out, text);
}

static void write_dates(int64_t week, struct buf *out)
{
    struct civil from = civil_of_day(week), to = civil_of_day(week + 6);

    buf_printf(out, "%04d-%02d-%02d to %04d-%02d-%02d, by UTC", from.year,
               from.month, from.day, to.year, to.month, to.day);
}

static void write_head(const struct report_row *rows, size_t count,
                       int64_t week, struct buf *out)
{
    int64_t now[REPORT_CLASSES] = { 0 }, before[REPORT_CLASSES] = { 0 };
    char name[REPORT_WEEK_SIZE];

    for (size_t i = 0; i < count; i++) {
        now[rows[i].class] += rows[i].count;
        before[rows[i].class] += rows[i].before;
    }
    report_week_write(week, name);
    buf_printf(out, "What of your data headgate could not use in week %s\n(",
               name);
    write_dates(week, out);
    buf_puts(out, ")\n");
    say(out, "Unit: ", count > 0 ? rows[0].unit : "");
    buf_puts(out, "\n\n");
    buf_printf(out, "  %-48s%10s%14s\n", "What became of it", "this week",
               "week before");
    for (int c = 0; c < REPORT_CLASSES; c++) {
        if (c != REPORT_TAKEN && now[c] == 0 && before[c] == 0)
            continue;
        buf_printf(out, "  %-48s%10lld%14lld\n",
                   class_title((enum report_class)c), (long long)now[c],
                   (long long)before[c]);
    }
}

static void write_row(const struct report_row *row, struct buf *out)
{
    buf_printf(out, "%6lld", (long long)row->count);
    buf_printf(out, " (%lld)  ", (long long)row->before);
    say(out, "", row->why);
    if (row->what[0] == '\0' && row->class == REPORT_UNKNOWN)
        buf_puts(out, ": more codes than are counted one by one here; "
                      "headgate quarantine --json lists them");
    say(out, ": ", row->what);
    say(out, "; at ", row->place);
    say(out, "; for example ", row->sample);
    buf_printf(out, "\n          To mend it: %s.\n", report_mend(row));
}

void report_write_page(const struct report_row *rows, size_t count,
                       int64_t week, struct buf *out)
{
    int class = -1;
    struct buf page, *all = out;

    buf_init(&page, PAGE_BYTES);
    out = &page;
    write_head(rows, count, week, out);
    for (size_t i = 0; i < count; i++) {
        if (rows[i].class == REPORT_TAKEN || rows[i].count == 0)
            continue;
        if ((int)rows[i].class != class) {
            class = (int)rows[i].class;
            buf_printf(out, "\n%s (in brackets: the week before)\n",
                       class_title(rows[i].class));
        }
        write_row(&rows[i], out);
    }
    if (class < 0)
        buf_puts(out, "\nNothing had to be refused, held or set aside.\n");
    buf_puts(out,
             "\nCounted from what arrived, by fixed rules: a reading whose "
             "unit, code, side, access or\ntime is unclear is kept and not "
             "used until a person has looked at it.  headgate is\ndecision "
             "support; whether a value is right is for the unit and the "
             "clinician who know\nthe patient, by local policy.  This page "
             "holds no names, numbers or values of patients.\n");
    if (buf_ok(&page) == ERR_OK)
        queue_page_wrap(page.data, page.len, PAGE_COLUMNS, all);
    else
        all->err = page.err;
    buf_clear(&page);
}

static void json_text(struct buf *out, const char *key, const char *text)
{
    if (text[0] == '\0')
        fhir_out_raw(out, key, "null", 4);
    else
        fhir_out_text(out, key, text);
}

void report_write_json(const struct report_row *row, int64_t week,
                       struct buf *out)
{
    char name[REPORT_WEEK_SIZE];
    struct buf line, *all = out;

    buf_init(&line, LINE_MAX_BYTES);
    out = &line; /* what stands before a value decides on its comma */
    report_week_write(week, name);
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "week", name);
    json_text(out, "unit", row->unit);
    fhir_out_text(out, "class", report_class_word(row->class));
    json_text(out, "reason", row->reason);
    json_text(out, "what", row->what);
    json_text(out, "place", row->place);
    json_text(out, "way", row->way);
    json_text(out, "sample", row->sample);
    fhir_out_int(out, "count", row->count);
    fhir_out_int(out, "before", row->before);
    json_text(out, "mend", report_mend(row));
    fhir_out_close(out, '}');
    buf_printf(all, "%s\n", line.data);
    buf_clear(&line);
}
