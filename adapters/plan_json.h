/* plan_json - what the files that write a plan as JSON share; private to
 * plan_json*.c */
#ifndef HEADGATE_ADAPTERS_PLAN_JSON_H
#define HEADGATE_ADAPTERS_PLAN_JSON_H

#include "adapters/plan_words.h"

/* One member, or item with key NULL; what is not known is null. */
void plan_out_null(struct buf *out, const char *key);
/* With at most so many decimals, and no zeros at their end. */
void plan_out_number(struct buf *out, const char *key, double value,
                     int decimals);
void plan_out_text(struct buf *out, const char *key, const char *text);
void plan_out_time(struct buf *out, const char *key, int64_t at_s);
/* null if any of the three is not known */
void plan_out_range(struct buf *out, const char *key,
                    const struct plan_range *r, int decimals);

/* ---- plan_json_inputs.c ---------------------------------------------------- */

void plan_out_inputs(const struct plan_document *d, struct buf *out);
void plan_out_stages(const struct plan_document *d, struct buf *out);

/* ---- plan_json_outflow.c --------------------------------------------------- */

void plan_out_outflow(const struct plan *plan, struct buf *out);

#endif
