#include "adapters/policy_file.h"

#include "adapters/civil.h"
#include "adapters/ini_file.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>

/* One reading of a file; the lines are kept for what is found at the end. */
struct parse {
    struct policy *policy;
    struct buf *why;
    const char *path;
    int lines[PARAM_TOTAL]; /* where a row stands; 0 while it is missing */
};

/* A part of a value, without the blanks around it. */
struct span {
    const char *text;
    size_t len;
};

static enum err refuse(struct parse *p, int line, const char *section,
                       const char *key, const char *what)
{
    buf_printf(p->why, "%s:%d: [%s] %s: %s", p->path, line, section, key, what);
    return ERR_CONFIG;
}

static struct span trim(const char *text, size_t len)
{
    while (len > 0 && isspace((unsigned char)text[0])) {
        text++;
        len--;
    }
    while (len > 0 && isspace((unsigned char)text[len - 1]))
        len--;
    return (struct span){ text, len };
}

/* Copy into a fixed field; false if it is empty or does not fit. */
static bool copy(char *field, size_t size, struct span s)
{
    if (s.len == 0 || s.len >= size)
        return false;
    memcpy(field, s.text, s.len);
    field[s.len] = '\0';
    return true;
}

/* "value | mark | sources" in three; false if it is not of this form. */
static bool split(const char *text, struct span parts[3])
{
    for (int i = 0; i < 3; i++) {
        const char *bar = strchr(text, '|');
        size_t len = bar != NULL ? (size_t)(bar - text) : strlen(text);

        if ((bar == NULL) != (i == 2))
            return false;
        parts[i] = trim(text, len);
        text += len + 1;
    }
    return true;
}

static bool is_mark(struct span s)
{
    static const char *const marks[] = { "F", "F2", "M", "C", "P" };

    for (size_t i = 0; i < COUNT(marks); i++) {
        if (strlen(marks[i]) == s.len && memcmp(marks[i], s.text, s.len) == 0)
            return true;
    }
    return false;
}

/* What is wrong with a value, for a person. */
static void explain(enum param row, enum err e, const char *text, char *out,
                    size_t size)
{
    const struct param_info *info = param_info(row);
    const char *of = "a number";

    switch (info->kind) {
    case PARAM_URGENCY:
        of = "one of note routine urgent asap immediate";
        break;
    case PARAM_GRADE:
        of = e == ERR_RANGE ? "a grade from 1 up" : "one of 1 2a 2b 3 4a 4b";
        break;
    case PARAM_EKTV:
        of = "one of rate tattersall tattersall-modified hemo";
        break;
    case PARAM_COUNT:
        of = "a whole number";
        break;
    case PARAM_NUMBER:
        break;
    }
    if (e == ERR_RANGE && info->kind != PARAM_GRADE && info->kind != PARAM_EKTV)
        snprintf(out, size, "%.40s is not between %g and %g", text, info->least,
                 info->most);
    else
        snprintf(out, size, "%.40s is not %s", text, of);
}

static enum err take_row(struct parse *p, int line, enum param row,
                         const char *value)
{
    const struct param_info *info = param_info(row);
    struct policy_value *v = &p->policy->values[row];
    struct span parts[3];
    char text[64] = "", what[160];
    enum err e;

    if (p->lines[row] != 0)
        return refuse(p, line, info->section, info->key, "is given twice");
    p->lines[row] = line;
    if (!split(value, parts))
        return refuse(p, line, info->section, info->key,
                      "is not of the form: value | mark | sources");
    if (!copy(text, sizeof(text), parts[0]))
        return refuse(p, line, info->section, info->key,
                      "has no value, or a very long one");
    e = param_read(row, text, &v->value);
    if (e != ERR_OK) {
        explain(row, e, text, what, sizeof(what));
        return refuse(p, line, info->section, info->key, what);
    }
    if (!is_mark(parts[1]))
        return refuse(p, line, info->section, info->key,
                      "the mark is not one of F F2 M C P");
    (void)copy(v->mark, sizeof(v->mark), parts[1]);
    if (parts[2].len > 0 && !copy(v->source, sizeof(v->source), parts[2]))
        return refuse(p, line, info->section, info->key,
                      "names too many sources");
    return ERR_OK;
}

static enum err take_source(struct parse *p, int line, const char *key,
                            const char *value)
{
    struct policy *policy = p->policy;
    struct policy_source *s = &policy->sources[policy->source_count];
    struct span name = trim(key, strlen(key));

    if (policy_citation(policy, name.text, name.len) != NULL)
        return refuse(p, line, "sources", key, "is given twice");
    if (policy->source_count == POLICY_SOURCES_MAX)
        return refuse(p, line, "sources", key, "is one source too many");
    for (size_t i = 0; i < name.len; i++) {
        if (!isalnum((unsigned char)name.text[i]))
            return refuse(p, line, "sources", key,
                          "the name of a source is of letters and digits");
    }
    if (!copy(s->key, sizeof(s->key), name))
        return refuse(p, line, "sources", key,
                      "the name of a source has 1 to 15 characters");
    if (!copy(s->citation, sizeof(s->citation), trim(value, strlen(value))))
        return refuse(p, line, "sources", key,
                      "a citation has 1 to 239 characters");
    policy->source_count++;
    return ERR_OK;
}

/* What steers a terminal is no part of a name. */
static bool has_control(const char *text)
{
    for (; *text != '\0'; text++) {
        if (iscntrl((unsigned char)*text))
            return true;
    }
    return false;
}

static bool is_date(const char *text)
{
    int year, month, day, end = 0;

    if (strlen(text) != 10 || strspn(text, "0123456789-") != 10)
        return false;
    if (sscanf(text, "%4d-%2d-%2d%n", &year, &month, &day, &end) != 3 ||
        end != 10)
        return false;
    return year >= 1 && month >= 1 && month <= 12 && day >= 1 &&
           day <= civil_days_in_month(year, month);
}

/* version, approver and date say what is in force and who answers for it. */
static enum err take_head(struct parse *p, int line, const char *key,
                          const char *value)
{
    const struct {
        const char *key;
        char *field;
        size_t size;
    } heads[] = {
        { "version", p->policy->version, sizeof(p->policy->version) },
        { "approver", p->policy->approver, sizeof(p->policy->approver) },
        { "date", p->policy->date, sizeof(p->policy->date) },
    };

    for (size_t i = 0; i < COUNT(heads); i++) {
        if (strcmp(heads[i].key, key) != 0)
            continue;
        if (heads[i].field[0] != '\0')
            return refuse(p, line, "policy", key, "is given twice");
        if (!copy(heads[i].field, heads[i].size, trim(value, strlen(value))))
            return refuse(p, line, "policy", key, "is empty or too long");
        if (has_control(heads[i].field))
            return refuse(p, line, "policy", key, "has control characters");
        if (heads[i].field == p->policy->date && !is_date(p->policy->date))
            return refuse(p, line, "policy", key,
                          "is not a date of the form YYYY-MM-DD");
        return ERR_OK;
    }
    return refuse(p, line, "policy", key, "is not known");
}

static enum err on_row(void *arg, int line, const char *section,
                       const char *key, const char *value)
{
    struct parse *p = arg;
    enum param row;

    if (strcmp(section, "policy") == 0)
        return take_head(p, line, key, value);
    if (strcmp(section, "sources") == 0)
        return take_source(p, line, key, value);
    if (param_by_name(section, key, &row) != ERR_OK)
        return refuse(p, line, section, key, "is not a row of a policy");
    return take_row(p, line, row, value);
}

/* Every source that a row names must be known; only mark P may name none. */
static enum err check_sources(struct parse *p, enum param row)
{
    const struct param_info *info = param_info(row);
    const struct policy_value *v = &p->policy->values[row];
    const char *at = v->source;
    char what[64];

    if (*at == '\0' && strcmp(v->mark, "P") != 0)
        return refuse(p, p->lines[row], info->section, info->key,
                      "names no source; only mark P may");
    while (*at != '\0') {
        size_t len = strcspn(at, " \t");

        if (policy_citation(p->policy, at, len) == NULL) {
            snprintf(what, sizeof(what), "[sources] has no %.*s", (int)len, at);
            return refuse(p, p->lines[row], info->section, info->key, what);
        }
        at += len;
        at += strspn(at, " \t");
    }
    return ERR_OK;
}

/* What can be judged only when the whole file has been read. */
static enum err check(struct parse *p)
{
    const struct policy *policy = p->policy;
    const struct param_info *beside;
    enum param at, other;
    char what[160];

    if (policy->version[0] == '\0' || policy->approver[0] == '\0' ||
        policy->date[0] == '\0') {
        buf_printf(p->why, "%s: [policy] must give version, approver and date",
                   p->path);
        return ERR_CONFIG;
    }
    for (unsigned i = 0; i < PARAM_TOTAL; i++) {
        enum param row = (enum param)i;

        if (p->lines[i] == 0) {
            buf_printf(p->why, "%s: [%s] %s: is missing", p->path,
                       param_info(row)->section, param_info(row)->key);
            return ERR_CONFIG;
        }
        if (check_sources(p, row) != ERR_OK)
            return ERR_CONFIG;
    }
    if (policy_check(policy, &at, &other) == ERR_OK)
        return ERR_OK;
    beside = param_info(other);
    snprintf(what, sizeof(what),
             "contradicts [%s] %s (line %d): the first must not be above "
             "the second",
             beside->section, beside->key, p->lines[other]);
    return refuse(p, p->lines[at], param_info(at)->section, param_info(at)->key,
                  what);
}

enum err policy_file_read(const char *path, struct policy *policy,
                          struct buf *why)
{
    struct policy fresh = { 0 };
    struct parse p = { .policy = &fresh, .why = why, .path = path };
    int line = 0;
    enum err e = ini_file_read(path, on_row, &p, &line);

    if (e == ERR_IO) {
        buf_printf(why, "%s: cannot be read", path);
        return ERR_IO;
    }
    if (e == ERR_FORM) {
        buf_printf(why, "%s:%d: is not a line of an INI file", path, line);
        return ERR_CONFIG;
    }
    if (e == ERR_OK)
        e = check(&p);
    if (e == ERR_OK)
        *policy = fresh;
    return e;
}
