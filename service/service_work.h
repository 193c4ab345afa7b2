/*
 * service_work - what the parts of a service share; private to service*.c
 *
 *     service.c        opening, and what it says of itself
 *     service_start.c  what a start does, and what each minute does
 *     service_stop.c   the end
 */
#ifndef HEADGATE_SERVICE_SERVICE_WORK_H
#define HEADGATE_SERVICE_SERVICE_WORK_H

#include "service/app.h"
#include "service/service.h"

/* What the record can do has become known. */
void service_on_says(void *arg, const struct fhir_record_says *says);

/* In silent mode without a poll the record is left in peace. */
bool service_deals_with_record(const struct service *s);

/* Do what a start has to do; the result is s->started. */
void service_start_work(struct service *s);

/* Callback of the timer s->minute. */
void service_on_minute(uv_timer_t *timer);

/* Has the clock been set back?  Also the first time, from which it is
 * watched. */
void service_watch_clock(struct service *s);

/* The settings, and the service itself: nothing may be open any more. */
void service_free(struct service *s);

#endif
