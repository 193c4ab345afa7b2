#include "adapters/fhir_manifest.h"

#include "adapters/fhir_page.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

static enum err add_files(struct fhir_manifest *m, json_t *list, bool deletions)
{
    json_t *file;
    size_t i;

    json_array_foreach(list, i, file)
    {
        struct fhir_manifest_file *f = &m->files[m->count];

        f->type = json_string_value(json_object_get(file, "type"));
        f->url = json_string_value(json_object_get(file, "url"));
        f->deletions = deletions;
        if (f->url == NULL || f->url[0] == '\0')
            return ERR_FORM;
        if (f->type == NULL)
            f->type = "";
        m->count++;
    }
    return ERR_OK;
}

static enum err read_members(json_t *root, struct fhir_manifest *m)
{
    json_t *output = json_object_get(root, "output");
    json_t *deleted = json_object_get(root, "deleted");
    size_t count = json_array_size(output) + json_array_size(deleted);
    enum err e;

    m->time = json_string_value(json_object_get(root, "transactionTime"));
    if (!json_is_array(output) || fhir_instant_ms(m->time) == INT64_MIN)
        return ERR_FORM;
    if (count > FHIR_MANIFEST_FILES_MAX)
        return ERR_LIMIT;
    m->needs_token =
        !json_is_false(json_object_get(root, "requiresAccessToken"));
    m->errors = json_array_size(json_object_get(root, "error"));
    m->files = calloc(count + 1, sizeof(*m->files));
    if (m->files == NULL)
        return ERR_MEMORY;
    e = add_files(m, output, false);
    return e == ERR_OK ? add_files(m, deleted, true) : e;
}

enum err fhir_manifest_read(const char *json, size_t len,
                            struct fhir_manifest *m)
{
    json_error_t error;
    enum err e;

    memset(m, 0, sizeof(*m));
    m->tree = json_loadb(json, len, JSON_REJECT_DUPLICATES, &error);
    if (m->tree == NULL)
        return json_error_code(&error) == json_error_out_of_memory ? ERR_MEMORY
                                                                   : ERR_FORM;
    e = read_members(m->tree, m);
    if (e != ERR_OK)
        fhir_manifest_clear(m);
    return e;
}

void fhir_manifest_clear(struct fhir_manifest *m)
{
    free(m->files);
    json_decref(m->tree);
    memset(m, 0, sizeof(*m));
}
