/* What came as HL7 v2, in the form of Prometheus; no label is from a message. */
#include "service/app.h"

void hl7_door_look(const struct service *s, struct hl7_door_view *view)
{
    *view = (struct hl7_door_view){ .listens = s->mllp != NULL,
                                    .hl7 = s->hl7_counters };
    if (s->mllp != NULL)
        mllp_server_look(s->mllp, &view->mllp);
}

static void head(struct buf *b, const char *name, const char *kind,
                 const char *help)
{
    buf_printf(b, "# HELP headgate_%s %s\n# TYPE headgate_%s %s\n", name, help,
               name, kind);
}

static void put(struct buf *b, const char *name, const char *label,
                const char *value, uint64_t n)
{
    buf_printf(b, "headgate_%s{%s=\"%s\"} %llu\n", name, label, value,
               (unsigned long long)n);
}

static void write_answers(const struct hl7_counters *c, struct buf *b)
{
    static const char name[] = "hl7_answers_total";

    head(b, name, "counter", "Answers to messages of HL7 v2, by code");
    for (int a = HL7_AA; a <= HL7_CR; a++)
        put(b, name, "code", hl7_answer_word((enum hl7_answer)a),
            c->answers[a]);
    put(b, name, "code", "none", c->unanswered);
    head(b, "hl7_repeated_total", "counter",
         "Messages of HL7 v2 that had come before");
    buf_printf(b, "headgate_hl7_repeated_total %llu\n",
               (unsigned long long)c->repeated);
}

static void write_tolerated(const struct hl7_door_view *v, struct buf *b)
{
    static const char name[] = "hl7_tolerated_total";
    const struct {
        const char *what;
        uint64_t n;
    } rows[] = { { "line-feed", v->hl7.line_feeds },
                 { "unknown-escape", v->hl7.unknown_escapes },
                 { "blank-segment", v->hl7.blank_segments },
                 { "byte-not-of-charset", v->hl7.damage },
                 { "byte-outside-frame", v->mllp.outside },
                 { "frame-restarted", v->mllp.restarted },
                 { "frame-without-last-cr", v->mllp.unended } };

    head(b, name, "counter", "What was let pass in HL7 v2, by kind");
    for (size_t i = 0; i < COUNT(rows); i++)
        put(b, name, "kind", rows[i].what, rows[i].n);
}

static void write_connections(const struct mllp_view *v, struct buf *b)
{
    static const char name[] = "mllp_refused_total";
    const struct {
        const char *why;
        uint64_t n;
    } rows[] = { { "address", v->turned_away }, { "full", v->full },
                 { "tls", v->tls_failures },    { "idle", v->idle },
                 { "slow", v->slow },           { "cut-off", v->dropped } };

    head(b, "mllp_connections", "gauge", "Connections of MLLP now");
    buf_printf(b, "headgate_mllp_connections %u\n", v->open);
    head(b, "mllp_connections_total", "counter", "Connections of MLLP");
    buf_printf(b, "headgate_mllp_connections_total %llu\n",
               (unsigned long long)v->connections);
    head(b, "mllp_frames_total", "counter", "Frames that came whole");
    buf_printf(b, "headgate_mllp_frames_total %llu\n",
               (unsigned long long)v->frames);
    head(b, "mllp_frames_too_long_total", "counter",
         "Frames longer than mllp.frame_max");
    buf_printf(b, "headgate_mllp_frames_too_long_total %llu\n",
               (unsigned long long)v->too_long);
    head(b, name, "counter", "Connections closed from here, by the reason");
    for (size_t i = 0; i < COUNT(rows); i++)
        put(b, name, "why", rows[i].why, rows[i].n);
}

void hl7_door_metrics(const struct hl7_door_view *view, struct buf *b)
{
    write_answers(&view->hl7, b);
    write_tolerated(view, b);
    if (view->listens)
        write_connections(&view->mllp, b);
}
