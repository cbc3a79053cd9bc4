#include "command.h"

#include "columns.h"
#include "given_mesh.h"
#include "table.h"

#include <math.h>

/// Plan area where a closed mesh crosses itself, seen along its shortest side; columns of a thousandth of its length.
static rlv_status crossing_area(double* area_mm2, const given_mesh* given, rlv_error* error)
{
    rlv_vec3 size = rlv_vec3_sub(given->measures.high_mm, given->measures.low_mm);
    rlv_axis axis = size.x <= size.y && size.x <= size.z ? RLV_AXIS_X : size.y <= size.z ? RLV_AXIS_Y : RLV_AXIS_Z;
    rlv_solid solid = {.mesh = &given->mesh};
    rlv_columns_difference difference = {0};
    *area_mm2 = NAN;
    if (!given->health.closed || !(given_mesh_size_mm(given) > 0.0))
        return RLV_DONE;
    rlv_status status =
        rlv_columns_compare(&difference, &solid, &solid, 1, axis, given_mesh_size_mm(given) / 1000.0, error);
    if (status == RLV_DONE)
        *area_mm2 = difference.overlap_mm2;
    rlv_columns_difference_free(&difference);
    return status;
}

static void record_mesh(json_t* row, const given_mesh* given, double crossing_mm2)
{
    const rlv_mesh_health* health = &given->health;
    const rlv_mesh_measures* measures = &given->measures;
    record_text(row, "path", given->path);
    record_count(row, "triangles", given->triangles);
    record_count(row, "vertices", given->vertices);
    record_count(row, "triangles_measured", given->mesh.triangle_count);
    record_count(row, "shells", health->shells);
    record_count(row, "open_edges", health->open_edges);
    record_count(row, "border_loops", health->border_loops);
    record_flag(row, "closed", health->closed);
    record_real(row, "area_mm2", measures->area_mm2);
    record_real(row, "volume_mm3", health->closed ? measures->volume_mm3 : (double)NAN);
    if (health->closed)
        record_place(row, "centroid_mm", measures->centroid_mm);
    else
        record_null(row, "centroid_mm");
    json_t* bounds = record_list(row, "bounds_mm");
    const rlv_vec3 corner[2] = {measures->low_mm, measures->high_mm};
    for (size_t i = 0; i < 2; i++)
    {
        json_array_append_new(bounds, json_array());
        json_t* place = json_array_get(bounds, i);
        json_array_append_new(place, json_real(corner[i].x));
        json_array_append_new(place, json_real(corner[i].y));
        json_array_append_new(place, json_real(corner[i].z));
    }
    json_t* defects = record_object(row, "defects");
    record_count(defects, "zero_area", health->zero_area);
    record_count(defects, "duplicate", health->duplicate);
    record_count(defects, "unused_vertices", health->unused_vertices);
    record_count(defects, "mixed_winding", health->mixed_winding);
    record_count(defects, "inside_out", health->inside_out);
    record_count(defects, "branching_edges", health->branching_edges);
    record_count(defects, "islands", health->islands);
    record_flag(defects, "one_sided", health->one_sided);
    record_real(defects, "crossing_mm2", crossing_mm2);
}

static void tell_mesh(FILE* text, const given_mesh* given)
{
    const rlv_mesh_measures* measures = &given->measures;
    rlv_vec3 size = rlv_vec3_sub(measures->high_mm, measures->low_mm);
    fprintf(text, "%s\n", given->path);
    fprintf(text, "  format      %s, %s, %s\n", given->source.format, words_count(given->triangles, "triangle").text,
            words_count(given->vertices, "vertex/vertices").text);
    fprintf(text, "  size        %s x %s x %s mm\n", words_figures(size.x, 4).text, words_figures(size.y, 4).text,
            words_figures(size.z, 4).text);
    fprintf(text, "  surface     %s cm² in %s\n", words_figures(measures->area_mm2 / 100.0, 4).text,
            words_count(given->health.shells, "shell").text);
    if (given->health.closed)
        fprintf(text, "  volume      %s mL, closed\n", words_figures(measures->volume_mm3 / 1000.0, 4).text);
    else
        fprintf(text, "  volume      not told: the mesh is not closed\n");
    fprintf(text, "  sha256      %s\n", given->source.sha256);
}

/// One row a mesh, for a spreadsheet.
static rlv_status keep_table(rlv_answer* answer, rlv_error* error)
{
    static const table_column column[] = {
        {"path", NULL, "mesh", TABLE_TEXT, "Path of the mesh as it was given."},
        {"triangles", NULL, "triangles", TABLE_COUNT, "Triangles in the file."},
        {"vertices", NULL, "vertices", TABLE_COUNT, "Vertices in the file."},
        {"shells", NULL, "shells", TABLE_COUNT, "Parts of the surface that do not touch each other."},
        {"open_edges", NULL, "open edges", TABLE_COUNT, "Edges with a triangle on one side only."},
        {"closed", NULL, "closed", TABLE_FLAG, "Whether the surface encloses a volume."},
        {"area", "mm2", "surface", TABLE_NUMBER, "Area of the surface."},
        {"volume", "mm3", "volume", TABLE_NUMBER, "Volume that the surface encloses; empty where it is not closed."}};
    json_t* meshes = json_object_get(answer->record, "meshes");
    if (answer->folder.path == NULL)
        return RLV_DONE;
    rlv_table rows = table_of("meshes", "The meshes", sizeof column / sizeof column[0], column);
    for (size_t i = 0; i < json_array_size(meshes); i++)
    {
        json_t* row = json_array_get(meshes, i);
        json_t* volume = json_object_get(row, "volume_mm3");
        table_text(&rows, json_string_value(json_object_get(row, "path")));
        for (size_t k = 1; k <= 4; k++)
            table_count(&rows, (size_t)json_integer_value(json_object_get(row, column[k].key)));
        table_flag(&rows, json_is_true(json_object_get(row, "closed")));
        table_number(&rows, json_real_value(json_object_get(row, "area_mm2")), 0.0);
        table_number(&rows, json_is_null(volume) ? (double)NAN : json_real_value(volume), 0.0);
    }
    rlv_status status = table_keep(&rows, &answer->folder, NULL, error);
    table_free(&rows);
    return status;
}

static rlv_status inspect_one(const char* path, rlv_unit unit, bool alone, json_t* list, rlv_answer* answer,
                              rlv_error* error)
{
    given_mesh given = {0};
    double crossing_mm2 = NAN;
    rlv_status status = given_mesh_read(&given, path, unit, answer, error);
    if (status == RLV_DONE)
        status = crossing_area(&crossing_mm2, &given, error);
    if (status == RLV_DONE)
    {
        if (crossing_mm2 > 0.0)
            answer_warn(answer, "%s: it crosses itself over about %s cm²; what is doubly filled counts once",
                        given_name(path), words_figures(crossing_mm2 / 100.0, 2).text);
        json_t* row = record_row(list);
        record_mesh(row, &given, crossing_mm2);
        // One mesh alone: its keys stand at the top as well.
        if (alone)
            json_object_update_missing(answer->record, row);
        tell_mesh(answer->text, &given);
    }
    given_mesh_free(&given);
    return status;
}

rlv_status command_inspect(const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    rlv_status status = RLV_DONE;
    json_t* list = record_list(answer->record, "meshes");
    for (size_t i = 0; i < options->path_count && status == RLV_DONE; i++)
    {
        if (i > 0)
            fputc('\n', answer->text);
        status = inspect_one(options->path[i], options->unit, options->path_count == 1, list, answer, error);
    }
    if (status == RLV_DONE)
        status = keep_table(answer, error);
    return status == RLV_DONE ? answer_keep_record(answer, "inspect.json", error) : status;
}
