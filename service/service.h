/*
 * service - a running headgate: store, review, listeners, deliveries
 */
#ifndef HEADGATE_SERVICE_SERVICE_H
#define HEADGATE_SERVICE_SERVICE_H

#include "adapters/buf.h"
#include "service/config.h"

#include <uv.h>

struct service;

/*
 * service_open - open the store and start to listen
 *
 * public  true: the configured address and the deliveries to the record;
 *         false: only the Unix socket beside the store, for a command that
 *         found no service running
 * service out: set also on some errors; if it is not NULL afterwards it has
 *         to be stopped
 * why     out: what is wrong, for a person
 *
 * ERR_CONFIG (policy, code maps, zone, tokens), ERR_DENIED (another process
 * has the store), ERR_STORE, ERR_FULL, ERR_IO (address in use), ERR_MEMORY
 */
MUST_CHECK enum err service_open(uv_loop_t *loop, const struct config *config,
                                 bool public, struct service **service,
                                 struct buf *why);

/* The port that is listened on. */
int service_port(const struct service *service);

/* The port that HL7 v2 is listened for on; 0: none. */
int service_mllp_port(const struct service *service);

/*
 * service_reload - go on with settings that were read again, see reload.h
 *
 * kept  out: the name of each setting that has changed and counts only from the
 *       next start on, one a line
 * why   out: what is wrong; nothing has changed then
 *
 * ERR_CONFIG, ERR_IO, ERR_MEMORY, ERR_STOPPED
 */
MUST_CHECK enum err service_reload(struct service *service,
                                   const struct config *fresh, struct buf *kept,
                                   struct buf *why);
/* They could not even be read; for the metrics and /readyz. */
void service_reload_failed(struct service *service);

/* The Unix socket of a store: beside it. */
void service_socket_path(const char *store_path, char *out, size_t size);

/* Answer what is running, commit it, close.  on_stopped runs from the loop;
 * failed says that the store could no longer be trusted. */
void service_stop(struct service *service,
                  void (*on_stopped)(void *arg, bool failed), void *arg);

/* Called if the service has to end by itself (a failed sync). */
void service_on_fatal(struct service *service, void (*on_fatal)(void *arg),
                      void *arg);

#endif
