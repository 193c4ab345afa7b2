/* sign_words - what an examiner saw, in the language of the site */
#ifndef HEADGATE_ADAPTERS_SIGN_WORDS_H
#define HEADGATE_ADAPTERS_SIGN_WORDS_H

#include "planner/sign.h"

/*
 * sign_words - the name of a sign ("Hand pain at rest"), or, with SIGN_NONE, of
 * a quantity that is yes or no; what is no complaint stays in English
 */
const char *sign_words(enum quantity quantity, enum sign sign);

#endif
