/*
 * tool_dose - what the formulas of flow and dose give, for comparison with
 * other software
 *
 * Reads one line per question, the name of an operation and its numbers, and
 * answers each with one line, a number or "err":
 *
 *     reversed 300 0.25            900
 *     reversed 300 25              err
 *
 * The operations stand in tests/dose_kit.h.  A line that is no question ends
 * the program with status 2, so that a comparison cannot pass by accident.
 * peers/kinetics.py asks.
 */
#include "tests/dose_kit.h"

#include <ctype.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>

enum { LINE_MAX_BYTES = 512 };

/* Exactly so many numbers, and nothing behind them. */
static bool read_numbers(const char *text, double *in, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        char *end;

        in[i] = strtod(text, &end);
        if (end == text)
            return false;
        text = end;
    }
    while (isspace((unsigned char)*text))
        text++;
    return *text == '\0';
}

static bool answer(char *line)
{
    size_t length = strcspn(line, " \t\r\n");
    double in[DOSE_INPUTS_MAX], out = NAN;
    const struct dose_op *op;
    char *numbers = line + length;

    if (*numbers != '\0')
        *numbers++ = '\0';
    op = dose_op(line);
    if (op == NULL || !read_numbers(numbers, in, op->inputs))
        return false;

    if (op->fn(in, &out) == ERR_OK)
        printf("%.17g\n", out);
    else
        puts("err");
    return true;
}

int main(void)
{
    char line[LINE_MAX_BYTES];
    size_t count = 0;

    while (fgets(line, sizeof line, stdin) != NULL) {
        count++;
        if (!answer(line)) {
            fprintf(stderr, "tool_dose: line %zu is no question\n", count);
            return 2;
        }
    }
    return ferror(stdin) || fflush(stdout) != 0 ? 1 : 0;
}
