#include "adapters/fhir_value.h"
#include "adapters/units.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Above this an arterial line pressure has surely lost its sign: before the
 * pump the line is under suction, and little above zero even at rest. */
static const double arterial_sign_lost_mmhg = 20.0;

static enum bound bound_of(const char *comparator)
{
    if (comparator == NULL)
        return BOUND_NONE;
    if (comparator[0] == '<')
        return comparator[1] == '=' ? BOUND_AT_MOST : BOUND_BELOW;
    return comparator[1] == '=' ? BOUND_AT_LEAST : BOUND_ABOVE;
}

static enum bound bound_flipped(enum bound bound)
{
    switch (bound) {
    case BOUND_NONE:
        break;
    case BOUND_BELOW:
        return BOUND_ABOVE;
    case BOUND_AT_MOST:
        return BOUND_AT_LEAST;
    case BOUND_AT_LEAST:
        return BOUND_AT_MOST;
    case BOUND_ABOVE:
        return BOUND_BELOW;
    }
    return BOUND_NONE;
}

/* The unit is not clear: an error for a direct POST, a hold for a feed. */
static void unit_unclear(struct value *v, const char *key, const char *code)
{
    struct fhir_reading *r = v->reading;
    const char *inside = quantity_info(r->reading.quantity)->unit;
    char text[OUTCOME_TEXT_SIZE];

    if (code != NULL)
        snprintf(text, sizeof(text), "Unit '%s' is not convertible to %s",
                 fhir_echo(code), inside);
    else
        snprintf(text, sizeof(text), "A unit convertible to %s is needed",
                 inside);
    snprintf(r->hint, sizeof(r->hint), code != NULL ? "unit %s?" : "unit?",
             fhir_echo(code));
    fhir_value_hold(r, HOLD_UNIT);
    fhir_value_say_held(v, key, "unit", text);
}

/* The unit that the site's map gives to values without one; NULL if it gives
 * none. */
static const char *unit_by_default(struct value *v)
{
    const char *unit = v->meaning.entry.unit;

    if (unit != NULL)
        fhir_say(v->c, SEV_INFORMATION, "unit-assumed",
                 "No unit was sent; by the site's map of this code it is '%s'",
                 fhir_echo(unit));
    return unit;
}

/* The UCUM code that a unit text means: by our table, else by the site's. */
static const char *unit_by_text(struct value *v, const char *text)
{
    const char *code;

    if (units_of_text(text, strlen(text), &code) != ERR_OK)
        code =
            fhir_unit_of_text(v->c, json_object_get(v->holder, "code"), text);
    if (code != NULL)
        fhir_say_at(v->c, "unit", SEV_WARNING, "unit-assumed",
                    "Unit text without a code is read as '%s'", code);
    return code;
}

/* The UCUM code of a Quantity, also from its text; NULL if unclear. */
static const char *unit_of(struct value *v)
{
    const char *code = fhir_string(v->json, "code");
    const char *system = fhir_string(v->json, "system");
    const char *text = fhir_string(v->json, "unit");

    if (code != NULL) {
        if (strcmp(system, CODES_UCUM) == 0)
            return code;
        unit_unclear(v, "system", code);
        return NULL;
    }
    code = text != NULL ? unit_by_text(v, text) : unit_by_default(v);
    if (code == NULL)
        unit_unclear(v, text != NULL ? "unit" : "code", text);
    return code;
}

static void judge(struct value *v, struct fhir_reading *r)
{
    const struct quantity_info *info = quantity_info(r->reading.quantity);

    if (v->at->status == READING_WITHDRAWN)
        return;
    switch (quantity_judge(r->reading.quantity, r->reading.value)) {
    case PLAUSIBLE:
        break;
    case PLAUSIBLE_UNUSUAL:
        fhir_say(v->c, SEV_WARNING, "unusual-value",
                 "%s outside the usual range of %g to %g %s", info->display,
                 info->soft_low, info->soft_high, info->unit);
        break;
    case PLAUSIBLE_WRONG_UNIT:
        fhir_value_hold(r, HOLD_IMPLAUSIBLE);
        snprintf(r->hint, sizeof(r->hint), "%s", info->suspect_hint);
        fhir_say(v->c, SEV_WARNING, "implausible",
                 "%s in %s is implausible: %s Held for a person", info->display,
                 info->unit, info->suspect_hint);
        break;
    case PLAUSIBLE_NOT:
        fhir_value_hold(r, HOLD_IMPLAUSIBLE);
        snprintf(r->hint, sizeof(r->hint), "outside %g to %g %s",
                 info->hard_low, info->hard_high, info->unit);
        fhir_say(v->c, SEV_WARNING, "implausible",
                 "%s outside %g to %g %s is implausible. Held for a person",
                 info->display, info->hard_low, info->hard_high, info->unit);
        break;
    }
}

static void restore_sign(struct value *v, struct fhir_reading *r)
{
    if (r->reading.quantity != Q_ARTERIAL_LINE_PRESSURE ||
        !(r->reading.value > arterial_sign_lost_mmhg))
        return;
    r->reading.value = -r->reading.value;
    r->reading.bound = bound_flipped(r->reading.bound);
    fhir_say(v->c, SEV_WARNING, "unusual-value",
             "A positive arterial line pressure is read as negative");
}

void fhir_value_quantity(struct value *v)
{
    json_t *number = json_object_get(v->json, "value");
    struct fhir_reading *r;
    const char *unit;
    size_t back;
    enum err e;

    if (number == NULL) {
        fhir_say_at(v->c, v->key, SEV_INFORMATION, "value-absent",
                    "A Quantity without a value");
        return;
    }
    r = fhir_value_add(v);
    back = fhir_place_push(&v->c->place, v->key);
    r->reading.bound = bound_of(fhir_string(v->json, "comparator"));
    unit = unit_of(v);
    if (unit == NULL)
        goto done;
    e = units_convert(r->reading.quantity, unit, strlen(unit),
                      json_number_value(number), &r->reading.value);
    if (e == ERR_RANGE)
        fhir_say_at(v->c, "value", SEV_ERROR, "bad-value",
                    "The number is too large");
    else if (e != ERR_OK)
        unit_unclear(v, "code", unit);
    if (e != ERR_OK)
        goto done;
    restore_sign(v, r);
    judge(v, r);
done:
    fhir_place_pop(&v->c->place, back);
}

/* A count: an integer stands without a unit only where none is needed, or
 * where the site's map says which. */
void fhir_value_integer(struct value *v)
{
    struct fhir_reading *r = fhir_value_add(v);
    const char *unit = quantity_info(r->reading.quantity)->unit;
    size_t back;

    if (strcmp(unit, "1") != 0) {
        unit = unit_by_default(v);
        if (unit == NULL) {
            unit_unclear(v, v->key, NULL);
            return;
        }
    }
    /* the map has checked that this unit fits */
    if (units_convert(r->reading.quantity, unit, strlen(unit),
                      (double)json_integer_value(v->json),
                      &r->reading.value) != ERR_OK)
        return;
    back = fhir_place_push(&v->c->place, v->key);
    restore_sign(v, r);
    judge(v, r);
    fhir_place_pop(&v->c->place, back);
}
