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
 */
#include "adapters/units.h"

#include <math.h>
#include <stdio.h>
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
    "Cel",
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

int main(void)
{
    for (size_t i = 0; units_code(i) != NULL; i++)
        print_code(units_code(i));
    for (size_t i = 0; i < COUNT(more); i++)
        print_code(more[i]);
    return fflush(stdout) == 0 ? 0 : 1;
}
