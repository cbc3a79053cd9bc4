/// Our readers held against Assimp's, on the model files of Debian's package assimp-testmodels (5.2.5) and on files of
/// our own writing. Source: Open Asset Import Library, https://github.com/assimp/assimp, test/models.
///
/// Compared are triangles, bounds and area (and volume, where a mesh is closed): all read and computed in float or
/// better.

#include "mesh_file.h"
#include "support/program.h"
#include "support/shapes.h"

#include <assimp/cimport.h>
#include <assimp/postprocess.h>
#include <assimp/scene.h>
#include <criterion/criterion.h>
#include <float.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#define MODELS "/usr/share/assimp/models/"

TestSuite(importers, .timeout = 120);

/// What a mesh comes to.
typedef struct measures
{
    size_t triangles;
    double area, volume;
    rlv_vec3 facing; ///< the sum of the triangles' areas as vectors: zero where the mesh is closed
    rlv_vec3 low, high;
} measures;

static void add_triangle(measures* sum, const rlv_vec3 corner[3])
{
    rlv_vec3 cross = rlv_vec3_cross(rlv_vec3_sub(corner[1], corner[0]), rlv_vec3_sub(corner[2], corner[0]));
    sum->triangles++;
    sum->facing = rlv_vec3_along(sum->facing, 0.5, cross);
    sum->area += 0.5 * rlv_vec3_length(cross);
    sum->volume += rlv_vec3_dot(corner[0], rlv_vec3_cross(corner[1], corner[2])) / 6.0;
    for (int i = 0; i < 3; i++)
    {
        sum->low =
            rlv_vec3_of(fmin(sum->low.x, corner[i].x), fmin(sum->low.y, corner[i].y), fmin(sum->low.z, corner[i].z));
        sum->high =
            rlv_vec3_of(fmax(sum->high.x, corner[i].x), fmax(sum->high.y, corner[i].y), fmax(sum->high.z, corner[i].z));
    }
}

static measures nothing(void)
{
    return (measures){.low = {INFINITY, INFINITY, INFINITY}, .high = {-INFINITY, -INFINITY, -INFINITY}};
}

/// Node transforms are applied by Assimp itself, so that ours are held against its.
static bool theirs(const char* path, measures* sum)
{
    const struct aiScene* scene =
        aiImportFile(path, aiProcess_Triangulate | aiProcess_SortByPType | aiProcess_PreTransformVertices);
    *sum = nothing();
    if (scene == NULL)
        return false;
    for (size_t m = 0; m < scene->mNumMeshes; m++)
        for (size_t f = 0; f < scene->mMeshes[m]->mNumFaces; f++)
        {
            const struct aiMesh* mesh = scene->mMeshes[m];
            rlv_vec3 corner[3];
            if (mesh->mFaces[f].mNumIndices != 3)
                continue;
            for (int i = 0; i < 3; i++)
            {
                const struct aiVector3D* at = mesh->mVertices + mesh->mFaces[f].mIndices[i];
                corner[i] = rlv_vec3_of((double)at->x, (double)at->y, (double)at->z);
            }
            add_triangle(sum, corner);
        }
    aiReleaseImport(scene);
    return true;
}

static measures ours(const rlv_mesh* mesh)
{
    measures sum = nothing();
    for (size_t t = 0; t < mesh->triangle_count; t++)
    {
        rlv_vec3 corner[3];
        for (size_t i = 0; i < 3; i++)
            corner[i] = rlv_mesh_vertex(mesh, mesh->corner[3 * t + i]);
        add_triangle(&sum, corner);
    }
    return sum;
}

/// A coordinate is rounded to float a few times on either way (read, transformed, placed): four halves of FLT_EPSILON
/// of the largest. An area or volume, a sum over the mesh of products of coordinates, is off by no more than the
/// product of that and what it would be if every triangle were as far out as the farthest.
static void compare(const char* path, const measures* a, const measures* b)
{
    double reach = 0.0;
    const double* bounds[2] = {&a->low.x, &a->high.x};
    for (int i = 0; i < 6; i++)
        reach = fmax(reach, fabs(bounds[i / 3][i % 3]));
    double slack = 2.0 * (double)FLT_EPSILON * reach;
    const double* left[2] = {&a->low.x, &a->high.x};
    const double* right[2] = {&b->low.x, &b->high.x};
    cr_assert_eq(a->triangles, b->triangles, "%s: %zu triangles, and %zu", path, a->triangles, b->triangles);
    for (int i = 0; i < 6; i++)
        cr_assert_float_eq(left[i / 3][i % 3], right[i / 3][i % 3], slack, "%s: bounds", path);
    // A triangle's area moves by at most its perimeter times the slack; perimeters are at most six times the reach.
    double area_slack = 6.0 * reach * slack * (double)a->triangles;
    cr_assert_float_eq(a->area, b->area, fmin(area_slack, 1e-4 * b->area), "%s: area %g, and %g", path, a->area,
                       b->area);
    if (rlv_vec3_length(b->facing) < area_slack && rlv_vec3_length(b->facing) < 1e-4 * b->area)
        // Moving a closed surface by the slack changes its volume by the slack times its area.
        cr_assert_float_eq(a->volume, b->volume, slack * b->area, "%s: volume %.9g, and %.9g", path, a->volume,
                           b->volume);
}

static void skip_without_models(void)
{
    if (access(MODELS "PLY/cube.ply", R_OK) != 0)
        cr_skip_test("the package assimp-testmodels is not installed");
}

static void expect_agreement(const char* path, rlv_unit unit)
{
    rlv_mesh mesh = {0};
    rlv_error error = {0};
    measures of_theirs;
    rlv_status status = rlv_mesh_file_read(&mesh, NULL, path, unit, NULL, &error);
    cr_assert_eq(status, RLV_DONE, "%s: %s", error.where, error.what);
    cr_assert(theirs(path, &of_theirs), "%s: %s", path, aiGetErrorString());
    measures of_ours = ours(&mesh);
    if (unit == RLV_UNIT_NONE) // glTF, which came in metres
    {
        of_theirs.area *= 1e6;
        of_theirs.volume *= 1e9;
        of_theirs.low = rlv_vec3_scale(of_theirs.low, 1000.0);
        of_theirs.high = rlv_vec3_scale(of_theirs.high, 1000.0);
    }
    compare(path, &of_ours, &of_theirs);
    rlv_mesh_free(&mesh);
}

Test(importers, ply_models_are_read_as_assimp_reads_them)
{
    static const char* const names[] = {"cube.ply", "cube_binary.ply", "cube_uv.ply", "float-color.ply", "Wuson.ply"};
    skip_without_models();
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
    {
        char path[256];
        snprintf(path, sizeof path, MODELS "PLY/%s", names[i]);
        expect_agreement(path, RLV_UNIT_MM);
    }
}

Test(importers, stl_models_are_read_as_assimp_reads_them)
{
    static const char* const names[] = {"Spider_ascii.stl",   "Spider_binary.stl",
                                        "Wuson.stl",          "triangle.stl",
                                        "sphereWithHole.stl", "triangle_with_two_solids.stl",
                                        "3DSMaxExport.STL",   "triangle_with_empty_solid.stl"};
    skip_without_models();
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
    {
        char path[256];
        snprintf(path, sizeof path, MODELS "STL/%s", names[i]);
        expect_agreement(path, RLV_UNIT_MM);
    }
}

Test(importers, obj_models_are_read_as_assimp_reads_them)
{
    static const char* const names[] = {"WusonOBJ.obj",
                                        "box.obj",
                                        "box_longline.obj",
                                        "box_mat_with_spaces.obj",
                                        "box_without_lineending.obj",
                                        "concave_polygon.obj",
                                        "cube_mtllib_after_g.obj",
                                        "cube_usemtl.obj",
                                        "cube_with_vertexcolors.obj",
                                        "cube_with_vertexcolors_uni.obj",
                                        "empty_mat.obj",
                                        "multiple_spaces.obj",
                                        "regr01.obj",
                                        "regr_3429812.obj",
                                        "spider.obj",
                                        "testmixed.obj"};
    skip_without_models();
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
    {
        char path[256];
        snprintf(path, sizeof path, MODELS "OBJ/%s", names[i]);
        expect_agreement(path, RLV_UNIT_MM);
    }
}

Test(importers, gltf_models_stand_where_assimp_puts_them)
{
    static const char* const names[] = {
        "glTF2/BoxTextured-glTF-Binary/BoxTextured.glb", "glTF2/2CylinderEngine-glTF-Binary/2CylinderEngine.glb",
        "glTF2/ClearCoat-glTF/ClearCoatTest.gltf", "glTF2/cameras/Cameras.gltf", "glTF/TwoBoxes/TwoBoxes.gltf"};
    skip_without_models();
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
    {
        char path[256];
        snprintf(path, sizeof path, MODELS "%s", names[i]);
        expect_agreement(path, RLV_UNIT_NONE);
    }
}

/// Where we differ on purpose: Assimp reads each of these, or stops at it, in its own way.
Test(importers, models_without_a_surface_or_with_damage_are_refused_with_words)
{
    static const struct
    {
        const char *name, *what;
        rlv_unit unit;
    } cases[] = {
        {"PLY/issue623.ply", "only points", RLV_UNIT_MM},        // a cloud of points measures nothing
        {"PLY/points.ply", "only points", RLV_UNIT_MM},          //
        {"OBJ/point_cloud.obj", "only points", RLV_UNIT_MM},     //
        {"OBJ/testline.obj", "only points", RLV_UNIT_MM},        // lines, without a face
        {"OBJ/number_formats.obj", "not a number", RLV_UNIT_MM}, // 3.1+e2 is no number in any standard
        {"OBJ/box_UTF16BE.obj", "UTF-16", RLV_UNIT_MM},          // said, rather than converted
        {"invalid/malformed.obj", "none of the", RLV_UNIT_MM},   // a corner beyond the vertices
        {"invalid/malformed2.obj", "less than three", RLV_UNIT_MM},
        {"invalid/empty.ply", "empty", RLV_UNIT_MM},
        {"invalid/empty.obj", "empty", RLV_UNIT_MM},
        {"glTF2/BoxWithInfinites-glTF-Binary/BoxWithInfinites.glb", "a coordinate is", RLV_UNIT_NONE},
        {"glTF2/IndexOutOfRange/AllIndicesOutOfRange.gltf", "cannot be read", RLV_UNIT_NONE},
        {"glTF2/IndexOutOfRange/IndexOutOfRange.gltf", "out of range", RLV_UNIT_NONE}, // Assimp drops the face
        {"glTF2/RecursiveNodes/RecursiveNodes.gltf", "recursive", RLV_UNIT_NONE},
    };
    skip_without_models();
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
    {
        char path[256];
        rlv_mesh mesh = {0};
        rlv_error error = {0};
        snprintf(path, sizeof path, MODELS "%s", cases[i].name);
        if (access(path, R_OK) != 0)
            continue;
        cr_assert_eq(rlv_mesh_file_read(&mesh, NULL, path, cases[i].unit, NULL, &error), RLV_BAD_INPUT, "%s", path);
        cr_assert(strstr(error.what, cases[i].what) != NULL, "%s: '%s'", path, error.what);
    }
}

Test(importers, what_we_write_is_what_assimp_reads, .init = program_enter, .fini = program_leave)
{
    rlv_mesh sphere = {0}, again = {0};
    measures of_theirs;
    shape_add_sphere(&sphere, rlv_vec3_of(10, 20, 30), 50.0, 30);
    cr_assert_eq(rlv_mesh_file_write(&sphere, "sphere.ply", NULL), RLV_DONE);
    cr_assert_eq(rlv_mesh_file_read(&again, NULL, "sphere.ply", RLV_UNIT_MM, NULL, NULL), RLV_DONE);
    cr_assert(theirs("sphere.ply", &of_theirs), "%s", aiGetErrorString());
    measures of_ours = ours(&sphere), read_again = ours(&again);
    compare("sphere.ply", &of_ours, &of_theirs);
    compare("sphere.ply", &of_ours, &read_again);
    rlv_mesh_free(&sphere);
    rlv_mesh_free(&again);
}
