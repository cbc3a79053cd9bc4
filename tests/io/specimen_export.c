/// Tests of a specimen's record as JSON.

#include "specimen_export.h"

#include "record.h"
#include "specimen_parts.h"
#include "support/lq0417.h"
#include "support/program.h"

#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static void enter(void)
{
    program_enter();
    lq0417_write();
}

TestSuite(specimen_export, .init = enter, .fini = program_leave, .timeout = 60);

static json_t* export(void)
{
    rlv_specimen specimen = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_specimen_read(&specimen, ".", &error), RLV_DONE, "%s: %s", error.where, error.what);
    record_watch();
    json_t* record = specimen_json(&specimen);
    cr_assert(record_whole());
    rlv_specimen_free(&specimen);
    return record;
}

static void expect(const json_t* object, const char* key, const char* value)
{
    const char* found = json_string_value(json_object_get(object, key));
    if (value == NULL)
        cr_assert_null(json_object_get(object, key), "%s is there", key);
    else
        cr_assert(found != NULL && strcmp(found, value) == 0, "%s is '%s', not '%s'", key, found, value);
}

Test(specimen_export, the_specimen_is_told_in_darwin_core)
{
    json_t* record = export();
    const json_t* s = json_object_get(record, "material");
    expect(s, "dwc:basisOfRecord", "FossilSpecimen");
    expect(s, "dwc:institutionCode", "Quarry House");
    expect(s, "dwc:collectionCode", "fishes");
    expect(s, "dwc:catalogNumber", "LQ-0417");
    expect(s, "dwc:verbatimIdentification", "armoured fish, undetermined");
    expect(s, "dwc:scientificName", NULL);
    expect(s, "dwc:locality", "the quarry");
    expect(s, "dwc:lithostratigraphicTerms", "laminated lake marl, bed 7");
    expect(s, "dwc:recordedBy", "F. Hand");
    expect(s, "dwc:eventDate", "2031-05-12");
    expect(s, "dwc:preparations", "block | slab A (counterpart) | chip");
    expect(s, "dwc:materialEntityRemarks", "<b>not</b> & \"bold\"");
    json_decref(record);
}

Test(specimen_export, each_mesh_is_a_medium_in_audiovisual_core)
{
    json_t* record = export();
    const json_t* media = json_object_get(record, "media");
    cr_assert_eq(json_array_size(media), 6);
    const json_t *field = json_array_get(media, 0), *overburden = json_array_get(media, 1),
                 *slab = json_array_get(media, 4);
    expect(field, "dcterms:identifier", "meshes/field.ply");
    expect(field, "dcterms:title", "LQ-0417, Field block");
    expect(field, "dcterms:created", "2031-05-12");
    expect(field, "ac:caption", NULL);
    expect(field, "ac:associatedSpecimenReference", "LQ-0417");
    expect(field, "dc:rights", "by the owner's leave");
    expect(field, "stage", "field");
    expect(field, "mesh", "block");
    expect(overburden, "ac:caption", "rain");
    expect(json_object_get(overburden, "ac:hasServiceAccessPoint"), "ac:accessURI", "meshes/overburden.ply");
    expect(json_object_get(overburden, "ac:hasServiceAccessPoint"), "dc:format", "ply");
    expect(slab, "dcterms:title", "LQ-0417, Counterpart slab, tail");
    expect(slab, "dcterms:created", "2031-07-01/2031-07-03");
    expect(slab, "mesh", "slab A");
    expect(json_array_get(media, 3), "dcterms:created", NULL);
    json_decref(record);
}

Test(specimen_export, a_file_is_told_by_its_media_type_and_an_address_without_odd_signs)
{
    program_write("meshes/caf\xC3\xA9 1.STL", "p");
    char* changed = program_changed(lq0417_yaml, "meshes/tail.ply", "meshes/caf\xC3\xA9 1.STL");
    program_write("specimen.yaml", changed);
    free(changed);
    json_t* record = export();
    const json_t* tail = json_array_get(json_object_get(record, "media"), 2);
    expect(tail, "dcterms:identifier", "meshes/caf\xC3\xA9 1.STL");
    expect(json_object_get(tail, "ac:hasServiceAccessPoint"), "ac:accessURI", "meshes/caf%C3%A9%201.STL");
    expect(json_object_get(tail, "ac:hasServiceAccessPoint"), "dc:format", "model/stl");
    json_decref(record);
}

/// Every key of a schema is in the JSON, at least once. Returns how many there are.
static size_t expect_keys(const char* json, const cyaml_schema_value_t* schema)
{
    size_t count = 0;
    if (schema->type == CYAML_SEQUENCE || schema->type == CYAML_SEQUENCE_FIXED)
        return expect_keys(json, schema->sequence.entry);
    if (schema->type != CYAML_MAPPING)
        return 0;
    for (const cyaml_schema_field_t* field = schema->mapping.fields; field->key != NULL; field++)
    {
        char key[128];
        snprintf(key, sizeof key, "\"%s\":", field->key);
        // LQ-0417 has its bedding by points.
        bool other_way = strcmp(field->key, "strike_deg") == 0 || strcmp(field->key, "dip_deg") == 0;
        cr_assert((strstr(json, key) != NULL) != other_way, "%s", field->key);
        count += 1 + expect_keys(json, &field->value);
    }
    return count;
}

Test(specimen_export, every_key_of_the_record_comes_through)
{
    json_t* record = export();
    char* json = json_dumps(json_object_get(record, "record"), 0);
    cr_assert_gt(expect_keys(json, rlv_specimen_schema()), 100);
    free(json);
    json_decref(record);
}

Test(specimen_export, values_are_those_of_the_record_and_what_is_not_recorded_stays_out)
{
    json_t* record = export();
    const json_t* all = json_object_get(record, "record");
    expect(all, "specimen", "LQ-0417");
    expect(all, "note", "<b>not</b> & \"bold\"");
    const json_t* stage = json_array_get(json_object_get(all, "stages"), 1);
    expect(stage, "id", "overburden");
    expect(stage, "title", NULL);
    expect(stage, "mesh_unit", "cm");
    cr_assert_eq(json_real_value(json_object_get(stage, "scale_sd")), 0.0002);
    cr_assert_eq(json_real_value(json_object_get(json_object_get(stage, "drying"), "sd_g")), 50.0);
    cr_assert_null(json_object_get(stage, "mass"));
    cr_assert_null(json_object_get(stage, "scale_bars"));
    cr_assert_eq(json_array_size(json_object_get(stage, "work")), 2);
    const json_t* treatment = json_array_get(json_object_get(stage, "treatments"), 0);
    expect(treatment, "basis", "w/v");
    cr_assert_eq(json_integer_value(json_object_get(treatment, "coats")), 2);
    const json_t* masks = json_object_get(all, "masks");
    expect(json_array_get(masks, 3), "is", "piece");
    cr_assert_eq(json_integer_value(json_array_get(json_object_get(json_array_get(masks, 1), "colour"), 1)), 178);
    const json_t* pieces = json_object_get(all, "pieces");
    cr_assert(json_is_true(json_object_get(json_array_get(pieces, 0), "counterpart")));
    cr_assert(json_is_false(json_object_get(json_array_get(pieces, 1), "counterpart")));
    const json_t* row = json_array_get(json_object_get(all, "rows"), 0);
    cr_assert_eq(json_integer_value(json_array_get(json_object_get(row, "places"), 1)), 34);
    const json_t* untouchable = json_object_get(json_object_get(all, "display"), "untouchable");
    cr_assert_str_eq(json_string_value(json_array_get(untouchable, 0)), "skull");
    cr_assert_eq(json_real_value(json_array_get(json_object_get(json_object_get(all, "up"), "vector"), 2)), 1.0);
    json_decref(record);
}

Test(specimen_export, elements_and_inputs_come_through)
{
    json_t* record = export();
    const json_t* elements = json_object_get(record, "elements");
    cr_assert_eq(json_array_size(elements), 4);
    expect(json_array_get(elements, 1), "part", "#c9b28e");
    cr_assert_eq(json_integer_value(json_array_get(json_object_get(json_array_get(elements, 1), "places"), 1)), 7);
    expect(json_array_get(elements, 3), "bag", "S1");
    expect(json_array_get(elements, 3), "row", NULL);
    cr_assert_eq(json_array_size(json_object_get(record, "inputs")), 4);
    json_decref(record);
    program_write("specimen.yaml", "specimen: a\nstages: [{id: f, mesh: meshes/field.ply, mesh_unit: mm}]\n");
    unlink("points.csv");
    unlink("elements.csv");
    record = export();
    expect(json_object_get(record, "material"), "dwc:locality", NULL);
    expect(json_array_get(json_object_get(record, "media"), 0), "dc:rights", "Copyright unknown.");
    cr_assert_eq(json_object_size(json_object_get(record, "record")), 2);
    cr_assert_eq(json_array_size(json_object_get(record, "elements")), 0);
    cr_assert_eq(json_array_size(json_object_get(record, "inputs")), 1);
    json_decref(record);
}
