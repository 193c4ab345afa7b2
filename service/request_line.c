#include "service/request_line.h"

#include "service/app.h"
#include "service/log.h"

#include <string.h>

enum { PARTS_MAX = 6 };

/* A path taken apart, where it stands. */
struct parts {
    const char *at[PARTS_MAX];
    size_t len[PARTS_MAX];
    size_t count; /* PARTS_MAX + 1: there are more */
};

/* What has one part, or is called by its first; see routes.c. */
static const char *const pages[] = {
    "/access",  "/audit",  "/bulk",    "/case",  "/decisions",  "/digest",
    "/healthz", "/held",   "/hl7",     "/hook",  "/fhir",       "/incoming",
    "/metrics", "/outbox", "/patient", "/plan",  "/quarantine", "/queue",
    "/readyz",  "/report", "/review",  "/store", "/task",       "/technique"
};

static const char other[] = "other";

static void split(const char *path, struct parts *p)
{
    p->count = 0;
    while (p->count <= PARTS_MAX) {
        size_t len;

        path += strspn(path, "/");
        len = strcspn(path, "/");
        if (len == 0)
            return;
        if (p->count < PARTS_MAX) {
            p->at[p->count] = path;
            p->len[p->count] = len;
        }
        p->count++;
        path += len;
    }
}

static bool is(const struct parts *p, size_t i, const char *word)
{
    return i < p->count && i < PARTS_MAX && strlen(word) == p->len[i] &&
           memcmp(p->at[i], word, p->len[i]) == 0;
}

static const char *page_of(const struct parts *p)
{
    for (size_t i = 0; i < COUNT(pages); i++) {
        if (is(p, 0, pages[i] + 1))
            return pages[i];
    }
    return other;
}

const char *request_type(const char *text, size_t len)
{
    char word[32];

    if (len >= sizeof(word))
        return "";
    memcpy(word, text, len);
    word[len] = '\0';
    return type_by_word(word) == FHIR_OTHER ? ""
                                            : type_word(type_by_word(word));
}

/* /fhir/TYPE and what is below it. */
static const char *pattern_of_type(const struct parts *p)
{
    bool history = is(p, 3, "_history");

    if (p->count == 2)
        return "/fhir/TYPE";
    if (is(p, 2, "_search"))
        return p->count == 3 ? "/fhir/TYPE/_search" : other;
    if (is(p, 2, "_history"))
        return p->count == 3 ? "/fhir/TYPE/_history" : other;
    if (p->count == 3)
        return "/fhir/TYPE/ID";
    if (history && p->count == 4)
        return "/fhir/TYPE/ID/_history";
    return history && p->count == 5 ? "/fhir/TYPE/ID/_history/VERSION" : other;
}

static const char *pattern_of_fhir(const struct parts *p, const char *type)
{
    if (type[0] != '\0')
        return pattern_of_type(p);
    if (is(p, 1, "metadata") && p->count == 2)
        return "/fhir/metadata";
    return is(p, 1, "SearchParameter") && p->count == 3
               ? "/fhir/SearchParameter/ID"
               : other;
}

static const char *pattern_of_quarantine(const struct parts *p)
{
    static const char *const deeds[] = { "/quarantine/ROW/map",
                                         "/quarantine/ROW/release",
                                         "/quarantine/ROW/discard",
                                         "/quarantine/ROW/unmap" };
    size_t named = is(p, 1, "Observation") ? 3 : 2;

    if (p->count == named)
        return "/quarantine/ROW";
    for (size_t i = 0; i < COUNT(deeds) && p->count == named + 1; i++) {
        if (is(p, named, strrchr(deeds[i], '/') + 1))
            return deeds[i];
    }
    return other;
}

void request_route_of(const char *path, struct request_route *out)
{
    struct parts p;

    split(path, &p);
    *out = (struct request_route){ .pattern = other, .type = "" };
    if (p.count == 1) {
        out->pattern = page_of(&p);
    } else if (is(&p, 0, "fhir")) {
        out->type = request_type(p.at[1], p.len[1]);
        out->pattern = pattern_of_fhir(&p, out->type);
    } else if (is(&p, 0, "quarantine")) {
        out->pattern = pattern_of_quarantine(&p);
    } else if (is(&p, 0, "hook") && p.count == 3) {
        out->type = request_type(p.at[1], p.len[1]);
        out->pattern = "/hook/TYPE/ID";
    } else if (is(&p, 0, ".well-known") && is(&p, 1, "jwks.json") &&
               p.count == 2) {
        out->pattern = "/.well-known/jwks.json";
    }
}

static const char *method_of(const struct http_request *r)
{
    static const char *const words[] = { "GET", "HEAD",  "POST",
                                         "PUT", "PATCH", "DELETE" };

    for (size_t i = 0; i < COUNT(words); i++) {
        if (strcmp(words[i], http_method(r)) == 0)
            return words[i];
    }
    return other;
}

void request_line(const struct http_request *r, int status, size_t bytes,
                  uint64_t began_ns)
{
    struct request_route route;

    if (!log_says(LOG_DEBUG))
        return;
    request_route_of(http_path(r), &route);
    log_event(LOG_DEBUG, "http.answer", KEY_TABLE("method", method_of(r)),
              KEY_TABLE("route", route.pattern),
              KEY_TABLE("type", route.type[0] != '\0' ? route.type : "none"),
              KEY_INT("status", status), KEY_INT("bytes", bytes),
              KEY_INT("local", http_is_local(r)),
              KEY_INT("ms", log_ms_since(began_ns)));
}

void request_reply(struct http_request *r, int status,
                   const struct http_header_line *lines, size_t line_count,
                   const char *content_type, const char *body, size_t len)
{
    request_line(r, status, len, 0);
    http_reply(r, status, lines, line_count, content_type, body, len);
}
