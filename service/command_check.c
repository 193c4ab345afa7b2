#include "service/command_check_work.h"

#include "adapters/fhir_codesystem.h"
#include "service/check_codes.h"

#include <stdio.h>
#include <string.h>

enum { REFERENCE_MAX = 256 * 1024, CODESYSTEMS_MAX = 1024 * 1024 };

static const char help[] =
    "usage: headgate check [--offline] [--quick] [--config FILE]\n"
    "                      [--set SECTION.KEY=VALUE]...\n"
    "       headgate check reference\n"
    "       headgate check codesystems [--config FILE]\n"
    "       headgate check --codes [--json] [--config FILE] FILE...\n\n"
    "Reads configuration, policy, time zone, code maps and store, and says\n"
    "what is wrong or what would be in force.  Where a record is set, it is\n"
    "asked what it can (--offline: it is not), and what will and will not "
    "work\n"
    "there is said in words; nothing is written there.  A store that no "
    "service has\n"
    "open is read through (--quick: only opened); it is not changed.\n"
    "'reference' prints every setting there is,\n"
    "'codesystems' the codes of this service as FHIR CodeSystems, with the\n"
    "canonical base that is configured (fhir.base).\n\n"
    "--codes reads a sample of what a sender sends (FHIR JSON or NDJSON, HL7 "
    "v2, or\n"
    "CSV with the columns system, code, unit; '-': standard input) and says "
    "what each\n"
    "code, value, method, body site and unit would be taken for, and which "
    "rows the\n"
    "code map of the site lacks. Nothing is stored, no service is needed, and "
    "no value\n"
    "of a patient is printed.\n\n"
    "Where no service runs on the store, queue and the other commands open it\n"
    "themselves; a store of an older version is then brought up to\n"
    "date in place, as at a start of the service.\n"
    "\nExit status: 0 nothing is wrong; 1 of --codes: something is missing, "
    "or it\n"
    "could not be written; 2 something is wrong, or the command line is, or "
    "the\n"
    "sample cannot be used.\n";

/* A file that was cut must not pass for a whole one. */
static int print(struct buf *out, enum err e)
{
    bool ok = e == ERR_OK &&
              fwrite(out->data, 1, out->len, stdout) == out->len &&
              fflush(stdout) == 0;

    buf_clear(out);
    if (!ok)
        fputs("headgate: not everything could be written\n", stderr);
    return ok ? 0 : 1;
}

static int print_reference(void)
{
    struct buf out;

    buf_init(&out, REFERENCE_MAX);
    config_reference(&out);
    return print(&out, buf_ok(&out));
}

static int print_codesystems(const struct args *args)
{
    struct config config;
    struct buf out;

    if (!args_config(args, &config))
        return 2;
    buf_init(&out, CODESYSTEMS_MAX);
    return print(&out, fhir_write_codesystems(config.fhir_base, &out));
}

/* What a sample of a sender would be taken for. */
static int check_sample(const struct args *args)
{
    static struct config config; /* large */

    if (args->file_count == 0) {
        fprintf(stderr, "headgate: --codes needs a file\n\n%s", help);
        return 2;
    }
    if (!args_config(args, &config))
        return 2;
    return check_codes(&config, args->files, args->file_count, args->json);
}

void check_print_lines(const char *word, const char *lines)
{
    while (*lines != '\0') {
        int len = (int)strcspn(lines, "\n");

        printf("%-8s %.*s\n", word, len, lines);
        lines += len + (lines[len] == '\n' ? 1 : 0);
    }
}

/* Whatever one part finds, the next is looked at too. */
static bool check_all(const struct config *config, const struct args *args)
{
    static bool (*const checks[])(const struct config *) = {
        check_policy, check_zone, check_maps, check_tokens,
        check_keys,   check_hl7,  check_drop, check_modes,
    };
    bool ok = check_listener(config);

    printf("record   %s\n", config->record_url[0] != '\0'
                                ? config->record_url
                                : "none: Tasks are served here");
    if (config->record_url[0] != '\0' && !args->offline) {
        fflush(stdout);
        ok = check_record(config) && ok;
    }
    if (config->silent)
        printf("silent   on: nothing new is posted, neither here nor to a "
               "record\n");
    for (size_t i = 0; i < COUNT(checks); i++)
        ok = checks[i](config) && ok;
    return check_store(config, args->quick) && ok;
}

int command_check(int argc, char **argv)
{
    struct args args;
    struct config config;
    bool helped;

    if (!args_read(&args, argc, argv, "foj", help, &helped))
        return helped ? 0 : 2;
    if (args.codes)
        return check_sample(&args);
    if (args.json) {
        fputs("headgate: --json goes with --codes\n", stderr);
        return 2;
    }
    if (args.file_count == 1 && strcmp(args.files[0], "reference") == 0)
        return print_reference();
    if (args.file_count == 1 && strcmp(args.files[0], "codesystems") == 0)
        return print_codesystems(&args);
    if (args.file_count > 0) {
        fprintf(stderr, "headgate: '%s' is not understood here\n\n%s",
                args.files[0], help);
        return 2;
    }
    if (!args_config(&args, &config) || !args_listener(&args, &config))
        return 2;
    return check_all(&config, &args) ? 0 : 2;
}
