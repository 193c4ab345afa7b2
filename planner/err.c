#include "planner/err.h"

static const char *const words[] = {
#define ERR_WORD(name, word) word,
    ERR_LIST(ERR_WORD)
#undef ERR_WORD
};

const char *err_word(enum err e)
{
    return (unsigned)e < COUNT(words) ? words[e] : "error";
}
