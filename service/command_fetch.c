/* headgate fetch - what the record has is fetched now */
#include "service/command.h"

#include <stdio.h>
#include <string.h>
#include <time.h>

enum {
    PATH_TEXT_MAX = 4096,
    TEXT_MAX = 1024 * 1024,
    LOOK_MS = 500,
    TRIES_MAX = 10
};

static const char help[] =
    "usage: headgate fetch [--config FILE] [--set SECTION.KEY=VALUE]...\n"
    "                      [--to URL [--token-file FILE] [--ca FILE]]\n"
    "       headgate fetch --bulk [--group ID] [--since DATE | --all]\n"
    "                      [--types TYPE,...]\n"
    "       headgate fetch --bulk --cancel\n\n"
    "Asks the clinical record at once for what is new, and shows what has come "
    "from\n"
    "it, what was not taken and where it stands.  A service must be "
    "running.\n\n"
    "  --bulk     have the record export everything that changed (Bulk Data), "
    "and\n"
    "             take it in; shown until it is done.  Stopping this command "
    "does\n"
    "             not stop the export\n"
    "  --group    of the members of this Group; else of all patients\n"
    "  --since    what changed since; else since the last whole export\n"
    "  --all      everything, whatever was exported before\n"
    "  --types    Patient,BodyStructure,Observation or fewer\n"
    "  --cancel   give up the export that is under way\n"
    "\n" HELP_TO "\n"
    "Exit status: 0 done; 1 no record is set, it was refused, or the export "
    "did not\n"
    "end whole; 2 the command line or the configuration is wrong.\n";

static void nap(int ms)
{
    struct timespec time = { .tv_sec = ms / 1000,
                             .tv_nsec = (long)(ms % 1000) * 1000000 };

    nanosleep(&time, NULL);
}

/* One request; the answer's text in out.  false: what is wrong was printed. */
static bool ask(struct session *s, const char *method, const char *path,
                long wanted, struct buf *out)
{
    long status = 503;
    enum err e = ERR_OK;

    /* a service that has just been started has to read where it was */
    for (int n = 0; e == ERR_OK && status == 503 && n < TRIES_MAX; n++) {
        if (n > 0)
            nap(LOOK_MS);
        buf_empty(out);
        e = session_call(s, method, path, NULL, 0, &status, out);
    }
    if (e == ERR_OK && status == wanted)
        return true;
    if (e == ERR_OK && status == 409)
        fputs("headgate: an export is under way already\n", stderr);
    else if (e == ERR_OK && status == 404)
        fputs("headgate: no record is set (record.url), no service is running, "
              "or nothing is under way\n",
              stderr);
    else
        session_complain_of(s, status, e, out);
    return false;
}

/* The line on the export; NULL: there is none. */
static const char *export_line(const struct buf *text)
{
    const char *at = strstr(text->data, "\nexport ");

    return at != NULL                               ? at + 1
           : strncmp(text->data, "export ", 7) == 0 ? text->data
                                                    : NULL;
}

static bool is_under_way(const char *line)
{
    static const char *const words[] = { "export asking:", "export waiting:",
                                         "export reading:" };

    for (size_t i = 0; line != NULL && i < COUNT(words); i++) {
        if (strncmp(line, words[i], strlen(words[i])) == 0)
            return true;
    }
    return false;
}

/* Shows each change until the export has ended; true: it is whole. */
static bool follow_export(struct session *s, struct buf *text)
{
    char shown[256] = "";
    const char *line;

    for (;;) {
        if (!ask(s, "GET", "/incoming", 200, text))
            return false;
        line = export_line(text);
        if (!is_under_way(line))
            break;
        if (strncmp(shown, line, strcspn(line, "\n")) != 0) {
            snprintf(shown, sizeof(shown), "%.*s", (int)strcspn(line, "\n"),
                     line);
            fprintf(stderr, "%s\n", shown);
        }
        nap(LOOK_MS);
    }
    fputs(text->data, stdout);
    return line != NULL && strncmp(line, "export done:", 12) == 0;
}

static void add(struct buf *path, const char *name, const char *value)
{
    if (value == NULL)
        return;
    buf_printf(path, "%s%s=", strchr(path->data, '?') != NULL ? "&" : "?",
               name);
    command_escape(path, value);
}

static bool bulk(struct session *s, const struct args *a, struct buf *text)
{
    struct buf path;
    char since[64];
    bool ok;

    if (a->cancel)
        return ask(s, "DELETE", "/bulk", 202, text);
    /* a day is its beginning */
    snprintf(since, sizeof(since), "%s%s", a->since != NULL ? a->since : "all",
             a->since != NULL && strlen(a->since) == 10 ? "T00:00:00Z" : "");
    buf_init(&path, PATH_TEXT_MAX);
    buf_puts(&path, "/bulk");
    add(&path, "group", a->group);
    add(&path, "types", a->types);
    if (a->all || a->since != NULL)
        add(&path, "since", since);
    ok = buf_ok(&path) == ERR_OK && ask(s, "POST", path.data, 202, text);
    buf_clear(&path);
    return ok && follow_export(s, text);
}

/* A round takes a moment: shown is what it came to. */
static bool poll_now(struct session *s, struct buf *text)
{
    enum { ROUND_MS = 1500 };

    if (!ask(s, "POST", "/hook", 200, text))
        return false;
    nap(ROUND_MS);
    if (!ask(s, "GET", "/incoming", 200, text))
        return false;
    fputs(text->data, stdout);
    return true;
}

int command_fetch(int argc, char **argv)
{
    struct args args;
    struct config config;
    struct session session;
    struct buf text;
    bool helped, ok;
    int opened;

    if (!args_read(&args, argc, argv, "tsx", help, &helped))
        return helped ? 0 : 2;
    if (!args.bulk && (args.group != NULL || args.types != NULL || args.all ||
                       args.cancel || args.since != NULL)) {
        fprintf(stderr, "headgate: that needs --bulk\n\n%s", help);
        return 2;
    }
    if (args.all && args.since != NULL) {
        fprintf(stderr, "headgate: give --since or --all\n\n%s", help);
        return 2;
    }
    if (!args_config(&args, &config))
        return 2;
    opened = session_open(&session, &args, &config, false);
    if (opened != 0)
        return opened;
    buf_init(&text, TEXT_MAX);
    ok = args.bulk ? bulk(&session, &args, &text) : poll_now(&session, &text);
    buf_clear(&text);
    session_close(&session);
    return ok ? 0 : 1;
}
