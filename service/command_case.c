/*
 * headgate case - a procedure, typed in line by line; the card follows
 *
 * A thin hand of the service: each line is a request, what was kept is on disk
 * before the next prompt, and another window, or the Task in the record, shows
 * the same.
 */
#include "service/command.h"

#include "adapters/catalogue.h"
#include "service/planning.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

enum { PAGE_MAX = 1024 * 1024, REQUEST_MAX = 4096, LINE_MAX_BYTES = 256 };

static const char help[] =
    "usage: headgate case [--config FILE] [--set SECTION.KEY=VALUE]...\n"
    "                     [--to URL [--token-file FILE] [--ca FILE]]\n"
    "                     --by NAME [--method CODE] ACCESS\n\n"
    "Takes a procedure line by line from the terminal, keeps each line as\n"
    "readings of the access, and shows after each what to do next.  ACCESS is "
    "its\n"
    "label, an identifier, the id of its BodyStructure, or an identifier of a\n"
    "patient who has one access.  Beyond the machine of the service the token "
    "needs\n"
    "the scopes headgate/case.u and system/Task.rs.\n\n"
    "  --by NAME      who types; kept with each reading\n"
    "  --method CODE  of the flows (CodeSystem av-method); without it, that of "
    "the\n"
    "                 baseline, or of the newest flow.  After the first step "
    "only\n"
    "                 that of the baseline is taken\n\n"
    "Decision support: the operator measures, and decides.\n\n" HELP_TO "\n"
    "Exit status: 0 every line was taken; 1 one was not, or the access is not "
    "known;\n"
    "2 the command line or the configuration is wrong.\n";

static const char lines_help[] = N_(
    "flow 2450 2550        a measurement, mL/min, one to four readings\n"
    "dowel 4.0             tied, or tied anew, over it (outer diameter, mm)\n"
    "stretch 5             band stretched with a balloon (mm)\n"
    "cut                   band cut\n"
    "pressure 131/72       or the mean alone: pressure 91\n"
    "index 0.55            finger pressure over that of the other arm\n"
    "thrill present        or weak, absent\n"
    "  each with a time, if it is not now: flow 1760 1700 at 09:25\n"
    "undo                  takes the newest line back; undo 412: that line of "
    "the list\n"
    "undo 412 because ...  of another typist, with the reason in words\n"
    "list                  what was typed, by whom\n"
    "card                  what to do now\n"
    "plan                  the whole plan\n"
    "help, end\n");

struct typist {
    const struct args *args;
    struct session session;
    bool failed; /* some line was not taken */
};

static void add(struct buf *path, const char *name, const char *value)
{
    if (value == NULL)
        return;
    buf_printf(path, "%s%s=", strchr(path->data, '?') != NULL ? "&" : "?",
               name);
    command_escape(path, value);
}

/* A text with one place, %s. */
static void say(const char *text, const char *what)
{
    size_t before = strcspn(text, "%");

    printf("%.*s%s%s", (int)before, text, what,
           text[before] != '\0' ? text + before + 2 : "");
}

/* One request; what a person is to read is printed.  sorry: with what is wrong
 * in place of %s. */
static bool ask(struct typist *t, const char *method, struct buf *path,
                const char *sorry)
{
    struct buf out;
    long status = 0;
    bool done;
    enum err e = buf_ok(path);

    buf_init(&out, PAGE_MAX);
    if (e == ERR_OK)
        e = session_call(&t->session, method, path->data, NULL, 0, &status,
                         &out);
    done = e == ERR_OK && status == 200;
    if (done)
        fwrite(out.data != NULL ? out.data : "", 1, out.len, stdout);
    else if (e == ERR_OK && out.len > 0 && out.data[0] != '{')
        say(sorry, out.data);
    else
        session_complain_of(&t->session, status, e, &out);
    fflush(stdout);
    buf_clear(&out);
    buf_clear(path);
    return done;
}

static void say_way_out(void)
{
    struct buf text;

    buf_init(&text, REQUEST_MAX);
    planning_way_out(&text);
    fputs(text.data != NULL ? text.data : "", stdout);
    buf_clear(&text);
}

static bool show(struct typist *t, bool whole)
{
    struct buf path;

    buf_init(&path, REQUEST_MAX);
    buf_puts(&path, "/plan");
    add(&path, "access", t->args->files[0]);
    add(&path, "case", whole ? NULL : "1");
    /* TRANSLATORS: %s: why there is no plan */
    if (ask(t, "GET", &path, _("No plan can be made: %s")))
        return true;
    say_way_out();
    return false;
}

static bool list(struct typist *t)
{
    struct buf path;

    buf_init(&path, REQUEST_MAX);
    buf_puts(&path, "/case");
    add(&path, "access", t->args->files[0]);
    return ask(t, "GET", &path, "%s");
}

/* A line, or (line NULL) one that is taken back. */
static bool tell(struct typist *t, const char *line, const char *number,
                 const char *why)
{
    struct buf path;

    buf_init(&path, REQUEST_MAX);
    buf_puts(&path, "/case");
    add(&path, "access", t->args->files[0]);
    add(&path, "by", t->args->by);
    add(&path, "method", t->args->method);
    add(&path, "line", line);
    add(&path, "undo", line == NULL ? "1" : NULL);
    add(&path, "number", number);
    add(&path, "why", why);
    /* TRANSLATORS: %s: what is wrong with the line that was typed */
    if (!ask(t, "POST", &path, _("Not taken: %s")))
        return false;
    show(t, false); /* it is kept, whether a plan can be made of it or not */
    return true;
}

/* "", " 412", " 412 because wrong arm", " because wrong arm" */
static bool take_back(struct typist *t, const char *words)
{
    static const char because[] = "because ";
    char number[LINE_MAX_BYTES];
    size_t len;

    words += strspn(words, " \t");
    len = strncmp(words, because, strlen(because)) == 0 ? 0
                                                        : strcspn(words, " \t");
    snprintf(number, sizeof(number), "%.*s", (int)len, words);
    words += len;
    words += strspn(words, " \t");
    if (words[0] != '\0' && strncmp(words, because, strlen(because)) != 0) {
        puts(_("Not taken: undo, undo 412, or undo 412 because ..."));
        return false;
    }
    return tell(t, NULL, number[0] != '\0' ? number : NULL,
                words[0] != '\0' ? words + strlen(because) : NULL);
}

static bool obey(struct typist *t, const char *line)
{
    if (strcmp(line, "list") == 0)
        return list(t);
    if (strcmp(line, "card") == 0 || strcmp(line, "plan") == 0)
        return show(t, line[0] == 'p');
    if (strcmp(line, "undo") == 0 || strncmp(line, "undo ", 5) == 0)
        return take_back(t, line + 4);
    if (strcmp(line, "help") == 0)
        return fputs(_(lines_help), stdout) >= 0;
    return tell(t, line, NULL, NULL);
}

/* false: the end of the input, or nothing is to follow. */
static bool next_line(char *line, size_t size, bool *whole)
{
    size_t len, from;

    if (isatty(STDIN_FILENO)) {
        fputs("> ", stdout);
        fflush(stdout);
    }
    if (fgets(line, (int)size, stdin) == NULL)
        return false;
    *whole = strchr(line, '\n') != NULL || feof(stdin);
    for (int c = 0; !*whole && c != '\n' && c != EOF;)
        c = getchar();
    len = strcspn(line, "\r\n");
    while (len > 0 && (line[len - 1] == ' ' || line[len - 1] == '\t'))
        len--;
    line[len] = '\0';
    from = strspn(line, " \t");
    memmove(line, line + from, len - (from < len ? from : len) + 1);
    return strcmp(line, "end") != 0 && strcmp(line, "quit") != 0;
}

static void type(struct typist *t)
{
    char line[LINE_MAX_BYTES];
    bool whole = true;

    while (next_line(line, sizeof(line), &whole)) {
        if (line[0] == '\0')
            continue;
        if (!whole) {
            puts(_("Not taken: this line is too long"));
            t->failed = true;
        } else if (!obey(t, line)) {
            t->failed = true;
        }
    }
}

int command_case(int argc, char **argv)
{
    struct args args;
    struct config config;
    struct typist t = { .args = &args };
    bool helped;
    int opened;

    if (!args_read(&args, argc, argv, "tfim", help, &helped))
        return helped ? 0 : 2;
    if (args.file_count != 1 || args.files[0][0] == '\0' || args.by == NULL ||
        args.by[0] == '\0') {
        fprintf(stderr, "headgate: name one access, and who types (--by)\n\n%s",
                help);
        return 2;
    }
    if (!args_config(&args, &config))
        return 2;
    opened = session_open(&t.session, &args, &config, false);
    if (opened != 0)
        return opened;
    if (list(&t)) { /* the access is known */
        show(&t, false);
        if (isatty(STDIN_FILENO))
            puts(_("\nType help for what can be typed."));
        type(&t);
    } else {
        t.failed = true;
    }
    session_close(&t.session);
    return t.failed ? 1 : 0;
}
