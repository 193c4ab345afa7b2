/* headgate audit - who did what with patient data, and that it is whole */
#include "adapters/catalogue.h"
#include "adapters/fhir_form.h"
#include "adapters/fhir_time.h"
#include "service/audit_words.h"
#include "service/command.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum {
    PAGE_MAX = 64 * 1024 * 1024,
    PATH_TEXT_MAX = 4096,
    TEXT_SIZE = 128,
    WORDS_MAX = 1024
};

static const char help[] =
    "usage: headgate audit list [--from DATE] [--to DATE] [--patient NUMBER] "
    "[--json]\n"
    "       headgate audit export --fhir FILE [--from DATE] [--to DATE]\n"
    "                             [--patient NUMBER]\n"
    "       headgate audit verify [--anchor HASH]\n"
    "       headgate audit head\n"
    "       each with [--config FILE] [--set SECTION.KEY=VALUE]...\n\n"
    "  list     a line for each row: number, time, who, what was done, with "
    "what,\n"
    "           how it ended\n"
    "  export   the same as FHIR R4 AuditEvents, one a line; FILE must not be "
    "there\n"
    "  verify   walk along the whole chain of hashes and name the first row "
    "that is\n"
    "           not as it was written\n"
    "  head     the number and the hash of the last row, to be kept "
    "elsewhere\n\n"
    "  --anchor HASH     a hash that was kept elsewhere: it must be in the "
    "chain\n"
    "  --patient NUMBER  of one patient: number or id; row:N, the row number "
    "of one\n"
    "                    that was erased.  Rows of more than 1000 patients are "
    "listed\n"
    "                    too: nobody is known of them, and the patient may be "
    "one\n"
    "  --from, --to DATE days of the site, both counted in\n\n"
    "The chain shows a row that was changed, put in or taken out.  Who may "
    "write the\n"
    "store can write all of it anew, or cut off its end: against that keep "
    "what head\n"
    "prints in another place, each day, and give it to --anchor.\n\n"
    "Exit status: 0 done, and of verify: it is whole; 1 it is not, or the hash "
    "is not\n"
    "in it, or it has failed; 2 the command line or the configuration is "
    "wrong.\n";

/* One talk: pages until there are no more. */
struct talk {
    struct session session;
    struct buf query; /* behind "/audit?" */
    FILE *to;         /* where rows go; NULL: there are none */
    /* of the last page's end */
    char next[TEXT_SIZE], seq[TEXT_SIZE], head[TEXT_SIZE];
    char hash[TEXT_SIZE], broken[TEXT_SIZE], why[TEXT_SIZE];
    char anchor[TEXT_SIZE], walked[TEXT_SIZE];
};

static int complain(const char *text)
{
    fprintf(stderr, "headgate: %s\n\n%s", text, help);
    return 2;
}

static void take_member(void *arg, const char *name, const char *value)
{
    struct talk *t = arg;
    const struct {
        const char *name;
        char *to;
    } places[] = { { "next", t->next },     { "seq", t->seq },
                   { "head", t->head },     { "hash", t->hash },
                   { "broken", t->broken }, { "why", t->why },
                   { "walked", t->walked } };

    for (size_t i = 0; i < COUNT(places); i++) {
        if (strcmp(places[i].name, name) == 0)
            snprintf(places[i].to, TEXT_SIZE, "%s", value);
    }
    if (strcmp(name, "anchor") == 0) /* of an earlier page, it stays */
        snprintf(t->anchor, TEXT_SIZE, "%s", value);
}

/* Rows to where they go; the last line says how it goes on. */
static enum err take_page(struct talk *t, struct buf *page)
{
    size_t end = page->len;

    if (end == 0 || page->data[end - 1] != '\n')
        return ERR_FORM;
    end--;
    while (end > 0 && page->data[end - 1] != '\n')
        end--;
    t->next[0] = '\0';
    if (fhir_form_each(page->data + end, page->len - end, take_member, t) !=
        ERR_OK)
        return ERR_FORM;
    if (t->to != NULL && fwrite(page->data, 1, end, t->to) != end)
        return ERR_IO;
    return ERR_OK;
}

/* On an error it has been said what is wrong. */
static enum err ask(struct talk *t, const char *after, long *status)
{
    struct buf path, page;
    enum err e;

    buf_init(&path, PATH_TEXT_MAX);
    buf_init(&page, PAGE_MAX);
    buf_printf(&path, "/audit?%s", t->query.data != NULL ? t->query.data : "");
    if (after[0] != '\0')
        buf_printf(&path, "&after=%s&hash=%s", after,
                   t->hash[0] != '\0' ? t->hash : t->head);
    e = buf_ok(&path);
    if (e == ERR_OK)
        e = session_call(&t->session, "GET", path.data, NULL, 0, status, &page);
    if (e == ERR_OK && *status == 200)
        e = take_page(t, &page);
    if (e == ERR_IO && *status == 200)
        fputs("headgate: not everything could be written\n", stderr);
    else if (e != ERR_OK || *status != 200)
        session_complain_of(&t->session, *status, e, &page);
    buf_clear(&path);
    buf_clear(&page);
    return e;
}

/* false: it has been said what is wrong. */
static bool ask_all(struct talk *t)
{
    char after[TEXT_SIZE] = "";
    long status = 0;
    enum err e;

    do {
        e = ask(t, after, &status);
        memcpy(after, t->next, sizeof(after));
    } while (e == ERR_OK && status == 200 && after[0] != '\0' &&
             t->broken[0] == '\0');
    return e == ERR_OK && status == 200;
}

/* ---- the words -------------------------------------------------------------- */

static bool say_head(const struct talk *t)
{
    /* a script reads it: number and hash, and nothing else */
    return printf("%s %s\n", t->seq[0] != '\0' ? t->seq : "0", t->head) > 0 &&
           fflush(stdout) == 0;
}

/* The anchor comes first: a chain can be whole in itself, and not the one that
 * it was.  false: it is not in it, or nobody can tell. */
static bool say_anchor(const struct talk *t)
{
    bool cut = strcmp(t->why, "cut") == 0;

    if (t->anchor[0] != '\0') {
        printf(_("The hash that was kept elsewhere is that of row %s."),
               t->anchor);
        puts("");
        return true;
    }
    puts(cut ? _("The hash that was kept elsewhere is NOT in this chain: the "
                 "end was cut off.")
         : t->broken[0] != '\0'
             ? _("The hash that was kept elsewhere is NOT in the part of this "
                 "chain that is whole.")
             : _("The hash that was kept elsewhere is NOT in this chain: it "
                 "was written anew, cut, or the hash is of another store."));
    return false;
}

static void say_broken(const struct talk *t)
{
    struct buf words;

    buf_init(&words, WORDS_MAX);
    audit_say_broken(strtoll(t->broken, NULL, 10), t->why, &words);
    puts(words.data != NULL ? words.data : "");
    buf_clear(&words);
}

static int say_verified(const struct talk *t, bool anchored)
{
    bool found = !anchored || say_anchor(t);

    if (t->broken[0] != '\0')
        say_broken(t);
    if (t->broken[0] != '\0' || !found) {
        fflush(stdout);
        return 1;
    }
    /* TRANSLATORS: a number of rows */
    printf(_("Whole: %s rows follow one another as they were written."),
           t->walked[0] != '\0' ? t->walked : "0");
    puts("");
    if (!anchored)
        puts(_("Without a hash that was kept elsewhere (--anchor) this does "
               "not show a chain that was written anew as a whole, or cut."));
    return fflush(stdout) == 0 ? 0 : 1;
}

/* ---- one command ------------------------------------------------------------ */

static void add(struct buf *query, const char *key, const char *value)
{
    if (value == NULL)
        return;
    buf_printf(query, "&%s=", key);
    command_escape(query, value);
}

/* A new file for this account alone; it holds who did what. */
static FILE *create(const char *path)
{
    int fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    FILE *file = fd >= 0 ? fdopen(fd, "w") : NULL;

    if (file == NULL)
        fprintf(stderr,
                "headgate: %s: it is there already, or cannot be "
                "written\n",
                path);
    if (file == NULL && fd >= 0)
        close(fd);
    return file;
}

static int finish(struct talk *t, const char *word, bool anchored)
{
    if (strcmp(word, "head") == 0)
        return say_head(t) ? 0 : 1;
    if (strcmp(word, "verify") == 0)
        return say_verified(t, anchored);
    if (fflush(t->to) != 0 || (t->to != stdout && fsync(fileno(t->to)) != 0)) {
        fputs("headgate: not everything could be written\n", stderr);
        return 1;
    }
    return 0;
}

static int run(const struct args *a, const char *word)
{
    struct talk *t = calloc(1, sizeof(*t));
    struct config config;
    int status = 2;

    if (t == NULL)
        return 1;
    buf_init(&t->query, PATH_TEXT_MAX);
    buf_puts(&t->query, strcmp(word, "verify") == 0   ? "verify=1"
                        : strcmp(word, "head") == 0   ? "head=1"
                        : strcmp(word, "export") == 0 ? "form=fhir"
                        : a->json                     ? "form=json"
                                                      : "form=table");
    add(&t->query, "from", a->from);
    add(&t->query, "to", a->before);
    add(&t->query, "patient", a->patient);
    add(&t->query, "anchor", a->anchor);
    if (args_config(a, &config) && buf_ok(&t->query) == ERR_OK)
        status = session_open(&t->session, a, &config, false);
    if (status == 0) {
        t->to = a->fhir != NULL             ? create(a->fhir)
                : strcmp(word, "list") == 0 ? stdout
                                            : NULL;
        status = 1;
        if (!(a->fhir != NULL && t->to == NULL) && ask_all(t))
            status = finish(t, word, a->anchor != NULL);
        if (t->to != NULL && t->to != stdout && fclose(t->to) != 0)
            status = 1;
        session_close(&t->session);
    }
    buf_clear(&t->query);
    free(t);
    return status;
}

/* What of the arguments does not go together; NULL: nothing. */
static const char *misfit(const struct args *a, const char *word)
{
    bool lists = strcmp(word, "list") == 0;
    bool exports = strcmp(word, "export") == 0;

    if (!lists && !exports && strcmp(word, "verify") != 0 &&
        strcmp(word, "head") != 0)
        return "the word is list, export, verify or head";
    if (a->file_count != 1)
        return "one word says what to do";
    if (exports != (a->fhir != NULL))
        return exports ? "say into which file (--fhir)"
                       : "--fhir goes with export";
    if (!lists && !exports &&
        (a->from != NULL || a->before != NULL || a->patient != NULL))
        return "--from, --to and --patient go with list and export";
    if (a->anchor != NULL && strcmp(word, "verify") != 0)
        return "--anchor goes with verify";
    return a->json && !lists ? "--json goes with list" : NULL;
}

/* The form alone: which days there are depends on the zone of the site. */
static bool check_date(const char *name, const char *text)
{
    struct zone *utc = NULL;
    struct fhir_time at;
    enum err e;

    if (text == NULL)
        return true;
    e = zone_load("UTC", &utc);
    if (e == ERR_OK)
        e = fhir_time_read(text, strlen(text), utc, &at);
    zone_free(utc);
    if (e != ERR_OK) {
        /* TRANSLATORS: an argument, and what was given for it */
        fprintf(stderr,
                _("headgate: %s '%s' is no date: write it as 2026-03-31"), name,
                text);
        fputs("\n", stderr);
    }
    return e == ERR_OK;
}

int command_audit(int argc, char **argv)
{
    struct args args;
    const char *wrong;
    bool helped;

    if (!args_read(&args, argc, argv, "jfa", help, &helped))
        return helped ? 0 : 2;
    wrong = misfit(&args, args.file_count > 0 ? args.files[0] : "");
    if (wrong != NULL)
        return complain(wrong);
    if (!check_date("--from", args.from) || !check_date("--to", args.before))
        return 2;
    return run(&args, args.files[0]);
}
