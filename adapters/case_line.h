/*
 * case_line - what is typed during a procedure, a line each
 *
 *     flow 1760 1700        readings of one measurement, mL/min
 *     dowel 4.0             tied, or tied anew, over it: outer diameter, mm
 *     stretch 5             the band stretched with a balloon: diameter, mm
 *     cut                   the band is gone
 *     pressure 131/72       mmHg; or the mean alone: pressure 91
 *     index 0.55            finger over the other arm
 *     thrill present        or weak, absent
 *     ... at 09:25          when, by the clock of the site; else now
 *
 * Numbers with a point or a comma.  One line is one statement: either all of it
 * is understood, or none of it is taken.
 */
#ifndef HEADGATE_ADAPTERS_CASE_LINE_H
#define HEADGATE_ADAPTERS_CASE_LINE_H

#include "adapters/buf.h"
#include "planner/reading.h"

enum { CASE_ENTRIES_MAX = 4, CASE_LINE_MAX = 160 };

/* One value of a line. */
struct case_entry {
    enum quantity quantity;
    double value;   /* VALUE_NUMBER, VALUE_FLAG */
    enum sign sign; /* VALUE_CODE */
};

struct case_line {
    size_t count;
    struct case_entry entries[CASE_ENTRIES_MAX];
    int minute; /* of the day, 0..1439; -1: now */
};

/*
 * case_line_read
 *
 * why  out: which word is wrong, and how it is written; in the language of the
 *      catalogue
 *
 * ERR_FORM   not understood
 * ERR_RANGE  a value that cannot be (quantity_judge())
 */
MUST_CHECK enum err case_line_read(const char *text, struct case_line *line,
                                   struct buf *why);

/* The words in which an entry was typed: "dowel 4.0", "flow 1760". */
void case_entry_say(const struct case_entry *entry, struct buf *out);

#endif
