/*
 * tool_worksheet - the invented pages of worksheet_kit.h as files, to be looked
 * at: tool_worksheet FOLDER [LANGUAGE [CATALOGUES]] writes
 * FOLDER/SITUATION-PAPER.pdf and .svg, and prints milliseconds and bytes of
 * each
 */
#include "tests/test.h"

#include "adapters/catalogue.h"
#include "tests/worksheet_kit.h"

#include <time.h>

static struct sheet_kit kit;

static double now_ms(void)
{
    struct timespec t;

    clock_gettime(CLOCK_MONOTONIC, &t);
    return 1e3 * (double)t.tv_sec + 1e-6 * (double)t.tv_nsec;
}

static void write_page(const char *path, enum canvas_form form)
{
    struct buf page;
    double start_ms;
    FILE *file;

    buf_init(&page, WORKSHEET_MAX);
    start_ms = now_ms();
    sheet_kit_draw(&kit, form, &page);
    printf("%-50s %7.1f ms %8zu bytes\n", path, now_ms() - start_ms, page.len);
    file = fopen(path, "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(page.data, 1, page.len, file), page.len);
    assert_int_equal(fclose(file), 0);
    buf_clear(&page);
}

int main(int argc, char **argv)
{
    char path[512];

    if (argc < 2 || argc > 4)
        return 2;
    if (argc > 2)
        assert_int_equal(catalogue_open(argv[2], argc > 3 ? argv[3] : NULL),
                         ERR_OK);
    write_kit_start(&kit.w);
    for (size_t i = 0; i < 2 * COUNT(sheet_situations); i++) {
        const struct sheet_situation *s = &sheet_situations[i / 2];

        s->set(&kit);
        kit.sheet.paper = i % 2 == 0 ? CANVAS_A4 : CANVAS_LETTER;
        snprintf(path, sizeof(path), "%s/%s-%s.pdf", argv[1], s->name,
                 i % 2 == 0 ? "a4" : "letter");
        write_page(path, CANVAS_PDF);
        memcpy(path + strlen(path) - 3, "svg", 3);
        write_page(path, CANVAS_SVG);
    }
    zone_free(kit.w.zone);
    return 0;
}
