/* words - texts for people in tables below the catalogue: the mark by which
 * they are found for translation; whoever shows them looks them up */
#ifndef HEADGATE_PLANNER_WORDS_H
#define HEADGATE_PLANNER_WORDS_H

#define WORDS(text) text

#endif
