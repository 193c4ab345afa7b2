/*
 * What a person changed in a Task of ours that nobody has taken in hand yet: the
 * priority.  It is told by what we sent last.  Texts and dates are not looked
 * at: servers write them in their own way, and a change of ours must get there.
 */
#include "adapters/fhir_task.h"

#include "adapters/fhir_out.h"

/* routine, urgent, asap, stat: the order of R4. */
static int rank(const struct fhir_task_text *t)
{
    static const char *const words[] = { "routine", "urgent", "asap", "stat" };

    for (int i = 0; i < (int)COUNT(words); i++) {
        if (fhir_is(t->tree, "priority", words[i]))
            return i;
    }
    return -1;
}

/* It is other than we sent it, and ours has not risen above it since. */
static bool is_theirs(const struct fhir_task_text *ours,
                      const struct fhir_task_text *sent,
                      const struct fhir_task_text *theirs)
{
    if (rank(theirs) < 0 || rank(theirs) == rank(sent))
        return false;
    return rank(ours) <= rank(sent) || rank(ours) <= rank(theirs);
}

static void put_member(const struct fhir_task_text *t, struct fhir_span key,
                       struct fhir_span value, struct buf *out)
{
    if (out->data[out->len - 1] != '{')
        buf_puts(out, ",");
    buf_add(out, t->json + key.offset, key.len);
    buf_puts(out, ":");
    buf_add(out, t->json + value.offset, value.len);
}

enum err fhir_task_yield(const char *ours_json, size_t ours_len,
                         const char *sent_json, size_t sent_len,
                         const char *theirs_json, size_t theirs_len,
                         struct buf *out)
{
    struct fhir_task_text ours, sent, theirs;
    struct fhir_span key, value;
    size_t at = 0;
    enum err e = fhir_task_load(ours_json, ours_len, "Task", &ours);

    if (e != ERR_OK)
        return e;
    e = fhir_task_load(sent_json, sent_len, "Task", &sent);
    if (e != ERR_OK)
        goto free_ours;
    e = fhir_task_load(theirs_json, theirs_len, "Task", &theirs);
    if (e != ERR_OK)
        goto free_sent;
    buf_puts(out, "{");
    while (fhir_scan_next(ours.json, ours.len, &at, &key, &value)) {
        if (fhir_scan_is(ours.json, key, "priority") &&
            is_theirs(&ours, &sent, &theirs))
            fhir_out_text(out, "priority",
                          fhir_string(theirs.tree, "priority"));
        else
            put_member(&ours, key, value, out);
    }
    buf_puts(out, "}");
    e = buf_ok(out);
    json_decref(theirs.tree);
free_sent:
    json_decref(sent.tree);
free_ours:
    json_decref(ours.tree);
    return e;
}
