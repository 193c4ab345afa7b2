/* test - cmocka with the headers it needs, and comparisons it lacks */
#ifndef HEADGATE_TESTS_TEST_H
#define HEADGATE_TESTS_TEST_H

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/* cmocka 1.1.5 compares floating-point numbers as float only. */
#define assert_near(got, want, tolerance)                                      \
    do {                                                                       \
        double got_ = (got), want_ = (want), tolerance_ = (tolerance);         \
        if (!(fabs(got_ - want_) <= tolerance_)) {                             \
            print_error("%s: %.17g is not %.17g within %g\n", #got, got_,      \
                        want_, tolerance_);                                    \
            fail();                                                            \
        }                                                                      \
    } while (0)

/* Name the row of a table that is being tested, before its assertions. */
#define ROW(name) print_message("    %s\n", name)

#endif
