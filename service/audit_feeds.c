#include "service/audit_feeds.h"

#include <stdio.h>

static const char *const answers[] = {
    [HL7_AA] = "AA", [HL7_AE] = "AE", [HL7_AR] = "AR"
};

static void say_hl7(const struct hl7_intake *in, char *out, size_t size)
{
    snprintf(out, size, "%s%s, stored %u, there %u, held %u, refused %u",
             answers[in->answer], in->repeated ? ", repeated" : "", in->stored,
             in->there, in->held, in->refused);
}

void audit_hl7_request(const struct hl7_intake *in, struct audit_request *a)
{
    snprintf(a->action, sizeof(a->action), "message");
    snprintf(a->key, sizeof(a->key), "%lld", (long long)in->id);
    say_hl7(in, a->detail, sizeof(a->detail));
    a->refused = in->answer == HL7_AR;
}

/* Of those of whom something was stored; what was undone is of nobody, and what
 * was seen before it is there again. */
static enum err note(struct db *db, const struct audit_entry *row,
                     enum err came_to)
{
    struct audit_entry said = *row;
    struct audit_whom whom;
    enum err e = came_to == ERR_OK ? ERR_OK : audit_whom_begin(db);

    if (e == ERR_OK)
        e = audit_whom_take(db, &whom);
    said.whom = &whom;
    return e == ERR_OK ? audit_note(db, &said) : e;
}

enum err audit_hl7(struct db *db, const struct hl7_intake *in, enum err came_to)
{
    char key[24], detail[128] = "";
    const struct audit_entry row = {
        .at_ms = in->now_ms,
        .kind = "hl7",
        .actor = in->profile != NULL ? in->profile->name : "",
        .action = "message",
        .type = "hl7",
        .key = key,
        .outcome = came_to != ERR_OK      ? AUDIT_FAILED
                   : in->answer == HL7_AR ? AUDIT_REFUSED
                                          : AUDIT_DONE,
        .detail = detail
    };

    if (in->profile == NULL)
        return ERR_OK;
    snprintf(key, sizeof(key), "%lld",
             came_to == ERR_OK ? (long long)in->id : 0);
    if (came_to == ERR_OK)
        say_hl7(in, detail, sizeof(detail));
    return note(db, &row, came_to);
}

enum err audit_taken(struct db *db, const struct poll_take *take)
{
    static const char *const actions[] = {
        [TAKE_POLL] = "poll", [TAKE_BULK] = "bulk-file", [TAKE_BY_ID] = "fetch"
    };
    char key[24] = "", detail[128];
    const struct audit_entry row = { .at_ms = take->now_ms,
                                     .kind = "record",
                                     .type = "page",
                                     .key = key,
                                     .detail = detail };
    struct audit_entry said = row;

    if (take->source == TAKE_HOOK ||
        take->stored + take->refused + take->withdrawn == 0)
        return ERR_OK;
    said.action = actions[take->source];
    if (take->file > 0)
        snprintf(key, sizeof(key), "%d", take->file);
    snprintf(detail, sizeof(detail),
             "stored %u, known %u, withdrawn %u, refused %u", take->stored,
             take->known, take->withdrawn, take->refused);
    return note(db, &said, ERR_OK);
}

enum err audit_file(struct db *db, const struct audit_file *file)
{
    char key[24], detail[160];
    const struct audit_entry row = { .at_ms = file->now_ms,
                                     .kind = "folder",
                                     .actor = file->folder,
                                     .action = "file",
                                     .type = "file",
                                     .key = key,
                                     .detail = detail };

    snprintf(key, sizeof(key), "%lld", (long long)file->number);
    snprintf(detail, sizeof(detail),
             "stored %lld, there %lld, held %lld, refused %lld",
             (long long)file->stored, (long long)file->there,
             (long long)file->held, (long long)file->refused);
    return note(db, &row, ERR_OK);
}
