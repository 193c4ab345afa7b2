/*
 * headgate - the program: one word says what to do
 */
#include "service/command.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const struct {
    const char *name;
    int (*run)(int argc, char **argv);
    const char *help;
} commands[] = {
    { "serve", command_serve, "run the service" },
    { "load", command_load, "send files of readings to the service" },
    { "fetch", command_fetch, "fetch what is new at the clinical record" },
    { "queue", command_queue, "show the referral queue" },
    { "task", command_task,
      "take a suggestion, hand it over, put it off, decline it" },
    { "access", command_access,
      "list the accesses of a patient; merge two that are one" },
    { "quarantine", command_quarantine, "work on what is held back, and why" },
    { "report", command_report,
      "show what of each unit's feed failed, and why" },
    { "review", command_review, "show what holds for one access, and why" },
    { "plan", command_plan, "plan the band of one access" },
    { "case", command_case, "type in a procedure; the card follows" },
    { "technique", command_technique,
      "show what finished procedures say of the site's technique" },
    { "decisions", command_decisions,
      "show what headgate decided (not what people did)" },
    { "outbox", command_outbox,
      "show what could not be delivered to the record; retry or discard it" },
    { "audit", command_audit, "show who did what; check that it is whole" },
    { "backtest", command_backtest, "show what the rules say of past data" },
    { "store", command_store,
      "back up the store, verify and restore a backup, prune" },
    { "patient", command_patient,
      "give out, or remove, all that is kept of one patient" },
    { "check", command_check, "check configuration, policy and code maps" },
};

static int usage(FILE *to)
{
    fprintf(to,
            "headgate %s: watches dialysis accesses and suggests referrals\n\n"
            "usage: headgate COMMAND [--config FILE] [--set SECTION.KEY=VALUE]"
            "... [ARGUMENTS]\n\n",
            HEADGATE_VERSION);
    for (size_t i = 0; i < sizeof(commands) / sizeof(commands[0]); i++)
        fprintf(to, "  %-12s%s\n", commands[i].name, commands[i].help);
    fputs("\nheadgate COMMAND --help says more.  With --to URL a command takes "
          "--token-file FILE,\n"
          "and --ca FILE: who signs the certificate of a service with https "
          "(PEM).\n"
          "Exit status: 0 done; 1 refused or failed; 2 the command line or the "
          "configuration\n"
          "is wrong; what else a command has, its --help says.\n"
          "Suggestions are decision support; a qualified clinician decides.\n",
          to);
    return to == stdout ? 0 : 2;
}

/* Started with a descriptor closed, the next file opened would get its
 * number, and what is printed would go into it: into the store, say. */
static void fill_standard_files(void)
{
    /* read-only on purpose: printing to it fails, and is seen to fail */
    for (int fd = STDIN_FILENO; fd <= STDERR_FILENO; fd++) {
        if (fcntl(fd, F_GETFD) < 0 && open("/dev/null", O_RDONLY) != fd)
            abort();
    }
}

int main(int argc, char **argv)
{
    fill_standard_files();
    /* What it keeps is of patients: for the eyes of its own account. */
    umask(S_IRWXG | S_IRWXO);
    if (argc < 2)
        return usage(stderr);
    if (strcmp(argv[1], "--help") == 0 || strcmp(argv[1], "-h") == 0 ||
        strcmp(argv[1], "help") == 0)
        return usage(stdout);
    if (strcmp(argv[1], "--version") == 0) {
        puts("headgate " HEADGATE_VERSION);
        return 0;
    }
    for (size_t i = 0; i < sizeof(commands) / sizeof(commands[0]); i++) {
        if (strcmp(argv[1], commands[i].name) == 0)
            return commands[i].run(argc - 1, argv + 1);
    }
    fprintf(stderr, "headgate: there is no command '%s'\n\n", argv[1]);
    return usage(stderr);
}
