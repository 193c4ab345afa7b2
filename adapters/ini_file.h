/*
 * ini_file - INI by the inih library; the only file that knows it
 *
 * Comments start a line with ';' or '#', or follow a value after " ;".
 */
#ifndef HEADGATE_ADAPTERS_INI_FILE_H
#define HEADGATE_ADAPTERS_INI_FILE_H

#include "planner/err.h"

/* Called for each key in order; line counts from 1.  Returns ERR_OK to go
 * on; anything else stops the reading and is returned. */
typedef enum err (*ini_row_fn)(void *arg, int line, const char *section,
                               const char *key, const char *value);

/*
 * ERR_IO      the file cannot be read
 * ERR_FORM    a line is not INI; *bad_line is its number
 * or what on_row returned
 */
MUST_CHECK enum err ini_file_read(const char *path, ini_row_fn on_row,
                                  void *arg, int *bad_line);

#endif
