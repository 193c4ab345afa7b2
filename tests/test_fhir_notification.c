/*
 * What a server tells a subscriber.
 *
 * Shapes of HL7's Subscriptions R5 Backport guide, examples of R4 and R4B
 * (HL7/fhir-subscription-backport-ig: input/fsh/BackportNotificationR4.fsh,
 * rule set AddParameterStatus and its instances; BackportNotificationR4B.fsh,
 * AddSubscriptionStatus), ids and times as there.
 */
#include "adapters/fhir_notification.h"
#include "tests/test.h"

#define ADMISSION "https://example.org/fhir/r4/Subscription/admission"

#define R4(type, status, since, events, more)                                  \
    "{\"resourceType\":\"Bundle\",\"type\":\"history\","                       \
    "\"timestamp\":\"2020-05-29T11:44:13.1882432-05:00\",\"entry\":["          \
    "{\"fullUrl\":\"urn:uuid:63c28e8a-f402-43e4-beb2-75b1c0f6833f\","          \
    "\"resource\":{\"resourceType\":\"Parameters\","                           \
    "\"id\":\"63c28e8a-f402-43e4-beb2-75b1c0f6833f\",\"parameter\":["          \
    "{\"name\":\"subscription\",\"valueReference\":{\"reference\":"            \
    "\"" ADMISSION "\"}},{\"name\":\"topic\",\"valueCanonical\":"              \
    "\"http://example.org/FHIR/SubscriptionTopic/admission\"},"                \
    "{\"name\":\"status\",\"valueCode\":\"" status "\"},"                      \
    "{\"name\":\"type\",\"valueCode\":\"" type "\"},"                          \
    "{\"name\":\"events-since-subscription-start\",\"valueString\":\"" since   \
    "\"}" events "]},\"request\":{\"method\":\"GET\",\"url\":\"" ADMISSION     \
    "/$status\"},\"response\":{\"status\":\"200\"}}" more "]}"

#define EVENT2(focus)                                                          \
    ",{\"name\":\"notification-event\",\"part\":["                             \
    "{\"name\":\"event-number\",\"valueString\":\"2\"},"                       \
    "{\"name\":\"timestamp\",\"valueInstant\":"                                \
    "\"2020-05-29T11:44:13.1882432-05:00\"}" focus "]}"

#define FOCUS                                                                  \
    ",{\"name\":\"focus\",\"valueReference\":{\"reference\":"                  \
    "\"https://example.org/fhir/r4/Encounter/86009987-eabe-42bf-8c02-"         \
    "b112b18cb616\"}}"

#define R4B(kind, since, events)                                               \
    "{\"resourceType\":\"Bundle\",\"type\":\"" kind "\",\"entry\":["           \
    "{\"resource\":{\"resourceType\":\"SubscriptionStatus\","                  \
    "\"status\":\"active\",\"type\":\"event-notification\","                   \
    "\"subscription\":{\"reference\":\"" ADMISSION                             \
    "\"},\"eventsSinceSubscriptionStart\":" since ",\"notificationEvent\":["   \
    "{\"eventNumber\":" events ",\"focus\":{\"reference\":"                    \
    "\"Observation/7\"}}]}}]}"

static const struct {
    const char *name, *json;
    enum err want;
    enum notification_type type;
    int64_t events;
    size_t count;
    int64_t number;
    const char *focus;
} cases[] = {
    { "handshake", R4("handshake", "requested", "0", "", ""), ERR_OK,
      NOTIFICATION_HANDSHAKE, 0, 0, 0, NULL },
    { "heartbeat", R4("heartbeat", "active", "2", "", ""), ERR_OK,
      NOTIFICATION_HEARTBEAT, 2, 0, 0, NULL },
    { "empty", R4("event-notification", "active", "2", EVENT2(""), ""), ERR_OK,
      NOTIFICATION_EVENT, 2, 1, 2, NULL },
    { "id-only", R4("event-notification", "active", "2", EVENT2(FOCUS), ""),
      ERR_OK, NOTIFICATION_EVENT, 2, 1, 2,
      "https://example.org/fhir/r4/Encounter/86009987-eabe-42bf-8c02-"
      "b112b18cb616" },
    { "query-status", R4("query-status", "error", "3", "", ""), ERR_OK,
      NOTIFICATION_QUERY_STATUS, 3, 0, 0, NULL },
    { "query-event", R4("query-event", "active", "2", EVENT2(FOCUS), ""),
      ERR_OK, NOTIFICATION_QUERY_EVENT, 2, 1, 2,
      "https://example.org/fhir/r4/Encounter/86009987-eabe-42bf-8c02-"
      "b112b18cb616" },
    { "R4B, strings", R4B("history", "\"2\"", "\"2\""), ERR_OK,
      NOTIFICATION_EVENT, 2, 1, 2, "Observation/7" },
    { "R5, integer64 as a string",
      R4B("subscription-notification", "\"12\"", "\"12\""), ERR_OK,
      NOTIFICATION_EVENT, 12, 1, 12, "Observation/7" },
    { "numbers, as the first drafts had them", R4B("history", "2", "2"), ERR_OK,
      NOTIFICATION_EVENT, 2, 1, 2, "Observation/7" },
    { "counters that are none", R4B("history", "\"two\"", "-2"), ERR_OK,
      NOTIFICATION_EVENT, -1, 1, -1, "Observation/7" },
    { "a type that is none", R4("surprise", "active", "2", "", ""), ERR_FORM,
      NOTIFICATION_EVENT, 0, 0, 0, NULL },
    { "a history of resources",
      "{\"resourceType\":\"Bundle\",\"type\":\"history\",\"entry\":[{"
      "\"resource\":{\"resourceType\":\"Patient\",\"id\":\"p\"}}]}",
      ERR_ABSENT, NOTIFICATION_EVENT, 0, 0, 0, NULL },
    { "an empty history", "{\"resourceType\":\"Bundle\",\"type\":\"history\"}",
      ERR_ABSENT, NOTIFICATION_EVENT, 0, 0, 0, NULL },
    { "a resource", "{\"resourceType\":\"Parameters\"}", ERR_ABSENT,
      NOTIFICATION_EVENT, 0, 0, 0, NULL },
};

static void shapes(void **state)
{
    static struct fhir_notification n;

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct fhir_page page;

        ROW(cases[i].name);
        assert_int_equal(
            fhir_page_read(cases[i].json, strlen(cases[i].json), &page),
            ERR_OK);
        assert_int_equal(fhir_notification_read(&page, &n), cases[i].want);
        if (cases[i].want == ERR_OK) {
            assert_int_equal(n.type, cases[i].type);
            assert_string_equal(n.subscription, ADMISSION);
            assert_true(n.events == cases[i].events);
            assert_int_equal(n.count, cases[i].count);
        }
        if (cases[i].want == ERR_OK && cases[i].count > 0) {
            assert_true(n.list[0].number == cases[i].number);
            if (cases[i].focus == NULL)
                assert_null(n.list[0].focus);
            else
                assert_string_equal(n.list[0].focus, cases[i].focus);
        }
        fhir_page_clear(&page);
    }
}

/* The guide, errors.md: a subscriber sees by the counter that it has missed
 * an event. */
static const struct {
    const char *name;
    enum notification_type type;
    int64_t events, number; /* -1: none */
    int64_t known, want;
} gaps[] = {
    { "the next", NOTIFICATION_EVENT, 3, 3, 2, -1 },
    { "one is missing", NOTIFICATION_EVENT, 4, 4, 2, 3 },
    { "the same again", NOTIFICATION_EVENT, 2, 2, 2, -1 },
    { "an old one", NOTIFICATION_EVENT, 1, 1, 2, -1 },
    { "nothing known yet", NOTIFICATION_EVENT, 9, 9, -1, -1 },
    { "the next, which does not say", NOTIFICATION_EVENT, 3, -1, 2, -1 },
    { "missing, which does not say", NOTIFICATION_EVENT, 5, -1, 2, 3 },
    { "a heartbeat in time", NOTIFICATION_HEARTBEAT, 2, -1, 2, -1 },
    { "a heartbeat that knows more", NOTIFICATION_HEARTBEAT, 4, -1, 2, 3 },
    { "no counter", NOTIFICATION_EVENT, -1, -1, 2, -1 },
};

static void what_is_missing(void **state)
{
    static struct fhir_notification n;

    (void)state;
    for (size_t i = 0; i < COUNT(gaps); i++) {
        ROW(gaps[i].name);
        memset(&n, 0, sizeof(n));
        n.type = gaps[i].type;
        n.events = gaps[i].events;
        n.count = gaps[i].number >= 0 ? 1 : 0;
        n.list[0].number = gaps[i].number;
        assert_true(fhir_notification_gap(&n, gaps[i].known) == gaps[i].want);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(shapes),
        cmocka_unit_test(what_is_missing),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
