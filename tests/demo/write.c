#include "adapters/civil.h"
#include "tests/demo/document.h"

#include <math.h>
#include <stdio.h>
#include <time.h>

/*
 * Documents as FHIR R4 JSON.  Every text here is our own and plain ASCII
 * without quotes, so nothing needs to be escaped.
 */

#define BASE        "https://headgate.example/fhir"
#define SYS_OBS     BASE "/CodeSystem/av-observation"
#define SYS_UCUM    "http://unitsofmeasure.org"
#define SYS_PATIENT "urn:oid:2.999.1.1"
#define SYS_ACCESS  "https://units.example/ids/access"
#define SITE_CODES  "https://corvane-heath.example/codes"

enum { TIME_SIZE = 40, NAME_SIZE = 24 };

static const struct demo_patient *patient(size_t row)
{
    size_t count;

    return &demo_patients(&count)[row];
}

/* Local time with its offset, or the local date only. */
static void time_text(int64_t at_s, int offset_min, bool whole_day,
                      char out[TIME_SIZE])
{
    time_t local = (time_t)(at_s + (int64_t)offset_min * 60);
    struct tm tm;
    size_t len;

    gmtime_r(&local, &tm);
    len = strftime(out, TIME_SIZE, whole_day ? "%Y-%m-%d" : "%Y-%m-%dT%H:%M:%S",
                   &tm);
    if (whole_day)
        return;
    if (offset_min == 0)
        snprintf(out + len, TIME_SIZE - len, "Z");
    else
        snprintf(out + len, TIME_SIZE - len, "+%02d:%02d", offset_min / 60,
                 offset_min % 60);
}

static void access_name(size_t row, int access, char out[NAME_SIZE])
{
    snprintf(out, NAME_SIZE, "%04d%s", patient(row)->number,
             access == DEMO_ACCESS_SECOND ? "-2" : "");
}

static const char *side_word(size_t row, int access)
{
    bool left = patient(row)->side == SIDE_LEFT;

    /* The second access is on the other arm. */
    return left == (access == DEMO_ACCESS_FIRST) ? "Left" : "Right";
}

static const char *site_of(size_t row, int access)
{
    return access == DEMO_ACCESS_SECOND ? DEMO_SECOND_SITE : patient(row)->site;
}

void write_patient(size_t row, struct buf *out)
{
    const struct demo_patient *p = patient(row);

    buf_printf(out,
               "{\"resourceType\":\"Patient\",\"id\":\"p-%04d\","
               "\"identifier\":[{\"use\":\"usual\",\"system\":\"" SYS_PATIENT
               "\",\"value\":\"%04d\"}],",
               p->number, p->number);
    buf_printf(out,
               "\"name\":[{\"family\":\"%s\",\"given\":[\"%s\"]}],"
               "\"gender\":\"%s\",\"birthDate\":\"%d\","
               "\"managingOrganization\":{\"display\":\"%s\"}}",
               demo_family(row), demo_given(row), p->gender, p->birth_year,
               demo_unit(p->unit)->name);
}

void write_access(size_t row, int access, int64_t end_day, struct buf *out)
{
    const struct demo_patient *p = patient(row);
    bool left = side_word(row, access)[0] == 'L';
    char name[NAME_SIZE], day[TIME_SIZE];

    access_name(row, access, name);
    time_text(document_created_day(row, end_day) * DAY_S, 0, true, day);
    buf_printf(out,
               "{\"resourceType\":\"BodyStructure\",\"id\":\"acc-%s\","
               "\"identifier\":[{\"system\":\"" SYS_ACCESS
               "\",\"value\":\"A-%s\"}],\"active\":true,",
               name, name);
    buf_printf(out,
               "\"morphology\":{\"coding\":[{\"system\":\"" BASE
               "/CodeSystem/av-access-type\",\"code\":\"%s\","
               "\"display\":\"%s\"}]},",
               sign_info(p->type)->code, sign_info(p->type)->display);
    buf_printf(out,
               "\"location\":{\"text\":\"%s %s\"},"
               "\"locationQualifier\":[{\"coding\":[{\"system\":"
               "\"http://snomed.info/sct\",\"code\":\"%s\","
               "\"display\":\"Unilateral %s\"}]}],",
               side_word(row, access), site_of(row, access),
               left ? "419161000" : "419465000", left ? "left" : "right");
    buf_printf(out,
               "\"description\":\"%s, created %.4s\","
               "\"patient\":{\"reference\":\"Patient/p-%04d\","
               "\"type\":\"Patient\",\"display\":\"%s, %s\"}}",
               sign_info(p->type)->display, day, p->number, demo_family(row),
               demo_given(row));
}

/* The codes that the third unit has always used; config/demo/site-c.json
 * maps them. */
static const char *site_code(enum quantity q)
{
    static const struct {
        enum quantity quantity;
        const char *code;
    } codes[] = {
        { Q_ACCESS_FLOW, "QSH" },
        { Q_PUMP_FLOW, "QBP" },
        { Q_RECIRCULATION, "REC" },
        { Q_ARTERIAL_LINE_PRESSURE, "PAL" },
        { Q_VENOUS_LINE_PRESSURE, "PVL" },
        { Q_SYSTOLIC_PRESSURE, "RRS" },
        { Q_DIASTOLIC_PRESSURE, "RRD" },
        { Q_SPKTV, "KTD" },
        { Q_DIGITAL_PRESSURE, "FPR" },
        { Q_DIGITAL_BRACHIAL_INDEX, "DBX" },
        { Q_HAND_SYMPTOM, "HND" },
        { Q_HAND_ISCHAEMIA_GRADE, "HGR" },
        { Q_NONE, "Z-771" }, /* nobody has mapped this one */
    };

    for (size_t i = 0; i < COUNT(codes); i++)
        if (codes[i].quantity == q)
            return codes[i].code;
    return NULL;
}

/* A code of an open standard that means the quantity, or NULL. */
static const char *loinc_code(enum quantity q)
{
    switch ((int)q) {
    case Q_SYSTOLIC_PRESSURE:
        return "8480-6";
    case Q_DIASTOLIC_PRESSURE:
        return "8462-4";
    case Q_CARDIAC_OUTPUT:
        return "8741-1";
    default:
        return NULL;
    }
}

static void coding(struct buf *out, const char *system, const char *code,
                   const char *display)
{
    buf_printf(out, "{\"system\":\"%s\",\"code\":\"%s\"", system, code);
    if (display != NULL)
        buf_printf(out, ",\"display\":\"%s\"", display);
    buf_puts(out, "}");
}

static void quantity_code(struct buf *out, enum demo_style style,
                          enum quantity q)
{
    const struct quantity_info *info = quantity_info(q);
    const char *site = style == STYLE_SITE ? site_code(q) : NULL;
    const char *loinc = loinc_code(q);

    buf_puts(out, "\"code\":{\"coding\":[");
    if (site != NULL)
        coding(out, SITE_CODES, site, NULL);
    else if (loinc != NULL)
        coding(out, "http://loinc.org", loinc, info->display);
    else
        coding(out, SYS_OBS, info->code, info->display);
    buf_puts(out, "]}");
}

static int digits_of(enum quantity q, bool litres)
{
    switch ((int)q) {
    case Q_ACCESS_FLOW:
        return litres ? 2 : 0;
    case Q_SPKTV:
    case Q_DIGITAL_BRACHIAL_INDEX:
    case Q_DIGITAL_BRACHIAL_INDEX_COMPRESSED:
        return 2;
    case Q_CARDIAC_OUTPUT:
    case Q_UREA_PRE:
    case Q_UREA_POST:
    case Q_DOWEL_DIAMETER:
    case Q_FEEDING_ARTERY_DIAMETER:
    case Q_CONDUIT_DIAMETER:
        return 1;
    default:
        return 0;
    }
}

static void quantity_value(struct buf *out, enum demo_style style,
                           const struct value *v)
{
    bool panel = style == STYLE_PANEL && v->quantity == Q_ACCESS_FLOW;
    bool litres = panel || v->wrong_unit;
    const char *unit =
        panel && !v->wrong_unit ? "L/min" : quantity_info(v->quantity)->unit;
    bool mmhg = unit[0] == 'm' && unit[1] == 'm' && unit[2] == '[';

    buf_printf(out, "\"valueQuantity\":{\"value\":%.*f",
               v->wrong_unit ? 1 : digits_of(v->quantity, litres),
               litres ? v->number / 1000.0 : v->number);
    if (v->bound == BOUND_ABOVE)
        buf_puts(out, ",\"comparator\":\">\"");
    if (unit[0] == '\0')
        unit = "1"; /* the unmapped code counts something */
    buf_printf(out,
               ",\"unit\":\"%s\",\"system\":\"" SYS_UCUM "\",\"code\":\"%s\"}",
               mmhg ? "mmHg" : unit, unit);
}

static void value_json(struct buf *out, enum demo_style style,
                       const struct value *v)
{
    switch (quantity_info(v->quantity)->kind) {
    case VALUE_NUMBER:
        quantity_value(out, style, v);
        break;
    case VALUE_FLAG:
        buf_printf(out, "\"valueBoolean\":%s",
                   v->number > 0.5 ? "true" : "false");
        break;
    case VALUE_CODE:
        buf_puts(out, "\"valueCodeableConcept\":{\"coding\":[");
        coding(out, SYS_OBS, sign_info(v->sign)->code,
               sign_info(v->sign)->display);
        buf_puts(out, "]}");
        break;
    }
}

static void values_json(struct buf *out, enum demo_style style,
                        const struct document *d)
{
    if (!d->panel && d->count == 1) {
        buf_puts(out, ",");
        value_json(out, style, &d->values[0]);
        return;
    }
    buf_puts(out, ",\"component\":[");
    for (size_t i = 0; i < d->count; i++) {
        buf_puts(out, i > 0 ? ",{" : "{");
        quantity_code(out, style, d->values[i].quantity);
        buf_puts(out, ",");
        value_json(out, style, &d->values[i]);
        buf_puts(out, "}");
    }
    buf_puts(out, "]");
}

static void root_code(struct buf *out, enum demo_style style,
                      const struct document *d)
{
    if (d->panel) {
        quantity_code(out, style, Q_PANEL);
    } else if (d->count > 1) {
        buf_puts(out, "\"code\":{\"coding\":[");
        coding(out, "http://loinc.org", "85354-9",
               "Blood pressure panel with all children optional");
        buf_puts(out, "]}");
    } else {
        quantity_code(out, style, d->values[0].quantity);
    }
}

/* The patient, and the access as far as the unit names it. */
static void whose(struct buf *out, enum demo_style style,
                  const struct document *d)
{
    const struct demo_patient *p = patient(d->row);
    bool of_access = d->panel || quantity_info(d->values[0].quantity)->scope !=
                                     SCOPE_PATIENT;
    char name[NAME_SIZE];

    if (style == STYLE_PANEL)
        buf_printf(out,
                   ",\"subject\":{\"type\":\"Patient\",\"identifier\":{"
                   "\"system\":\"" SYS_PATIENT "\",\"value\":\"%04d\"}}",
                   p->number);
    else
        buf_printf(out,
                   ",\"subject\":{\"reference\":\"Patient/p-%04d\","
                   "\"type\":\"Patient\"}",
                   p->number);
    if (!of_access || d->access == DEMO_ACCESS_UNNAMED)
        return;
    access_name(d->row, d->access, name);
    switch (style) {
    case STYLE_FOCUS:
        buf_printf(out,
                   ",\"focus\":[{\"reference\":\"BodyStructure/acc-%s\","
                   "\"type\":\"BodyStructure\"}]",
                   name);
        break;
    case STYLE_PANEL:
        buf_printf(out,
                   ",\"focus\":[{\"type\":\"BodyStructure\",\"identifier\":{"
                   "\"system\":\"" SYS_ACCESS "\",\"value\":\"A-%s\"}}]",
                   name);
        break;
    case STYLE_SITE:
        buf_printf(out, ",\"bodySite\":{\"text\":\"%s %.*s\"}",
                   side_word(d->row, d->access), p->site[0] == 'u' ? 9 : 7,
                   p->site);
        break;
    }
}

static void method_json(struct buf *out, enum demo_style style, enum method m)
{
    /* The words of the third unit; config/demo/site-c.json maps them. */
    static const char *const words[METHOD_COUNT] = {
        [METHOD_ULTRASOUND_DILUTION] = "saline bolus",
        [METHOD_THERMODILUTION] = "thermo bolus",
        [METHOD_IONIC_DIALYSANCE] = "conductivity step",
        [METHOD_CONSTANT_INFUSION] = "constant infusion",
        [METHOD_DUPLEX] = "duplex scan",
    };

    if (m == METHOD_UNSTATED)
        return;
    if (style == STYLE_SITE) {
        buf_printf(out, ",\"method\":{\"text\":\"%s\"}", words[m]);
        return;
    }
    buf_puts(out, ",\"method\":{\"coding\":[");
    coding(out, BASE "/CodeSystem/av-method", method_code(m), NULL);
    buf_printf(out, "],\"text\":\"%s\"}", method_display(m));
}

/* A withdrawn reading says whose and which it was, and no more. */
void write_document(const struct document *d, struct buf *out)
{
    const struct demo_patient *p = patient(d->row);
    const struct demo_unit *unit = demo_unit(p->unit);
    char at[TIME_SIZE], issued[TIME_SIZE];

    time_text(d->at_s, unit->utc_offset_min, d->whole_day, at);
    time_text(d->arrives_s, unit->utc_offset_min, false, issued);
    buf_puts(out, "{\"resourceType\":\"Observation\",");
    if (unit->style == STYLE_FOCUS)
        buf_printf(out, "\"id\":\"o-%04d-%u\",", p->number, d->number);
    buf_printf(out,
               "\"identifier\":[{\"system\":\"https://%s/ids/obs\","
               "\"value\":\"%04d-%u\"}],\"status\":\"%s\",",
               unit->host, p->number, d->number, d->status);
    root_code(out, unit->style, d);
    whose(out, unit->style, d);
    if (d->status[0] == 'e') {
        buf_puts(out, "}");
        return;
    }
    buf_printf(out,
               ",\"effectiveDateTime\":\"%s\",\"issued\":\"%s\","
               "\"performer\":[{\"display\":\"%s\"}]",
               at, issued, unit->name);
    values_json(out, unit->style, d);
    method_json(out, unit->style, d->method);
    buf_puts(out, "}");
}
