#include "service/quarantine_urgent.h"

#include "adapters/fhir_glance.h"

enum { CODE_MAX = 4096, COMPONENTS_MAX = 16, CODINGS_MAX = 8 };

bool quarantine_asks_urgent(const struct codes *codes, const char *system,
                            const char *code)
{
    struct code_entry entry = codes_find(codes, system, code, CODES_NEWEST);

    return entry.meaning != CODE_UNKNOWN &&
           reading_may_be_emergency(entry.quantity,
                                    entry.meaning == CODE_QUESTION ? entry.sign
                                                                   : SIGN_NONE);
}

bool quarantine_is_urgent(const struct codes *codes, const char *body,
                          size_t len)
{
    struct buf system, code;
    bool urgent = false;

    if (body == NULL || len == 0)
        return false;
    buf_init(&system, CODE_MAX);
    buf_init(&code, CODE_MAX);
    for (int slot = 0; slot <= COMPONENTS_MAX && !urgent; slot++) {
        enum err e = ERR_OK;
        size_t i;

        for (i = 0; i < CODINGS_MAX && e == ERR_OK && !urgent; i++) {
            buf_empty(&system);
            buf_empty(&code);
            e = fhir_glance_coding(body, len, slot, i, &system, &code);
            urgent = e == ERR_OK &&
                     quarantine_asks_urgent(codes, system.data, code.data);
        }
        if (slot > 0 && i == 1 && e != ERR_OK)
            break; /* there are no more components */
    }
    buf_clear(&system);
    buf_clear(&code);
    return urgent;
}
