#include "service/hl7_intake_work.h"

#include "service/pack.h"

#include <string.h>

/* ---- the message in the store --------------------------------------------- */

/* One of the same sender, number and content; id 0: none. */
struct before {
    int64_t id;
    enum hl7_answer answer;
    bool open; /* it stands in quarantine */
};

static enum err find_before(struct db *db, const struct hl7_intake *in,
                            struct before *before)
{
    const enum query q = Q_HL7_FIND;
    enum err e =
        db_first(db, q, "sssb", in->application, in->facility, in->control,
                 (const void *)in->digest, sizeof(in->digest));

    *before = (struct before){ .id = 0 };
    if (e != ERR_OK)
        return e == ERR_ABSENT ? ERR_OK : e;
    before->id = db_int(db, q, 0);
    before->answer = (enum hl7_answer)db_int(db, q, 1);
    before->open = db_int(db, q, 2) != 0;
    db_done(db, q);
    return ERR_OK;
}

/* The number was used before for something else: machines that begin to count
 * anew do so. */
static enum err warn_of_reuse(struct db *db, struct hl7_intake *in)
{
    const enum query q = Q_HL7_OTHER;
    enum err e =
        db_first(db, q, "sssb", in->application, in->facility, in->control,
                 (const void *)in->digest, sizeof(in->digest));

    db_done(db, q);
    if (e == ERR_OK)
        hl7_say(in, HL7_WARNING, HL7_DUPLICATE_KEY, "duplicate", "MSH", 10,
                "This control id came before with other content; processed");
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err keep(struct db *db, struct hl7_intake *in)
{
    struct buf body;
    int64_t id = 0;
    enum err e;

    buf_init(&body, 2 * (size_t)BODY_MAX);
    e = pack(in->bytes, in->len, &body);
    if (e == ERR_OK)
        e = db_new_id(db, &id);
    if (e == ERR_OK)
        e = db_run(db, Q_HL7_ADD, "iiissssbiib", id, partition_of(id),
                   in->now_ms, in->profile->name, in->application, in->facility,
                   in->control, (const void *)in->digest, sizeof(in->digest),
                   INT64(HL7_AA), INT64(in->len), (const void *)body.data,
                   body.len);
    buf_clear(&body);
    if (e == ERR_OK)
        in->id = id;
    return e;
}

/* ---- its results ---------------------------------------------------------- */

static enum err apply_results(struct db *db, struct hl7_intake *in,
                              int64_t *journal)
{
    struct intake intake = { .doc = in->doc,
                             .reader = &in->reader,
                             .body = in->oru.bundle.data,
                             .len = in->oru.bundle.len,
                             .source = SOURCE_FEED,
                             .merge_implied = in->merge_implied,
                             .now_ms = in->now_ms,
                             .sender = in->profile->name,
                             .sample = in->control,
                             .way = in->way,
                             .v2 = true,
                             .live_from_s = in->live_from_s,
                             .results = in->results };
    enum err e;

    in->refused += (unsigned)in->oru.left_out;
    if (in->doc == NULL)
        return ERR_OK;
    e = hl7_items_prepare(db, in);
    if (e == ERR_OK)
        e = intake_apply(db, &intake);
    if (e != ERR_OK)
        return e;
    *journal = intake.journal;
    in->news = in->news || intake.news;
    hl7_items_judge(in);
    e = hl7_items_say_match(db, in);
    return e == ERR_OK ? hl7_items_promote(db, in) : e;
}

/* What the sender is told of bad content, which is kept either way. */
static enum hl7_answer answer_of(const struct hl7_intake *in)
{
    if (in->issues.errors == 0)
        return HL7_AA;
    switch (in->profile->bad_content) {
    case HL7_BAD_AA:
        return HL7_AA;
    case HL7_BAD_AR:
        return HL7_AR;
    case HL7_BAD_AE:
        break;
    }
    return HL7_AE;
}

/* With AA, an error that is dealt with here is no error of the sender's. */
static void soften(struct hl7_intake *in)
{
    for (size_t i = 0; in->answer == HL7_AA && i < in->issues.count; i++) {
        if (in->issues.list[i].severity == HL7_ERROR)
            in->issues.list[i].severity = HL7_WARNING;
    }
}

/* Into quarantine once, and out of it when the message is understood.  What a
 * person releases is closed by whoever does so. */
static enum err settle(struct db *db, struct hl7_intake *in, bool open)
{
    bool first = !in->again && !open; /* each is counted once */
    enum err e = first ? hl7_count_warnings(db, in) : ERR_OK;

    /* what is held waits for a person as it is */
    in->quarantined = in->issues.errors > in->held_errors;
    if (e == ERR_OK && in->quarantined && first)
        e = hl7_count_errors(db, in, TALLY_QUARANTINED);
    if (e == ERR_OK && in->quarantined && !open)
        e = hl7_quarantine(db, in);
    if (e == ERR_OK && !in->quarantined && open && !in->again)
        e = quarantine_close_message(db, in->id, QUARANTINE_CAME_AGAIN,
                                     in->now_ms);
    return e;
}

/* ---- the whole ------------------------------------------------------------ */

static enum err repeat(struct hl7_intake *in, const struct before *before)
{
    in->repeated = true;
    in->id = before->id;
    in->answer = before->answer;
    in->issues = (struct hl7_issues){ .count = 0 };
    if (in->answer != HL7_AA)
        hl7_say(in, HL7_WARNING, HL7_DUPLICATE_KEY, "duplicate", "MSH", 10,
                "The same message came before, and is answered as it was "
                "then");
    return ERR_OK;
}

static enum err take(struct db *db, struct hl7_intake *in)
{
    struct before before;
    int64_t journal = 0;
    enum err e = find_before(db, in, &before);

    if (e == ERR_OK && before.id != 0 && !before.open && !in->again)
        return repeat(in, &before);
    in->id = before.id;
    if (e == ERR_OK && before.id == 0)
        e = warn_of_reuse(db, in);
    if (e == ERR_OK && before.id == 0)
        e = keep(db, in);
    if (e == ERR_OK)
        e = apply_results(db, in, &journal);
    if (e == ERR_OK)
        e = settle(db, in, before.open);
    in->answer = answer_of(in);
    if (e == ERR_OK)
        e = db_run(db, Q_HL7_SET, "iii", in->id, journal, INT64(in->answer));
    soften(in);
    return e;
}

enum err hl7_intake_apply(struct db *db, void *arg)
{
    struct hl7_intake *in = arg;

    if (!in->rejected)
        return take(db, in);
    in->answer = HL7_AR;
    return hl7_count_errors(db, in, TALLY_REFUSED);
}
