#include "planner/reading.h"

#include "planner/words.h"

#include <string.h>

static const struct {
    const char *code, *display;
} methods[METHOD_COUNT] = {
    [METHOD_UNSTATED] = { "", WORDS("method not stated") },
    [METHOD_ULTRASOUND_DILUTION] = { "ultrasound-dilution",
                                     WORDS("ultrasound dilution") },
    [METHOD_THERMODILUTION] = { "thermodilution", WORDS("thermodilution") },
    [METHOD_IONIC_DIALYSANCE] = { "ionic-dialysance",
                                  WORDS("ionic dialysance") },
    [METHOD_CONSTANT_INFUSION] = { "constant-infusion",
                                   WORDS("constant infusion") },
    [METHOD_DUPLEX] = { "duplex", WORDS("duplex ultrasound") },
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

static bool is_emergency_sign(enum sign sign)
{
    switch ((int)sign) {
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

bool reading_is_emergency(const struct reading *r)
{
    if (r->quantity == Q_BLEEDING_ACTIVE || r->quantity == Q_RUPTURE_THREAT)
        return r->value > 0.5;
    return r->present && is_emergency_sign(r->sign);
}

bool reading_may_be_emergency(enum quantity quantity, enum sign asked)
{
    if (quantity == Q_BLEEDING_ACTIVE || quantity == Q_RUPTURE_THREAT)
        return true;
    if (asked != SIGN_NONE)
        return is_emergency_sign(asked);
    for (int s = SIGN_NONE + 1; s < SIGN_COUNT; s++) {
        if (sign_info((enum sign)s)->quantity == quantity &&
            is_emergency_sign((enum sign)s))
            return true;
    }
    return false;
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
