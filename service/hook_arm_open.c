/* Opening and closing; how it goes, for people. */
#include "service/file.h"
#include "service/hook_arm_work.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static enum err read_token(struct hook_arm *a, struct buf *why)
{
    const char *path = a->options.config->record_hook_token_file;
    struct buf text;
    enum err e;

    if (path[0] == '\0')
        return ERR_OK;
    buf_init(&text, 16384);
    e = file_read(path, &text, why);
    if (e == ERR_OK) {
        text.data[strcspn(text.data, "\r\n")] = '\0';
        a->token = buf_take(&text);
        e = a->token != NULL ? ERR_OK : ERR_MEMORY;
    }
    buf_clear(&text);
    return e;
}

static void add(struct hook_arm *a, const char *name, const char *query,
                const char *value)
{
    struct armed *s = &a->list[a->count++];

    s->name = name;
    buf_init(&s->criteria, ARM_TEXT_MAX);
    buf_printf(&s->criteria, "%s?%s%s", name, query, value);
}

static void free_arm(struct hook_arm *a)
{
    for (size_t i = 0; i < a->count; i++)
        buf_clear(&a->list[i].criteria);
    free(a->token);
    free(a);
}

enum err hook_arm_open(const struct hook_arm_options *options,
                       struct hook_arm **arm, struct buf *why)
{
    struct hook_arm *a = calloc(1, sizeof(*a));
    const char *codes = options->config->record_poll_codes;
    char system[CONFIG_TEXT_SIZE + 40];
    enum err e;

    if (a == NULL)
        return ERR_MEMORY;
    a->options = *options;
    e = read_token(a, why);
    snprintf(system, sizeof(system), "%s/NamingSystem/task-key|",
             options->config->fhir_base);
    add(a, "Observation", codes[0] != '\0' ? "code=" : "", codes);
    if (options->tasks)
        add(a, "Task", "identifier=", system);
    for (size_t i = 0; e == ERR_OK && i < a->count; i++)
        e = buf_ok(&a->list[i].criteria);
    if (e != ERR_OK) {
        free_arm(a);
        return e;
    }
    uv_timer_init(options->loop, &a->timer);
    a->timer.data = a;
    arm_go(a, ARM_IDLE);
    *arm = a;
    return ERR_OK;
}

static void timer_closed(uv_handle_t *handle)
{
    struct hook_arm *a = handle->data;
    void (*closed)(void *) = a->on_closed;
    void *arg = a->closed_arg;

    free_arm(a);
    closed(arg);
}

void arm_close_if_done(struct hook_arm *a)
{
    if (a->step == ARM_LOADING || a->step == ARM_SAVING)
        return; /* a job runs */
    uv_close((uv_handle_t *)&a->timer, timer_closed);
}

void hook_arm_close(struct hook_arm *a, void (*closed)(void *arg), void *arg)
{
    a->closing = true;
    a->on_closed = closed;
    a->closed_arg = arg;
    if (a->call != NULL)
        record_call_cancel(a->call);
    a->call = NULL;
    uv_timer_stop(&a->timer);
    arm_close_if_done(a);
}

void hook_arm_look(const struct hook_arm *a, struct hook_arm_view *view)
{
    view->count = a->count;
    for (size_t i = 0; i < a->count; i++) {
        view->list[i].name = a->list[i].name;
        view->list[i].state = a->list[i].state;
        view->list[i].status = a->list[i].status;
    }
}

void hook_arm_say(const struct hook_arm_view *view, struct buf *out)
{
    for (size_t i = 0; i < view->count; i++) {
        if (view->list[i].state == ARM_GIVEN_UP)
            buf_printf(out,
                       "calls for %s: the record has given them up; it is "
                       "asked again. Polls go on\n",
                       view->list[i].name);
        else if (view->list[i].state == ARM_REFUSED)
            buf_printf(out,
                       "calls for %s: the record does not take the "
                       "Subscription (HTTP %ld). Polls go on\n",
                       view->list[i].name, view->list[i].status);
    }
}
