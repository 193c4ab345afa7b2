/*
 * unit_list_loop - when the lists of the units are brought up to date
 *
 * Loop thread.  Every pause it is looked whether the queue has changed, so
 * that no list has two versions within one.
 */
#ifndef HEADGATE_SERVICE_UNIT_LIST_LOOP_H
#define HEADGATE_SERVICE_UNIT_LIST_LOOP_H

#include "service/store.h"
#include "service/unit_list.h"

struct unit_list_loop;

/* on_told: something goes to the record.  ERR_MEMORY. */
MUST_CHECK enum err unit_list_loop_open(uv_loop_t *loop, struct store *store,
                                        const struct unit_list_options *options,
                                        int pause_s, void (*on_told)(void *arg),
                                        void *arg, struct unit_list_loop **out);

/* on_closed is called from the loop, when nothing of it is left. */
void unit_list_loop_close(struct unit_list_loop *l,
                          void (*on_closed)(void *arg), void *arg);

#endif
