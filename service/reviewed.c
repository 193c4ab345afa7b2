#include "service/reviewed.h"

bool quantity_is_reviewed(enum quantity q)
{
    switch ((int)q) {
    case Q_NONE:
    case Q_PANEL:
    case Q_BAND_FORM:
    case Q_FEEDING_ARTERY_DIAMETER:
    case Q_CONDUIT_DIAMETER:
    case Q_FINGER_SPO2:
    case Q_CENTRAL_VENOUS_PRESSURE:
    case Q_PRE_WEIGHT:
    case Q_HAEMATOCRIT:
        return false;
    default:
        return (unsigned)q < QUANTITY_COUNT;
    }
}
