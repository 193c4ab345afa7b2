#include "adapters/hl7_work.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Append a number between two signs; what does not fit is cut. */
static void add_number(char out[HL7_PLACE_SIZE], const char *before, int number,
                       const char *after)
{
    size_t used = strlen(out);

    snprintf(out + used, HL7_PLACE_SIZE - used, "%s%d%s", before, number,
             after);
}

void hl7_place_write(const struct hl7_place *place, char out[HL7_PLACE_SIZE])
{
    if (place->segment[0] == '\0') {
        snprintf(out, HL7_PLACE_SIZE, "message");
        return;
    }
    snprintf(out, HL7_PLACE_SIZE, "%.3s", place->segment);
    add_number(out, "[", place->sequence, "]");
    if (place->field > 0)
        add_number(out, "-", place->field, "");
    if (place->field > 0 && place->repetition > 1)
        add_number(out, "[", place->repetition, "]");
    if (place->field > 0 && place->component > 0)
        add_number(out, ".", place->component, "");
    if (place->field > 0 && place->component > 0 && place->subcomponent > 0)
        add_number(out, ".", place->subcomponent, "");
}

void hl7_free(struct hl7_message *message)
{
    if (message == NULL)
        return;
    buf_clear(&message->raw);
    buf_clear(&message->text);
    buf_clear(&message->head);
    buf_clear(&message->mask);
    buf_clear(&message->damage);
    free(message->lists);
    free(message);
}

const struct hl7_delimiters *hl7_delimiters(const struct hl7_message *message)
{
    return &message->delimiters;
}

const struct hl7_counts *hl7_counts(const struct hl7_message *message)
{
    return &message->counts;
}

const char *hl7_head(const struct hl7_message *message, size_t *len)
{
    *len = message->head.len;
    return message->head.data;
}

const char *hl7_head_mask(const struct hl7_message *message)
{
    return message->mask.data;
}

size_t hl7_segments(const struct hl7_message *message)
{
    return message->segment_count;
}

const char *hl7_name(const struct hl7_message *message, size_t segment)
{
    return segment < message->segment_count ? message->segments[segment].name
                                            : "";
}

struct hl7_place hl7_place_of(const struct hl7_message *message, size_t segment)
{
    struct hl7_place place = { .sequence = 0 };

    if (segment < message->segment_count) {
        const struct hl7_segment *s = &message->segments[segment];

        memcpy(place.segment, s->name, sizeof(place.segment));
        place.sequence = (int)s->sequence;
    }
    return place;
}

size_t hl7_damages(const struct hl7_message *message, size_t segment)
{
    const struct hl7_segment *s = message->segments;

    if (segment >= message->segment_count)
        return 0;
    return s[segment + 1].damage - s[segment].damage;
}

struct hl7_place hl7_damage(const struct hl7_message *message, size_t segment,
                            size_t i)
{
    struct hl7_place place = hl7_place_of(message, segment);
    struct hl7_spot spot;

    if (i >= hl7_damages(message, segment))
        return place;
    i += message->segments[segment].damage;
    memcpy(&spot, message->damage.data + i * sizeof(spot), sizeof(spot));
    place.field = spot.field;
    place.repetition = spot.repetition;
    place.component = spot.component;
    return place;
}

size_t hl7_find(const struct hl7_message *message, const char *name,
                size_t from)
{
    while (from < message->segment_count &&
           strcmp(message->segments[from].name, name) != 0)
        from++;
    return from < message->segment_count ? from : message->segment_count;
}

/* ---- down the lists ------------------------------------------------------- */

size_t hl7_fields(const struct hl7_message *message, size_t segment)
{
    const struct hl7_segment *s = message->segments;

    if (segment >= message->segment_count)
        return 0;
    return s[segment + 1].field - s[segment].field;
}

/* The place of part `number` of those from first to before next. */
static bool part(uint32_t first, uint32_t next, int number, size_t *at)
{
    if (number < 1 || (size_t)number > (size_t)(next - first))
        return false;
    *at = (size_t)first + (size_t)number - 1;
    return true;
}

static bool find_field(const struct hl7_message *m, size_t segment, int field,
                       size_t *at)
{
    const struct hl7_segment *s = m->segments + segment;

    return segment < m->segment_count &&
           part(s[0].field, s[1].field, field, at);
}

static bool find_repetition(const struct hl7_message *m, size_t segment,
                            int field, int repetition, size_t *at)
{
    size_t f;

    return find_field(m, segment, field, &f) &&
           part(m->fields[f], m->fields[f + 1], repetition, at);
}

static bool find_component(const struct hl7_message *m, size_t segment,
                           int field, int repetition, int component, size_t *at)
{
    size_t r;

    return find_repetition(m, segment, field, repetition, &r) &&
           part(m->repetitions[r].component, m->repetitions[r + 1].component,
                component, at);
}

static const char *raw_of(const struct hl7_message *m, size_t repetition)
{
    return m->raw.data + m->repetitions[repetition].raw;
}

size_t hl7_repetitions(const struct hl7_message *message, size_t segment,
                       int field)
{
    size_t f, count;

    if (!find_field(message, segment, field, &f))
        return 0;
    count = message->fields[f + 1] - message->fields[f];
    return count == 1 && raw_of(message, message->fields[f])[0] == '\0' ? 0
                                                                        : count;
}

size_t hl7_components(const struct hl7_message *message, size_t segment,
                      int field, int repetition)
{
    size_t r;

    if (!find_repetition(message, segment, field, repetition, &r) ||
        raw_of(message, r)[0] == '\0')
        return 0;
    return message->repetitions[r + 1].component -
           message->repetitions[r].component;
}

size_t hl7_subcomponents(const struct hl7_message *message, size_t segment,
                         int field, int repetition, int component)
{
    size_t c, count;

    if (!find_component(message, segment, field, repetition, component, &c))
        return 0;
    count = message->components[c + 1] - message->components[c];
    /* Value 0 of the text is "", which all that is empty shares. */
    return count == 1 && message->values[message->components[c]] == 0 ? 0
                                                                      : count;
}

const char *hl7_text(const struct hl7_message *message, size_t segment,
                     int field, int repetition, int component, int subcomponent)
{
    size_t c, v;

    if (!find_component(message, segment, field, repetition, component, &c) ||
        !part(message->components[c], message->components[c + 1], subcomponent,
              &v))
        return "";
    return message->text.data + message->values[v];
}

const char *hl7_raw(const struct hl7_message *message, size_t segment,
                    int field, int repetition)
{
    size_t r;

    return find_repetition(message, segment, field, repetition, &r)
               ? raw_of(message, r)
               : "";
}

bool hl7_is_null(const struct hl7_message *message, size_t segment, int field)
{
    return hl7_repetitions(message, segment, field) == 1 &&
           strcmp(hl7_raw(message, segment, field, 1), "\"\"") == 0;
}

const char *hl7_field(const struct hl7_message *message, size_t segment,
                      int field)
{
    return hl7_text(message, segment, field, 1, 1, 1);
}
