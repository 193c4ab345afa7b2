/*
 * tool_units - what the table of units does, for comparison with other software
 *
 * Prints one JSON object a line:
 *
 *     {"code":"L/min","listed":true}            known to the table
 *     {"code":"cc","listed":false}              not
 *     {"quantity":"qb","unit":"mL/min","code":"L/min","value":1,"result":1000}
 *     {"quantity":"qb","unit":"mL/min","code":"kg","refused":"conflict"}
 *
 * Every quantity with a unit meets every code.  peers/ucum.mjs reads this.
 *
 *     tool_units -
 *
 * converts what standard input has, one conversion a line, with tabs between:
 * quantity, code, value.  It prints a line as above for each.
 */
#include "adapters/units.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Codes that the table covers by a rule, or must not know at all. */
static const char *const more[] = {
    "{ratio}",
    "{Kt/V}",
    "",
    "mmHg",
    "mm Hg",
    "ML/MIN",
    "MMOL/L",
    "MG/DL",
    "cc",
    "furlong",
    "mL//min",
    "mL/",
    "/",
    "mL/min/",
    "mL per min",
    "\302\265L/min",
    "\xe2\x84\x93/min",
    "mg/dL BUN",
    "Kg",
    "KPA",
    "lbs",
    "minutes",
    "hr",
    "[pH]",
    "mEq/L",
    "meq/L",
    "[iU]/L",
    "mL/min/{1.73_m2}",
    "{1.73_m2}",
    " mL/min",
    "mL/min ",
    "mL/min\xc2\xa0",
    "{",
    "}",
    "{}",
    "{ratio",
    "ratio}",
    "{a}{b}",
};

static const double values[] = { 1, 0, 2.15, -180, 0.04, 137, 1234.5678, 1e-6 };

static void print_pair(enum quantity q, const char *code)
{
    const struct quantity_info *info = quantity_info(q);

    for (size_t i = 0; i < COUNT(values); i++) {
        double result = NAN;
        enum err e = units_convert(q, code, strlen(code), values[i], &result);

        printf("{\"quantity\":\"%s\",\"unit\":\"%s\",\"code\":\"%s\",",
               info->code, info->unit, code);
        if (e != ERR_OK) {
            printf("\"refused\":\"%s\"}\n", err_word(e));
            return;
        }
        printf("\"value\":%.17g,\"result\":%.17g}\n", values[i], result);
    }
}

static void print_code(const char *code)
{
    double result;
    /* Any quantity with a unit tells the unknown from the merely unfit. */
    enum err e = units_convert(Q_BODY_WEIGHT, code, strlen(code), 1, &result);

    printf("{\"code\":\"%s\",\"listed\":%s}\n", code,
           e == ERR_UNKNOWN ? "false" : "true");
    for (unsigned q = 1; q < QUANTITY_COUNT; q++) {
        if (quantity_info((enum quantity)q)->unit[0] != '\0')
            print_pair((enum quantity)q, code);
    }
}

/* One conversion that was asked for. */
static int convert_line(char *line)
{
    char *code = strchr(line, '\t');
    char *value = code != NULL ? strchr(code + 1, '\t') : NULL;
    double result = NAN;
    enum quantity q;
    enum err e;

    if (value == NULL)
        return 1;
    *code++ = *value++ = '\0';
    line[strcspn(line, "\r\n")] = '\0';
    if (quantity_by_code(line, strlen(line), &q) != ERR_OK)
        return 1;
    e = units_convert(q, code, strlen(code), strtod(value, NULL), &result);
    printf("{\"quantity\":\"%s\",\"unit\":\"%s\",\"code\":\"%s\",", line,
           quantity_info(q)->unit, code);
    if (e != ERR_OK)
        printf("\"refused\":\"%s\"}\n", err_word(e));
    else
        printf("\"value\":%.17g,\"result\":%.17g}\n", strtod(value, NULL),
               result);
    return 0;
}

static int convert_all(void)
{
    char line[256];
    int wrong = 0;

    while (fgets(line, sizeof(line), stdin) != NULL)
        wrong |= convert_line(line);
    return wrong;
}

int main(int argc, char **argv)
{
    if (argc > 1 && strcmp(argv[1], "-") == 0)
        return convert_all() != 0 || fflush(stdout) != 0;
    for (size_t i = 0; units_code(i) != NULL; i++)
        print_code(units_code(i));
    for (size_t i = 0; i < COUNT(more); i++)
        print_code(more[i]);
    return fflush(stdout) == 0 ? 0 : 1;
}
