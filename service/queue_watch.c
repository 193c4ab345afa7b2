#include "service/queue_watch.h"

#include "adapters/catalogue.h"

#include <errno.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

enum {
    LOOK_MS = 3000,
    PATH_MAX_BYTES = 4000,
    PAGE_MAX = 64 * 1024 * 1024,
    LINES_RESERVED = 2, /* of the terminal: what is said below the list */
    COLUMNS_WIDE = 120  /* on less that may take one line more */
};

/* ---- the terminal ------------------------------------------------------------ */

static volatile sig_atomic_t ended, resized;

static void on_signal(int number)
{
    if (number == SIGWINCH)
        resized = 1;
    else
        ended = 1;
}

struct screen {
    struct termios before;
    int rows, columns;
};

static void measure(struct screen *s)
{
    struct winsize size;

    s->rows = 24;
    s->columns = 80;
    if (ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0 &&
        size.ws_row > 0) {
        s->rows = size.ws_row;
        s->columns = size.ws_col;
    }
}

static void put(const char *text, size_t len)
{
    while (len > 0) {
        ssize_t n = write(STDOUT_FILENO, text, len);

        if (n < 0 && errno != EINTR) {
            ended = 1; /* nobody reads any more */
            return;
        }
        if (n > 0) {
            text += n;
            len -= (size_t)n;
        }
    }
}

static void puts_out(const char *text)
{
    put(text, strlen(text));
}

static bool screen_open(struct screen *s)
{
    static const int signals[] = { SIGINT, SIGTERM, SIGHUP, SIGWINCH };
    struct sigaction act = { .sa_handler = on_signal };
    struct termios raw;

    if (!isatty(STDIN_FILENO) || !isatty(STDOUT_FILENO) ||
        tcgetattr(STDIN_FILENO, &s->before) != 0)
        return false;
    sigemptyset(&act.sa_mask);
    for (size_t i = 0; i < COUNT(signals); i++)
        sigaction(signals[i], &act, NULL);
    raw = s->before;
    raw.c_lflag &= ~(tcflag_t)(ICANON | ECHO);
    raw.c_cc[VMIN] = 0;
    raw.c_cc[VTIME] = 0;
    tcsetattr(STDIN_FILENO, TCSANOW, &raw);
    puts_out("\033[?1049h\033[?25l"); /* a screen of its own, no cursor */
    measure(s);
    return true;
}

static void screen_close(const struct screen *s)
{
    puts_out("\033[?25h\033[?1049l");
    tcsetattr(STDIN_FILENO, TCSANOW, &s->before);
}

/* Wait for a key, a signal or the time; false: it is to end. */
static bool pause_for(int ms)
{
    struct pollfd in = { .fd = STDIN_FILENO, .events = POLLIN };
    char keys[64];
    ssize_t n;

    if (!ended && poll(&in, 1, ms) > 0) {
        n = read(STDIN_FILENO, keys, sizeof(keys));
        if (n == 0 && (in.revents & (POLLHUP | POLLERR)) != 0)
            ended = 1;
        for (ssize_t i = 0; i < n; i++)
            ended = ended || keys[i] == 'q' || keys[i] == 'Q';
    }
    return !ended;
}

/* ---- what is drawn ----------------------------------------------------------- */

struct watch {
    struct screen screen;
    struct session session;
    struct buf page, path;
    char etag[SESSION_ETAG_SIZE];
    time_t drawn_at, away_since; /* away_since 0: it is there */
    bool any;                    /* a list has come */
    long refused;                /* status of a refusal; why is in page */
};

static void time_words(time_t at, char out[16])
{
    struct tm t;

    localtime_r(&at, &t);
    strftime(out, 16, "%H:%M:%S", &t);
}

/* As many lines of the list as there is room for; how many are left. */
static size_t draw_lines(const struct watch *w)
{
    int room = w->screen.rows - LINES_RESERVED -
               (w->screen.columns < COLUMNS_WIDE ? 1 : 0);
    const char *at = w->page.data != NULL ? w->page.data : "";
    const char *end = at + w->page.len;
    size_t left = 0;

    while (at < end) {
        const char *feed = memchr(at, '\n', (size_t)(end - at));
        const char *stop = feed != NULL ? feed : end;

        if (room-- > 0) {
            put(at, (size_t)(stop - at));
            puts_out("\r\n");
        } else {
            left++;
        }
        at = stop + 1;
    }
    return left;
}

static void draw(const struct watch *w)
{
    char at[16], text[512];
    size_t left;

    puts_out("\033[H\033[2J");
    left = draw_lines(w);
    if (left > 0) {
        snprintf(text, sizeof(text),
                 _("More lines than fit here: %zu. headgate queue shows all."),
                 left);
        puts_out(text);
    }
    puts_out("\r\n");
    if (w->away_since != 0) {
        time_words(w->away_since, at);
        if (w->any)
            /* TRANSLATORS: a time of day */
            snprintf(text, sizeof(text),
                     _("THE SERVICE HAS BEEN AWAY SINCE %s: the list is of "
                       "before. Trying again. q ends."),
                     at);
        else
            /* TRANSLATORS: a time of day */
            snprintf(text, sizeof(text),
                     _("THE SERVICE HAS BEEN AWAY SINCE %s. Trying again. q "
                       "ends."),
                     at);
    } else {
        time_words(w->drawn_at, at);
        /* TRANSLATORS: a time of day */
        snprintf(text, sizeof(text),
                 _("Last change seen at %s; looking every few seconds. q "
                   "ends."),
                 at);
    }
    puts_out(text);
}

/* ---- looking ----------------------------------------------------------------- */

/* One look: is there anything to draw?  *refused: the service does not take
 * what was asked for; why is in the page. */
static bool look(struct watch *w, bool *refused)
{
    struct buf answer;
    long status = 0;
    bool was_away = w->away_since != 0, news;
    enum err e;

    buf_init(&answer, PAGE_MAX);
    e = session_get_if(&w->session, w->path.data, w->etag, &status, &answer);
    if (e == ERR_OK && (status == 200 || status == 304)) {
        w->away_since = 0;
        news = status == 200 || was_away;
        if (status == 200) {
            buf_clear(&w->page);
            w->page = answer;
            w->any = true;
            w->drawn_at = time(NULL);
            return true;
        }
    } else if (e == ERR_OK && status >= 400 && status < 500) {
        *refused = true;
        w->refused = status;
        buf_clear(&w->page);
        w->page = answer;
        return false;
    } else { /* away, or not ready */
        w->etag[0] = '\0';
        news = !was_away;
        if (!was_away)
            w->away_since = time(NULL);
    }
    buf_clear(&answer);
    return news;
}

static int run(struct watch *w, const struct args *args,
               void (*path)(const struct args *, int, struct buf *))
{
    bool refused = false;

    resized = 1;
    do {
        bool news = false;

        if (resized) { /* the first time, too */
            resized = 0;
            measure(&w->screen);
            buf_empty(&w->path);
            path(args, w->screen.columns, &w->path);
            w->etag[0] = '\0';
            news = true;
        }
        if (buf_ok(&w->path) != ERR_OK)
            return 2;
        news = look(w, &refused) || news;
        if (refused)
            return 1;
        if (news)
            draw(w);
    } while (pause_for(LOOK_MS));
    return 0;
}

static void complain(const struct watch *w)
{
    session_complain_of(&w->session, w->refused, ERR_OK, &w->page);
}

int queue_watch(const struct args *args, const struct config *config,
                void (*path)(const struct args *args, int columns,
                             struct buf *out))
{
    struct watch w = { .any = false };
    int status = session_open_client(&w.session, args, config);

    if (status != 0)
        return status;
    buf_init(&w.page, PAGE_MAX);
    buf_init(&w.path, PATH_MAX_BYTES);
    if (!screen_open(&w.screen)) {
        fputs("headgate: --watch needs a terminal\n", stderr);
        status = 2;
    } else {
        status = run(&w, args, path);
        screen_close(&w.screen);
        if (status == 1)
            complain(&w);
    }
    buf_clear(&w.page);
    buf_clear(&w.path);
    session_close(&w.session);
    return status;
}
