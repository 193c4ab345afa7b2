/*
 * headgate load - files of resources and messages to a service
 *
 *     file --> lines    --> collection Bundle --> POST /fhir --> fate of each
 *          --> messages ----------------------> POST /hl7  --> fate of each
 *
 * After each answer it is written down how far the file is acknowledged, so
 * that a run that was stopped can be gone on with.
 */
#include "service/load.h"

#include <errno.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

static const char help[] =
    "usage: headgate load [--config FILE] [--set SECTION.KEY=VALUE]...\n"
    "                     [--to URL [--token-file FILE] [--ca FILE]]\n"
    "                     [--resume] [--state FOLDER] [--errors FILE]\n"
    "                     [--errors-held] [--sender NAME] [--quiet] FILE...\n\n"
    "Sends FHIR resources and HL7 v2 results to the service that runs on the\n"
    "configured store, or to the one at URL; if none runs, they go straight\n"
    "into the store.  A FILE is NDJSON (one resource a line), a Bundle, one\n"
    "resource, a file of HL7 v2 messages, or '-' for standard input; which of\n"
    "them is seen from what it holds.  Compressed files must be unpacked "
    "first:\n"
    "gunzip -c FILE | headgate load -\n\n"
    "What is unclear is held for a person (see headgate quarantine).  What is\n"
    "refused is listed, and written to FILE.errors.ndjson with its reasons, "
    "one\n"
    "OperationOutcome a line.\n\n"
    "  --resume       go on where the last run of this file was stopped; a "
    "file\n"
    "                 that has changed since is not gone on with\n"
    "  --state FOLDER where it is kept how far a file has come; else beside "
    "the\n"
    "                 error file, as FILE.headgate-load\n"
    "  --errors FILE  what was refused goes there, of all files\n"
    "  --errors-held  what is held for a person is listed there too\n"
    "  --sender NAME  whose HL7 v2 messages these are ([sender NAME] of the\n"
    "                 settings); else each message says it itself (MSH-3, "
    "MSH-4)\n"
    "  --quiet        no progress bar\n"
    "\n" HELP_TO "\n"
    "The summary counts resources of FHIR files; of HL7 v2 the messages, and "
    "on\n"
    "a line of their own the results (OBX) in them.\n\n"
    "Ctrl-C stops after the Bundle or message that is under way.\n\n"
    "Exit status: 0 all was taken, or is held; 1 something was refused, a file "
    "could\n"
    "not be read to its end, or no service took it; 2 the command line or\n"
    "configuration is wrong; 130 (143) it was stopped by SIGINT (SIGTERM).\n";

static volatile sig_atomic_t stopped;

static void on_signal(int number)
{
    stopped = number;
}

int load_stopped(void)
{
    return stopped;
}

/* The first asks to stop, the second does what it does otherwise. */
static void catch_signals(void)
{
    struct sigaction action;

    memset(&action, 0, sizeof(action));
    action.sa_handler = on_signal;
    action.sa_flags = (int)SA_RESETHAND;
    sigaction(SIGINT, &action, NULL);
    sigaction(SIGTERM, &action, NULL);
}

int64_t load_now_ms(void)
{
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

/* A name that was mistyped must not make a store. */
static bool are_there(const struct args *args)
{
    bool all = true;

    for (int i = 0; i < args->file_count; i++) {
        const char *path = args->files[i];

        if (strcmp(path, "-") == 0 || access(path, R_OK) == 0)
            continue;
        fprintf(stderr, "headgate: %s: %s\n", path, strerror(errno));
        all = false;
    }
    if (args->state != NULL && access(args->state, W_OK | X_OK) != 0) {
        fprintf(stderr, "headgate: --state %s: %s\n", args->state,
                strerror(errno));
        all = false;
    }
    if (!all)
        fputs("headgate: nothing was loaded\n", stderr);
    return all;
}

static void load_free(struct load *l)
{
    buf_clear(&l->state_path);
    buf_clear(&l->errors_path);
    buf_clear(&l->line);
    free(l->answers);
    free(l);
}

static int end(struct load *l, int64_t spent_ms)
{
    bool refused =
        l->counts.refused + l->messages.faulty + l->messages.rejected > 0;
    int status = l->misused ? 2 : l->broken || refused ? 1 : 0;

    load_print_summary(l, spent_ms);
    if (load_stopped() != 0)
        status = 128 + load_stopped();
    load_free(l);
    return status;
}

static int run(const struct args *args, const struct config *config)
{
    struct load *l = calloc(1, sizeof(*l));
    int64_t start_ms = load_now_ms();
    int opened = 1;

    if (l == NULL)
        return 1;
    l->args = args;
    l->base = config->fhir_base;
    buf_init(&l->state_path, LOAD_PATH_MAX);
    buf_init(&l->errors_path, LOAD_PATH_MAX);
    buf_init(&l->line, (size_t)1024 * 1024);
    l->answers = calloc(LOAD_ENTRIES_MAX, sizeof(*l->answers));
    if (l->answers != NULL)
        opened = session_open(&l->session, args, config, true);
    l->session.history = true;
    if (opened != 0) {
        load_free(l);
        return opened;
    }
    catch_signals();
    for (int i = 0; i < args->file_count && !l->broken && load_stopped() == 0;
         i++)
        load_file(l, args->files[i]);
    load_errors_close(l);
    session_close(&l->session);
    return end(l, load_now_ms() - start_ms);
}

int command_load(int argc, char **argv)
{
    struct args args;
    struct config config;
    bool helped;

    if (!args_read(&args, argc, argv, "tfl", help, &helped))
        return helped ? 0 : 2;
    if (args.file_count == 0) {
        fputs(help, stderr);
        return 2;
    }
    if (!args_config(&args, &config))
        return 2;
    return are_there(&args) ? run(&args, &config) : 1;
}
