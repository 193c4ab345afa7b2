#include "service/reviewed.h"

bool quantity_is_reviewed(enum quantity q)
{
    switch ((int)q) {
    case Q_NONE:
    case Q_PANEL:
    case Q_FINGER_SPO2:
    case Q_PRE_WEIGHT:
        return false;
    default:
        return (unsigned)q < QUANTITY_COUNT;
    }
}
