#include "adapters/error_lines.h"

#include "adapters/error_lines_work.h"
#include "adapters/fhir_out.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void open_line(struct buf *out)
{
    buf_puts(out, "{\"resourceType\":\"OperationOutcome\"");
    fhir_out_open(out, "issue", '[');
}

static void close_line(struct buf *out)
{
    buf_puts(out, "]}\n");
}

/* ":12" and the like after a name that is any bytes. */
static void write_joined(const char *key, const struct error_place *place,
                         const char *rest, struct buf *out)
{
    if (place->file == NULL || place->file[0] == '\0')
        fhir_out_text(out, key, rest + strspn(rest, ":, "));
    else
        fhir_out_join(out, key, place->file, rest);
}

/* Where in the file; what: where in the message of HL7 v2, or NULL. */
static void write_file_place(const struct error_place *place, const char *what,
                             struct buf *out)
{
    char text[120], entry[40] = "";

    if (place->entry > 0)
        snprintf(entry, sizeof(entry), ", entry %llu",
                 (unsigned long long)place->entry);
    snprintf(text, sizeof(text), ", line %llu, byte %llu%s",
             (unsigned long long)place->line, (unsigned long long)place->offset,
             entry);
    write_joined("diagnostics", place, text, out);
    snprintf(text, sizeof(text), ":%llu", (unsigned long long)place->line);
    fhir_out_open(out, "location", '[');
    write_joined(NULL, place, text, out);
    fhir_out_text(out, NULL, what);
    fhir_out_close(out, ']');
}

/* Something must stand there: an outcome without issues is none. */
static void write_bare(const struct error_place *place, struct buf *out)
{
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "severity", "error");
    fhir_out_text(out, "code", "processing");
    fhir_out_open(out, "details", '{');
    fhir_out_text(out, "text", "Refused; nothing was said of why");
    fhir_out_close(out, '}');
    write_file_place(place, NULL, out);
    fhir_out_close(out, '}');
}

/* ---- from an outcome ------------------------------------------------------ */

static const char *severity_code(enum severity s)
{
    static const char *const codes[] = { "information", "warning", "error",
                                         "fatal" };

    return codes[(unsigned)s < COUNT(codes) ? s : SEV_FATAL];
}

static void write_issue(const char *base, const struct issue *issue, bool v2,
                        const struct error_place *place, struct buf *out)
{
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "severity", severity_code(issue->severity));
    fhir_out_text(out, "code", issue->code);
    fhir_out_concept(out, "details", base, "/CodeSystem/av-error", issue->word,
                     NULL, issue->text);
    write_file_place(place, v2 && issue->place[0] != '\0' ? issue->place : NULL,
                     out);
    if (!v2 && issue->place[0] != '\0') {
        fhir_out_open(out, "expression", '[');
        fhir_out_text(out, NULL, issue->place);
        fhir_out_close(out, ']');
    }
    fhir_out_close(out, '}');
}

void error_line_write(const char *base, const struct outcome *o, bool v2,
                      const struct error_place *place, struct buf *out)
{
    open_line(out);
    for (size_t i = 0; i < o->count; i++)
        write_issue(base, &o->issues[i], v2, place, out);
    if (o->count == 0)
        write_bare(place, out);
    close_line(out);
}

/* ---- from an answer ------------------------------------------------------- */

enum err error_answer_open(const char *json, size_t len,
                           struct error_answer **answer)
{
    struct error_answer *a = calloc(1, sizeof(*a));
    struct outcome outcome; /* says what is wrong, to nobody here */
    enum err e;

    if (a == NULL)
        return ERR_MEMORY;
    outcome_init(&outcome);
    e = fhir_load(json, len, &outcome, &a->root);
    if (e != ERR_OK) {
        free(a);
        return e;
    }
    *answer = a;
    return ERR_OK;
}

void error_answer_close(struct error_answer *answer)
{
    if (answer == NULL)
        return;
    json_decref(answer->root);
    free(answer);
}

/* The issues of entry i; NULL: there are none. */
static json_t *issues_of(const struct error_answer *answer, size_t i)
{
    json_t *root = answer->root, *entry;

    if (fhir_is(root, "resourceType", "OperationOutcome"))
        return json_object_get(root, "issue");
    entry = json_array_get(json_object_get(root, "entry"), i);
    return json_object_get(
        json_object_get(json_object_get(entry, "response"), "outcome"),
        "issue");
}

/* A part of an issue as it came. */
static void copy_part(json_t *issue, const char *key, struct buf *out)
{
    json_t *part = json_object_get(issue, key);
    char *text;

    if (part == NULL || json_is_null(part))
        return;
    text = json_dumps(part, JSON_COMPACT | JSON_ENCODE_ANY);
    if (text != NULL)
        fhir_out_raw(out, key, text, strlen(text));
    free(text);
}

static void write_answered(json_t *issue, const struct error_place *place,
                           struct buf *out)
{
    json_t *location = json_array_get(json_object_get(issue, "location"), 0);

    fhir_out_open(out, NULL, '{');
    copy_part(issue, "severity", out);
    copy_part(issue, "code", out);
    copy_part(issue, "details", out);
    write_file_place(place, json_string_value(location), out);
    copy_part(issue, "expression", out);
    fhir_out_close(out, '}');
}

void error_answer_write(const struct error_answer *answer, size_t i,
                        const struct error_place *place, struct buf *out)
{
    json_t *issues = issues_of(answer, i), *issue;
    size_t k;

    open_line(out);
    json_array_foreach(issues, k, issue)
    {
        /* A server that says less than R4 asks for is not repeated. */
        if (fhir_string(issue, "severity") != NULL &&
            fhir_string(issue, "code") != NULL)
            write_answered(issue, place, out);
    }
    if (out->len > 0 && out->data[out->len - 1] == '[')
        write_bare(place, out);
    close_line(out);
}
