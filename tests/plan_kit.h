/*
 * plan_kit - the planner's input from a line of words, its plan as JSON
 *
 * For tool_plan.  Names are those of the structures in planner/plan.h, so that
 * a question reads as the code does.
 */
#ifndef HEADGATE_TESTS_PLAN_KIT_H
#define HEADGATE_TESTS_PLAN_KIT_H

#include "planner/plan.h"

/* The next word of *text, which is cut behind it; NULL past the last. */
char *kit_word(char **text);

/* Exactly one number and nothing else. */
bool kit_number(const char *text, double *x);

/* What stands behind the "=" of a word, which is cut there; NULL: no "=". */
char *kit_value(char *word);

/* A double inside a structure, by name. */
struct kit_key {
    const char *name;
    size_t offset;
};

/* False if there is no such name, or the value is no number. */
bool kit_set(const struct kit_key *keys, size_t count, void *base,
             const char *name, const char *value);

/* All key=value words of a line, which is cut into them; what is not given is
 * not known.  False if one of them says nothing. */
bool kit_plan_input(char *text, struct plan_input *in);

/* One line of JSON on standard output; numbers of 17 digits, which read back
 * as the same bits, null for NAN. */
void kit_plan_print(const struct plan *plan);

#endif
