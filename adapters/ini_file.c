#include "adapters/ini_file.h"

#include <errno.h>
#include <ini.h>
#include <stdio.h>

/* The library's own default of 200 bytes would cut a citation in two. */
enum { LINE_SIZE = 2048 };

struct reader {
    FILE *file;
    int line;     /* of the newest line read */
    enum err err; /* why the reading stopped early */
    ini_row_fn on_row;
    void *arg;
};

/*
 * One line for the library.  Not fgets(): a NUL byte would hide the rest of
 * its line, and a line that is too long would be read as two.
 */
static char *next_line(char *text, int size, void *arg)
{
    struct reader *r = arg;
    int len = 0, c = 0;

    if (r->err != ERR_OK)
        return NULL;
    while (c != '\n' && (c = getc(r->file)) != EOF) {
        if (c == '\0' || len == size - 1) {
            r->line++;
            r->err = ERR_FORM;
            return NULL;
        }
        text[len++] = (char)c;
    }
    if (ferror(r->file)) {
        r->err = ERR_IO;
        return NULL;
    }
    if (len == 0)
        return NULL;
    text[len] = '\0';
    r->line++;
    return text;
}

/* The library stops at 0. */
static int on_pair(void *arg, const char *section, const char *key,
                   const char *value)
{
    struct reader *r = arg;

    r->err = r->on_row(r->arg, r->line, section, key, value);
    return r->err == ERR_OK;
}

/* Debian builds the library so that its options are variables. */
static void set_options(void)
{
    ini_max_line = LINE_SIZE;
    ini_use_stack = true;
    ini_allow_multiline = false; /* an indented line is a line like others */
    ini_allow_no_value = false;
    ini_stop_on_first_error = true;
}

enum err ini_file_read(const char *path, ini_row_fn on_row, void *arg,
                       int *bad_line)
{
    struct reader r = { .on_row = on_row, .arg = arg, .err = ERR_OK };
    int at;

    r.file = fopen(path, "re");
    if (r.file == NULL)
        return ERR_IO;
    set_options();
    at = ini_parse_stream(next_line, &r, on_pair, &r);
    fclose(r.file);
    if (at != 0 && r.err == ERR_OK)
        r.err = ERR_FORM;
    if (r.err == ERR_FORM)
        *bad_line = r.line;
    return r.err;
}
