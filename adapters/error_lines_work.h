/* error_lines_work - an answer that was read; private to error_lines*.c */
#ifndef HEADGATE_ADAPTERS_ERROR_LINES_WORK_H
#define HEADGATE_ADAPTERS_ERROR_LINES_WORK_H

#include "adapters/fhir_json.h"

struct error_answer {
    json_t *root;
};

#endif
