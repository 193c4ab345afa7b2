/*
 * policy_file - read the policy file into the form that the rules use
 *
 * INI; see config/policy.ini for the form of a row.  The file must give every
 * row of PARAM_LIST exactly once, and nothing else.
 */
#ifndef HEADGATE_ADAPTERS_POLICY_FILE_H
#define HEADGATE_ADAPTERS_POLICY_FILE_H

#include "adapters/buf.h"
#include "planner/policy.h"

/*
 * policy_file_read
 *
 * why  out: on any error, what is wrong and where ("policy.ini:31: [HF-1]
 *      flow_ml_min: 20000 is not between 500 and 8000")
 *
 * ERR_IO      the file cannot be read
 * ERR_CONFIG  a row is missing, twice, unknown, malformed, outside its range,
 *             names a source that [sources] does not have, has no mark, or
 *             the rows contradict each other (policy_check)
 */
MUST_CHECK enum err policy_file_read(const char *path, struct policy *policy,
                                     struct buf *why);

#endif
