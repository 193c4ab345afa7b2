/* One request of a command, and its answer printed. */
#include "service/command.h"

#include <ctype.h>
#include <stdio.h>

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
    else
        session_complain_of(&session, status, e, &out);
    buf_clear(&out);
    session_close(&session);
    return written ? 0 : 1;
}
