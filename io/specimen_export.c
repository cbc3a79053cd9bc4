#include "specimen_export.h"

#include "record.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

/// A key that is left out where there is nothing to say.
static void text(json_t* object, const char* key, const char* value)
{
    if (value != NULL)
        record_text(object, key, value);
}

static void number(json_t* object, const char* key, const double* value)
{
    if (value != NULL)
        record_real(object, key, *value);
}

static void mass(json_t* object, const char* key, const rlv_mass_record* value)
{
    if (value == NULL)
        return;
    json_t* child = record_object(object, key);
    record_real(child, "grams", value->grams);
    record_real(child, "sd_g", value->sd_g);
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

static void scale(json_t* object, const rlv_mesh_record* mesh)
{
    static const char* const unit_name[] = {NULL, "mm", "cm", "m", "in"};
    if (mesh->unit != NULL)
        record_text(object, "mesh_unit", unit_name[*mesh->unit]);
    number(object, "scale_sd", mesh->scale_sd);
    json_t* bars = mesh->bar_count > 0 ? record_list(object, "scale_bars") : NULL;
    for (size_t i = 0; i < mesh->bar_count; i++)
    {
        json_t* bar = record_row(bars);
        record_text(bar, "bar", mesh->bar[i].bar);
        record_real(bar, "length_mm", mesh->bar[i].length_mm);
        record_real(bar, "sd_mm", mesh->bar[i].sd_mm);
    }
}

/// A mesh as a media resource: of a stage (`piece` NULL) or of a piece at one.
static void medium(json_t* media, const rlv_specimen* s, const rlv_stage_record* stage, const rlv_piece_record* piece,
                   const rlv_mesh_record* mesh)
{
    json_t* row = record_row(media);
    char title[512];
    const char* of_stage = stage->title != NULL ? stage->title : stage->id;
    if (piece != NULL)
        snprintf(title, sizeof title, "%.100s, %.150s, %.150s", s->id, piece->title != NULL ? piece->title : piece->id,
                 of_stage);
    else
        snprintf(title, sizeof title, "%.100s, %.300s", s->id, of_stage);
    record_text(row, "dcterms:identifier", mesh->mesh);
    record_text(row, "dc:type", "InteractiveResource");
    record_text(row, "dcterms:title", title);
    text(row, "ac:caption", piece != NULL ? piece->note : stage->note);
    text(row, "dcterms:created", stage->date);
    record_text(row, "dc:rights", s->rights != NULL ? s->rights : "Copyright unknown.");
    record_text(row, "ac:associatedSpecimenReference", s->id);
    record_text(row, "stage", stage->id);
    record_text(row, "mesh", piece != NULL ? piece->id : "block");
    scale(row, mesh);
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
    json_t* object = record_object(record, "specimen");
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

static void pieces(json_t* record, const rlv_specimen* s)
{
    json_t* list = record_list(record, "pieces");
    for (size_t i = 0; i < s->piece_count; i++)
    {
        const rlv_piece_record* piece = &s->piece[i];
        json_t* row = record_row(list);
        record_text(row, "id", piece->id);
        text(row, "title", piece->title);
        text(row, "parent", piece->parent);
        text(row, "detached", piece->detached);
        text(row, "joined", piece->joined);
        record_flag(row, "counterpart", piece->counterpart);
        mass(row, "mass", piece->mass);
        text(row, "note", piece->note);
    }
}

// ---- stages ---------------------------------------------------------------------------------------------------------

static void work(json_t* row, const rlv_stage_record* stage)
{
    json_t* list = record_list(row, "work");
    for (size_t i = 0; i < stage->work_count; i++)
    {
        json_t* one = record_row(list);
        record_text(one, "tool", stage->work[i].tool);
        record_real(one, "hours", stage->work[i].hours);
        text(one, "area", stage->work[i].area);
        text(one, "person", stage->work[i].person);
        text(one, "note", stage->work[i].note);
    }
    list = record_list(row, "decisions");
    for (size_t i = 0; i < stage->decision_count; i++)
    {
        json_t* one = record_row(list);
        record_text(one, "what", stage->decision[i].what);
        record_text(one, "why", stage->decision[i].why);
        text(one, "who", stage->decision[i].who);
    }
}

static void treatments(json_t* row, const rlv_stage_record* stage)
{
    json_t* list = record_list(row, "treatments");
    for (size_t i = 0; i < stage->treatment_count; i++)
    {
        const rlv_treatment_record* treatment = &stage->treatment[i];
        json_t* one = record_row(list);
        record_text(one, "what", treatment->what);
        text(one, "material", treatment->material);
        text(one, "solvent", treatment->solvent);
        number(one, "concentration_percent", treatment->concentration_percent);
        text(one, "basis", treatment->basis);
        number(one, "volume_ml", treatment->volume_ml);
        number(one, "dry_g", treatment->dry_g);
        number(one, "area_cm2", treatment->area_cm2);
        if (treatment->coats != NULL)
            record_count(one, "coats", (size_t)*treatment->coats);
        text(one, "area", treatment->area);
        text(one, "untreated_sample", treatment->untreated_sample);
        text(one, "note", treatment->note);
    }
}

static void stages(json_t* record, const rlv_specimen* s)
{
    json_t* list = record_list(record, "stages");
    for (size_t i = 0; i < s->stage_count; i++)
    {
        const rlv_stage_record* stage = &s->stage[i];
        json_t* row = record_row(list);
        record_text(row, "id", stage->id);
        text(row, "title", stage->title);
        text(row, "dwc:eventDate", stage->date);
        mass(row, "mass", stage->mass);
        mass(row, "drying", stage->drying);
        work(row, stage);
        treatments(row, stage);
        text(row, "note", stage->note);
    }
}

static void spoil(json_t* record, const rlv_specimen* s)
{
    json_t* list = record_list(record, "spoil");
    for (size_t i = 0; i < s->spoil_count; i++)
    {
        json_t* row = record_row(list);
        record_text(row, "bag", s->spoil[i].bag);
        record_text(row, "stage", s->spoil[i].stage);
        text(row, "area", s->spoil[i].area);
        mass(row, "mass", s->spoil[i].mass);
        text(row, "state", s->spoil[i].state);
        text(row, "note", s->spoil[i].note);
    }
}

static void inputs(json_t* record, const rlv_specimen* s)
{
    const char* const file[3][2] = {
        {"specimen.yaml", s->yaml_sha256}, {"points.csv", s->points_sha256}, {"elements.csv", s->elements_sha256}};
    json_t* list = record_list(record, "inputs");
    for (size_t i = 0; i < 3; i++)
        if (file[i][1][0] != '\0')
        {
            json_t* row = record_row(list);
            record_text(row, "path", file[i][0]);
            record_text(row, "sha256", file[i][1]);
        }
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
    stages(record, s);
    pieces(record, s);
    spoil(record, s);
    media(record, s);
    inputs(record, s);
    return record;
}
