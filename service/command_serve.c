#include "service/command.h"

#include "service/db.h"
#include "service/log.h"

#include <signal.h>
#include <stdio.h>
#include <string.h>

static const char help[] =
    "usage: headgate serve [--config FILE] [--set SECTION.KEY=VALUE]...\n\n"
    "Runs the service until SIGTERM, SIGINT or SIGHUP.  When it takes requests "
    "it\n"
    "prints one line: headgate ready http://ADDRESS:PORT/fhir\n"
    "and before it, if it listens for HL7 v2: headgate listens "
    "mllp://ADDRESS:PORT\n";

struct running {
    uv_loop_t loop;
    uv_signal_t signals[3]; /* TERM, INT, HUP */
    struct service *service;
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
        uv_signal_start(&r->signals[i], on_signal, numbers[i]);
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

    printf("headgate ready http://%s%s%s:%d/fhir\n", v6 ? "[" : "",
           config->http_address, v6 ? "]" : "", port);
    fflush(stdout);
    log_event(LOG_INFO, "service.ready", KEY_INT("port", port));
}

static int run(const struct config *config)
{
    struct running r = { .service = NULL };
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

int command_serve(int argc, char **argv)
{
    struct args args;
    struct config config;
    enum log_level level;
    bool helped;

    if (!args_read(&args, argc, argv, "", help, &helped))
        return helped ? 0 : 2;
    if (!args_config(&args, &config) || !args_listener(&args, &config))
        return 2;
    if (log_level_by_word(config.log_level, &level) == ERR_OK)
        log_set_level(level);
    return run(&config);
}
