#include "adapters/hl7_oru_work.h"

#include "adapters/hex.h"

#include <openssl/evp.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- status ------------------------------------------------------------ */

/*
 * Table 0085.  The rows with a status of HL7's own ConceptMap
 * table-hl70085-to-observation-status (v2-to-FHIR guide, 1.0.0): A, C, D, F, P,
 * W, X.  It leaves the others open; what is done with those is ours.
 */
static const struct {
    char letter;
    const char *status; /* NULL: there is no result to keep */
    const char *remark; /* kept as a note; NULL none */
} statuses[] = {
    { 'A', "amended", NULL },
    { 'B', "final", "Result status B of HL7 v2: appended report" },
    { 'C', "corrected", NULL },
    { 'D', "entered-in-error", NULL },
    { 'F', "final", NULL },
    { 'I', NULL, NULL },
    { 'N', NULL, NULL },
    { 'O', NULL, NULL },
    { 'P', "preliminary", NULL },
    { 'R', "preliminary", NULL },
    { 'S', "preliminary", NULL },
    { 'U', "final", NULL },
    { 'V', "final", "Result status V of HL7 v2: verified" },
    { 'W', "entered-in-error", NULL },
    { 'X', "cancelled", NULL },
};

/*
 * Table 0123, of the order as a whole: what it says of a result that says
 * nothing.  C, F, P and X by HL7's ConceptMap
 * table-hl70123-to-diagnostic-report-status; whatever else has a result that is
 * not final.  Y and Z answer queries.
 */
static char letter_of_order(const char *code)
{
    static const char known[] = "OISAPCRFXMN";

    if (code[0] == '\0')
        return 'F';
    if (code[1] != '\0' || strchr(known, code[0]) == NULL)
        return '\0';
    if (strchr("CFX", code[0]) == NULL)
        return 'P';
    return code[0];
}

static bool read_letter(struct oru *o, struct oru_result *r)
{
    const char *code = oru_field(o, r->segment, 11);
    struct hl7_place place = oru_place(o, r->segment, 11, 0, 0);

    if (code[0] == '\0') {
        place = oru_place(o, o->obr, 25, 0, 0);
        r->letter = letter_of_order(oru_field(o, o->obr, 25));
    } else {
        r->letter = code[0];
        if (code[1] != '\0')
            r->letter = '\0';
    }
    for (size_t i = 0; r->letter != '\0' && i < COUNT(statuses); i++) {
        if (statuses[i].letter != r->letter)
            continue;
        r->status = statuses[i].status;
        r->remark = statuses[i].remark;
        return true;
    }
    oru_error(o, &place, HL7_TABLE_VALUE, "bad-value",
              place.field == 25 ? "Not a result status of table 0123"
                                : "Not a result status of table 0085");
    return false;
}

/* False: there is nothing to keep, or it was said what is wrong. */
static bool read_status(struct oru *o, struct oru_result *r)
{
    struct hl7_place place = oru_place(o, r->segment, 11, 0, 0);

    if (!read_letter(o, r))
        return false;
    r->none = r->status == NULL;
    if (r->none) {
        hl7_issue_add(&o->out->issues, HL7_INFORMATION, HL7_TABLE_VALUE,
                      "value-absent", &place,
                      "Result status %c says that there is no result; ignored",
                      r->letter);
        return false;
    }
    r->withdrawn = strchr("DWX", r->letter) != NULL;
    r->corrected = r->withdrawn || strchr("AC", r->letter) != NULL;
    r->promote =
        r->letter == 'U' && hl7_repetitions(o->message, r->segment, 5) == 0;
    return true;
}

/* ---- time -------------------------------------------------------------- */

/* OBR-7, and OBR-8 where the measurement took a while. */
static bool read_order_time(struct oru *o, struct oru_result *r)
{
    struct hl7_place place = oru_place(o, o->obr, 8, 0, 0);

    if (!oru_read_time(o, o->obr, 7, 1, &r->time))
        return false;
    r->has_time = true;
    if (oru_field(o, o->obr, 8)[0] == '\0')
        return true;
    if (!oru_read_time(o, o->obr, 8, 1, &r->end))
        return false;
    r->has_end = r->end.end_s > r->time.start_s;
    if (!r->has_end)
        oru_warn(o, &place, HL7_DATA_TYPE, "bad-datetime",
                 "The end lies before the start; left out");
    return true;
}

static bool read_time(struct oru *o, struct oru_result *r)
{
    struct hl7_place place = oru_place(o, r->segment, 14, 0, 0);
    bool of_order = oru_field(o, r->segment, 14)[0] == '\0';

    if (!of_order) {
        r->has_time = oru_read_time(o, r->segment, 14, 1, &r->time);
        return r->has_time;
    }
    if (oru_field(o, o->obr, 7)[0] != '\0')
        return read_order_time(o, r);
    /* What could not be obtained has no time, and a withdrawal may name what it
     * withdraws; any other result is of no use without one. */
    if (r->withdrawn &&
        (r->letter == 'X' || oru_field(o, r->segment, 21)[0] != '\0'))
        return true;
    oru_error(o, &place, HL7_MISSING, "no-time",
              r->withdrawn ? "Without a time (OBX-14, OBR-7) or an instance "
                             "identifier (OBX-21) it cannot be told which "
                             "result is withdrawn"
                           : "There is no time of measurement: OBX-14 or OBR-7 "
                             "is needed");
    return false;
}

/* When it was reported: what tells a newer report from an older one. */
static void read_issued(struct oru *o, struct oru_result *r)
{
    struct hl7_time time;

    if (hl7_time_read(oru_field(o, o->obr, 22), oru_text(o, o->obr, 22, 1, 2),
                      &o->here, &time) == ERR_OK &&
        time.precision >= HL7_MINUTE)
        snprintf(r->issued, sizeof(r->issued), "%s", time.text);
    else
        snprintf(r->issued, sizeof(r->issued), "%s", o->sent);
}

/* ---- identity ---------------------------------------------------------- */

/* A text with the NUL behind it, so that two texts never run together. */
static bool add(EVP_MD_CTX *md, const char *text)
{
    return EVP_DigestUpdate(md, text, strlen(text) + 1) == 1;
}

/* What a result is known by. */
enum key_kind {
    KEY_MOMENT,  /* at its time: two times are two results */
    KEY_INSTANCE /* by OBX-21 alone */
};

static bool add_result(struct oru *o, const struct oru_result *r,
                       enum key_kind kind, EVP_MD_CTX *md)
{
    const struct hl7_message *m = o->message;
    const char *code = oru_text(o, r->segment, 3, 1, 1);
    const char *instance = hl7_raw(m, r->segment, 21, 1);
    char start[32] = "";

    if (r->has_time)
        snprintf(start, sizeof(start), "%lld", (long long)r->time.start_s);
    if (!add(md, hl7_raw(m, 0, 3, 1)) || !add(md, hl7_raw(m, 0, 4, 1)) ||
        !add(md, o->system.data) || !add(md, o->number.data) ||
        !add(md, code[0] != '\0' ? code : oru_text(o, r->segment, 3, 1, 2)) ||
        !add(md, oru_text(o, r->segment, 3, 1, 3)))
        return false;
    if (kind == KEY_INSTANCE)
        return add(md, "instance") && add(md, instance);
    if (r->has_instance)
        return add(md, "instance at") && add(md, instance) && add(md, start);
    return add(md, "order") && add(md, hl7_raw(m, o->obr, 3, 1)) &&
           add(md, hl7_raw(m, r->segment, 4, 1)) && add(md, start);
}

/* A digest; count is added where it is not the first of its kind. */
static bool digest(struct oru *o, const struct oru_result *r,
                   enum key_kind kind, size_t count, struct oru_key *key)
{
    EVP_MD_CTX *md = EVP_MD_CTX_new();
    unsigned char bytes[EVP_MAX_MD_SIZE];
    char order[32];
    bool ok;

    snprintf(order, sizeof(order), "%zu", count);
    ok = md != NULL && EVP_DigestInit_ex(md, EVP_sha256(), NULL) == 1 &&
         add_result(o, r, kind, md) && (count == 0 || add(md, order)) &&
         EVP_DigestFinal_ex(md, bytes, NULL) == 1;
    EVP_MD_CTX_free(md);
    if (ok)
        hex_write(bytes, (ORU_KEY_SIZE - 1) / 2, key->text);
    return ok;
}

static bool keep_key(struct oru *o, const struct oru_key *key)
{
    if (o->key_count == o->key_size) {
        size_t size = o->key_size > 0 ? 2 * o->key_size : 32;
        struct oru_key *more = realloc(o->keys, size * sizeof(*o->keys));

        if (more == NULL)
            return false;
        o->keys = more;
        o->key_size = size;
    }
    o->keys[o->key_count++] = *key;
    return true;
}

/* Its key, and how many results of the message had the same before it. */
static bool take_key(struct oru *o, struct oru_result *r, size_t *before)
{
    struct oru_key plain;

    *before = 0;
    r->has_instance = oru_field(o, r->segment, 21)[0] != '\0';
    if (!digest(o, r, KEY_MOMENT, 0, &plain))
        return false;
    for (size_t i = 0; i < o->key_count; i++)
        *before += strcmp(o->keys[i].text, plain.text) == 0;
    r->key = plain;
    return keep_key(o, &plain) &&
           (*before == 0 || digest(o, r, KEY_MOMENT, *before, &r->key)) &&
           (!r->has_instance ||
            digest(o, r, KEY_INSTANCE, *before, &r->instance));
}

/*
 * Two results of one message that nothing tells apart (lines of a text, say)
 * must not overwrite each other: the second counts as the second.  Sent again
 * in the same order they are the same again.
 */
static void read_key(struct oru *o, struct oru_result *r)
{
    struct hl7_place place = oru_place(o, r->segment, 4, 0, 0);
    size_t before;

    if (!take_key(o, r, &before)) {
        o->err = ERR_MEMORY;
        return;
    }
    if (before > 0 && strcmp(oru_field(o, r->segment, 2), "TX") != 0 &&
        strcmp(oru_field(o, r->segment, 2), "FT") != 0)
        oru_warn(o, &place, HL7_DUPLICATE_KEY, "identity",
                 "The message has this code at this time already; only the "
                 "order tells them apart. A sub-id (OBX-4) or an instance "
                 "identifier (OBX-21) would");
}

/*
 * A result that is not there yet (I, N, O), or whose status nobody knows, holds
 * its place in the order: once it is there, those behind it must still have the
 * keys that they had.  Its time is read as that of any other, and nothing is
 * said of it.
 */
static void reserve_key(struct oru *o, struct oru_result *r)
{
    bool own = oru_field(o, r->segment, 14)[0] != '\0';
    size_t segment = own ? r->segment : o->obr, before;
    int field = own ? 14 : 7;

    r->has_time = hl7_time_read(oru_field(o, segment, field),
                                oru_text(o, segment, field, 1, 2), &o->here,
                                &r->time) == ERR_OK;
    if (!take_key(o, r, &before))
        o->err = ERR_MEMORY;
}

/* ---- the result -------------------------------------------------------- */

/* Is there a code, or at least a text, of what was measured? */
static bool read_code(struct oru *o, const struct oru_result *r)
{
    static const int parts[] = { 1, 2, 4, 5, 9 };
    struct hl7_place place = oru_place(o, r->segment, 3, 0, 0);
    bool said = false;

    for (size_t i = 0; i < COUNT(parts); i++)
        said = said || oru_says(oru_text(o, r->segment, 3, 1, parts[i]));
    if (!said) {
        oru_error(o, &place, HL7_MISSING, "missing-element",
                  "It is not said what was measured");
    } else if (strlen(oru_text(o, r->segment, 3, 1, 1)) > ORU_CODE_MAX ||
               strlen(oru_text(o, r->segment, 3, 1, 3)) > ORU_CODE_MAX) {
        oru_error(o, &place, HL7_TOO_LONG, "too-long",
                  "A code and the name of its system have 200 bytes at most");
        said = false;
    }
    return said;
}

/* Read as far as it can be; false: there is nothing to put, and it was said
 * why. */
static bool read_result(struct oru *o, struct oru_result *r)
{
    bool readable;

    if (!o->pid_there)
        return false; /* said once, of the whole message */
    if (o->obr == SIZE_MAX) {
        oru_error(o, &r->place, HL7_SEQUENCE, "bad-element",
                  "A result without the order (OBR) that it belongs to");
        return false;
    }
    if (!o->has_number || o->order_damaged)
        return false; /* said of its PID, or of its OBR */
    if (oru_is_result_damaged(o, r->segment)) {
        reserve_key(o, r);
        return false;
    }
    if (!read_code(o, r))
        return false;
    if (!read_status(o, r)) {
        reserve_key(o, r);
        return false;
    }
    if (!read_time(o, r))
        return false;
    readable = oru_read_value(o, r);
    /* also of what is refused: results of one key are told apart by their
     * order, which must not depend on what is wrong with one of them */
    read_key(o, r);
    if (readable || !r->corrected)
        return readable;
    /* what it corrects is known to be wrong, and must not stay in use */
    r->value = (struct oru_value){ .kind = ORU_ABSENT,
                                   .why = "The corrected value cannot be read",
                                   .repetitions = 1 };
    return true;
}

void oru_result(struct oru *o, size_t segment)
{
    struct oru_result r = { .segment = segment,
                            .place = hl7_place_of(o->message, segment) };

    if (!read_result(o, &r)) {
        o->out->left_out += r.none ? 0 : 1;
        return;
    }
    read_issued(o, &r);
    if (o->err == ERR_OK)
        oru_put_patient(o);
    if (o->err == ERR_OK)
        oru_put_result(o, &r);
}
