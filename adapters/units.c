#include "adapters/units.h"

#include <math.h>
#include <string.h>
#include <strings.h>

/*
 * Units of one dimension convert into each other, and only these.  A flow of
 * a person of standard size and one of a kilogram are dimensions of their own:
 * they are known, and are never a flow.
 */
enum dimension {
    DIM_NUMBER,          /* in 1 */
    DIM_FLOW,            /* in mL/min */
    DIM_FLOW_PER_AREA,   /* in L/min/m2 */
    DIM_FLOW_PER_MASS,   /* in mL/kg/h */
    DIM_VOLUME,          /* in mL */
    DIM_TIME,            /* in s */
    DIM_TEMPERATURE,     /* nothing is measured in it */
    DIM_LENGTH,          /* in mm */
    DIM_MASS,            /* in g */
    DIM_PRESSURE,        /* in Pa */
    DIM_MASS_IN_VOLUME,  /* in mg/L */
    DIM_MOLES_IN_VOLUME, /* in mmol/L */
    DIM_COUNT            /* of what is none of these */
};

/*
 * One of a unit is up/down of the dimension's own unit: two whole numbers
 * where there is no finite decimal fraction, so that nothing is rounded before
 * the value is known.
 */
struct unit {
    const char *code;
    enum dimension dimension;
    double up, down;
};

/* UCUM has two codes for the litre, "L" and "l": each row of it comes twice. */
static const struct unit table[] = {
    { "1", DIM_NUMBER, 1, 1 },
    { "%", DIM_NUMBER, 1, 100 },
    { "L/L", DIM_NUMBER, 1, 1 }, /* haematocrit */
    { "l/l", DIM_NUMBER, 1, 1 },

    { "mL/min", DIM_FLOW, 1, 1 },
    { "ml/min", DIM_FLOW, 1, 1 },
    { "mL.min-1", DIM_FLOW, 1, 1 },
    { "ml.min-1", DIM_FLOW, 1, 1 },
    { "dL/min", DIM_FLOW, 100, 1 },
    { "dl/min", DIM_FLOW, 100, 1 },
    { "L/min", DIM_FLOW, 1000, 1 },
    { "l/min", DIM_FLOW, 1000, 1 },
    { "L.min-1", DIM_FLOW, 1000, 1 },
    { "l.min-1", DIM_FLOW, 1000, 1 },
    { "10*3.mL/min", DIM_FLOW, 1000, 1 },
    { "m3/min", DIM_FLOW, 1e6, 1 },
    { "mL/h", DIM_FLOW, 1, 60 },
    { "ml/h", DIM_FLOW, 1, 60 },
    { "L/h", DIM_FLOW, 1000, 60 },
    { "l/h", DIM_FLOW, 1000, 60 },
    { "mL/s", DIM_FLOW, 60, 1 },
    { "ml/s", DIM_FLOW, 60, 1 },
    { "L/min/m2", DIM_FLOW_PER_AREA, 1, 1 },
    { "l/min/m2", DIM_FLOW_PER_AREA, 1, 1 },
    { "mL/kg/h", DIM_FLOW_PER_MASS, 1, 1 },
    { "ml/kg/h", DIM_FLOW_PER_MASS, 1, 1 },

    { "mL", DIM_VOLUME, 1, 1 },
    { "ml", DIM_VOLUME, 1, 1 },
    { "cm3", DIM_VOLUME, 1, 1 },
    { "dL", DIM_VOLUME, 100, 1 },
    { "dl", DIM_VOLUME, 100, 1 },
    { "L", DIM_VOLUME, 1000, 1 },
    { "l", DIM_VOLUME, 1000, 1 },

    { "s", DIM_TIME, 1, 1 },
    { "min", DIM_TIME, 60, 1 },
    { "h", DIM_TIME, 3600, 1 },
    { "d", DIM_TIME, 86400, 1 },
    { "wk", DIM_TIME, 604800, 1 },
    { "mo", DIM_TIME, 2629800, 1 }, /* 30.4375 d: a twelfth of "a" */
    { "a", DIM_TIME, 31557600, 1 }, /* 365.25 d, the Julian year */

    { "mm", DIM_LENGTH, 1, 1 },
    { "cm", DIM_LENGTH, 10, 1 },
    { "m", DIM_LENGTH, 1000, 1 },
    { "[in_i]", DIM_LENGTH, 25.4, 1 },

    { "g", DIM_MASS, 1, 1 },
    { "kg", DIM_MASS, 1000, 1 },
    { "[lb_av]", DIM_MASS, 453.59237, 1 },

    /* with no quantity of this dimension they convert to nothing, and their
     * zero points need not be known */
    { "Cel", DIM_TEMPERATURE, 1, 1 },
    { "[degF]", DIM_TEMPERATURE, 5, 9 },

    { "Pa", DIM_PRESSURE, 1, 1 },
    { "hPa", DIM_PRESSURE, 100, 1 },
    { "mbar", DIM_PRESSURE, 100, 1 },
    { "kPa", DIM_PRESSURE, 1000, 1 },
    { "mm[Hg]", DIM_PRESSURE, 133.322, 1 },
    { "cm[H2O]", DIM_PRESSURE, 98.0665, 1 },

    { "mg/L", DIM_MASS_IN_VOLUME, 1, 1 },
    { "mg/l", DIM_MASS_IN_VOLUME, 1, 1 },
    { "mg/dL", DIM_MASS_IN_VOLUME, 10, 1 },
    { "mg/dl", DIM_MASS_IN_VOLUME, 10, 1 },
    { "g/L", DIM_MASS_IN_VOLUME, 1000, 1 },
    { "g/l", DIM_MASS_IN_VOLUME, 1000, 1 },

    { "umol/L", DIM_MOLES_IN_VOLUME, 1, 1000 },
    { "umol/l", DIM_MOLES_IN_VOLUME, 1, 1000 },
    { "mmol/L", DIM_MOLES_IN_VOLUME, 1, 1 },
    { "mmol/l", DIM_MOLES_IN_VOLUME, 1, 1 },
    { "mol/m3", DIM_MOLES_IN_VOLUME, 1, 1 },
};

/* What people write who do not know of UCUM.  Each has one meaning only. */
static const struct {
    const char *text;
    const char *code;
} texts[] = {
    { "mmHg", "mm[Hg]" },     { "mm Hg", "mm[Hg]" }, { "cmH2O", "cm[H2O]" },
    { "cm H2O", "cm[H2O]" },  { "percent", "%" },    { "per cent", "%" },
    { "ratio", "1" },         { "sec", "s" },        { "minute", "min" },
    { "minutes", "min" },     { "hr", "h" },         { "hour", "h" },
    { "hours", "h" },         { "litre", "L" },      { "litres", "L" },
    { "lb", "[lb_av]" },      { "lbs", "[lb_av]" },  { "L/hr", "L/h" },
    { "l/hr", "L/h" },        { "mL/hr", "mL/h" },   { "ml/hr", "mL/h" },
    { "mL/sec", "mL/s" },     { "ml/sec", "mL/s" },  { "mL / min", "mL/min" },
    { "ml / min", "mL/min" },
};

static bool same(const char *word, const char *text, size_t len)
{
    return strlen(word) == len && memcmp(word, text, len) == 0;
}

/*
 * "{ratio}": a word in braces, printable ASCII, no blank.  UCUM lets any such
 * word mean 1; one with a digit ("{1.73_m2}") is the writer's own factor.
 */
static bool is_annotation(const char *code, size_t len)
{
    if (len < 3 || code[0] != '{' || code[len - 1] != '}')
        return false;
    for (size_t i = 1; i < len - 1; i++) {
        char c = code[i];

        if (c < '!' || c > '~' || c == '{' || c == '}' ||
            (c >= '0' && c <= '9'))
            return false;
    }
    return true;
}

static const struct unit *find(const char *code, size_t len)
{
    if (is_annotation(code, len))
        return &table[0];
    for (size_t i = 0; i < COUNT(table); i++) {
        if (same(table[i].code, code, len))
            return &table[i];
    }
    return NULL;
}

/* Grams of a mole; 0 for what is not a concentration of one species. */
static double molar_mass(enum quantity q)
{
    if (q == Q_BUN_PRE || q == Q_BUN_POST)
        return 28.0134;
    if (q == Q_UREA_PRE || q == Q_UREA_POST)
        return 60.056;
    return 0;
}

/*
 * From one dimension to another of the quantity's species: mmol/L times grams
 * per mole is mg/L.
 */
static enum err cross(enum quantity q, enum dimension from, enum dimension to,
                      double *up, double *down)
{
    double mass = molar_mass(q);

    if (from == to)
        return ERR_OK;
    if (mass > 0 && from == DIM_MOLES_IN_VOLUME && to == DIM_MASS_IN_VOLUME) {
        *up *= mass;
        return ERR_OK;
    }
    if (mass > 0 && from == DIM_MASS_IN_VOLUME && to == DIM_MOLES_IN_VOLUME) {
        *down *= mass;
        return ERR_OK;
    }
    return ERR_CONFLICT;
}

enum err units_convert(enum quantity q, const char *code, size_t len,
                       double value, double *out)
{
    const char *inside = quantity_info(q)->unit;
    const struct unit *from = find(code, len);
    const struct unit *to = find(inside, strlen(inside));
    double up, down, result;
    enum err e;

    if (from == NULL)
        return ERR_UNKNOWN;
    /* Codes and flags have no unit at all. */
    if (to == NULL)
        return ERR_CONFLICT;
    up = from->up * to->down;
    down = from->down * to->up;
    e = cross(q, from->dimension, to->dimension, &up, &down);
    if (e != ERR_OK)
        return e;
    /* What is sent in the unit used inside is kept to the last bit. */
    result = from == to ? value : value * up / down;
    if (!isfinite(result))
        return ERR_RANGE;
    *out = result;
    return ERR_OK;
}

enum err units_of_text(const char *text, size_t len, const char **code)
{
    const struct unit *unit;

    for (size_t i = 0; i < COUNT(texts); i++) {
        if (same(texts[i].text, text, len)) {
            *code = texts[i].code;
            return ERR_OK;
        }
    }
    unit = find(text, len);
    if (unit == NULL)
        return ERR_UNKNOWN;
    *code = unit->code;
    return ERR_OK;
}

/*
 * Units that are not read here, but whose words are taken.  Factors: UCUM 2.1,
 * by its definitions of [psi], atm, bar, [ft_i], [yd_i], [oz_av], [stone_av],
 * [gal_us], K, J, N and the like; of those without a dimension of ours it is
 * enough that they are none of the table.
 */
static const struct {
    const char *word;
    enum dimension dimension;
    double up;
} taken[] = {
    { "psi", DIM_PRESSURE, 6894.757293168361 },
    { "[psi]", DIM_PRESSURE, 6894.757293168361 },
    { "atm", DIM_PRESSURE, 101325 },
    { "bar", DIM_PRESSURE, 100000 },
    { "torr", DIM_PRESSURE, 133.322 },
    { "mmH2O", DIM_PRESSURE, 9.80665 },
    { "mm[H2O]", DIM_PRESSURE, 9.80665 },
    { "inHg", DIM_PRESSURE, 3386.38 },
    { "[in_i'Hg]", DIM_PRESSURE, 3386.38 },
    { "MPa", DIM_PRESSURE, 1e6 },
    { "um", DIM_LENGTH, 0.001 },
    { "nm", DIM_LENGTH, 0.000001 },
    { "km", DIM_LENGTH, 1e6 },
    { "ft", DIM_LENGTH, 304.8 },
    { "[ft_i]", DIM_LENGTH, 304.8 },
    { "inch", DIM_LENGTH, 25.4 },
    { "oz", DIM_MASS, 28.349523125 },
    { "[oz_av]", DIM_MASS, 28.349523125 },
    { "stone", DIM_MASS, 6350.29318 },
    { "[stone_av]", DIM_MASS, 6350.29318 },
    { "mg", DIM_MASS, 0.001 },
    { "ug", DIM_MASS, 0.000001 },
    { "ul", DIM_VOLUME, 0.001 },
    { "uL", DIM_VOLUME, 0.001 },
    { "cL", DIM_VOLUME, 10 },
    { "gal", DIM_VOLUME, 3785.411784 },
    { "[gal_us]", DIM_VOLUME, 3785.411784 },
    { "ms", DIM_TIME, 0.001 },
    { "K", DIM_TEMPERATURE, 1 },
    { "mS/cm", DIM_COUNT, 1 },
    { "mol", DIM_COUNT, 1 },
    { "mmol", DIM_COUNT, 1 },
    { "mol/L", DIM_MOLES_IN_VOLUME, 1000 },
    { "nmol/L", DIM_MOLES_IN_VOLUME, 0.000001 },
    { "g/dL", DIM_MASS_IN_VOLUME, 10000 },
    { "ug/L", DIM_MASS_IN_VOLUME, 0.001 },
    { "ug/dL", DIM_MASS_IN_VOLUME, 0.01 },
    { "J", DIM_COUNT, 1 },
    { "W", DIM_COUNT, 1 },
    { "N", DIM_COUNT, 1 },
    { "Hz", DIM_COUNT, 1 },
    { "/min", DIM_COUNT, 1 },
    { "bpm", DIM_COUNT, 1 },
};

static bool same_in_capitals(const char *a, const char *b)
{
    return strcmp(a, b) == 0 ||
           (strcasecmp(a, b) == 0 &&
            strpbrk(a, "abcdefghijklmnopqrstuvwxyz") == NULL);
}

bool units_word_is_other(const char *word, const char *code)
{
    const struct unit *to = find(code, strlen(code));

    for (size_t i = 0; to != NULL && i < COUNT(taken); i++) {
        double size;

        if (!same_in_capitals(word, taken[i].word))
            continue;
        size = to->up / to->down;
        return taken[i].dimension != to->dimension ||
               fabs(taken[i].up - size) > 0.001 * size;
    }
    return false;
}

bool units_listed(const char *code, size_t len)
{
    return find(code, len) != NULL;
}

const char *units_code(size_t i)
{
    return i < COUNT(table) ? table[i].code : NULL;
}
