#include "planner/reading.h"

#include <string.h>

static const struct {
    const char *code, *display;
} methods[METHOD_COUNT] = {
    [METHOD_UNSTATED] = { "", "method not stated" },
    [METHOD_ULTRASOUND_DILUTION] = { "ultrasound-dilution",
                                     "ultrasound dilution" },
    [METHOD_THERMODILUTION] = { "thermodilution", "thermodilution" },
    [METHOD_IONIC_DIALYSANCE] = { "ionic-dialysance", "ionic dialysance" },
    [METHOD_CONSTANT_INFUSION] = { "constant-infusion", "constant infusion" },
    [METHOD_DUPLEX] = { "duplex", "duplex ultrasound" },
};

const char *method_code(enum method m)
{
    return methods[(unsigned)m < METHOD_COUNT ? m : METHOD_UNSTATED].code;
}

const char *method_display(enum method m)
{
    return methods[(unsigned)m < METHOD_COUNT ? m : METHOD_UNSTATED].display;
}

enum err method_by_code(const char *code, size_t len, enum method *m)
{
    for (unsigned i = 1; i < METHOD_COUNT; i++) {
        if (strlen(methods[i].code) == len &&
            memcmp(methods[i].code, code, len) == 0) {
            *m = (enum method)i;
            return ERR_OK;
        }
    }
    return ERR_UNKNOWN;
}

bool reading_counts(const struct reading *r)
{
    return r->status == READING_FINAL || r->status == READING_CORRECTED;
}

bool reading_is_emergency(const struct reading *r)
{
    if (r->quantity == Q_BLEEDING_ACTIVE || r->quantity == Q_RUPTURE_THREAT)
        return r->value > 0.5;
    if (!r->present)
        return false;
    switch ((int)r->sign) {
    case SIGN_NUMBNESS_MEDIAN:
    case SIGN_NUMBNESS_ULNAR:
    case SIGN_NUMBNESS_RADIAL:
    case SIGN_MOTOR_WEAKNESS:
    case SIGN_HAND_ULCER:
    case SIGN_COLD_PULSELESS_HAND:
    case SIGN_GRADE_4A:
    case SIGN_GRADE_4B:
    case SIGN_THRILL_ABSENT:
    case SIGN_INFECTION_SEPSIS:
    case SIGN_GRAFT_EXPOSED:
        return true;
    default:
        return false;
    }
}

bool reading_at_least(const struct reading *r, double limit)
{
    switch (r->bound) {
    case BOUND_NONE:
    case BOUND_AT_LEAST:
    case BOUND_ABOVE:
        return r->value >= limit;
    case BOUND_BELOW:
    case BOUND_AT_MOST:
        break;
    }
    return false; /* may be anything lower */
}

bool reading_below(const struct reading *r, double limit)
{
    switch (r->bound) {
    case BOUND_NONE:
    case BOUND_AT_MOST:
        return r->value < limit;
    case BOUND_BELOW:
        return r->value <= limit;
    case BOUND_AT_LEAST:
    case BOUND_ABOVE:
        break;
    }
    return false; /* may be anything higher */
}
