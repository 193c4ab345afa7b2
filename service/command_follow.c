#include "service/command_follow.h"

#include "adapters/catalogue.h"
#include "adapters/fhir_form.h"

#include <stdio.h>
#include <string.h>
#include <time.h>

enum { WORD_SIZE = 32, ASK_MS = 200, ANSWER_MAX = 65536 };

/* What the service says of it. */
struct said {
    char number[WORD_SIZE], state[WORD_SIZE];
    struct buf text;
};

static void take_said(void *arg, const char *name, const char *value)
{
    struct said *said = arg;

    if (strcmp(name, "number") == 0)
        snprintf(said->number, sizeof(said->number), "%s", value);
    else if (strcmp(name, "state") == 0)
        snprintf(said->state, sizeof(said->state), "%s", value);
    else if (strcmp(name, "text") == 0)
        buf_puts(&said->text, value);
}

static void rest(void)
{
    const struct timespec pause = { .tv_nsec = (long)ASK_MS * 1000000 };

    nanosleep(&pause, NULL);
}

/* One question; false: it was not answered as it should be, and that is said. */
static bool ask(struct session *s, const char *method, const char *path,
                struct said *said)
{
    struct buf out;
    long status = 0;
    enum err e;

    buf_init(&out, ANSWER_MAX);
    buf_empty(&said->text);
    said->number[0] = said->state[0] = '\0';
    e = session_call(s, method, path, NULL, 0, &status, &out);
    if (e == ERR_OK && status == 200)
        e = fhir_form_each(out.data, out.len, take_said, said);
    else
        session_complain_of(s, status, e, &out);
    buf_clear(&out);
    return e == ERR_OK && status == 200;
}

/* Until it is done, however long that takes. */
int command_follow(struct session *s, const char *begin, const char *look)
{
    char number[WORD_SIZE];
    struct said said;
    bool good, going = true;
    int status = 1;

    buf_init(&said.text, ANSWER_MAX);
    good = ask(s, "POST", begin, &said);
    snprintf(number, sizeof(number), "%s", said.number);
    while (good && going) {
        going = strcmp(said.state, "done") != 0 &&
                strcmp(said.state, "failed") != 0;
        if (!going)
            break;
        rest();
        good = ask(s, "GET", look, &said);
        if (good && strcmp(said.number, number) != 0) {
            fputs(_("headgate: the service knows no more of what it was asked "
                    "for\n"),
                  stderr);
            good = false;
        }
    }
    if (good && strcmp(said.state, "done") == 0 && said.text.len > 0)
        status =
            fputs(said.text.data, stdout) >= 0 && fflush(stdout) == 0 ? 0 : 1;
    else if (good)
        fprintf(stderr, "headgate: %s\n",
                said.text.len > 0 ? said.text.data : said.state);
    buf_clear(&said.text);
    return status;
}
