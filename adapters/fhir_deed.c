#include "adapters/fhir_deed.h"

#include "adapters/fhir_merge.h"
#include "adapters/fhir_out.h"

#include <string.h>

/* The other side of the merge: a Task that holds what the deed says, and
 * nothing else. */
static void write_said(const struct fhir_deed *d, struct buf *out)
{
    enum task_code_id id = d->business == BUSINESS_PUT_OFF ? TASK_CODE_PUT_OFF
                                                           : TASK_CODE_AWAITING;
    char time[FHIR_TIME_SIZE];

    fhir_time_write_ms(d->now_ms, time);
    buf_puts(out, "{\"resourceType\":\"Task\"");
    fhir_out_text(out, "status", d->status);
    if (d->reason != NULL && d->reason[0] != '\0') {
        fhir_out_open(out, "statusReason", '{');
        fhir_out_text(out, "text", d->reason);
        fhir_out_close(out, '}');
    }
    if (d->business == BUSINESS_PUT_OFF || d->business == BUSINESS_AWAITING)
        fhir_out_concept(out, "businessStatus", d->base, TASK_SYSTEM,
                         task_code(id)->code, task_code(id)->display, NULL);
    fhir_out_text(out, "lastModified", time);
    if (d->owner != NULL) {
        fhir_out_open(out, "owner", '{');
        fhir_out_text(out, "display", d->owner);
        fhir_out_close(out, '}');
    }
    if (d->note != NULL && d->note[0] != '\0') {
        fhir_out_open(out, "note", '[');
        fhir_out_open(out, NULL, '{');
        fhir_out_text(out, "authorString", d->author);
        fhir_out_text(out, "time", time);
        fhir_out_text(out, "text", d->note);
        fhir_out_close(out, '}');
        fhir_out_close(out, ']');
    }
    fhir_out_close(out, '}');
}

static enum fhir_take take_business(const struct fhir_merge *m,
                                    const struct fhir_deed *d)
{
    if (d->business == BUSINESS_STAYS ||
        !fhir_task_is_our_status(m->base->tree))
        return TAKE_BASE;
    return TAKE_OTHER;
}

static enum fhir_take take_said(const struct fhir_merge *m, const char *name)
{
    const struct fhir_deed *d = m->arg;

    if (strcmp(name, "status") == 0 || strcmp(name, "owner") == 0)
        return TAKE_PREFER;
    if (strcmp(name, "statusReason") == 0)
        return d->status != NULL ? TAKE_OTHER : TAKE_BASE;
    if (strcmp(name, "businessStatus") == 0)
        return take_business(m, d);
    if (strcmp(name, "note") == 0)
        return TAKE_APPEND;
    return strcmp(name, "lastModified") == 0 ? TAKE_SPECIAL : TAKE_BASE;
}

/* R4, inv-1: lastModified is not before authoredOn. */
static void put_modified(const struct fhir_merge *m, const char *name,
                         struct buf *out)
{
    const char *ours = fhir_string(m->other->tree, "lastModified");
    const char *authored = fhir_string(m->base->tree, "authoredOn");
    int64_t now_ms, authored_ms;

    if (fhir_task_instant_ms(authored, &authored_ms) &&
        fhir_task_instant_ms(ours, &now_ms) && authored_ms > now_ms)
        ours = authored;
    fhir_out_text(out, name, ours);
}

enum err fhir_deed_write(const char *json, size_t len,
                         const struct fhir_deed *deed, struct buf *out)
{
    struct fhir_task_text base, said;
    struct fhir_merge m = { .base = &base,
                            .other = &said,
                            .take = take_said,
                            .put = put_modified,
                            .arg = deed };
    struct buf text;
    enum err e = fhir_task_load(json, len, "Task", &base);

    if (e != ERR_OK)
        return e;
    buf_init(&text, out->ceiling);
    write_said(deed, &text);
    e = buf_ok(&text);
    if (e == ERR_OK)
        e = fhir_task_load(text.data, text.len, "Task", &said);
    if (e == ERR_OK) {
        e = fhir_merge_write(&m, out);
        json_decref(said.tree);
    }
    buf_clear(&text);
    json_decref(base.tree);
    return e;
}
