/*
 * planning_kit - the documents of a plan of a test's store
 */
#ifndef HEADGATE_TESTS_PLANNING_KIT_H
#define HEADGATE_TESTS_PLANNING_KIT_H

#include "tests/service_world.h"
#include "tests/test.h"

#include "service/planning.h"

/* Append them; json, text: NULL is not written. */
static inline void write_documents(struct world *w, const struct look *look,
                                   const struct planned *planned,
                                   struct buf *json, struct buf *text)
{
    struct planning_names names;
    struct planning_paper paper = { .policy = w->review.policy,
                                    .zone = w->review.zone,
                                    .look = look,
                                    .planned = planned,
                                    .names = &names };

    assert_int_equal(planning_names_load(w->db, look, planned, true, &names),
                     ERR_OK);
    if (json != NULL)
        assert_int_equal(planning_json(&paper, json), ERR_OK);
    if (text != NULL)
        assert_int_equal(planning_text(&paper, text), ERR_OK);
    planning_names_clear(&names);
}

#endif
