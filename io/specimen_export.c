#include "specimen_export.h"

#include "record.h"
#include "specimen_parts.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

/// A key that is left out where there is nothing to say.
static void text(json_t* object, const char* key, const char* value)
{
    if (value != NULL)
        record_text(object, key, value);
}

// ---- the record, by its schema --------------------------------------------------------------------------------------

static json_t* value_json(const cyaml_schema_value_t* schema, const char* data, size_t count);

/// The length of a list: counts are size_t, or int where a list is always of three.
static size_t count_at(const char* data, size_t size)
{
    size_t count = 0;
    int few = 0;
    if (size == sizeof count)
        memcpy(&count, data, sizeof count);
    else
        memcpy(&few, data, sizeof few);
    return count + (size_t)few;
}

/// Where the pointer at `place` leads.
static const char* follow(const char* place)
{
    const char* to = NULL;
    memcpy(&to, place, sizeof to);
    return to;
}

static json_t* mapping_json(const cyaml_schema_value_t* schema, const char* data)
{
    json_t* object = json_object();
    for (const cyaml_schema_field_t* field = schema->mapping.fields; field->key != NULL; field++)
    {
        size_t count = 0;
        const char* place = data + field->data_offset;
        if (field->value.type == CYAML_SEQUENCE)
            count = count_at(data + field->count_offset, field->count_size);
        if ((field->value.flags & CYAML_FLAG_POINTER) != 0)
            place = follow(place);
        if (place != NULL)
            json_object_set_new(object, field->key, value_json(&field->value, place, count));
    }
    return object;
}

static json_t* list_json(const cyaml_schema_value_t* schema, const char* data, size_t count)
{
    const cyaml_schema_value_t* entry = schema->sequence.entry;
    json_t* list = json_array();
    for (size_t i = 0; i < count; i++)
    {
        const char* place = data + i * entry->data_size;
        if ((entry->flags & CYAML_FLAG_POINTER) != 0)
            place = follow(place);
        json_array_append_new(list, value_json(entry, place, 0));
    }
    return list;
}

/// The word that stands for a value.
static json_t* word_json(const cyaml_schema_value_t* schema, const char* data)
{
    int value = 0;
    memcpy(&value, data, schema->data_size);
    for (uint32_t i = 0; i < schema->enumeration.count; i++)
        if (schema->enumeration.strings[i].val == value)
            return json_string(schema->enumeration.strings[i].str);
    return json_null();
}

/// What libcyaml put at `data` by `schema`, as it stands in specimen.yaml; what was not recorded is left out.
static json_t* value_json(const cyaml_schema_value_t* schema, const char* data, size_t count)
{
    double number = 0.0;
    int whole = 0;
    bool flag = false;
    switch (schema->type)
    {
    case CYAML_MAPPING:
        return mapping_json(schema, data);
    case CYAML_SEQUENCE:
        return list_json(schema, data, count);
    case CYAML_SEQUENCE_FIXED:
        return list_json(schema, data, schema->sequence.max);
    case CYAML_FLOAT:
        memcpy(&number, data, sizeof number);
        return json_real(number);
    case CYAML_INT:
        memcpy(&whole, data, sizeof whole);
        return json_integer(whole);
    case CYAML_BOOL:
        memcpy(&flag, data, sizeof flag);
        return json_boolean(flag);
    case CYAML_ENUM:
        return word_json(schema, data);
    default:
        return json_string(data); // checked as UTF-8 when it was read
    }
}

static void elements(json_t* record, const rlv_specimen* s)
{
    json_t* list = record_list(record, "elements");
    for (size_t i = 0; i < s->element_count; i++)
    {
        const rlv_element_record* element = &s->element[i];
        json_t* row = record_row(list);
        record_text(row, "id", element->id);
        record_text(row, "kind", element->kind);
        text(row, "row", element->row);
        if (element->place_known)
        {
            json_t* places = record_list(row, "places");
            json_array_append_new(places, json_integer(element->first_place));
            json_array_append_new(places, json_integer(element->last_place));
        }
        text(row, "side", element->side);
        text(row, "stage", element->stage);
        text(row, "part", element->part);
        text(row, "bag", element->bag);
        text(row, "note", element->note);
    }
}

// ---- media ----------------------------------------------------------------------------------------------------------

/// The media type of a mesh file (IANA, media types, `model`; from memory), or its extension where none is registered.
static const char* format_of(const char* path)
{
    static const char* const types[][2] = {{"stl", "model/stl"},        {"obj", "model/obj"},
                                           {"gltf", "model/gltf+json"}, {"glb", "model/gltf-binary"},
                                           {"3mf", "model/3mf"},        {"dae", "model/vnd.collada+xml"}};
    const char* dot = strrchr(path, '.');
    if (dot == NULL || strchr(dot, '/') != NULL || dot[1] == '\0')
        return NULL;
    for (size_t i = 0; i < sizeof types / sizeof *types; i++)
        if (strcasecmp(dot + 1, types[i][0]) == 0)
            return types[i][1];
    return dot + 1;
}

/// A path as a relative reference (RFC 3986, section 4.2): what is not unreserved, nor a slash, as %XX.
static void reference(json_t* object, const char* key, const char* path)
{
    static const char plain[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._~/";
    char* written = malloc(3 * strlen(path) + 1);
    size_t used = 0;
    for (const char* at = path; written != NULL && *at != '\0'; at++)
        if (strchr(plain, *at) != NULL)
            written[used++] = *at;
        else
            used += (size_t)snprintf(written + used, 4, "%%%02X", (unsigned char)*at);
    if (written != NULL)
        written[used] = '\0';
    record_text(object, key, written);
    free(written);
}

/// A mesh as a media resource: of a stage (`piece` NULL) or of a piece at one.
static void medium(json_t* media, const rlv_specimen* s, const rlv_stage_record* stage, const rlv_piece_record* piece,
                   const rlv_mesh_record* mesh)
{
    json_t* row = record_row(media);
    char title[512];
    const char* of_stage = stage->title != NULL ? stage->title : stage->id;
    if (piece != NULL)
        rlv_print(title, sizeof title, "%.100s, %.150s, %.150s", s->id, piece->title != NULL ? piece->title : piece->id,
                  of_stage);
    else
        rlv_print(title, sizeof title, "%.100s, %.300s", s->id, of_stage);
    record_text(row, "dcterms:identifier", mesh->mesh);
    record_text(row, "dc:type", "InteractiveResource");
    record_text(row, "dcterms:title", title);
    text(row, "ac:caption", piece != NULL ? piece->note : stage->note);
    text(row, "dcterms:created", stage->date);
    record_text(row, "dc:rights", s->rights != NULL ? s->rights : "Copyright unknown.");
    record_text(row, "ac:associatedSpecimenReference", s->id);
    record_text(row, "stage", stage->id);
    record_text(row, "mesh", piece != NULL ? piece->id : "block");
    json_t* point = record_object(row, "ac:hasServiceAccessPoint");
    reference(point, "ac:accessURI", mesh->mesh);
    text(point, "dc:format", format_of(mesh->mesh));
}

static void media(json_t* record, const rlv_specimen* s)
{
    json_t* list = record_list(record, "media");
    for (size_t i = 0; i < s->stage_count; i++)
        medium(list, s, &s->stage[i], NULL, &s->stage[i].mesh);
    for (size_t i = 0; i < s->piece_count; i++)
        for (size_t k = 0; k < s->piece[i].mesh_count; k++)
            medium(list, s, rlv_specimen_stage(s, s->piece[i].mesh[k].stage), &s->piece[i], &s->piece[i].mesh[k].mesh);
}

// ---- the specimen ---------------------------------------------------------------------------------------------------

/// The parts that it is in, parted as Darwin Core recommends for lists.
static void preparations(json_t* object, const rlv_specimen* s)
{
    char* words = NULL;
    size_t size = 0;
    FILE* stream = open_memstream(&words, &size);
    if (stream == NULL)
        return;
    fputs("block", stream);
    for (size_t i = 0; i < s->piece_count; i++)
        fprintf(stream, " | %s%s", s->piece[i].id, s->piece[i].counterpart ? " (counterpart)" : "");
    if (fclose(stream) == 0)
        record_text(object, "dwc:preparations", words);
    free(words);
}

static void material(json_t* record, const rlv_specimen* s)
{
    json_t* object = record_object(record, "material");
    record_text(object, "dwc:basisOfRecord", "FossilSpecimen");
    text(object, "dwc:institutionCode", s->institution);
    text(object, "dwc:collectionCode", s->collection);
    record_text(object, "dwc:catalogNumber", s->id);
    text(object, "dcterms:title", s->title);
    text(object, "dwc:verbatimIdentification", s->taxon);
    text(object, "dwc:locality", s->locality);
    text(object, "dwc:lithostratigraphicTerms", s->stratum);
    text(object, "dwc:recordedBy", s->collector);
    text(object, "dwc:eventDate", s->collected);
    preparations(object, s);
    text(object, "preparator", s->preparator);
    text(object, "dcterms:rights", s->rights);
    text(object, "dwc:materialEntityRemarks", s->note);
}

static void input(json_t* list, const char* path, const char* sha256)
{
    json_t* row = record_row(list);
    record_text(row, "path", path);
    record_text(row, "sha256", sha256);
}

static void inputs(json_t* record, const rlv_specimen* s)
{
    const char* const file[3][2] = {
        {"specimen.yaml", s->yaml_sha256}, {"points.csv", s->points_sha256}, {"elements.csv", s->elements_sha256}};
    json_t* list = record_list(record, "inputs");
    for (size_t i = 0; i < 3; i++)
        if (file[i][1][0] != '\0')
            input(list, file[i][0], file[i][1]);
    for (size_t i = 0; i < s->compared_file_count; i++)
        input(list, s->compared_file[i].within, s->compared_file[i].sha256);
}

json_t* specimen_json(const rlv_specimen* s)
{
    json_t* record = json_object();
    json_t* standards = record_object(record, "standards");
    record_text(standards, "dwc", "http://rs.tdwg.org/dwc/terms/");
    record_text(standards, "ac", "http://rs.tdwg.org/ac/terms/");
    record_text(standards, "dc", "http://purl.org/dc/elements/1.1/");
    record_text(standards, "dcterms", "http://purl.org/dc/terms/");
    material(record, s);
    media(record, s);
    json_object_set_new(record, "record", mapping_json(rlv_specimen_schema(), (const char*)s));
    elements(record, s);
    inputs(record, s);
    return record;
}
