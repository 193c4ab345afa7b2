/*
 * catalogue - the words that people read, in the language of the site
 *
 * The English text is the key; config/po/LANGUAGE.po holds each text in another
 * language, in the format of GNU gettext (which every tool of translators
 * reads), and what it does not hold stays English.  A text is a whole sentence
 * or label with places for what varies, never a piece of a sentence: word
 * order and endings differ.  Places may be numbered ("%1$s").
 *
 * Programs read codes, which are never translated; dates are ISO 8601 in every
 * language, since 03/04 has two meanings.
 *
 * The language is of the process: it is set once, before any thread starts.
 */
#ifndef HEADGATE_ADAPTERS_CATALOGUE_H
#define HEADGATE_ADAPTERS_CATALOGUE_H

#include "adapters/buf.h"

#include <libintl.h>

#include <stdbool.h>

/* Marks a text for the catalogue: _() where it is used, N_() in a table whose
 * text goes through _() later. */
#define _(text)  gettext(text)
#define N_(text) text

/*
 * catalogue_open
 *
 * language  "en", "de": the name of a catalogue
 * folder    where LANGUAGE/LC_MESSAGES/headgate.mo lies; NULL: where it was
 *           installed, or, for a program that has not been, where it was built
 *
 * ERR_ABSENT  there is none of this language; English stays
 * ERR_IO      the C library has no locale to read it with
 */
MUST_CHECK enum err catalogue_open(const char *language, const char *folder);
/* "en" before catalogue_open() */
const char *catalogue_language(void);

/* A number in the form of the language: 4.5 or 4,5; no thousands are parted
 * off, since 1,250 has two meanings. */
void catalogue_number(struct buf *out, double value, int decimals);

#endif
