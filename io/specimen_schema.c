#include "specimen_parts.h"

#include "text_file.h"
#include "yaml_check.h"

#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define MOST_BYTES ((size_t)4 << 20)
#define MOST_ENTRIES 10000 ///< of a list; what is checked against each other takes the square of that in time

// Shorthands for the table below. What may be left out may also stand there empty, and is NULL or no list then.
#define MAY (CYAML_FLAG_OPTIONAL | CYAML_FLAG_POINTER_NULL)
#define MUST CYAML_FLAG_DEFAULT
#define TEXT(flags, key, record, member)                                                                               \
    CYAML_FIELD_STRING_PTR(key, flags, record, member, (flags) == MUST ? 1 : 0, CYAML_UNLIMITED)
#define LIST(flags, key, record, member, entry)                                                                        \
    CYAML_FIELD_SEQUENCE(key, (flags) | CYAML_FLAG_POINTER, record, member, entry, (flags) == MUST ? 1 : 0,            \
                         MOST_ENTRIES)
#define THREE(flags, key, record, member, member_count, entry)                                                         \
    CYAML_FIELD_SEQUENCE_COUNT(key, (flags) | CYAML_FLAG_POINTER, record, member, member_count, entry, 3, 3)
#define ENTRY(record, fields)                                                                                          \
    {                                                                                                                  \
        CYAML_VALUE_MAPPING(CYAML_FLAG_DEFAULT, record, fields)                                                        \
    }

static const cyaml_schema_value_t number_entry = {CYAML_VALUE_FLOAT(CYAML_FLAG_DEFAULT, double)};
static const cyaml_schema_value_t whole_entry = {CYAML_VALUE_INT(CYAML_FLAG_DEFAULT, int)};
static const cyaml_schema_value_t text_entry = {CYAML_VALUE_STRING(CYAML_FLAG_POINTER, char*, 1, CYAML_UNLIMITED)};

static const cyaml_strval_t units[] = {
    {"mm", RLV_UNIT_MM}, {"cm", RLV_UNIT_CM}, {"m", RLV_UNIT_M}, {"in", RLV_UNIT_IN}};
static const cyaml_strval_t mask_kinds[] = {
    {"support", RLV_MASK_SUPPORT}, {"bone", RLV_MASK_BONE}, {"piece", RLV_MASK_PIECE}};

static const cyaml_schema_field_t bar_fields[] = {
    TEXT(MUST, "bar", rlv_scale_bar_record, bar), CYAML_FIELD_FLOAT("length_mm", MUST, rlv_scale_bar_record, length_mm),
    CYAML_FIELD_FLOAT("sd_mm", MUST, rlv_scale_bar_record, sd_mm), CYAML_FIELD_END};
static const cyaml_schema_value_t bar_entry = ENTRY(rlv_scale_bar_record, bar_fields);

static const cyaml_schema_field_t mass_fields[] = {CYAML_FIELD_FLOAT("grams", MUST, rlv_mass_record, grams),
                                                   CYAML_FIELD_FLOAT("sd_g", MUST, rlv_mass_record, sd_g),
                                                   CYAML_FIELD_END};

/// The keys of a mesh, within those of a stage or of a piece at a stage.
#define MESH_FIELDS(record)                                                                                            \
    TEXT(MUST, "mesh", record, mesh.mesh),                                                                             \
        CYAML_FIELD_ENUM_PTR("mesh_unit", MAY | CYAML_FLAG_STRICT, record, mesh.unit, units, CYAML_ARRAY_LEN(units)),  \
        CYAML_FIELD_FLOAT_PTR("scale_sd", MAY, record, mesh.scale_sd),                                                 \
        LIST(MAY, "scale_bars", record, mesh.bar, &bar_entry)

static const cyaml_schema_field_t work_fields[] = {
    TEXT(MUST, "tool", rlv_work_record, tool), CYAML_FIELD_FLOAT("hours", MUST, rlv_work_record, hours),
    TEXT(MAY, "area", rlv_work_record, area),  TEXT(MAY, "person", rlv_work_record, person),
    TEXT(MAY, "note", rlv_work_record, note),  CYAML_FIELD_END};
static const cyaml_schema_value_t work_entry = ENTRY(rlv_work_record, work_fields);

static const cyaml_schema_field_t decision_fields[] = {TEXT(MUST, "what", rlv_decision_record, what),
                                                       TEXT(MUST, "why", rlv_decision_record, why),
                                                       TEXT(MAY, "who", rlv_decision_record, who), CYAML_FIELD_END};
static const cyaml_schema_value_t decision_entry = ENTRY(rlv_decision_record, decision_fields);

static const cyaml_schema_field_t treatment_fields[] = {
    TEXT(MUST, "what", rlv_treatment_record, what),
    TEXT(MAY, "material", rlv_treatment_record, material),
    TEXT(MAY, "solvent", rlv_treatment_record, solvent),
    CYAML_FIELD_FLOAT_PTR("concentration_percent", MAY, rlv_treatment_record, concentration_percent),
    TEXT(MAY, "basis", rlv_treatment_record, basis),
    CYAML_FIELD_FLOAT_PTR("volume_ml", MAY, rlv_treatment_record, volume_ml),
    CYAML_FIELD_FLOAT_PTR("dry_g", MAY, rlv_treatment_record, dry_g),
    CYAML_FIELD_FLOAT_PTR("area_cm2", MAY, rlv_treatment_record, area_cm2),
    CYAML_FIELD_INT_PTR("coats", MAY, rlv_treatment_record, coats),
    TEXT(MAY, "area", rlv_treatment_record, area),
    TEXT(MAY, "untreated_sample", rlv_treatment_record, untreated_sample),
    TEXT(MAY, "note", rlv_treatment_record, note),
    CYAML_FIELD_END};
static const cyaml_schema_value_t treatment_entry = ENTRY(rlv_treatment_record, treatment_fields);

static const cyaml_schema_field_t stage_fields[] = {
    TEXT(MUST, "id", rlv_stage_record, id),
    TEXT(MAY, "title", rlv_stage_record, title),
    TEXT(MAY, "date", rlv_stage_record, date),
    MESH_FIELDS(rlv_stage_record),
    CYAML_FIELD_MAPPING_PTR("mass", MAY, rlv_stage_record, mass, mass_fields),
    CYAML_FIELD_MAPPING_PTR("drying", MAY, rlv_stage_record, drying, mass_fields),
    LIST(MAY, "work", rlv_stage_record, work, &work_entry),
    LIST(MAY, "decisions", rlv_stage_record, decision, &decision_entry),
    LIST(MAY, "treatments", rlv_stage_record, treatment, &treatment_entry),
    TEXT(MAY, "note", rlv_stage_record, note),
    CYAML_FIELD_END};
static const cyaml_schema_value_t stage_entry = ENTRY(rlv_stage_record, stage_fields);

static const cyaml_schema_field_t mask_fields[] = {
    TEXT(MUST, "stage", rlv_mask_record, stage),
    CYAML_FIELD_ENUM("is", MUST | CYAML_FLAG_STRICT, rlv_mask_record, kind, mask_kinds, CYAML_ARRAY_LEN(mask_kinds)),
    TEXT(MAY, "piece", rlv_mask_record, piece),
    TEXT(MAY, "object", rlv_mask_record, object),
    THREE(MAY, "colour", rlv_mask_record, colour, colour_count, &whole_entry),
    TEXT(MAY, "outline", rlv_mask_record, outline),
    CYAML_FIELD_END};
static const cyaml_schema_value_t mask_entry = ENTRY(rlv_mask_record, mask_fields);

static const cyaml_schema_field_t piece_mesh_fields[] = {TEXT(MUST, "stage", rlv_piece_mesh_record, stage),
                                                         MESH_FIELDS(rlv_piece_mesh_record), CYAML_FIELD_END};
static const cyaml_schema_value_t piece_mesh_entry = ENTRY(rlv_piece_mesh_record, piece_mesh_fields);

static const cyaml_schema_field_t piece_fields[] = {
    TEXT(MUST, "id", rlv_piece_record, id),
    TEXT(MAY, "title", rlv_piece_record, title),
    TEXT(MAY, "parent", rlv_piece_record, parent),
    TEXT(MAY, "detached", rlv_piece_record, detached),
    TEXT(MAY, "joined", rlv_piece_record, joined),
    CYAML_FIELD_BOOL("counterpart", CYAML_FLAG_OPTIONAL, rlv_piece_record, counterpart),
    TEXT(MAY, "face", rlv_piece_record, face),
    CYAML_FIELD_MAPPING_PTR("mass", MAY, rlv_piece_record, mass, mass_fields),
    LIST(MAY, "meshes", rlv_piece_record, mesh, &piece_mesh_entry),
    TEXT(MAY, "note", rlv_piece_record, note),
    CYAML_FIELD_END};
static const cyaml_schema_value_t piece_entry = ENTRY(rlv_piece_record, piece_fields);

static const cyaml_schema_field_t spoil_fields[] = {
    TEXT(MUST, "bag", rlv_spoil_record, bag),
    TEXT(MUST, "stage", rlv_spoil_record, stage),
    TEXT(MAY, "area", rlv_spoil_record, area),
    CYAML_FIELD_MAPPING_PTR("mass", MAY, rlv_spoil_record, mass, mass_fields),
    TEXT(MAY, "state", rlv_spoil_record, state),
    TEXT(MAY, "note", rlv_spoil_record, note),
    CYAML_FIELD_END};
static const cyaml_schema_value_t spoil_entry = ENTRY(rlv_spoil_record, spoil_fields);

static const cyaml_schema_field_t direction_fields[] = {
    TEXT(MUST, "stage", rlv_direction_record, stage),
    THREE(MUST, "vector", rlv_direction_record, vector, count, &number_entry), CYAML_FIELD_END};

static const cyaml_schema_field_t bedding_fields[] = {
    TEXT(MAY, "stage", rlv_bedding_record, stage),
    TEXT(MAY, "points", rlv_bedding_record, points),
    CYAML_FIELD_FLOAT_PTR("strike_deg", MAY, rlv_bedding_record, strike_deg),
    CYAML_FIELD_FLOAT_PTR("dip_deg", MAY, rlv_bedding_record, dip_deg),
    CYAML_FIELD_FLOAT_PTR("sd_deg", MAY, rlv_bedding_record, sd_deg),
    CYAML_FIELD_END};

static const cyaml_schema_field_t joint_fields[] = {
    TEXT(MUST, "id", rlv_joint_record, id),
    TEXT(MUST, "stage", rlv_joint_record, stage),
    TEXT(MUST, "trace", rlv_joint_record, trace),
    CYAML_FIELD_FLOAT_PTR("aperture_mm", MAY, rlv_joint_record, aperture_mm),
    CYAML_FIELD_BOOL_PTR("crosses_bone", MAY, rlv_joint_record, crosses_bone),
    TEXT(MAY, "note", rlv_joint_record, note),
    CYAML_FIELD_END};
static const cyaml_schema_value_t joint_entry = ENTRY(rlv_joint_record, joint_fields);

static const cyaml_schema_field_t density_fields[] = {TEXT(MUST, "material", rlv_density_record, material),
                                                      CYAML_FIELD_FLOAT("g_cm3", MUST, rlv_density_record, g_cm3),
                                                      CYAML_FIELD_FLOAT("sd_g_cm3", MUST, rlv_density_record, sd_g_cm3),
                                                      TEXT(MAY, "basis", rlv_density_record, basis), CYAML_FIELD_END};
static const cyaml_schema_value_t density_entry = ENTRY(rlv_density_record, density_fields);

// `places: [first, last]` goes into two members that stand side by side.
static_assert(offsetof(rlv_row_record, last_place) == offsetof(rlv_row_record, first_place) + sizeof(int),
              "the places of a row are filled as one array");
static const cyaml_schema_field_t row_fields[] = {
    TEXT(MUST, "id", rlv_row_record, id),
    TEXT(MAY, "title", rlv_row_record, title),
    TEXT(MUST, "side", rlv_row_record, side),
    TEXT(MAY, "kind", rlv_row_record, kind),
    {.key = "places",
     .data_offset = offsetof(rlv_row_record, first_place),
     .value = {CYAML_VALUE_SEQUENCE_FIXED(CYAML_FLAG_DEFAULT, int, &whole_entry, 2)}},
    CYAML_FIELD_BOOL("places_known", CYAML_FLAG_OPTIONAL, rlv_row_record, places_known),
    CYAML_FIELD_FLOAT_PTR("pitch_mm", MAY, rlv_row_record, pitch_mm),
    CYAML_FIELD_FLOAT_PTR("pitch_sd_mm", MAY, rlv_row_record, pitch_sd_mm),
    CYAML_FIELD_FLOAT_PTR("taper", MAY, rlv_row_record, taper),
    TEXT(MAY, "life_positions", rlv_row_record, life_positions),
    CYAML_FIELD_END};
static const cyaml_schema_value_t row_entry = ENTRY(rlv_row_record, row_fields);

static const cyaml_schema_field_t display_fields[] = {
    CYAML_FIELD_MAPPING_PTR("up", MAY, rlv_display_record, up, direction_fields),
    CYAML_FIELD_FLOAT_PTR("rise", MAY, rlv_display_record, rise),
    CYAML_FIELD_FLOAT_PTR("edge_height_mm", MAY, rlv_display_record, edge_height_mm),
    TEXT(MAY, "rests_on", rlv_display_record, rests_on),
    LIST(MAY, "untouchable", rlv_display_record, untouchable, &text_entry),
    CYAML_FIELD_FLOAT_PTR("case_length_mm", MAY, rlv_display_record, case_length_mm),
    CYAML_FIELD_FLOAT_PTR("case_width_mm", MAY, rlv_display_record, case_width_mm),
    CYAML_FIELD_FLOAT_PTR("case_height_mm", MAY, rlv_display_record, case_height_mm),
    CYAML_FIELD_FLOAT_PTR("plinth_height_mm", MAY, rlv_display_record, plinth_height_mm),
    TEXT(MAY, "note", rlv_display_record, note),
    CYAML_FIELD_END};

static const cyaml_schema_field_t advice_fields[] = {
    CYAML_FIELD_FLOAT_PTR("clearance_mm", MAY, rlv_advice_record, clearance_mm),
    CYAML_FIELD_FLOAT_PTR("margin_mm", MAY, rlv_advice_record, margin_mm),
    CYAML_FIELD_FLOAT_PTR("hole_diameter_mm", MAY, rlv_advice_record, hole_diameter_mm),
    CYAML_FIELD_FLOAT_PTR("hole_spacing_mm", MAY, rlv_advice_record, hole_spacing_mm),
    TEXT(MAY, "joints", rlv_advice_record, joints),
    CYAML_FIELD_FLOAT_PTR("lift_limit_kg", MAY, rlv_advice_record, lift_limit_kg),
    CYAML_FIELD_END};

static const cyaml_schema_field_t specimen_fields[] = {
    TEXT(MUST, "specimen", rlv_specimen, id),
    TEXT(MAY, "title", rlv_specimen, title),
    TEXT(MAY, "taxon", rlv_specimen, taxon),
    TEXT(MAY, "institution", rlv_specimen, institution),
    TEXT(MAY, "collection", rlv_specimen, collection),
    TEXT(MAY, "locality", rlv_specimen, locality),
    TEXT(MAY, "stratum", rlv_specimen, stratum),
    TEXT(MAY, "collector", rlv_specimen, collector),
    TEXT(MAY, "collected", rlv_specimen, collected),
    TEXT(MAY, "preparator", rlv_specimen, preparator),
    TEXT(MAY, "rights", rlv_specimen, rights),
    TEXT(MAY, "note", rlv_specimen, note),
    TEXT(MAY, "frame_stage", rlv_specimen, frame_stage),
    CYAML_FIELD_MAPPING_PTR("north", MAY, rlv_specimen, north, direction_fields),
    CYAML_FIELD_MAPPING_PTR("up", MAY, rlv_specimen, up, direction_fields),
    CYAML_FIELD_MAPPING_PTR("bedding", MAY, rlv_specimen, bedding, bedding_fields),
    LIST(MAY, "densities", rlv_specimen, density, &density_entry),
    LIST(MUST, "stages", rlv_specimen, stage, &stage_entry),
    LIST(MAY, "masks", rlv_specimen, mask, &mask_entry),
    LIST(MAY, "pieces", rlv_specimen, piece, &piece_entry),
    LIST(MAY, "spoil", rlv_specimen, spoil, &spoil_entry),
    LIST(MAY, "joints", rlv_specimen, joint, &joint_entry),
    LIST(MAY, "rows", rlv_specimen, row, &row_entry),
    CYAML_FIELD_MAPPING_PTR("display", MAY, rlv_specimen, display, display_fields),
    CYAML_FIELD_MAPPING_PTR("advice", MAY, rlv_specimen, advice, advice_fields),
    CYAML_FIELD_END};
static const cyaml_schema_value_t specimen_schema = {
    CYAML_VALUE_MAPPING(CYAML_FLAG_POINTER, rlv_specimen, specimen_fields)};

const cyaml_schema_value_t* rlv_specimen_schema(void)
{
    return &specimen_schema;
}

/// The first thing that libcyaml has to say is its reason.
static void keep_reason(cyaml_log_t level, void* reason, const char* format, va_list words)
{
    char* text = reason;
    if (level != CYAML_LOG_ERROR || text[0] != '\0')
        return;
    vsnprintf(text, 256, format, words);
    text[strcspn(text, "\n")] = '\0';
}

/// Libcyaml's memory, but for one block, which is the caller's and stays: the specimen itself.
static void* keep_shell(void* shell, void* block, size_t size)
{
    if (block == shell && size == 0)
        return NULL;
    return cyaml_mem(NULL, block, size);
}

/// Let libcyaml fill the record. What it could refuse has been refused before, with its line. It reads numbers by the
/// locale of the thread, which is C here.
static rlv_status fill(rlv_specimen* specimen, const rlv_reading* reading)
{
    char reason[256] = "";
    const cyaml_config_t config = {.log_fn = keep_reason,
                                   .log_ctx = reason,
                                   .mem_fn = cyaml_mem,
                                   .log_level = CYAML_LOG_ERROR,
                                   .flags = CYAML_CFG_NO_ALIAS};
    rlv_specimen* filled = NULL;
    cyaml_err_t failure =
        cyaml_load_data(reading->data, reading->size, &config, &specimen_schema, (cyaml_data_t**)&filled, NULL);
    if (failure == CYAML_ERR_OOM)
        return rlv_fail(reading->error, RLV_SYSTEM, reading->path, "close other programs", "no memory for the record");
    if (failure != CYAML_OK || filled == NULL)
        return rlv_refuse(reading, "lay out a new record and carry it over, part by part",
                          "the record cannot be read: %s", reason[0] != '\0' ? reason : cyaml_strerror(failure));
    filled->folder = specimen->folder; // all else is the schema's, and the tables are still to come
    *specimen = *filled;
    free(filled);
    return RLV_DONE;
}

rlv_status rlv_specimen_read_yaml(rlv_specimen* specimen, const char* path, rlv_error* error)
{
    rlv_reading reading = {0};
    rlv_yaml_nodes nodes = {0};
    char sha256[65] = "";
    rlv_status status = rlv_text_file_open(&reading, path, MOST_BYTES, sha256, error);
    if (status == RLV_DONE)
        status = rlv_yaml_nodes_read(&nodes, &reading);
    if (status == RLV_DONE)
        status = rlv_yaml_check(&nodes, &reading, &specimen_schema);
    rlv_yaml_nodes_free(&nodes);
    if (status == RLV_DONE)
        status = fill(specimen, &reading);
    if (status == RLV_DONE)
        memcpy(specimen->yaml_sha256, sha256, sizeof sha256);
    rlv_reading_close(&reading);
    return status;
}

void rlv_specimen_free_yaml(rlv_specimen* specimen)
{
    const cyaml_config_t config = {.mem_fn = keep_shell, .mem_ctx = specimen, .log_level = CYAML_LOG_ERROR};
    cyaml_free(&config, &specimen_schema, specimen, 0);
}
