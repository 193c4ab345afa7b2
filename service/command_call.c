/* One request of a command, and its answer printed. */
#include "service/command.h"

#include "adapters/fhir_answer.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>

enum { PAGE_MAX = 64 * 1024 * 1024 };

void command_escape(struct buf *path, const char *value)
{
    for (; *value != '\0'; value++) {
        unsigned byte = (unsigned char)*value;

        buf_printf(path, isalnum((int)byte) ? "%c" : "%%%02X", byte);
    }
}

/* A document that was cut must not pass for a whole one. */
static bool print(const struct buf *out)
{
    if (fwrite(out->data, 1, out->len, stdout) == out->len &&
        fflush(stdout) == 0)
        return true;
    fputs("headgate: not everything could be written\n", stderr);
    return false;
}

/* What was wrong with it, of an OperationOutcome; false: it is none. */
static bool say_outcome(const struct buf *out, long status)
{
    struct fhir_answer answer;
    size_t count;
    bool lone = false;

    if (out->len == 0 ||
        fhir_answer_read(out->data, out->len, (int)status, &answer, 1, &count,
                         &lone) != ERR_OK ||
        !lone || answer.text[0] == '\0')
        return false;
    fprintf(stderr, "headgate: the service answered %ld: %s\n", status,
            answer.text);
    return true;
}

int command_call(const struct args *args, const char *method, const char *path)
{
    struct config config;
    struct session session;
    struct buf out;
    bool written = false;
    long status = 0;
    int opened;
    enum err e;

    if (!args_config(args, &config))
        return 2;
    opened = session_open(&session, args, &config, false);
    if (opened != 0)
        return opened;
    buf_init(&out, PAGE_MAX);
    e = session_call(&session, method, path, NULL, 0, &status, &out);
    if (e == ERR_OK && status == 200)
        written = print(&out);
    else if (e == ERR_OK && (status == 400 || status == 404 || status == 409) &&
             out.len > 0 && out.data[0] != '{')
        fprintf(stderr, "headgate: %s", out.data); /* says why */
    else if (e != ERR_OK || status != 400 || !say_outcome(&out, status))
        session_complain(&session, status, e);
    buf_clear(&out);
    session_close(&session);
    return written ? 0 : 1;
}
