/*
 * A message of HL7 v2 in UTF-8 split into the lists of hl7_work.h.  Each has
 * room for as many as the delimiters allow, so that all five are one block that
 * is asked for once.
 */
#include "adapters/hl7_work.h"

#include <stdlib.h>
#include <string.h>

_Static_assert(HL7_SEGMENTS_MAX <= UINT16_MAX, "a wider type for seen");

/* ---- lines and names ------------------------------------------------------ */

size_t hl7_line_end(const char *bytes, size_t len, size_t from)
{
    while (from < len && bytes[from] != '\r' && bytes[from] != '\n')
        from++;
    return from;
}

size_t hl7_line_pass(const char *bytes, size_t len, size_t end)
{
    if (end < len && bytes[end] == '\r' && end + 1 < len &&
        bytes[end + 1] == '\n')
        return end + 2;
    return end < len ? end + 1 : end;
}

bool hl7_is_blank(const char *line, size_t len)
{
    for (size_t i = 0; i < len; i++) {
        if (line[i] != ' ' && line[i] != '\t')
            return false;
    }
    return true;
}

int hl7_name_digit(char c)
{
    if (c >= 'A' && c <= 'Z')
        return c - 'A';
    return c >= '0' && c <= '9' ? c - '0' + 26 : -1;
}

int hl7_name_number(const char *line, size_t len, char field)
{
    int a, b, c;

    if (len < 3 || (len > 3 && line[3] != field))
        return -1;
    a = hl7_name_digit(line[0]);
    b = hl7_name_digit(line[1]);
    c = hl7_name_digit(line[2]);
    return a < 0 || a >= 26 || b < 0 || c < 0 ? -1 : (a * 36 + b) * 36 + c;
}

/* ---- room for the lists --------------------------------------------------- */

struct sizes {
    size_t segments, fields, repetitions, components, values;
};

static struct sizes count_most(const struct hl7_message *m, size_t len)
{
    size_t of[256] = { 0 }, lines;
    const struct hl7_delimiters *d = &m->delimiters;
    struct sizes n;

    for (size_t i = 0; i < len; i++)
        of[(unsigned char)m->raw.data[i]]++;
    lines = of['\r'] + of['\n'] + 1;
    n.segments = lines < HL7_SEGMENTS_MAX ? lines : HL7_SEGMENTS_MAX;
    n.fields = of[(unsigned char)d->field] + 1;
    n.repetitions = n.fields + of[(unsigned char)d->repetition];
    n.components = n.repetitions + of[(unsigned char)d->component];
    n.values = n.components + of[(unsigned char)d->subcomponent];
    return n;
}

static enum err make_room(struct hl7_message *m, size_t len)
{
    struct sizes n = count_most(m, len);
    size_t segments = (n.segments + 1) * sizeof(*m->segments);
    size_t repetitions = (n.repetitions + 1) * sizeof(*m->repetitions);
    size_t rest = (n.fields + n.components + n.values + 3) * sizeof(uint32_t);
    char *block = malloc(segments + repetitions + rest);

    if (block == NULL)
        return ERR_MEMORY;
    m->lists = block;
    m->segments = m->lists;
    m->repetitions = (void *)(block + segments);
    m->fields = (void *)(block + segments + repetitions);
    m->components = m->fields + n.fields + 1;
    m->values = m->components + n.components + 1;
    return ERR_OK;
}

/* The one beyond the last of each list. */
static void end_lists(struct hl7_message *m)
{
    m->segments[m->segment_count].field = (uint32_t)m->field_count;
    m->segments[m->segment_count].damage =
        (uint32_t)(m->damage.len / sizeof(struct hl7_spot));
    m->fields[m->field_count] = (uint32_t)m->repetition_count;
    m->repetitions[m->repetition_count].component =
        (uint32_t)m->component_count;
    m->components[m->component_count] = (uint32_t)m->value_count;
}

/* ---- damage --------------------------------------------------------------- */

static void add_spot(struct hl7_reader *r, struct hl7_spot spot)
{
    r->m->counts.damage++;
    buf_add(&r->m->damage, &spot, sizeof(spot));
}

/* The next that stands before this place of the raw text; false: none does. */
static bool take_bad(struct hl7_reader *r, size_t before, struct hl7_bad *bad)
{
    if (r->next_bad == r->bad.len / sizeof(*bad))
        return false;
    memcpy(bad, r->bad.data + r->next_bad * sizeof(*bad), sizeof(*bad));
    if (bad->at >= before)
        return false;
    r->next_bad++;
    return true;
}

/* The component that has just been read ends here. */
static void add_damage(struct hl7_reader *r, const char *stop)
{
    size_t before = (size_t)(stop - r->m->raw.data);
    struct hl7_bad bad;

    if (!take_bad(r, before, &bad))
        return;
    add_spot(
        r, (struct hl7_spot){ r->at.field, r->at.repetition, r->at.component });
    while (take_bad(r, before, &bad))
        continue;
}

/* What stands before this segment is of a line that is none. */
static void pass_bad(struct hl7_reader *r, const char *line)
{
    struct hl7_bad bad;

    while (take_bad(r, (size_t)(line - r->m->raw.data), &bad))
        continue;
}

/* Not a message in which something went wrong, but some other thing. */
static enum err too_damaged(struct hl7_reader *r)
{
    r->at = (struct hl7_place){ .sequence = 0 };
    return hl7_fail(r, ERR_LIMIT,
                    "more than %d places with bytes that are not of the "
                    "character set %s",
                    HL7_DAMAGE_MAX, r->charset.name);
}

/* The segment ends here, and perhaps not where its sender thought. */
static void add_torn(struct hl7_reader *r, const char *end)
{
    struct hl7_bad bad;

    while (take_bad(r, (size_t)(end - r->m->raw.data) + 1, &bad)) {
        if (bad.torn)
            add_spot(r, (struct hl7_spot){ .field = 0 });
    }
}

/* ---- splitting ------------------------------------------------------------ */

static enum err add_value(struct hl7_reader *r, const char *from,
                          const char *end)
{
    struct hl7_message *m = r->m;
    enum err e;

    m->values[m->value_count++] = from == end ? 0 : (uint32_t)m->text.len;
    if (from == end)
        return ERR_OK;
    e = hl7_unescape(m, &r->charset, from, end);
    buf_add(&m->text, "", 1);
    return e != ERR_OK ? e : buf_ok(&m->text);
}

static enum err add_component(struct hl7_reader *r, const char *from,
                              const char *end)
{
    struct hl7_message *m = r->m;
    enum err e = ERR_OK;

    m->components[m->component_count++] = (uint32_t)m->value_count;
    for (r->at.subcomponent = 1; e == ERR_OK; r->at.subcomponent++) {
        const char *stop = hl7_part_end(from, end, m->delimiters.subcomponent);

        e = add_value(r, from, stop);
        if (e != ERR_OK || stop == end)
            break;
        from = stop + 1;
    }
    return e;
}

static enum err add_repetition(struct hl7_reader *r, char *from, char *end)
{
    struct hl7_message *m = r->m;
    const char *at = from;
    enum err e = ERR_OK;

    m->repetitions[m->repetition_count++] =
        (struct hl7_repetition){ (uint32_t)m->component_count,
                                 (uint32_t)(from - m->raw.data) };
    for (r->at.component = 1; e == ERR_OK; r->at.component++) {
        const char *stop = hl7_part_end(at, end, m->delimiters.component);

        e = add_component(r, at, stop);
        add_damage(r, stop);
        if (e != ERR_OK || stop == end)
            break;
        at = stop + 1;
    }
    *end = '\0';
    return e;
}

static enum err add_field(struct hl7_reader *r, char *from, char *end)
{
    struct hl7_message *m = r->m;
    enum err e = ERR_OK;

    m->fields[m->field_count++] = (uint32_t)m->repetition_count;
    for (r->at.repetition = 1; e == ERR_OK; r->at.repetition++) {
        char *stop =
            from + (hl7_part_end(from, end, m->delimiters.repetition) - from);
        bool last = stop == end;

        e = add_repetition(r, from, stop);
        if (e != ERR_OK || last)
            break;
        from = stop + 1;
    }
    return e;
}

/* MSH-1 and MSH-2 are not split, and their signs mean themselves.  raw: where
 * the field stands, with a NUL behind it. */
static void add_sign(struct hl7_message *m, size_t raw)
{
    m->fields[m->field_count++] = (uint32_t)m->repetition_count;
    m->repetitions[m->repetition_count++] =
        (struct hl7_repetition){ (uint32_t)m->component_count, (uint32_t)raw };
    m->components[m->component_count++] = (uint32_t)m->value_count;
    m->values[m->value_count++] = (uint32_t)m->text.len;
    buf_puts(&m->text, m->raw.data + raw);
    buf_add(&m->text, "", 1);
}

/* Returns where MSH-3 begins; NULL: the segment ends with MSH-2. */
static char *add_signs(struct hl7_message *m, char *line, char *end)
{
    char *stop =
        line + (hl7_part_end(line + 4, end, m->delimiters.field) - line);
    bool last = stop == end;

    *stop = '\0';
    add_sign(m, m->raw.len - 1);
    add_sign(m, (size_t)(line + 4 - m->raw.data));
    return last ? NULL : stop + 1;
}

static enum err add_fields(struct hl7_reader *r, char *from, char *end)
{
    enum err e = ERR_OK;

    for (; e == ERR_OK; r->at.field++) {
        char *stop =
            from + (hl7_part_end(from, end, r->m->delimiters.field) - from);
        bool last = stop == end;

        e = add_field(r, from, stop);
        if (e != ERR_OK || last)
            break;
        from = stop + 1;
    }
    return e;
}

static enum err add_segment(struct hl7_reader *r, char *line, char *end)
{
    struct hl7_message *m = r->m;
    struct hl7_segment *s = &m->segments[m->segment_count];
    int number =
        hl7_name_number(line, (size_t)(end - line), m->delimiters.field);
    char *from = end - line > 3 ? line + 4 : NULL;

    if (number < 0)
        return hl7_fail(r, ERR_FORM,
                        "what follows here does not begin with the name of a "
                        "segment");
    if (m->segment_count == HL7_SEGMENTS_MAX)
        return hl7_fail(r, ERR_LIMIT, "more than %d segments",
                        HL7_SEGMENTS_MAX);
    memcpy(s->name, line, 3);
    s->name[3] = '\0';
    s->sequence = ++r->seen[number];
    s->field = (uint32_t)m->field_count;
    pass_bad(r, line);
    s->damage = (uint32_t)(m->damage.len / sizeof(struct hl7_spot));
    r->at = (struct hl7_place){ .sequence = (int)s->sequence };
    memcpy(r->at.segment, s->name, sizeof(r->at.segment));
    if (m->segment_count > 0 && memcmp(s->name, "MSH", 3) == 0)
        return hl7_fail(r, ERR_FORM, "a second message begins here");
    r->at.field = m->segment_count == 0 ? 3 : 1;
    if (m->segment_count++ == 0)
        from = add_signs(m, line, end);
    return from != NULL ? add_fields(r, from, end) : ERR_OK;
}

static enum err add_segments(struct hl7_reader *r)
{
    struct hl7_message *m = r->m;
    char *bytes = m->raw.data;
    enum err e = ERR_OK;

    for (size_t at = 0, next; at < r->len && e == ERR_OK; at = next) {
        size_t end = hl7_line_end(bytes, r->len, at);

        next = hl7_line_pass(bytes, r->len, end);
        if (hl7_is_blank(bytes + at, end - at)) {
            m->counts.blank_segments++;
            continue;
        }
        if (next > end && bytes[next - 1] == '\n')
            m->counts.line_feeds++;
        /* What fails next stands behind this segment, or within it. */
        e = add_segment(r, bytes + at, bytes + end);
        add_torn(r, bytes + end);
        r->at.field = r->at.repetition = 0;
        r->at.component = r->at.subcomponent = 0;
    }
    return e;
}

enum err hl7_split(struct hl7_reader *r)
{
    struct hl7_message *m = r->m;
    enum err e;

    /* Behind the message its end, and MSH-1 as a text of its own. */
    buf_add(&m->raw, "", 1);
    buf_add(&m->raw, &m->delimiters.field, 1);
    buf_add(&m->text, "", 1);
    e = buf_ok(&m->raw) != ERR_OK ? buf_ok(&m->raw) : buf_ok(&m->text);
    if (e == ERR_OK)
        e = make_room(m, r->len);
    if (e != ERR_OK)
        return e;
    r->seen = calloc(HL7_NAMES, sizeof(*r->seen));
    if (r->seen == NULL)
        return ERR_MEMORY;
    e = add_segments(r);
    free(r->seen);
    if (e == ERR_OK)
        e = buf_ok(&m->text);
    if (e == ERR_OK)
        e = buf_ok(&m->damage);
    if (m->damage.err == ERR_LIMIT)
        return too_damaged(r);
    if (e == ERR_OK)
        end_lists(m);
    return e;
}
