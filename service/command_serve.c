#include "service/command.h"

#include "service/db.h"
#include "service/limits.h"
#include "service/log.h"
#include "service/modes.h"

#include <signal.h>
#include <stdio.h>
#include <string.h>

static const char help[] =
    "usage: headgate serve [--config FILE] [--set SECTION.KEY=VALUE]...\n\n"
    "Runs the service until SIGTERM or SIGINT.  When it takes requests it\n"
    "prints one line: headgate ready http://ADDRESS:PORT/fhir (https: by TLS)\n"
    "and before it, if it listens for HL7 v2: headgate listens "
    "mllp://ADDRESS:PORT\n\n"
    "SIGHUP: tokens, policy, certificates, limits and log level are read "
    "again,\n"
    "and no connection is ended.  If a file is wrong, nothing changes; what "
    "counts\n"
    "only from the next start on is named.\n\n"
    "Exit status: 0 it was told to stop; 1 it cannot start (the store, a "
    "port), or\n"
    "the store has failed; 2 the command line, the configuration or the mode "
    "of a\n"
    "file is wrong.\n";

struct running {
    uv_loop_t loop;
    uv_signal_t signals[3]; /* TERM, INT, HUP */
    struct service *service;
    const struct args *args; /* by which the settings are read again */
    bool failed;
};

static void on_stopped(void *arg, bool failed)
{
    struct running *r = arg;

    r->failed = r->failed || failed;
    for (size_t i = 0; i < COUNT(r->signals); i++)
        uv_close((uv_handle_t *)&r->signals[i], NULL);
}

static void on_signal(uv_signal_t *handle, int number)
{
    struct running *r = handle->data;

    log_event(LOG_INFO, "service.stop", KEY_INT("signal", number));
    service_stop(r->service, on_stopped, r);
}

/* Each line of what was found, for a person. */
static void say_lines(const char *lines, const char *what)
{
    while (*lines != '\0') {
        int len = (int)strcspn(lines, "\n");

        fprintf(stderr, "headgate: %.*s%s\n", len, lines, what);
        lines += len + (lines[len] == '\n' ? 1 : 0);
    }
}

static enum err read_again(const struct running *r, struct config *fresh,
                           struct buf *why)
{
    enum err e = config_load(r->args->config, r->args->sets, r->args->set_count,
                             fresh, why);
    unsigned wrong = 0;

    if (e == ERR_OK)
        wrong = modes_check(fresh, true, why);
    return wrong > 0 ? ERR_CONFIG : e;
}

static void on_hangup(uv_signal_t *handle, int number)
{
    static struct config fresh; /* large */
    struct running *r = handle->data;
    struct buf kept, why;
    enum err e;

    (void)number;
    buf_init(&kept, 8192);
    buf_init(&why, 8192);
    e = read_again(r, &fresh, &why);
    if (e != ERR_OK)
        service_reload_failed(r->service);
    else
        e = service_reload(r->service, &fresh, &kept, &why);
    say_lines(why.data, "");
    if (e == ERR_OK)
        say_lines(kept.data, ": has changed, and counts from the next start");
    else
        fputs("headgate: settings not read again; those before are in force\n",
              stderr);
    buf_clear(&kept);
    buf_clear(&why);
}

static void on_fatal(void *arg)
{
    struct running *r = arg;

    r->failed = true;
    service_stop(r->service, on_stopped, r);
}

static void watch_signals(struct running *r)
{
    static const int numbers[] = { SIGTERM, SIGINT, SIGHUP };

    signal(SIGPIPE, SIG_IGN);
    for (size_t i = 0; i < COUNT(numbers); i++) {
        uv_signal_init(&r->loop, &r->signals[i]);
        r->signals[i].data = r;
        uv_signal_start(&r->signals[i],
                        numbers[i] == SIGHUP ? on_hangup : on_signal,
                        numbers[i]);
    }
}

/* Where HL7 v2 is listened for, in a line of its own before the other: that
 * one ends with the address, which programs read. */
static void say_mllp(const struct config *config, int port)
{
    bool v6 = strchr(config->mllp_address, ':') != NULL;

    if (port == 0)
        return;
    printf("headgate listens mllp%s://%s%s%s:%d\n",
           config->mllp_tls_certificate[0] != '\0' ? "s" : "", v6 ? "[" : "",
           config->mllp_address, v6 ? "]" : "", port);
    log_event(LOG_INFO, "mllp.ready", KEY_INT("port", port));
}

static void say_ready(const struct config *config, int port)
{
    bool v6 = strchr(config->http_address, ':') != NULL;

    printf("headgate ready http%s://%s%s%s:%d/fhir\n",
           config->http_tls_certificate[0] != '\0' ? "s" : "", v6 ? "[" : "",
           config->http_address, v6 ? "]" : "", port);
    fflush(stdout);
    log_event(LOG_INFO, "service.ready", KEY_INT("port", port));
}

static int run(const struct args *args, const struct config *config)
{
    struct running r = { .args = args };
    struct buf why;
    enum err e;

    if (uv_loop_init(&r.loop) != 0)
        return 1;
    watch_signals(&r);
    buf_init(&why, 4096);
    e = service_open(&r.loop, config, true, &r.service, &why);
    if (e != ERR_OK) {
        fprintf(stderr, "headgate: %s\n", why.len > 0 ? why.data : err_word(e));
        r.failed = true;
        if (r.service != NULL)
            service_stop(r.service, on_stopped, &r);
        else
            on_stopped(&r, true);
    } else {
        service_on_fatal(r.service, on_fatal, &r);
        say_mllp(config, service_mllp_port(r.service));
        say_ready(config, service_port(r.service));
    }
    buf_clear(&why);
    uv_run(&r.loop, UV_RUN_DEFAULT);
    uv_loop_close(&r.loop);
    return r.failed ? (e == ERR_CONFIG ? 2 : 1) : 0;
}

/* What others could read or change is not served from; where the system gives
 * less than may be needed, that is said. */
static bool are_modes_right(const struct config *config)
{
    struct buf found;
    unsigned wrong;

    buf_init(&found, 8192);
    wrong = modes_check(config, true, &found);
    limits_raise(config);
    limits_check(config, false, &found);
    say_lines(found.data, "");
    buf_clear(&found);
    return wrong == 0;
}

int command_serve(int argc, char **argv)
{
    struct args args;
    struct config config;
    enum log_level level;
    bool helped;

    if (!args_read(&args, argc, argv, "", help, &helped))
        return helped ? 0 : 2;
    if (!args_config(&args, &config) || !args_listener(&args, &config) ||
        !are_modes_right(&config))
        return 2;
    if (log_level_by_word(config.log_level, &level) == ERR_OK)
        log_set_level(level);
    return run(&args, &config);
}
