/*
 * tool_hl7 - messages of HL7 v2 as this program reads and answers them, for
 * comparison with other software
 *
 *     tool_hl7 FILE [CHARSET]  the message as JSON; CHARSET is that of an empty
 *                              MSH-18
 *     tool_hl7 --ack AE FILE   the answer with that word; with two errors and a
 *                              warning unless it is AA or CA
 *     tool_hl7 --repeat N FILE reads it N times; prints the seconds that took
 *     tool_hl7 --tables        "0008 AA" on one line for each code that is known
 *
 * The JSON has a list of segments; each a name and fields from 1, these lists
 * of repetitions, components, subcomponents.  peers/hl7.py and
 * peers/hl7_tables.mjs judge.
 */
#include "adapters/hl7_ack.h"
#include "adapters/hl7_charset.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static char bytes[HL7_MESSAGE_MAX + 1];

static size_t read_file(const char *name)
{
    FILE *file = fopen(name, "rb");
    size_t len;

    if (file == NULL) {
        fprintf(stderr, "tool_hl7: %s cannot be read\n", name);
        exit(1);
    }
    len = fread(bytes, 1, sizeof(bytes), file);
    fclose(file);
    return len;
}

static struct hl7_message *read_message(size_t len, const char *charset)
{
    struct hl7_message *message = NULL;
    struct hl7_fault fault = { .text = "" };
    char place[HL7_PLACE_SIZE];
    enum err e = hl7_read(bytes, len, charset, &message, &fault);

    if (e == ERR_OK)
        return message;
    hl7_place_write(&fault.place, place);
    fprintf(stderr, "tool_hl7: %s: %s: %s\n", err_word(e), place, fault.text);
    return NULL;
}

/* ---- JSON ----------------------------------------------------------------- */

static void print_string(const char *text)
{
    putchar('"');
    for (; *text != '\0'; text++) {
        if ((unsigned char)*text < 0x20)
            printf("\\u%04x", (unsigned)*text);
        else if (*text == '"' || *text == '\\')
            printf("\\%c", *text);
        else
            putchar(*text);
    }
    putchar('"');
}

static void print_comma(int i)
{
    if (i > 1)
        putchar(',');
}

static void print_repetition(const struct hl7_message *m, size_t s, int f,
                             int r)
{
    int components = (int)hl7_components(m, s, f, r);

    putchar('[');
    for (int c = 1; c <= components; c++) {
        int subcomponents = (int)hl7_subcomponents(m, s, f, r, c);

        print_comma(c);
        putchar('[');
        for (int u = 1; u <= subcomponents; u++) {
            print_comma(u);
            print_string(hl7_text(m, s, f, r, c, u));
        }
        putchar(']');
    }
    putchar(']');
}

static void print_segment(const struct hl7_message *m, size_t s)
{
    int fields = (int)hl7_fields(m, s);

    printf("{\"name\":\"%s\",\"fields\":[", hl7_name(m, s));
    for (int f = 1; f <= fields; f++) {
        int repetitions = (int)hl7_repetitions(m, s, f);

        print_comma(f);
        putchar('[');
        for (int r = 1; r <= repetitions; r++) {
            print_comma(r);
            print_repetition(m, s, f, r);
        }
        putchar(']');
    }
    printf("]}");
}

/* The places of a segment that are not of the character set. */
static void print_damage(const struct hl7_message *m, size_t s, int *count)
{
    for (size_t i = 0; i < hl7_damages(m, s); i++) {
        struct hl7_place place = hl7_damage(m, s, i);
        char text[HL7_PLACE_SIZE];

        hl7_place_write(&place, text);
        print_comma(++*count);
        print_string(text);
    }
}

static int print_message(const struct hl7_message *m)
{
    int count = 0;

    if (m == NULL)
        return 1;
    printf("{\"unknown_escapes\":%u,\"segments\":[",
           hl7_counts(m)->unknown_escapes);
    for (size_t s = 0; s < hl7_segments(m); s++) {
        print_comma((int)s + 1);
        print_segment(m, s);
    }
    printf("],\"damage\":[");
    for (size_t s = 0; s < hl7_segments(m); s++)
        print_damage(m, s, &count);
    printf("]}\n");
    return 0;
}

/* ---- the answer ----------------------------------------------------------- */

static const struct hl7_issues invented = {
    .count = 3,
    .errors = 2,
    .list = { { HL7_ERROR,
                HL7_UNKNOWN_KEY,
                "identity",
                { "PID", 1, 3, 1, 0, 0 },
                "The patient's number is not known here" },
              { HL7_ERROR,
                HL7_DATA_TYPE,
                "bad-value",
                { "OBX", 3, 5, 1, 1, 0 },
                "Not a number: digits, sign & point | nothing else ^" },
              { HL7_WARNING,
                HL7_TABLE_VALUE,
                "code-unclear",
                { "OBX", 2, 3, 0, 0, 0 },
                "The code is not mapped" } }
};

static int print_ack(const char *word, size_t len)
{
    struct hl7_message *m = read_message(len, "");
    const struct hl7_issues *issues = word[1] == 'A' ? NULL : &invented;
    struct buf out;
    int answer = HL7_AA, status;

    while (answer <= HL7_CR &&
           strcmp(hl7_answer_word((enum hl7_answer)answer), word) != 0)
        answer++;
    if (answer > HL7_CR)
        return 1;
    buf_init(&out, HL7_ACK_MAX);
    /* 2026-11-26T08:15:42Z */
    hl7_ack_write(m, bytes, len, (enum hl7_answer)answer, "HG-1", 1795680942,
                  issues, &out);
    fwrite(out.data, 1, out.len, stdout);
    status = buf_ok(&out) == ERR_OK ? 0 : 1;
    buf_clear(&out);
    hl7_free(m);
    return status;
}

/* ---- tables --------------------------------------------------------------- */

/* Is this letter in OBX-11 one that the reader of results knows? */
static bool knows_status(const struct hl7_profile *profile, char letter)
{
    struct hl7_message *m;
    struct hl7_oru oru;
    bool known = true;
    size_t len = (size_t)snprintf(
        bytes, sizeof(bytes),
        "MSH|^~\\&|T|T.EXAMPLE|||20261126||ORU^R01|1|P|2.5.1\rPID|1||P-1\r"
        "OBR|1||1|x|||20261126080000+0000\r"
        "OBX|1|NM|qb^^L||300|mL/min|||||%c\r",
        letter);

    m = read_message(len, "");
    if (m == NULL ||
        hl7_oru_read(m, profile, "https://headgate.example", &oru) != ERR_OK)
        exit(1);
    for (size_t i = 0; i < oru.issues.count; i++) {
        const struct hl7_issue *issue = &oru.issues.list[i];

        if (issue->severity == HL7_ERROR && issue->code == HL7_TABLE_VALUE &&
            issue->place.field == 11)
            known = false;
    }
    hl7_oru_clear(&oru);
    hl7_free(m);
    return known;
}

static int print_tables(void)
{
    struct hl7_profile profile = { .name = "table" };
    struct zone *zone;

    if (zone_load("Europe/Berlin", &zone) != ERR_OK)
        return 1;
    profile.zone = zone;
    for (int i = HL7_AA; i <= HL7_CR; i++)
        printf("0008 %s\n", hl7_answer_word((enum hl7_answer)i));
    for (char letter = 'A'; letter <= 'Z'; letter++) {
        if (knows_status(&profile, letter))
            printf("0085 %c\n", letter);
    }
    for (int i = HL7_WANTED_ALWAYS; i <= HL7_WANTED_SUCCESS; i++)
        printf("0155 %s\n", hl7_wanted_word((enum hl7_wanted)i));
    for (size_t i = 0; hl7_charset_listed(i) != NULL; i++)
        printf("0211 %s\n", hl7_charset_listed(i));
    for (int i = 0; i < 1000; i++) {
        if (hl7_error_text((enum hl7_error)i)[0] != '\0')
            printf("0357 %d %s\n", i, hl7_error_text((enum hl7_error)i));
    }
    zone_free(zone);
    return 0;
}

/* Takes it apart and looks at each value, as whoever uses it would. */
static size_t read_whole(size_t len)
{
    struct hl7_message *m = read_message(len, "");
    size_t total = 0;

    for (size_t s = 0; s < hl7_segments(m); s++) {
        for (int f = 1; f <= (int)hl7_fields(m, s); f++)
            total += strlen(hl7_field(m, s, f));
    }
    hl7_free(m);
    return total;
}

static int print_time(long times, size_t len)
{
    struct timespec began, ended;
    size_t total = 0;

    clock_gettime(CLOCK_MONOTONIC, &began);
    for (long i = 0; i < times; i++)
        total += read_whole(len);
    clock_gettime(CLOCK_MONOTONIC, &ended);
    printf("%.6f\n", (double)(ended.tv_sec - began.tv_sec) +
                         1e-9 * (double)(ended.tv_nsec - began.tv_nsec));
    return total > 0 ? 0 : 1;
}

int main(int argc, char **argv)
{
    int status = 1;

    if (argc == 2 && strcmp(argv[1], "--tables") == 0)
        return print_tables();
    if (argc == 4 && strcmp(argv[1], "--ack") == 0)
        return print_ack(argv[2], read_file(argv[3]));
    if (argc == 4 && strcmp(argv[1], "--repeat") == 0)
        return print_time(strtol(argv[2], NULL, 10), read_file(argv[3]));
    if (argc == 2 || argc == 3) {
        struct hl7_message *m =
            read_message(read_file(argv[1]), argc == 3 ? argv[2] : "");

        status = print_message(m);
        hl7_free(m);
    } else {
        fprintf(
            stderr,
            "tool_hl7 [--ack WORD | --repeat N] FILE [CHARSET], or --tables\n");
    }
    return status;
}
