#include "service/command.h"

#include "adapters/catalogue.h"
#include "adapters/fhir_time.h"
#include "adapters/zone.h"

#include <stddef.h>
#include <stdio.h>
#include <string.h>

static bool takes_value(const char *name, int i, int argc, char **argv)
{
    if (i + 1 < argc && strncmp(argv[i + 1], "--", 2) != 0)
        return true;
    fprintf(stderr, "headgate: %s needs a value", name);
    if (i + 1 < argc)
        fprintf(stderr, ", and '%s' is an option", argv[i + 1]);
    fputs("\n", stderr);
    return false;
}

/* Options with a value, the letter of allowed that admits each (0: always), and
 * where the value goes. */
#define PLACE(member) offsetof(struct args, member)
static const struct {
    const char *name;
    char letter;
    size_t place;
} options[] = {
    { "--config", 0, PLACE(config) },
    { "--to", 't', PLACE(to) },
    { "--token-file", 't', PLACE(token) },
    { "--ca", 't', PLACE(ca) },
    { "--to", 'n', PLACE(out) },
    { "--policy", 'b', PLACE(policy) },
    { "--against", 'b', PLACE(against) },
    { "--until", 'b', PLACE(until) },
    { "--arrival", 'b', PLACE(arrival) },
    { "--since", 's', PLACE(since) },
    { "--from", 'p', PLACE(from) },
    { "--access", 'p', PLACE(access) },
    { "--prior", 'p', PLACE(prior) },
    { "--target", 'p', PLACE(target) },
    { "--dowels", 'p', PLACE(dowels) },
    { "--pdf", 'p', PLACE(pdf) },
    { "--method", 'm', PLACE(method) },
    { "--svg", 'p', PLACE(svg) },
    { "--by", 'k', PLACE(by) },
    { "--by", 'w', PLACE(by) },
    { "--by", 'i', PLACE(by) },
    { "--why", 'w', PLACE(why) },
    { "--name", 'e', PLACE(name) },
    { "--whom", 'g', PLACE(whom) },
    { "--over", 'g', PLACE(over) },
    { "--until", 'g', PLACE(until) },
    { "--reason", 'q', PLACE(reason) },
    { "--unit", 'q', PLACE(unit) },
    { "--target", 'q', PLACE(target) },
    { "--code", 'q', PLACE(code) },
    { "--arm", 'q', PLACE(arm) },
    { "--from", 'q', PLACE(from) },
    { "--access", 'q', PLACE(access) },
    { "--side", 'q', PLACE(side) },
    { "--week", 'r', PLACE(week) },
    { "--unit", 'r', PLACE(unit) },
    { "--group", 'x', PLACE(group) },
    { "--types", 'x', PLACE(types) },
    { "--errors", 'l', PLACE(errors) },
    { "--state", 'l', PLACE(state) },
    { "--sender", 'l', PLACE(sender) },
    { "--unit", 'u', PLACE(unit) },
    { "--state", 'u', PLACE(state) },
    { "--access", 'u', PLACE(access) },
    { "--week", 'u', PLACE(week) },
    { "--from", 'a', PLACE(from) },
    { "--to", 'a', PLACE(before) },
    { "--fhir", 'a', PLACE(fhir) },
    { "--anchor", 'a', PLACE(anchor) },
    { "--patient", 'a', PLACE(patient) },
};
#undef PLACE

/* Where the value of an option goes; NULL: not one of these, or not here. */
static const char **place_of(struct args *a, const char *name,
                             const char *allowed)
{
    for (size_t i = 0; i < COUNT(options); i++) {
        if (strcmp(options[i].name, name) == 0 &&
            (options[i].letter == 0 ||
             strchr(allowed, options[i].letter) != NULL))
            return (const char **)(void *)((char *)a + options[i].place);
    }
    return NULL;
}

/* One of several rules. */
static int read_rule(struct args *a, int *i, int argc, char **argv)
{
    if (!takes_value("--rule", *i, argc, argv))
        return 0;
    if (a->rule_count == ARGS_RULES_MAX) {
        fprintf(stderr, "headgate: more than %d times --rule\n",
                ARGS_RULES_MAX);
        return 0;
    }
    a->rules[a->rule_count++] = argv[++*i];
    return 1;
}

/* One option that has a value; *i is moved past it.  -1: not one of them. */
static int read_valued(struct args *a, int *i, int argc, char **argv,
                       const char *allowed)
{
    const char *name = argv[*i];
    const char **place = place_of(a, name, allowed);

    if (strcmp(name, "--rule") == 0 && strchr(allowed, 'u') != NULL)
        return read_rule(a, i, argc, argv);
    if (place == NULL && strcmp(name, "--set") != 0)
        return -1;
    if (!takes_value(name, *i, argc, argv))
        return 0;
    if (place != NULL && *place != NULL) {
        fprintf(stderr, "headgate: %s is given twice\n", name);
        return 0;
    }
    if (place != NULL) {
        *place = argv[++*i];
        return 1;
    }
    if (a->set_count == ARGS_SETS_MAX) {
        fprintf(stderr, "headgate: more than %d times --set\n", ARGS_SETS_MAX);
        return 0;
    }
    a->sets[a->set_count++] = argv[++*i];
    return 1;
}

/* One option that has no value. */
static bool read_switch(struct args *a, const char *name, const char *allowed)
{
    const struct {
        const char *name;
        char letter; /* of allowed */
        bool *place;
    } switches[] = { { "--json", 'j', &a->json },
                     { "--timeline", 'y', &a->timeline },
                     { "--on-table", 'p', &a->on_table },
                     { "--use", 'k', &a->use },
                     { "--drop", 'k', &a->drop },
                     { "--offline", 'o', &a->offline },
                     { "--quick", 'o', &a->quick },
                     { "--codes", 'o', &a->codes },
                     { "--bulk", 'x', &a->bulk },
                     { "--all", 'x', &a->all },
                     { "--all", 'c', &a->all },
                     { "--cancel", 'x', &a->cancel },
                     { "--as-sent", 'q', &a->as_sent },
                     { "--resume", 'l', &a->resume },
                     { "--quiet", 'l', &a->quiet },
                     { "--errors-held", 'l', &a->errors_held },
                     { "--watch", 'u', &a->watch },
                     { "--yes", 'v', &a->yes },
                     { "--even-if-urgent", 'e', &a->even_if_urgent },
                     { "--digest", 'u', &a->digest } };

    for (size_t i = 0; i < COUNT(switches); i++) {
        if (strcmp(switches[i].name, name) == 0 &&
            strchr(allowed, switches[i].letter) != NULL) {
            *switches[i].place = true;
            return true;
        }
    }
    return false;
}

/* What can be told to be wrong before anything is opened. */
static bool are_usable(const struct args *a)
{
    if (a->to != NULL && strncmp(a->to, "http://", 7) != 0 &&
        strncmp(a->to, "https://", 8) != 0) {
        fprintf(stderr,
                "headgate: --to '%s': name a service as http://HOST:PORT or "
                "https://HOST\n",
                a->to);
        return false;
    }
    if (a->arrival != NULL && strcmp(a->arrival, "sent") != 0 &&
        strcmp(a->arrival, "effective") != 0) {
        fprintf(stderr, "headgate: --arrival is 'sent' or 'effective'\n");
        return false;
    }
    return true;
}

static bool args_date(const char *option, const char *text)
{
    struct zone *zone;
    struct fhir_time time;
    bool ok;

    if (text == NULL || zone_load("UTC", &zone) != ERR_OK)
        return true; /* whoever takes it judges it */
    ok = fhir_time_read(text, strlen(text), zone, &time) == ERR_OK;
    zone_free(zone);
    if (!ok)
        fprintf(stderr,
                "headgate: %s '%s' is not a date: write it as 2026-03-31\n",
                option, text);
    return ok;
}

bool args_read(struct args *a, int argc, char **argv, const char *allowed,
               const char *help, bool *helped)
{
    memset(a, 0, sizeof(*a));
    *helped = false;
    for (int i = 1; i < argc; i++) {
        int read = read_valued(a, &i, argc, argv, allowed);

        if (read == 1)
            continue;
        if (read == 0)
            return false;
        if (strcmp(argv[i], "--help") == 0 || strcmp(argv[i], "-h") == 0) {
            fputs(help, stdout);
            *helped = true;
            return false;
        }
        if (read_switch(a, argv[i], allowed)) {
            continue;
        } else if ((argv[i][0] != '-' || argv[i][1] == '\0') &&
                   strchr(allowed, 'f') != NULL &&
                   a->file_count < ARGS_FILES_MAX) {
            a->files[a->file_count++] = argv[i];
        } else {
            fprintf(stderr, "headgate: '%s' is not understood here\n\n%s",
                    argv[i], help);
            return false;
        }
    }
    return are_usable(a) && args_date("--since", a->since) &&
           args_date("--until", a->until);
}

static bool report(enum err e, struct buf *why)
{
    if (e != ERR_OK)
        fprintf(stderr, "headgate: %s\n",
                why->len > 0 ? why->data : err_word(e));
    buf_clear(why);
    return e == ERR_OK;
}

bool args_listener(const struct args *a, const struct config *config)
{
    struct buf why;

    buf_init(&why, 4096);
    return report(config_check_listener(config, a->config, &why), &why);
}

/* From here on what people read is in this language. */
static enum err speak(const char *language, struct buf *why)
{
    enum err e = catalogue_open(language, NULL);

    if (e == ERR_ABSENT)
        buf_printf(why,
                   "[site] language: there is no catalogue of '%s' (en, or "
                   "the name of a file of config/po)",
                   language);
    else if (e != ERR_OK)
        buf_printf(why,
                   "[site] language: '%s' needs the locale C.UTF-8 of this "
                   "system",
                   language);
    return e;
}

bool args_config(const struct args *a, struct config *config)
{
    struct buf why;

    enum err e;

    buf_init(&why, 4096);
    e = config_load(a->config, a->sets, a->set_count, config, &why);
    if (e == ERR_OK)
        e = speak(config->language, &why);
    return report(e, &why);
}
