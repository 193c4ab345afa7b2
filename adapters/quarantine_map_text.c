/* What people have mapped, and taken back; and what no map has. */
#include "adapters/fhir_out.h"
#include "adapters/fhir_time.h"
#include "adapters/quarantine_text.h"
#include "adapters/queue_text.h"

#include <string.h>

enum { OBJECT_MAX = 32 * 1024 };

/* What comes from a record must not steer the terminal. */
static void say(struct buf *out, const char *before, const char *text)
{
    if (text[0] == '\0')
        return;
    buf_puts(out, before);
    queue_text_clean(out, text);
}

static void write_source(const struct codes_line *line, struct buf *out)
{
    const char *of = line->system + strlen(CODES_UNIT);

    if (!codes_is_unit(line->system)) {
        say(out, "", line->system);
        say(out, "|", line->code);
        return;
    }
    say(out, "the unit '", line->code);
    buf_puts(out, "'");
    if (*of == ':')
        say(out, " of ", of + 1);
    else
        buf_puts(out, " of every code");
}

void quarantine_write_mapped(const struct codes_line *line, struct buf *out)
{
    char from[FHIR_TIME_SIZE];

    write_source(line, out);
    say(out, " is ", line->target);
    say(out, " in ", line->unit);
    say(out, ", arm ", line->arm);
    if (line->from_s == INT64_MIN || line->from_s <= 1)
        return;
    fhir_time_write(line->from_s, from);
    say(out, ", from ", from);
}

void quarantine_write_mapping(const struct quarantine_mapping *m,
                              const struct zone *zone, struct buf *out)
{
    char date[FHIR_TIME_SIZE];

    fhir_date_write(m->at_ms / 1000, zone, date);
    buf_printf(out, "%lld  %s  ", (long long)m->line.id, date);
    quarantine_write_mapped(&m->line, out);
    say(out, "\n    by ", m->who);
    say(out, ": ", m->why);
    if (m->gone_ms == 0) {
        buf_printf(out,
                   "\n    To take it back: headgate quarantine unmap %lld\n",
                   (long long)m->line.id);
    } else {
        fhir_date_write(m->gone_ms / 1000, zone, date);
        buf_printf(out, "\n    TAKEN BACK %s", date);
        say(out, " by ", m->gone_who);
        say(out, ": ", m->gone_why);
        buf_printf(out, "; %lld used less than before\n", (long long)m->lost);
    }
    if (m->at_work)
        buf_puts(out,
                 "    (what came before is still being looked at again)\n");
}

static void json_text(struct buf *out, const char *key, const char *text)
{
    if (text[0] == '\0')
        fhir_out_raw(out, key, "null", 4);
    else
        fhir_out_text(out, key, text);
}

static void json_time(struct buf *out, const char *key, int64_t at_s)
{
    char time[FHIR_TIME_SIZE];

    fhir_time_write(at_s, time);
    fhir_out_text(out, key, time);
}

void quarantine_write_mapping_json(const struct quarantine_mapping *m,
                                   struct buf *out)
{
    bool dated = m->line.from_s != INT64_MIN && m->line.from_s > 1;
    struct buf object; /* what stands before a value decides on its comma */

    buf_init(&object, OBJECT_MAX);
    fhir_out_open(&object, NULL, '{');
    fhir_out_int(&object, "number", m->line.id);
    json_time(&object, "at", m->at_ms / 1000);
    json_text(&object, "by", m->who);
    json_text(&object, "why", m->why);
    json_text(&object, "system", m->line.system);
    json_text(&object, "code", m->line.code);
    json_text(&object, "target", m->line.target);
    json_text(&object, "unit", m->line.unit);
    json_text(&object, "arm", m->line.arm);
    if (dated)
        json_time(&object, "from", m->line.from_s);
    else
        fhir_out_raw(&object, "from", "null", 4);
    fhir_out_raw(&object, "at_work", m->at_work ? "true" : "false",
                 m->at_work ? 4 : 5);
    if (m->gone_ms == 0) {
        fhir_out_raw(&object, "taken_back", "null", 4);
    } else {
        fhir_out_open(&object, "taken_back", '{');
        json_time(&object, "at", m->gone_ms / 1000);
        json_text(&object, "by", m->gone_who);
        json_text(&object, "why", m->gone_why);
        fhir_out_int(&object, "lost", m->lost);
        fhir_out_close(&object, '}');
    }
    fhir_out_close(&object, '}');
    buf_printf(out, "%s\n", object.data);
    buf_clear(&object);
}

/* ---- what no map has ------------------------------------------------------ */

void quarantine_write_unmapped(const struct quarantine_unmapped *u,
                               struct buf *out)
{
    buf_printf(out, "%6lld times ", (long long)u->count);
    queue_text_clean(out, u->system);
    buf_puts(out, "|");
    queue_text_clean(out, u->code);
    buf_printf(out, ", such as %lld%s\n", (long long)u->number,
               u->sign ? ": A SIGN THAT NOBODY CAN READ" : "");
}

void quarantine_write_unmapped_json(const struct quarantine_unmapped *u,
                                    struct buf *out)
{
    struct buf object; /* what stands before a value decides on its comma */

    buf_init(&object, OBJECT_MAX);
    fhir_out_open(&object, NULL, '{');
    fhir_out_text(&object, "kind", "unmapped");
    json_text(&object, "system", u->system);
    json_text(&object, "code", u->code);
    fhir_out_int(&object, "count", u->count);
    fhir_out_int(&object, "number", u->number);
    fhir_out_raw(&object, "sign", u->sign ? "true" : "false", u->sign ? 4 : 5);
    fhir_out_close(&object, '}');
    buf_printf(out, "%s\n", object.data);
    buf_clear(&object);
}

void quarantine_write_more_json(int64_t count, struct buf *out)
{
    buf_printf(out, "{\"kind\":\"more-unmapped\",\"count\":%lld}\n",
               (long long)count);
}
