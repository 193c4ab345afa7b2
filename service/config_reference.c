/* The reference file: every setting with its help, form and default. */
#include "service/config_rows.h"

#include "service/config.h"

#include <string.h>

enum { COMMENT_COLUMNS = 78 };

/* Help as comment lines of limited width. */
void config_write_comment(struct buf *out, const char *text)
{
    size_t column = 0;

    while (*text != '\0') {
        size_t len = strcspn(text, " ");

        if (column > 0 && column + 1 + len > COMMENT_COLUMNS) {
            buf_puts(out, "\n");
            column = 0;
        }
        buf_puts(out, column == 0 ? "; " : " ");
        buf_add(out, text, len);
        column += len + (column == 0 ? 2 : 1);
        text += len;
        text += strspn(text, " ");
    }
    buf_puts(out, "\n");
}

void config_write_form(struct buf *out, const struct config_row *row)
{
    switch (row->type) {
    case T_INT:
        buf_printf(out, "; %ld to %ld%s%s\n", row->least, row->most,
                   row->unit[0] != '\0' ? " " : "", row->unit);
        break;
    case T_BOOL:
        buf_puts(out, "; true or false\n");
        break;
    case T_CHOICE:
        buf_printf(out, "; one of: %s\n", row->unit);
        break;
    case T_PATH:
    case T_MAP:
    case T_URL:
    case T_TEXT:
    case T_URI:
    case T_SYSTEM:
    case T_ADDRESS:
    case T_ZONE:
    case T_LEVEL:
        break;
    }
}

void config_reference(struct buf *out)
{
    size_t count, before = 0; /* length of the section that is open */
    const struct config_row *rows = config_rows(&count);

    config_write_comment(
        out, "All settings of headgate. Each line that is commented "
             "out shows the default; remove the \";\" before it to "
             "change it.");
    config_write_comment(out,
                         "Relative paths start at the folder of this file. Any "
                         "setting can also be given on the command line: --set "
                         "section.key=value");
    for (size_t i = 0; i < count; i++) {
        const struct config_row *row = &rows[i];
        size_t len = strcspn(row->key, ".");

        if (i == 0 || len != before ||
            memcmp(rows[i - 1].key, row->key, len) != 0)
            buf_printf(out, "\n[%.*s]\n", (int)len, row->key);
        else
            buf_puts(out, "\n");
        before = len;
        config_write_comment(out, row->help);
        config_write_form(out, row);
        buf_printf(out, ";%s =%s%s\n", row->key + len + 1,
                   row->fallback[0] != '\0' ? " " : "", row->fallback);
    }
    config_sender_reference(out);
}
