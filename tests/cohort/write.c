#include "tests/cohort/keep.h"

#include "adapters/civil.h"

#include <math.h>
#include <time.h>

/*
 * Notes as FHIR R4 JSON, in the shapes of the demo's first two units: one
 * refers literally, the other by identifier only and in L/min.  The demo's
 * own writer knows the rows of its table and no other patient.  Every text
 * here is our own and plain ASCII without quotes, so nothing is escaped.
 */

#define BASE        "https://headgate.example/fhir"
#define SYS_OBS     BASE "/CodeSystem/av-observation"
#define SYS_PATIENT "urn:oid:2.999.1.2"
#define SYS_ACCESS  "https://units.example/ids/cohort-access"

enum { NAMES = 110 };

static struct tm local(int64_t at_s, int offset_min)
{
    time_t t = (time_t)(at_s + (int64_t)offset_min * 60);
    struct tm tm;

    gmtime_r(&t, &tm);
    return tm;
}

static void put_date(int64_t at_s, int offset_min, struct buf *out)
{
    struct tm tm = local(at_s, offset_min);

    buf_printf(out, "%04d-%02d-%02d", tm.tm_year + 1900, tm.tm_mon + 1,
               tm.tm_mday);
}

static void put_time(int64_t at_s, int offset_min, struct buf *out)
{
    struct tm tm = local(at_s, offset_min);

    put_date(at_s, offset_min, out);
    buf_printf(out, "T%02d:%02d:%02d", tm.tm_hour, tm.tm_min, tm.tm_sec);
    if (offset_min == 0)
        buf_puts(out, "Z");
    else
        buf_printf(out, "+%02d:%02d", offset_min / 60, offset_min % 60);
}

void write_instant(int64_t at_s, struct buf *out)
{
    put_time(at_s, 0, out);
}

static void meta(int64_t arrives_s, struct buf *out)
{
    buf_puts(out, "\"meta\":{\"lastUpdated\":\"");
    write_instant(arrives_s, out);
    buf_puts(out, "\"},");
}

static int64_t first_s(const struct cohort *c)
{
    return (c->o.end_day - c->o.days) * DAY_S;
}

void write_person(const struct cohort *c, size_t i, struct buf *out)
{
    const struct person *p = &c->people[i];
    size_t name = i % NAMES;

    buf_printf(out, "{\"resourceType\":\"Patient\",\"id\":\"c-%05d\",",
               p->number);
    meta(first_s(c) - DAY_S, out);
    buf_printf(out,
               "\"identifier\":[{\"use\":\"usual\",\"system\":\"" SYS_PATIENT
               "\",\"value\":\"%05d\"}],"
               "\"name\":[{\"family\":\"%s\",\"given\":[\"%s\"]}],"
               "\"gender\":\"%s\",\"birthDate\":\"%d\","
               "\"managingOrganization\":{\"display\":\"%s\"}}",
               p->number, demo_family(name), demo_given(name),
               p->male ? "male" : "female", p->birth_year,
               demo_unit(p->unit)->name);
}

static const char *site_of(const struct person *p)
{
    if (p->type == SIGN_TYPE_AVG)
        return p->upper ? "upper arm, straight" : "forearm, brachial loop";
    return p->upper ? "upper arm, brachiocephalic" : "forearm, radiocephalic";
}

void write_shunt(const struct cohort *c, size_t i, struct buf *out)
{
    const struct person *p = &c->people[i];
    int64_t created_s = first_s(c) + (int64_t)(p->created * DAY_S);
    int64_t known_s = first_s(c) - DAY_S + 60;

    buf_printf(out, "{\"resourceType\":\"BodyStructure\",\"id\":\"acc-%05d\",",
               p->number);
    meta(created_s > known_s ? created_s : known_s, out);
    buf_printf(out,
               "\"identifier\":[{\"system\":\"" SYS_ACCESS
               "\",\"value\":\"A-%05d\"}],\"active\":true,"
               "\"morphology\":{\"coding\":[{\"system\":\"" BASE
               "/CodeSystem/av-access-type\",\"code\":\"%s\"}]},",
               p->number, sign_info(p->type)->code);
    buf_printf(out,
               "\"location\":{\"text\":\"%s %s\"},"
               "\"locationQualifier\":[{\"coding\":[{\"system\":"
               "\"http://snomed.info/sct\",\"code\":\"%s\"}]}],",
               p->left ? "Left" : "Right", site_of(p),
               p->left ? "419161000" : "419465000");
    buf_printf(out, "\"description\":\"%s, created %d\",",
               sign_info(p->type)->display, local(created_s, 0).tm_year + 1900);
    buf_printf(out, "\"patient\":{\"reference\":\"Patient/c-%05d\"}}",
               p->number);
}

static void code(const char *system, const char *value, struct buf *out)
{
    buf_printf(out, "{\"coding\":[{\"system\":\"%s\",\"code\":\"%s\"}]}",
               system, value);
}

static void quantity_code_json(enum quantity q, struct buf *out)
{
    buf_puts(out, "\"code\":");
    code(SYS_OBS, quantity_info(q)->code, out);
}

static int digits_of(enum quantity q, bool litres)
{
    switch ((int)q) {
    case Q_ACCESS_FLOW:
        return litres ? 3 : 0;
    case Q_SPKTV:
    case Q_DIGITAL_BRACHIAL_INDEX:
    case Q_HEIGHT:
        return 2;
    case Q_CARDIAC_OUTPUT:
        return 1;
    default:
        return 0;
    }
}

/* A unit that reports litres has a wrong unit when it says millilitres. */
static void number_json(const struct note *n, const struct item *item,
                        bool in_litres, struct buf *out)
{
    bool flow = item->quantity == Q_ACCESS_FLOW;
    bool litres = flow && (in_litres || n->wrong_unit);
    const char *unit = flow && in_litres && !n->wrong_unit
                           ? "L/min"
                           : quantity_info(item->quantity)->unit;

    buf_printf(out,
               "\"valueQuantity\":{\"value\":%.*f,\"unit\":\"%s\","
               "\"system\":\"http://unitsofmeasure.org\",\"code\":\"%s\"}",
               digits_of(item->quantity, litres),
               litres ? item->number / 1000.0 : item->number, unit, unit);
}

static void item_json(const struct note *n, const struct item *item,
                      bool in_litres, struct buf *out)
{
    switch (quantity_info(item->quantity)->kind) {
    case VALUE_NUMBER:
        number_json(n, item, in_litres, out);
        break;
    case VALUE_FLAG:
        buf_printf(out, "\"valueBoolean\":%s",
                   item->number > 0.5 ? "true" : "false");
        break;
    case VALUE_CODE:
        buf_puts(out, "\"valueCodeableConcept\":");
        code(SYS_OBS, sign_info(item->sign)->code, out);
        break;
    }
}

static void items_json(const struct note *n, bool in_litres, struct buf *out)
{
    if (!n->panel) {
        buf_puts(out, ",");
        item_json(n, &n->items[0], in_litres, out);
        return;
    }
    buf_puts(out, ",\"component\":[");
    for (int i = 0; i < n->count; i++) {
        buf_puts(out, i > 0 ? ",{" : "{");
        quantity_code_json(n->items[i].quantity, out);
        buf_puts(out, ",");
        item_json(n, &n->items[i], in_litres, out);
        buf_puts(out, "}");
    }
    buf_puts(out, "]");
}

static void whose(const struct person *p, const struct note *n, bool by_ids,
                  struct buf *out)
{
    bool of_access =
        n->panel || quantity_info(n->items[0].quantity)->scope != SCOPE_PATIENT;

    if (by_ids)
        buf_printf(out,
                   ",\"subject\":{\"type\":\"Patient\",\"identifier\":{"
                   "\"system\":\"" SYS_PATIENT "\",\"value\":\"%05d\"}}",
                   p->number);
    else
        buf_printf(out, ",\"subject\":{\"reference\":\"Patient/c-%05d\"}",
                   p->number);
    if (!of_access)
        return;
    if (by_ids)
        buf_printf(out,
                   ",\"focus\":[{\"type\":\"BodyStructure\",\"identifier\":{"
                   "\"system\":\"" SYS_ACCESS "\",\"value\":\"A-%05d\"}}]",
                   p->number);
    else
        buf_printf(out,
                   ",\"focus\":[{\"reference\":\"BodyStructure/acc-%05d\"}]",
                   p->number);
}

void write_note(const struct cohort *c, const struct note *n, struct buf *out)
{
    const struct person *p = &c->people[n->person];
    const struct demo_unit *unit = demo_unit(p->unit);
    bool by_ids = unit->style == STYLE_PANEL;

    buf_puts(out, "{\"resourceType\":\"Observation\",");
    if (!by_ids)
        buf_printf(out, "\"id\":\"c-%05d-%u\",", p->number, n->number);
    meta(n->arrives_s, out);
    buf_printf(out,
               "\"identifier\":[{\"system\":\"https://%s/ids/cohort\","
               "\"value\":\"%05d-%u\"}],\"status\":\"%s\",",
               unit->host, p->number, n->number, n->status);
    quantity_code_json(n->panel ? Q_PANEL : n->items[0].quantity, out);
    whose(p, n, by_ids, out);
    if (n->bare) {
        buf_puts(out, "}");
        return;
    }
    buf_puts(out, ",\"effectiveDateTime\":\"");
    if (n->day_only)
        put_date(n->at_s, unit->utc_offset_min, out);
    else
        put_time(n->at_s, unit->utc_offset_min, out);
    buf_puts(out, "\",\"issued\":\"");
    put_time(n->issued_s, unit->utc_offset_min, out);
    buf_printf(out, "\",\"performer\":[{\"display\":\"%s\"}]", unit->name);
    items_json(n, by_ids, out);
    if (n->method != METHOD_UNSTATED) {
        buf_puts(out, ",\"method\":");
        code(BASE "/CodeSystem/av-method", method_code(n->method), out);
    }
    buf_puts(out, "}");
}
