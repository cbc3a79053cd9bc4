#include "given_mesh.h"

#include "pose.h"
#include "reading.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

static const rlv_unit units[] = {RLV_UNIT_MM, RLV_UNIT_CM, RLV_UNIT_M, RLV_UNIT_IN};
static const char* const unit_names[] = {"mm", "cm", "m", "in"};
enum
{
    UNITS = 4
};

/// Stages of one block differ in size by what came off between them, never by this much. The least ratio between two
/// units that this catches is 10 (mm and cm); inches beside centimetres are 2.54 apart, and only warned of.
static const double refused_ratio = 5.0;
static const double doubted_ratio = 1.8;

const char* given_name(const char* path)
{
    const char* slash = strrchr(path, '/');
    return slash != NULL && slash[1] != '\0' ? slash + 1 : path;
}

static const char* name_of_unit(rlv_unit unit)
{
    for (size_t i = 0; i < UNITS; i++)
        if (units[i] == unit)
            return unit_names[i];
    return NULL;
}

/// glTF says its own unit.
static bool says_its_unit(const char* path)
{
    const char* dot = strrchr(given_name(path), '.');
    return dot != NULL && (strcasecmp(dot, ".gltf") == 0 || strcasecmp(dot, ".glb") == 0);
}

/// Faults that were mended or that bound what can be measured, in words.
static void warn_of_health(const given_mesh* given, rlv_answer* answer)
{
    const rlv_mesh_health* health = &given->health;
    const char* name = given_name(given->path);
    if (health->zero_area > 0)
        answer_warn(answer, "%s: %s without area left out", name, words_count(health->zero_area, "triangle").text);
    if (health->duplicate > 0)
        answer_warn(answer, "%s: %s that repeat%s another left out", name,
                    words_count(health->duplicate, "triangle").text, health->duplicate == 1 ? "s" : "");
    if (health->mixed_winding > 0)
        answer_warn(answer, "%s: %s turned to face the way the others do", name,
                    words_count(health->mixed_winding, "triangle").text);
    if (health->inside_out > 0)
        answer_warn(answer, "%s: %s inside out, turned right", name, words_count(health->inside_out, "shell").text);
    if (health->islands > 0)
        answer_warn(answer,
                    "%s: %s of less than a thousandth of the surface kept; if it is dust of the scan, take it out",
                    name, words_count(health->islands, "floating island").text);
    if (health->one_sided)
        answer_warn(answer, "%s: a shell has only one side and cannot be given an outside", name);
    if (health->branching_edges > 0)
        answer_warn(answer, "%s: %s shared by more than two triangles; no volume is told", name,
                    words_count(health->branching_edges, "edge").text);
    if (health->open_edges > 0)
        answer_warn(answer, "%s: open, with %s along %s; no volume is told", name,
                    words_count(health->open_edges, "edge").text, words_count(health->border_loops, "border").text);
}

double given_mesh_size_mm(const given_mesh* given)
{
    rlv_vec3 size = rlv_vec3_sub(given->measures.high_mm, given->measures.low_mm);
    return fmax(size.x, fmax(size.y, size.z));
}

/// A block between a fingertip and a lorry: outside of that the unit is asked about, since it is never guessed.
static void warn_of_size(const given_mesh* given, rlv_answer* answer)
{
    double size_mm = given_mesh_size_mm(given);
    if (size_mm < 5.0 || size_mm > 10000.0)
        answer_warn(answer, "%s: it is %s mm across; see that its unit is right", given_name(given->path),
                    words_figures(size_mm, 2).text);
}

static json_t* record_input(const given_mesh* given, rlv_answer* answer)
{
    json_t* row = record_row(answer->inputs);
    record_text(row, "path", given->path);
    record_text(row, "sha256", given->source.sha256);
    record_count(row, "bytes", given->source.bytes);
    record_text(row, "format", given->source.format);
    return row;
}

/// Drop the vertices that no triangle uses, or uses no more once it is mended: they are not of the block, and would
/// count where its size, its frame and its pictures are asked for.
static rlv_status drop_unused(given_mesh* given, rlv_error* error)
{
    const rlv_mesh_health* health = &given->health;
    if (health->unused_vertices + health->zero_area + health->duplicate == 0)
        return RLV_DONE;
    uint8_t* none = calloc(given->mesh.triangle_count, sizeof *none);
    const rlv_status status = none != NULL ? rlv_mesh_drop(&given->mesh, none, error)
                                           : rlv_fail(error, RLV_SYSTEM, NULL, "give the program more memory",
                                                      "no room for a mesh without the vertices it does not use");
    free(none);
    return status;
}

/// Mend what was read, and measure it.
static rlv_status take_stock(given_mesh* given, rlv_answer* answer, rlv_error* error)
{
    given->vertices = given->mesh.vertex_count;
    given->triangles = given->mesh.triangle_count;
    rlv_tell(&answer->progress, "mend", 0.0);
    rlv_status status = rlv_mesh_mend(&given->mesh, &given->health, error);
    if (status == RLV_DONE)
        status = drop_unused(given, error);
    if (status != RLV_DONE)
    {
        // The mesh does not know what file it came from.
        if (error->where[0] == '\0')
            snprintf(error->where, sizeof error->where, "%s", given->path);
        return status;
    }
    given->measures = rlv_mesh_measure(&given->mesh);
    warn_of_health(given, answer);
    warn_of_size(given, answer);
    return RLV_DONE;
}

rlv_status given_mesh_read(given_mesh* given, const char* path, rlv_unit unit, rlv_answer* answer, rlv_error* error)
{
    given->path = path;
    if (unit == RLV_UNIT_NONE && !says_its_unit(path))
        return rlv_fail(error, RLV_BAD_INPUT, path, "add --unit mm (or cm, m, in)",
                        "the file does not say its unit, and a unit is never guessed");
    rlv_status status = rlv_mesh_file_read(&given->mesh, &given->source, path, unit, &answer->progress, error);
    if (status == RLV_DONE)
        status = take_stock(given, answer, error);
    if (status == RLV_DONE)
        record_text(record_input(given, answer), "unit", unit != RLV_UNIT_NONE ? name_of_unit(unit) : "m");
    return status;
}

/// Scale a mesh as it was read. Refused where that leads out of all reach: bars whose points lie all but in one place
/// say any scale.
static rlv_status scale_mesh(given_mesh* given, double by, rlv_error* error)
{
    rlv_mesh* mesh = &given->mesh;
    const double origin[3] = {mesh->origin_mm.x, mesh->origin_mm.y, mesh->origin_mm.z};
    bool within = true;
    for (size_t i = 0; i < 3 * mesh->vertex_count; i++)
        within &= rlv_within((origin[i % 3] + (double)mesh->position_mm[i]) * by, RLV_REACH_MM);
    if (!within)
        return rlv_fail(error, RLV_BAD_INPUT, given->path, "look at the points and the lengths of its scale bars",
                        "at the scale of its bars, %g times what the file says, it is absurdly large", by);
    rlv_pose scale = rlv_pose_identity();
    scale.scale = by;
    rlv_pose_move_mesh(&scale, mesh);
    return RLV_DONE;
}

rlv_status given_mesh_read_scaled(given_mesh* given, const char* path, double mm_per_unit, rlv_answer* answer,
                                  rlv_error* error)
{
    given->path = path;
    const rlv_unit unit = says_its_unit(path) ? RLV_UNIT_NONE : RLV_UNIT_MM;
    rlv_status status = rlv_mesh_file_read(&given->mesh, &given->source, path, unit, &answer->progress, error);
    if (status == RLV_DONE)
        status = scale_mesh(given, mm_per_unit / rlv_unit_mm(unit == RLV_UNIT_NONE ? RLV_UNIT_M : RLV_UNIT_MM), error);
    if (status == RLV_DONE)
        status = take_stock(given, answer, error);
    if (status == RLV_DONE)
        record_real(record_input(given, answer), "mm_per_unit", mm_per_unit);
    return status;
}

void given_mesh_free(given_mesh* given)
{
    rlv_mesh_free(&given->mesh);
    *given = (given_mesh){0};
}

/// The unit that would bring `size_mm`, read in `unit`, nearest to `other_mm`.
static size_t likely_unit(double size_mm, rlv_unit unit, double other_mm)
{
    size_t best = 0;
    double least = INFINITY;
    for (size_t i = 0; i < UNITS; i++)
    {
        double ratio = size_mm / rlv_unit_mm(unit) * rlv_unit_mm(units[i]) / other_mm;
        if (fabs(log(ratio)) < least)
        {
            least = fabs(log(ratio));
            best = i;
        }
    }
    return best;
}

/// What to say where BEFORE and AFTER are `ratio` apart. glTF's unit cannot be changed, so the other's is named.
static void mend_of_ratio(char mend[256], const given_mesh* before, const given_mesh* after, rlv_unit before_unit,
                          rlv_unit after_unit)
{
    double before_mm = given_mesh_size_mm(before), after_mm = given_mesh_size_mm(after);
    bool before_fixed = before_unit == RLV_UNIT_NONE || says_its_unit(before->path);
    bool after_fixed = after_unit == RLV_UNIT_NONE || says_its_unit(after->path);
    if (!after_fixed)
        snprintf(mend, 256, "say --unit-after %s, if that is AFTER's unit",
                 unit_names[likely_unit(after_mm, after_unit, before_mm)]);
    else if (!before_fixed)
        snprintf(mend, 256, "say --unit %s, if that is BEFORE's unit",
                 unit_names[likely_unit(before_mm, before_unit, after_mm)]);
    else
        snprintf(mend, 256, "see that both are of one block, and in metres as glTF asks");
}

rlv_status given_mesh_same_unit(const given_mesh* before, const given_mesh* after, rlv_unit before_unit,
                                rlv_unit after_unit, rlv_answer* answer, rlv_error* error)
{
    double before_mm = given_mesh_size_mm(before), after_mm = given_mesh_size_mm(after);
    double ratio = before_mm > after_mm ? before_mm / after_mm : after_mm / before_mm;
    char mend[256];
    mend_of_ratio(mend, before, after, before_unit, after_unit);
    if (ratio > refused_ratio)
        return rlv_fail(error, RLV_BAD_INPUT, after->path, mend, "it is %s mm across and %s is %s mm: not one unit",
                        words_figures(after_mm, 3).text, given_name(before->path), words_figures(before_mm, 3).text);
    if (ratio > doubted_ratio)
        answer_warn(answer, "%s is %s mm across and %s %s mm; if a unit is wrong, %s", given_name(before->path),
                    words_figures(before_mm, 3).text, given_name(after->path), words_figures(after_mm, 3).text, mend);
    return RLV_DONE;
}

rlv_status given_mesh_read_pair(given_mesh pair[2], const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    rlv_unit unit = options->unit;
    rlv_unit unit_after = options->unit_after != RLV_UNIT_NONE ? options->unit_after : unit;
    rlv_status status = given_mesh_read(&pair[0], options->path[0], unit, answer, error);
    if (status == RLV_DONE)
        status = given_mesh_read(&pair[1], options->path[1], unit_after, answer, error);
    if (status == RLV_DONE && strcmp(pair[0].source.sha256, pair[1].source.sha256) == 0)
        return rlv_fail(error, RLV_BAD_INPUT, options->path[1], "name the mesh of the later stage",
                        "it is the same, byte for byte, as %s", options->path[0]);
    if (status == RLV_DONE)
        status = given_mesh_same_unit(&pair[0], &pair[1], unit, unit_after, answer, error);
    return status;
}
