#include "service/store_pause.h"

#include <time.h>

static const uint64_t second_ns = 1000000000;

static uint64_t now_ns(void)
{
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (uint64_t)now.tv_sec * second_ns + (uint64_t)now.tv_nsec;
}

void store_pause_begin(struct store_pause *p)
{
    p->length_ms = p->length_ms == 0 ? STORE_PAUSE_FIRST_MS : 2 * p->length_ms;
    if (p->length_ms > STORE_PAUSE_LAST_MS)
        p->length_ms = STORE_PAUSE_LAST_MS;
    p->until_ns = now_ns() + (uint64_t)p->length_ms * 1000000;
}

void store_pause_end(struct store_pause *p)
{
    *p = (struct store_pause){ .until_ns = 0 };
}

bool store_pause_lasts(const struct store_pause *p)
{
    return p->until_ns != 0 && now_ns() < p->until_ns;
}

int store_pause_cond(pthread_cond_t *wake)
{
    pthread_condattr_t how;
    int code = pthread_condattr_init(&how);

    if (code != 0)
        return code;
    code = pthread_condattr_setclock(&how, CLOCK_MONOTONIC);
    if (code == 0)
        code = pthread_cond_init(wake, &how);
    pthread_condattr_destroy(&how);
    return code;
}

void store_pause_wait(const struct store_pause *p, pthread_cond_t *wake,
                      pthread_mutex_t *lock)
{
    struct timespec until = { .tv_sec = (time_t)(p->until_ns / second_ns),
                              .tv_nsec = (long)(p->until_ns % second_ns) };

    if (p->until_ns == 0)
        pthread_cond_wait(wake, lock);
    else
        pthread_cond_timedwait(wake, lock, &until);
}
