/// Tests of reading and writing mesh files: every layout, every refusal, and damage at random.

#include "mesh_file.h"
#include "scan.h"
#include "support/program.h"
#include "support/shapes.h"

#include <criterion/criterion.h>
#include <float.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

TestSuite(mesh_file, .init = program_enter, .fini = program_leave, .timeout = 120);

// ---- putting files together -----------------------------------------------------------------------------------------

/// Bytes of a file that is being put together.
typedef struct bytes
{
    uint8_t at[1 << 16];
    size_t size;
} bytes;

static void add(bytes* b, const void* from, size_t size)
{
    cr_assert(b->size + size <= sizeof b->at);
    memcpy(b->at + b->size, from, size);
    b->size += size;
}

static void add_text(bytes* b, const char* text)
{
    add(b, text, strlen(text));
}

/// The number types of PLY, by both their names.
static const char* const type_name[8][2] = {{"char", "int8"},     {"uchar", "uint8"},   {"short", "int16"},
                                            {"ushort", "uint16"}, {"int", "int32"},     {"uint", "uint32"},
                                            {"float", "float32"}, {"double", "float64"}};

static void add_number(bytes* b, double value, int type, bool big)
{
    const size_t width[] = {1, 1, 2, 2, 4, 4, 4, 8};
    uint8_t raw[8];
    int64_t whole = (int64_t)value;
    float single = (float)value;
    // What follows holds on a little-endian machine, where the lower bytes of a whole number come first.
    memcpy(raw, type == 6 ? (const void*)&single : type == 7 ? (const void*)&value : (const void*)&whole, width[type]);
    for (size_t i = 0; i < width[type]; i++)
        add(b, raw + (big ? width[type] - 1 - i : i), 1);
}

static rlv_mesh read_well(const char* path, rlv_unit unit)
{
    rlv_mesh mesh = {0};
    rlv_error error = {0};
    rlv_status status = rlv_mesh_file_read(&mesh, NULL, path, unit, NULL, &error);
    cr_assert_eq(status, RLV_DONE, "%s: %s", error.where, error.what);
    return mesh;
}

static rlv_mesh read_text(const char* path, const char* text, rlv_unit unit)
{
    program_write(path, text);
    return read_well(path, unit);
}

/// What is wrong with a file is told: where, in words that hold `what`, and what would mend it; nothing is left.
static void expect_refused(const char* path, rlv_unit unit, const char* where, const char* what)
{
    rlv_mesh mesh = {0}, empty = {0};
    rlv_error error = {0};
    rlv_status status = rlv_mesh_file_read(&mesh, NULL, path, unit, NULL, &error);
    cr_assert_eq(status, RLV_BAD_INPUT, "%s: status %d, %s", path, (int)status, error.what);
    cr_assert_str_eq(error.where, where);
    cr_assert(strstr(error.what, what) != NULL, "'%s' says not '%s'", error.what, what);
    cr_assert_neq(error.mend[0], '\0');
    cr_assert_eq(memcmp(&mesh, &empty, sizeof mesh), 0);
    cr_assert_eq(rlv_mesh_file_read(&mesh, NULL, path, unit, NULL, NULL), RLV_BAD_INPUT, "without an error to fill");
}

static void expect_text_refused(const char* path, const char* text, const char* where, const char* what)
{
    program_write(path, text);
    expect_refused(path, RLV_UNIT_MM, where, what);
}

static void expect_vertex(const rlv_mesh* mesh, size_t index, double x, double y, double z)
{
    rlv_vec3 at = rlv_mesh_vertex(mesh, index);
    cr_assert(at.x == x && at.y == y && at.z == z, "vertex %zu is %.17g %.17g %.17g", index, at.x, at.y, at.z);
}

static void expect_triangle(const rlv_mesh* mesh, size_t index, uint32_t a, uint32_t b, uint32_t c)
{
    const uint32_t* corner = mesh->corner + 3 * index;
    cr_assert(corner[0] == a && corner[1] == b && corner[2] == c, "triangle %zu is %u %u %u", index, corner[0],
              corner[1], corner[2]);
}

/// A tetrahedron of whole numbers that every type of PLY holds.
static const double tetrahedron[4][3] = {{0, 0, 0}, {100, 0, 1}, {2, 90, 0}, {3, 0, 80}};
static const uint32_t tetrahedron_face[4][3] = {{0, 2, 1}, {0, 1, 3}, {0, 3, 2}, {1, 2, 3}};

static void expect_tetrahedron(const rlv_mesh* mesh)
{
    cr_assert_eq(mesh->vertex_count, 4);
    cr_assert_eq(mesh->triangle_count, 4);
    for (size_t i = 0; i < 4; i++)
    {
        expect_vertex(mesh, i, tetrahedron[i][0], tetrahedron[i][1], tetrahedron[i][2]);
        expect_triangle(mesh, i, tetrahedron_face[i][0], tetrahedron_face[i][1], tetrahedron_face[i][2]);
    }
}

/// The tetrahedron as binary PLY with these types; vertices in the order z, x, y, behind an element that means nothing.
static void make_binary_ply(bytes* b, int name, int coordinate, int count, int index, bool big)
{
    char header[1024];
    snprintf(
        header, sizeof header,
        "ply\nformat binary_%s_endian 1.0\ncomment made for a test\nobj_info none\nelement camera 2\n"
        "property list %s %s view\nproperty double focus\nelement vertex 4\nproperty %s z\nproperty float quality\n"
        "property %s x\nproperty %s y\nelement face 4\nproperty uchar flags\nproperty list %s %s %s\n"
        "property short part\nelement edge 1\nproperty int from\nend_header\n",
        big ? "big" : "little", type_name[count][name], type_name[coordinate][name], type_name[coordinate][name],
        type_name[coordinate][name], type_name[coordinate][name], type_name[count][name], type_name[index][name],
        name != 0 ? "vertex_index" : "vertex_indices");
    add_text(b, header);
    for (int i = 0; i < 2; i++)
    {
        add_number(b, i, count, big);
        for (int k = 0; k < i; k++)
            add_number(b, 7, coordinate, big);
        add_number(b, 0.5, 7, big);
    }
    for (int i = 0; i < 4; i++)
    {
        add_number(b, tetrahedron[i][2], coordinate, big);
        add_number(b, 0.25, 6, big);
        add_number(b, tetrahedron[i][0], coordinate, big);
        add_number(b, tetrahedron[i][1], coordinate, big);
    }
    for (int i = 0; i < 4; i++)
    {
        add_number(b, 9, 1, big);
        add_number(b, 3, count, big);
        for (int k = 0; k < 3; k++)
            add_number(b, tetrahedron_face[i][k], index, big);
        add_number(b, -5, 2, big);
    }
    add_number(b, 1, 4, big);
}

// ---- PLY ------------------------------------------------------------------------------------------------------------

Test(mesh_file, binary_ply_of_every_number_type_and_byte_order_is_one_tetrahedron)
{
    for (int big = 0; big < 2; big++)
        for (int coordinate = 0; coordinate < 8; coordinate++)
            for (int whole = 0; whole < 6; whole++)
            {
                bytes b = {.size = 0};
                make_binary_ply(&b, coordinate & 1, coordinate, whole, 5 - whole, big != 0);
                program_write_bytes("a.ply", b.at, b.size);
                rlv_mesh mesh = read_well("a.ply", RLV_UNIT_MM);
                expect_tetrahedron(&mesh);
                cr_assert_null(mesh.colour);
                cr_assert_null(mesh.object);
                rlv_mesh_free(&mesh);
            }
}

#define TEXT_PLY                                                                                                       \
    "element vertex 4\nproperty float x\nproperty float y\nproperty float z\nelement face 4\n"                         \
    "property list uchar int vertex_indices\nend_header\n0 0 0\n100 0 1\n2 90 0\n3 0 80\n"                             \
    "3 0 2 1\n3 0 1 3\n3 0 3 2\n3 1 2 3\n"

/// The text with each LF turned into something else.
static void with_line_ends(bytes* b, const char* text, const char* end)
{
    for (; *text != '\0'; text++)
        if (*text == '\n')
            add_text(b, end);
        else
            add(b, text, 1);
}

Test(mesh_file, text_ply_with_any_line_end_is_one_tetrahedron)
{
    const char* const ends[] = {"\n", "\r\n", "\r"};
    for (int i = 0; i < 3; i++)
    {
        bytes b = {.size = 0};
        with_line_ends(&b, "ply\nformat ascii 1.0\n" TEXT_PLY, ends[i]);
        program_write_bytes("a.ply", b.at, b.size);
        rlv_mesh mesh = read_well("a.ply", RLV_UNIT_MM);
        expect_tetrahedron(&mesh);
        rlv_mesh_free(&mesh);
    }
}

Test(mesh_file, binary_ply_with_any_line_end_in_its_header_is_one_tetrahedron)
{
    const char* const ends[] = {"\r\n", "\r"};
    for (int i = 0; i < 2; i++)
    {
        bytes b = {.size = 0};
        with_line_ends(&b,
                       "ply\nformat binary_little_endian 1.0\nelement vertex 4\nproperty float x\nproperty float y\n"
                       "property float z\nelement face 4\nproperty list uchar int vertex_indices\nend_header\n",
                       ends[i]);
        for (int k = 0; k < 12; k++)
            add_number(&b, tetrahedron[k / 3][k % 3], 6, false);
        for (int k = 0; k < 4; k++)
        {
            add_number(&b, 3, 1, false);
            for (int j = 0; j < 3; j++)
                add_number(&b, tetrahedron_face[k][j], 4, false);
        }
        program_write_bytes("a.ply", b.at, b.size);
        rlv_mesh mesh = read_well("a.ply", RLV_UNIT_MM);
        expect_tetrahedron(&mesh);
        rlv_mesh_free(&mesh);
    }
}

Test(mesh_file, faces_before_vertices_and_polygons_among_triangles_keep_their_order)
{
    rlv_mesh mesh = read_text("a.ply",
                              "ply\nformat ascii 1.0\nelement face 3\nproperty list uchar int vertex_index\n"
                              "element vertex 5\nproperty double x\nproperty double y\nproperty double z\nend_header\n"
                              "3 0 1 2\n4 0 1 2 3\n3 2 3 4\n0 0 0\n1 0 0\n1 1 0\n0 1 0\n0 2 0\n",
                              RLV_UNIT_MM);
    cr_assert_eq(mesh.triangle_count, 4);
    expect_triangle(&mesh, 0, 0, 1, 2);
    expect_triangle(&mesh, 1, 0, 1, 2);
    expect_triangle(&mesh, 2, 0, 2, 3);
    expect_triangle(&mesh, 3, 2, 3, 4);
    rlv_mesh_free(&mesh);
}

Test(mesh_file, binary_ply_whose_later_faces_are_polygons_is_read_whole)
{
    bytes b = {.size = 0};
    add_text(&b, "ply\nformat binary_little_endian 1.0\nelement vertex 4\nproperty float x\nproperty float y\n"
                 "property float z\nelement face 3\nproperty list uchar int vertex_indices\nend_header\n");
    const double square[4][2] = {{0, 0}, {1, 0}, {1, 1}, {0, 1}};
    for (int i = 0; i < 4; i++)
        for (int k = 0; k < 3; k++)
            add_number(&b, k < 2 ? square[i][k] : 0, 6, false);
    const int faces[] = {3, 0, 1, 2, 3, 0, 2, 3, 4, 3, 2, 1, 0};
    for (int i = 0; i < 13; i++)
        add_number(&b, faces[i], i == 0 || i == 4 || i == 8 ? 1 : 4, false);
    program_write_bytes("a.ply", b.at, b.size);
    rlv_mesh mesh = read_well("a.ply", RLV_UNIT_MM);
    cr_assert_eq(mesh.triangle_count, 4);
    expect_triangle(&mesh, 1, 0, 2, 3);
    cr_assert_float_eq(rlv_mesh_measure(&mesh).area_mm2, 2.0, 1e-12);
    rlv_mesh_free(&mesh);
}

Test(mesh_file, triangle_strips_turn_every_other_triangle)
{
    rlv_mesh mesh = read_text("a.ply",
                              "ply\nformat ascii 1.0\nelement vertex 5\nproperty float x\nproperty float y\n"
                              "property float z\nelement tristrips 1\nproperty list int int vertex_indices\n"
                              "end_header\n0 0 0\n1 0 0\n0 1 0\n1 1 0\n0 2 0\n8 0 1 2 3 -1 2 3 4\n",
                              RLV_UNIT_MM);
    cr_assert_eq(mesh.triangle_count, 3);
    expect_triangle(&mesh, 0, 0, 1, 2);
    expect_triangle(&mesh, 1, 2, 1, 3);
    expect_triangle(&mesh, 2, 2, 3, 4);
    rlv_mesh_free(&mesh);
}

static void expect_colours(const char* type, const char* lit, const char* half, uint8_t half_byte)
{
    char text[1024];
    snprintf(text, sizeof text,
             "ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\n"
             "property %s red\nproperty %s diffuse_green\nproperty %s blue\nelement face 1\n"
             "property list uchar int vertex_indices\nend_header\n0 0 0 %s 0 0\n1 0 0 0 %s 0\n0 1 0 0 0 %s\n3 0 1 2\n",
             type, type, type, lit, half, lit);
    rlv_mesh mesh = read_text("a.ply", text, RLV_UNIT_MM);
    const uint8_t colours[9] = {255, 0, 0, 0, half_byte, 0, 0, 0, 255};
    cr_assert_not_null(mesh.colour);
    cr_assert_arr_eq(mesh.colour, colours, 9, "%s", type);
    rlv_mesh_free(&mesh);
}

Test(mesh_file, colours_of_any_type_become_bytes)
{
    expect_colours("uchar", "255", "128", 128);
    expect_colours("ushort", "65535", "32896", 128); // 32896 = 128 * 257
    expect_colours("int", "255", "128", 128);
    expect_colours("float", "1", "0.5", 128); // 127.5, rounded up
    expect_colours("float", "255", "128", 128);
}

Test(mesh_file, a_colour_that_cannot_be_one_is_refused)
{
    expect_text_refused("a.ply",
                        "ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\n"
                        "property float z\nproperty float red\nproperty float green\nproperty float blue\n"
                        "element face 1\nproperty list uchar int vertex_indices\nend_header\n"
                        "0 0 0 nan 0 0\n1 0 0 0 1 0\n0 1 0 0 0 1\n3 0 1 2\n",
                        "a.ply", "a colour is nan");
}

Test(mesh_file, repeated_vertices_with_texture_points_are_welded)
{
    rlv_mesh mesh = {0};
    rlv_mesh_source source;
    program_write("a.ply", "ply\nformat ascii 1.0\nelement vertex 6\nproperty float x\nproperty float y\n"
                           "property float z\nproperty float s\nproperty float t\nelement face 2\n"
                           "property list uchar int vertex_indices\nend_header\n0 0 0 0 0\n1 0 0 1 0\n0 1 0 0 1\n"
                           "1 0 0 .5 .5\n1 1 0 1 1\n0 1 0 .5 1\n3 0 1 2\n3 3 4 5\n");
    cr_assert_eq(rlv_mesh_file_read(&mesh, &source, "a.ply", RLV_UNIT_MM, NULL, NULL), RLV_DONE);
    cr_assert_eq(mesh.vertex_count, 4);
    cr_assert_eq(source.merged, 2);
    rlv_mesh_free(&mesh);
}

Test(mesh_file, damaged_ply_headers_are_refused_with_their_line)
{
    const struct
    {
        const char *text, *where, *what;
    } cases[] = {
        {"plyformat\n", "a.ply", "does not begin"},
        {"ply\n\n", "a.ply", "no end"},
        {"ply\nformat ascii 1.0\nelement vertex 3\n", "a.ply", "no end"},
        {"ply\nformat runes 1.0\n" TEXT_PLY, "a.ply:2", "not a format"},
        {"ply\n" TEXT_PLY, "a.ply", "names no format"},
        {"ply\nformat ascii 1.0\nelement vertex\nend_header\n", "a.ply:3", "count"},
        {"ply\nformat ascii 1.0\nelement vertex -4\nend_header\n", "a.ply:3", "count"},
        {"ply\nformat ascii 1.0\nelement vertex 99999999999999999999\nend_header\n", "a.ply:3", "count"},
        {"ply\nformat ascii 1.0\nproperty float x\nend_header\n", "a.ply:3", "before any element"},
        {"ply\nformat ascii 1.0\nelement vertex 1\nproperty quad x\nend_header\n", "a.ply:4", "known type"},
        {"ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nproperty float x\nend_header\n", "a.ply:5",
         "second property"},
        {"ply\nformat ascii 1.0\nelement vertex 1\nelement vertex 1\nend_header\n", "a.ply:4", "second element"},
        {"ply\nformat ascii 1.0\nelement face 1\nproperty list float int vertex_index\nend_header\n", "a.ply:4",
         "cannot count"},
        {"ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nwords without sense\nend_header\n", "a.ply:5",
         "not a line"},
        {"ply\nformat ascii 1.0\nelement face 1\nproperty list uchar int vertex_index\nend_header\n3 0 1 2\n", "a.ply",
         "no vertices"},
        {"ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nproperty float y\nelement face 1\n"
         "property list uchar int vertex_index\nend_header\n0 0\n3 0 0 0\n",
         "a.ply", "no 'z'"},
        {"ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nproperty float y\nproperty float z\nend_header\n"
         "0 0 0\n",
         "a.ply", "only points"},
        {"ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nproperty float y\nproperty float z\n"
         "element face 0\nproperty list uchar int vertex_index\nend_header\n0 0 0\n",
         "a.ply", "only points"},
        {"ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nproperty float y\nproperty float z\n"
         "element face 1\nproperty int vertex_index\nend_header\n0 0 0\n0\n",
         "a.ply", "no list"},
        {"ply\nformat ascii 1.0\nelement vertex 9000000000000000000\nproperty float x\nproperty float y\n"
         "property float z\nelement face 1\nproperty list uchar int vertex_index\nend_header\n0 0 0\n3 0 0 0\n",
         "a.ply", "promises 9000000000000000000"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        expect_text_refused("a.ply", cases[i].text, cases[i].where, cases[i].what);
}

#define TRIANGLE_HEADER                                                                                                \
    "ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\nelement face 1\n"  \
    "property list uchar int vertex_index\nend_header\n"

Test(mesh_file, damaged_text_ply_bodies_are_refused_with_their_line)
{
    const struct
    {
        const char *body, *where, *what;
    } cases[] = {
        {"0 0 0\n1 0 0\n0 1 0\n3 0 1 3\n", "a.ply:13", "corner 3 is none of the 3"},
        {"0 0 0\n1 0 0\n0 1 0\n3 0 1 -1\n", "a.ply:13", "corner -1"},
        {"0 0 0\n1 0 0\n0 1 0\n3 0 1 0.5\n", "a.ply:13", "corner 0.5"},
        {"0 0 0\n1 0 0\n0 1 0\n2 0 1\n      \n", "a.ply:13", "2 corners"},
        {"0 0 0\n1 0 0\n0 1 0\n0    \n", "a.ply:13", "0 corners"},
        {"0 0 0\n1 0 0\n0 1 0\n200 0 1 2\n", "a.ply:13", "a list of 200"},
        {"0 0 0\n1 nan 0\n0 1 0\n3 0 1 2\n", "a.ply:11", "y is nan"},
        {"0 0 0\n1 0 0\n0 1 -inf\n3 0 1 2\n", "a.ply:12", "z is -inf"},
        {"0 0 0\n1 0 0\n0 1e300 0\n3 0 1 2\n", "a.ply:12", "y is 1e+300"},
        {"0 0 0\n1 zero 0\n0 1 0\n3 0 1 2\n", "a.ply:11", "not a number"},
        {"0 0 0\n1 0,5 0\n0 1 0\n3 0 1 2\n", "a.ply:11", "not a number"},
        {"0 0 0\n1 0 0\n0 1 0\n3 0 1      \n", "a.ply: face 0", "ends here"},
        {"0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n3 0 1 2\n", "a.ply", "bytes follow"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
    {
        char text[1024];
        snprintf(text, sizeof text, "%s%s", TRIANGLE_HEADER, cases[i].body);
        expect_text_refused("a.ply", text, cases[i].where, cases[i].what);
    }
}

/// Binary PLY of one triangle, to be damaged.
static size_t binary_triangle(bytes* b)
{
    add_text(b, "ply\nformat binary_little_endian 1.0\nelement vertex 3\nproperty float x\nproperty float y\n"
                "property float z\nelement face 1\nproperty list uchar int vertex_indices\nend_header\n");
    size_t header = b->size;
    const float position[9] = {0, 0, 0, 1, 0, 0, 0, 1, 0};
    const int32_t corner[3] = {0, 1, 2};
    add(b, position, sizeof position);
    add(b, "\3", 1);
    add(b, corner, sizeof corner);
    return header;
}

Test(mesh_file, damaged_binary_ply_bodies_are_refused_with_their_element)
{
    bytes whole = {.size = 0};
    const size_t header = binary_triangle(&whole), face = header + 36;
    const float nan = NAN, infinite = INFINITY;
    const int32_t far = 3, below = -1;
    const struct
    {
        size_t at;
        const void* with;
        size_t size;
        const char *where, *what;
    } cases[] = {
        {header + 16, &nan, 4, "a.ply: vertex 1", "a coordinate is "},
        {header + 32, &infinite, 4, "a.ply: vertex 2", "a coordinate is inf"},
        {face + 5, &far, 4, "a.ply: face 0", "corner 3 is none of the 3"},
        {face + 9, &below, 4, "a.ply: face 0", "none of the 3"},
        {face, "\2", 1, "a.ply: face 0", "2 corners"},
        {face, "\0", 1, "a.ply: face 0", "0 corners"},
        {face, "\4", 1, "a.ply: face 0", "a list of 4"},
        {face, "\xff", 1, "a.ply: face 0", "a list of 255"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
    {
        bytes b = whole;
        memcpy(b.at + cases[i].at, cases[i].with, cases[i].size);
        program_write_bytes("a.ply", b.at, b.size);
        expect_refused("a.ply", RLV_UNIT_MM, cases[i].where, cases[i].what);
    }
}

Test(mesh_file, a_binary_ply_cut_short_anywhere_or_too_long_is_refused)
{
    bytes whole = {.size = 0};
    binary_triangle(&whole);
    for (size_t size = 1; size < whole.size; size++)
    {
        rlv_mesh mesh = {0};
        rlv_error error = {0};
        program_write_bytes("a.ply", whole.at, size);
        cr_assert_eq(rlv_mesh_file_read(&mesh, NULL, "a.ply", RLV_UNIT_MM, NULL, &error), RLV_BAD_INPUT, "%zu", size);
    }
    add(&whole, "\3more", 5);
    program_write_bytes("a.ply", whole.at, whole.size);
    expect_refused("a.ply", RLV_UNIT_MM, "a.ply", "5 bytes follow");
}

// ---- STL ------------------------------------------------------------------------------------------------------------

static void make_binary_stl(bytes* b, const char* begin, uint32_t told)
{
    char header[80] = {0};
    snprintf(header, sizeof header, "%s", begin);
    add(b, header, sizeof header);
    add(b, &told, sizeof told);
    for (int t = 0; t < 4; t++)
    {
        float number[12] = {0};
        for (int i = 0; i < 9; i++)
            number[3 + i] = (float)tetrahedron[tetrahedron_face[t][i / 3]][i % 3];
        add(b, number, sizeof number);
        add(b, "\0\0", 2);
    }
}

static void expect_solid_tetrahedron(const rlv_mesh* mesh)
{
    cr_assert_eq(mesh->vertex_count, 4);
    cr_assert_eq(mesh->triangle_count, 4);
    for (size_t i = 0; i < 12; i++)
    {
        const double* want = tetrahedron[tetrahedron_face[i / 3][i % 3]];
        expect_vertex(mesh, mesh->corner[i], want[0], want[1], want[2]);
    }
}

Test(mesh_file, binary_stl_is_welded_even_where_it_begins_as_text_does)
{
    const char* const begin[] = {"made for a test", "solid made for a test"};
    for (int i = 0; i < 2; i++)
    {
        bytes b = {.size = 0};
        rlv_mesh mesh = {0};
        rlv_mesh_source source;
        make_binary_stl(&b, begin[i], 4);
        program_write_bytes("a.stl", b.at, b.size);
        cr_assert_eq(rlv_mesh_file_read(&mesh, &source, "a.stl", RLV_UNIT_MM, NULL, NULL), RLV_DONE);
        expect_solid_tetrahedron(&mesh);
        cr_assert_eq(source.merged, 8);
        cr_assert_str_eq(source.format, "STL");
        rlv_mesh_free(&mesh);
    }
}

Test(mesh_file, damaged_binary_stl_is_refused)
{
    bytes whole = {.size = 0}, more = {.size = 0}, none = {.size = 0};
    make_binary_stl(&whole, "made for a test", 4);
    for (size_t size = 1; size < whole.size; size++)
    {
        rlv_mesh mesh = {0};
        program_write_bytes("a.stl", whole.at, size);
        cr_assert_eq(rlv_mesh_file_read(&mesh, NULL, "a.stl", RLV_UNIT_MM, NULL, NULL), RLV_BAD_INPUT, "%zu", size);
    }
    make_binary_stl(&more, "solid made for a test", UINT32_MAX);
    program_write_bytes("a.stl", more.at, more.size);
    expect_refused("a.stl", RLV_UNIT_MM, "a.stl", "promises 4294967295 triangles where the file holds 4");
    make_binary_stl(&none, "none", 0);
    program_write_bytes("a.stl", none.at, 84);
    expect_refused("a.stl", RLV_UNIT_MM, "a.stl", "no triangles");
    const float nan = NAN;
    memcpy(whole.at + 84 + 50 + 20, &nan, sizeof nan);
    program_write_bytes("a.stl", whole.at, whole.size);
    expect_refused("a.stl", RLV_UNIT_MM, "a.stl: triangle 1", "not a number");
}

#define FACET(a, b, c)                                                                                                 \
    "facet normal nan 0 1\n outer loop\n  vertex " a "\n  vertex " b "\n  vertex " c "\n endloop\nendfacet\n"

Test(mesh_file, solids_of_text_stl_become_objects_by_name)
{
    rlv_mesh mesh = read_text(
        "a.stl",
        "solid left  scute \n" FACET(
            "0 0 0", "1 0 0", "0 1 0") "endsolid left scute\n"
                                       "solid empty\nendsolid\nSOLID\n" FACET(
                                           "0 0 1", "1 0 1", "0 1 1") "ENDSOLID\n"
                                                                      "solid left  scute\n" FACET("1 0 0", "1 1 0",
                                                                                                  "0 1 0") "endsolid\n",
        RLV_UNIT_MM);
    cr_assert_eq(mesh.triangle_count, 3);
    cr_assert_eq(mesh.vertex_count, 7);
    cr_assert_eq(mesh.object_count, 2);
    cr_assert_str_eq(mesh.object_name[0], "left  scute");
    cr_assert_str_eq(mesh.object_name[1], "solid 3");
    const uint32_t objects[3] = {0, 1, 0};
    cr_assert_arr_eq(mesh.object, objects, sizeof objects);
    rlv_mesh_free(&mesh);
}

Test(mesh_file, damaged_text_stl_is_refused_with_its_line)
{
    expect_text_refused("a.stl", "solid a\nendsolid a\n", "a.stl", "no triangles");
    expect_text_refused("a.stl", "solid a\n", "a.stl", "cut short");
    expect_text_refused("a.stl", "solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\n", "a.stl",
                        "cut short");
    expect_text_refused("a.stl", "solid a\n" FACET("0 0 0", "1 inf 0", "0 1 0") "endsolid\n", "a.stl:5", "is inf");
    expect_text_refused("a.stl", "solid a\n" FACET("0 0 0", "1 b 0", "0 1 0") "endsolid\n", "a.stl:5", "a number");
    expect_text_refused("a.stl", "solid a\n" FACET("0 0 0", "1 0 0", "0 1 0\n  vertex 0 0 0") "endsolid\n", "a.stl:7",
                        "endloop");
    expect_text_refused("a.stl", "solid a\n" FACET("0 0 0", "1 0 0", "0 1 0") "garbage\n", "a.stl:9", "endsolid");
    expect_text_refused("a.stl", "some words", "a.stl", "not an STL file");
}

// ---- OBJ ------------------------------------------------------------------------------------------------------------

Test(mesh_file, obj_with_every_way_to_write_a_corner_is_one_tetrahedron)
{
    const char* const ends[] = {"\n", "\r\n", "\r"};
    for (int i = 0; i < 3; i++)
    {
        bytes b = {.size = 0};
        with_line_ends(&b,
                       "# a note \\\nmtllib a.mtl\nv 0 0 0\nv 1e2 0. +1\nvt 0 0\nvn 0 0 1\n  v\t2 90.00 -0\n"
                       "v 3 \\\n0 8.0e+1 1.0\ns off\nusemtl stone\nf 1/1 3/1 2/1\nf 1//1 2//1 4//1 # a note\n"
                       "f -4/1/1 -1/1/1 \\\n -2/1/1\nl 1 2\np 1\nf 2 3 4",
                       ends[i]);
        program_write_bytes("a.obj", b.at, b.size);
        rlv_mesh mesh = read_well("a.obj", RLV_UNIT_MM);
        expect_tetrahedron(&mesh);
        cr_assert_null(mesh.object);
        cr_assert_null(mesh.colour);
        rlv_mesh_free(&mesh);
    }
}

Test(mesh_file, obj_names_its_objects_and_groups)
{
    rlv_mesh mesh = read_text("a.obj",
                              "\xef\xbb\xbfv 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\no body\nf 1 2 3\ng left\nf 1 2 3\n"
                              "o \xe9\ng empty\no body\nf 1 2 3\no \xe7\x94\xb2\xe7\xbe\x85\nf 1 2 3 3\n",
                              RLV_UNIT_MM);
    const char* const names[] = {"unnamed", "body", "body/left", "\xe7\x94\xb2\xe7\xbe\x85"};
    const uint32_t objects[6] = {0, 1, 2, 1, 3, 3};
    cr_assert_eq(mesh.object_count, 4);
    for (size_t i = 0; i < 4; i++)
        cr_assert_str_eq(mesh.object_name[i], names[i]);
    cr_assert_eq(mesh.triangle_count, 6);
    cr_assert_arr_eq(mesh.object, objects, sizeof objects);
    rlv_mesh_free(&mesh);
}

Test(mesh_file, obj_vertex_colours_are_kept_and_white_where_a_vertex_has_none)
{
    rlv_mesh mesh = read_text("a.obj", "v 0 0 0 1 0.5 0\nv 1 0 0\nv 0 1 0 0 0 1 1\nf 1 2 3\n", RLV_UNIT_MM);
    const uint8_t colours[9] = {255, 128, 0, 255, 255, 255, 0, 0, 255};
    cr_assert_arr_eq(mesh.colour, colours, 9);
    rlv_mesh_free(&mesh);
}

Test(mesh_file, a_concave_polygon_keeps_its_area)
{
    // An L of three unit squares, which a fan from its first corner would cover wrongly.
    rlv_mesh mesh =
        read_text("a.obj", "v 1 1 0\nv 1 2 0\nv 0 2 0\nv 0 0 0\nv 2 0 0\nv 2 1 0\nf 5 6 1 2 3 4\n", RLV_UNIT_MM);
    cr_assert_eq(mesh.triangle_count, 4);
    cr_assert_float_eq(rlv_mesh_measure(&mesh).area_mm2, 3.0, 1e-12);
    rlv_mesh_free(&mesh);
}

Test(mesh_file, damaged_obj_is_refused_with_its_line)
{
    const struct
    {
        const char *text, *where, *what;
    } cases[] = {
        {"nothing that means anything\n", "a.obj", "no vertices"},
        {"v 0 0 0\nv 1 0 0\nv 0 1 0\n", "a.obj", "only points"},
        {"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2\n", "a.obj:4", "less than three"},
        {"v 0 0 0\nv 1 0 0\nv 0 1 0\nf\n", "a.obj:4", "less than three"},
        {"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n\nf 1 2 4\n", "a.obj:6", "none of the 3 vertices"},
        {"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 0\n", "a.obj:4", "none of the vertices"},
        {"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 -4\n", "a.obj:4", "none of the 3 vertices"},
        // As large as a number may be: added to nine vertices it would run over.
        {"v 0 0 0\nv 1 0 0\nv 0 1 0\nv 0 0 1\nv 1 0 1\nv 0 1 1\nv 2 0 0\nv 2 1 0\nv 2 0 1\n"
         "f 1 2 9223372036854775799\n",
         "a.obj:10", "none of the vertices"},
        {"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 99999999999999999999\n", "a.obj:4", "not the number"},
        {"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3x\n", "a.obj:4", "not the number"},
        {"v 0 0 0\nv 1 nan 0\nv 0 1 0\nf 1 2 3\n", "a.obj:2", "not a number"},
        {"v 0 0 0\nv 1 inf 0\nv 0 1 0\nf 1 2 3\n", "a.obj:2", "infinite"},
        {"v 0 0 0\nv 1 0\nv 0 1 0\nf 1 2 3\n", "a.obj:2", "less than three"},
        {"v 0 0 0\nv 1 0 0 1 1\nv 0 1 0\nf 1 2 3\n", "a.obj:2", "two parts"},
        {"v 0 0 0\nv 1 0 0 1 1 1 1 1\nv 0 1 0\nf 1 2 3\n", "a.obj:2", "more numbers"},
        {"v 0 0 0\n1 2 3\n", "a.obj:2", "not a line"},
        {"v 0 0 0 900 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "a.obj", "a colour is 900"},
        {"\xff\xfev", "a.obj", "UTF-16"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        expect_text_refused("a.obj", cases[i].text, cases[i].where, cases[i].what);
}

Test(mesh_file, a_line_of_ten_megabytes_is_read)
{
    char* text = malloc(12000000);
    cr_assert_not_null(text);
    strcpy(text, "v 0 0 0\nv 1 0 0\nv 0 1 0\n#");
    size_t length = strlen(text);
    memset(text + length, 'x', 10000000);
    strcpy(text + length + 10000000, "\nf 1 2 3\n");
    rlv_mesh mesh = read_text("a.obj", text, RLV_UNIT_MM);
    cr_assert_eq(mesh.triangle_count, 1);
    rlv_mesh_free(&mesh);
    free(text);
}

Test(mesh_file, an_obj_of_many_chunks_is_the_mesh_it_was_written_from)
{
    rlv_mesh sphere = {0};
    shape_add_sphere(&sphere, rlv_vec3_of(1, 2, 3), 50.0, 200); // 320,000 triangles: 15 MB of text, many chunks
    FILE* stream = fopen("a.obj", "w");
    for (size_t v = 0; v < sphere.vertex_count; v++)
    {
        const float* at = sphere.position_mm + 3 * v;
        fprintf(stream, "v %.9g %.9g %.9g\n", (double)at[0], (double)at[1], (double)at[2]); // 9 figures fix a float
    }
    for (size_t t = 0; t < sphere.triangle_count; t++)
    {
        const uint32_t* corner = sphere.corner + 3 * t;
        if (t % 1000 == 0)
            fprintf(stream, "g part %zu\n", t / 1000);
        if (t % 2 == 0)
            fprintf(stream, "f %u %u %u\n", corner[0] + 1, corner[1] + 1, corner[2] + 1);
        else
            fprintf(stream, "f %ld %ld %ld\n", (long)corner[0] - (long)sphere.vertex_count,
                    (long)corner[1] - (long)sphere.vertex_count, (long)corner[2] - (long)sphere.vertex_count);
    }
    fclose(stream);
    rlv_mesh mesh = read_well("a.obj", RLV_UNIT_MM);
    cr_assert_eq(mesh.vertex_count, sphere.vertex_count);
    cr_assert_eq(mesh.triangle_count, sphere.triangle_count);
    cr_assert_arr_eq(mesh.position_mm, sphere.position_mm, 3 * sphere.vertex_count * sizeof(float));
    cr_assert_arr_eq(mesh.corner, sphere.corner, 3 * sphere.triangle_count * sizeof(uint32_t));
    cr_assert_eq(mesh.object_count, 320);
    for (size_t t = 0; t < mesh.triangle_count; t++)
        cr_assert_eq(mesh.object[t], t / 1000);
    rlv_mesh_free(&mesh);
    rlv_mesh_free(&sphere);
}

// ---- through Assimp -------------------------------------------------------------------------------------------------

/// A glTF of one triangle in a node that moves it by 1 m and doubles it, in a file of its own.
#define GLTF(name, extra)                                                                                              \
    "{\"asset\":{\"version\":\"2.0\"},\"scene\":0,\"scenes\":[{\"nodes\":[0]}],\"nodes\":[{\"name\":\"" name           \
    "\",\"mesh\":0,\"translation\":[1,0,0],\"scale\":[2,2,2]}],\"meshes\":[{\"primitives\":[{\"attributes\":{"         \
    "\"POSITION\":0},\"indices\":1}]}],\"buffers\":[{\"uri\":\"data:application/octet-stream;base64,"                  \
    "AAAAAAAAAAAAAAAAAACAPwAAAAAAAAAAAAAAAAAAgD8AAAAAAAABAAIA\",\"byteLength\":42}],\"bufferViews\":[{\"buffer\":0,"   \
    "\"byteLength\":36},{\"buffer\":0,\"byteOffset\":36,\"byteLength\":6}],\"accessors\":[{\"bufferView\":0,"          \
    "\"componentType\":5126,\"count\":3,\"type\":\"VEC3\",\"min\":[0,0,0],\"max\":[1,1,0]},{\"bufferView\":1,"         \
    "\"componentType\":5123,\"count\":3,\"type\":\"SCALAR\"}]" extra "}"

Test(mesh_file, gltf_is_in_metres_with_its_nodes_applied_and_its_axes_kept)
{
    program_write("a.gltf", GLTF("scute", ""));
    for (int i = 0; i < 2; i++)
    {
        rlv_mesh mesh = {0};
        rlv_mesh_source source;
        rlv_error error = {0};
        cr_assert_eq(rlv_mesh_file_read(&mesh, &source, "a.gltf", i == 0 ? RLV_UNIT_NONE : RLV_UNIT_M, NULL, &error),
                     RLV_DONE, "%s", error.what);
        cr_assert_eq(mesh.triangle_count, 1);
        expect_vertex(&mesh, mesh.corner[0], 1000, 0, 0);
        expect_vertex(&mesh, mesh.corner[1], 3000, 0, 0);
        expect_vertex(&mesh, mesh.corner[2], 1000, 2000, 0);
        cr_assert_str_eq(source.format, "GLTF");
        cr_assert_eq(mesh.object_count, 1);
        cr_assert_str_eq(mesh.object_name[0], "scute");
        rlv_mesh_free(&mesh);
    }
}

Test(mesh_file, gltf_in_another_unit_is_refused)
{
    program_write("a.gltf", GLTF("scute", ""));
    expect_refused("a.gltf", RLV_UNIT_MM, "a.gltf", "metres");
}

Test(mesh_file, gltf_that_is_damaged_is_refused)
{
    expect_text_refused("a.gltf", "{\"asset\":", "a.gltf", "");
    program_write("a.gltf", "{}");
    expect_refused("a.gltf", RLV_UNIT_NONE, "a.gltf", "");
}

Test(mesh_file, a_format_that_only_assimp_reads_is_read_with_its_unit)
{
    rlv_mesh mesh = read_text(
        "a.off", "OFF\n4 4 0\n0 0 0\n10 0 .1\n.2 9 0\n.3 0 8\n3 0 2 1\n3 0 1 3\n3 0 3 2\n3 1 2 3\n", RLV_UNIT_CM);
    cr_assert_eq(mesh.triangle_count, 4);
    // A float holds 10 cm to half of 2^-20; times 10 that is 5e-6 mm.
    cr_assert_float_eq(rlv_mesh_measure(&mesh).high_mm.x, 100.0, 5e-6);
    rlv_mesh_free(&mesh);
}

Test(mesh_file, collada_keeps_its_axes_and_is_told_its_unit)
{
    // The file says z is up and a unit is an inch: neither turns nor scales what it holds.
    rlv_mesh mesh = read_text(
        "a.dae",
        "<?xml version=\"1.0\"?><COLLADA xmlns=\"http://www.collada.org/2005/11/COLLADASchema\" version=\"1.4.1\">"
        "<asset><unit name=\"inch\" meter=\"0.0254\"/><up_axis>Z_UP</up_axis></asset><library_geometries>"
        "<geometry id=\"g\"><mesh><source id=\"p\"><float_array id=\"a\" count=\"9\">0 0 0 2 0 0 0 3 5</float_array>"
        "<technique_common><accessor source=\"#a\" count=\"3\" stride=\"3\"><param name=\"X\" type=\"float\"/>"
        "<param name=\"Y\" type=\"float\"/><param name=\"Z\" type=\"float\"/></accessor></technique_common></source>"
        "<vertices id=\"v\"><input semantic=\"POSITION\" source=\"#p\"/></vertices><triangles count=\"1\">"
        "<input semantic=\"VERTEX\" source=\"#v\" offset=\"0\"/><p>0 1 2</p></triangles></mesh></geometry>"
        "</library_geometries><library_visual_scenes><visual_scene id=\"s\"><node id=\"n\" name=\"scute\">"
        "<instance_geometry url=\"#g\"/></node></visual_scene></library_visual_scenes><scene>"
        "<instance_visual_scene url=\"#s\"/></scene></COLLADA>\n",
        RLV_UNIT_MM);
    cr_assert_eq(mesh.triangle_count, 1);
    expect_vertex(&mesh, mesh.corner[1], 2, 0, 0);
    expect_vertex(&mesh, mesh.corner[2], 0, 3, 5);
    rlv_mesh_free(&mesh);
}

// ---- units, origins, files that are none ----------------------------------------------------------------------------

Test(mesh_file, units_are_millimetres_or_asked_for)
{
    const char* const names[] = {"mm", "cm", "m", "in"};
    const double mm[] = {1.0, 10.0, 1000.0, 25.4};
    program_write("a.ply", "ply\nformat ascii 1.0\n" TEXT_PLY);
    for (int i = 0; i < 4; i++)
    {
        rlv_mesh mesh = read_well("a.ply", rlv_unit_from_name(names[i]));
        cr_assert_eq(rlv_unit_mm(rlv_unit_from_name(names[i])), mm[i]);
        expect_vertex(&mesh, 1, (double)(float)(100 * mm[i]), 0, (double)(float)mm[i]);
        rlv_mesh_free(&mesh);
    }
    cr_assert_eq(rlv_unit_from_name("ft"), RLV_UNIT_NONE);
    cr_assert_eq(rlv_unit_from_name(NULL), RLV_UNIT_NONE);
    expect_refused("a.ply", RLV_UNIT_NONE, "a.ply", "unit");
    program_write("a.obj", "v 0 0 0\n");
    expect_refused("a.obj", RLV_UNIT_NONE, "a.obj", "unit");
}

/// A square metre of ground, 500 km east and 4,500 km north, with heights in steps of a micron.
static double georeferenced(int vertex, int axis)
{
    const double base[3] = {500000.0, 4500000.0, 1200.0};
    return base[axis] + (axis < 2 ? (double)(vertex >> axis & 1) : 0.0) + 1e-6 * vertex;
}

static void expect_microns(const char* path)
{
    rlv_mesh mesh = read_well(path, RLV_UNIT_M);
    cr_assert_eq(mesh.vertex_count, 4);
    for (int v = 0; v < 4; v++)
    {
        rlv_vec3 at = rlv_mesh_vertex(&mesh, (size_t)v);
        const double got[3] = {at.x, at.y, at.z};
        // About an origin within the box a float is off by half of 2^-14 mm at most, and the origin's own rounding to a
        // float may put the box up to 256 mm beside it. Doubles at 4.5e9 mm are off by 2^-21 mm, three times over.
        for (int i = 0; i < 3; i++)
            cr_assert_float_eq(got[i], 1000.0 * georeferenced(v, i), ldexp(1.0, -14) + 3 * ldexp(1.0, -21),
                               "%s %d %d %.9g", path, v, i, got[i] - 1000.0 * georeferenced(v, i));
    }
    rlv_mesh_free(&mesh);
}

Test(mesh_file, a_georeferenced_scan_keeps_its_microns)
{
    FILE* obj = fopen("a.obj", "w");
    FILE* ply = fopen("a.ply", "w");
    fputs("ply\nformat ascii 1.0\nelement vertex 4\nproperty double x\nproperty double y\nproperty double z\n"
          "element face 2\nproperty list uchar int vertex_indices\nend_header\n",
          ply);
    bytes b = {.size = 0};
    add_text(&b, "ply\nformat binary_little_endian 1.0\nelement vertex 4\nproperty double x\nproperty double y\n"
                 "property double z\nelement face 2\nproperty list uchar int vertex_indices\nend_header\n");
    for (int v = 0; v < 4; v++)
    {
        double at[3] = {georeferenced(v, 0), georeferenced(v, 1), georeferenced(v, 2)};
        fprintf(obj, "v %.17g %.17g %.17g\n", at[0], at[1], at[2]);
        fprintf(ply, "%.17g %.17g %.17g\n", at[0], at[1], at[2]);
        add(&b, at, sizeof at);
    }
    fputs("f 1 2 4 3\n", obj);
    fputs("3 0 1 3\n3 0 3 2\n", ply);
    const int32_t corners[6] = {0, 1, 3, 0, 3, 2};
    for (int t = 0; t < 2; t++)
    {
        add(&b, "\3", 1);
        add(&b, corners + 3 * t, 12);
    }
    fclose(obj);
    fclose(ply);
    program_write_bytes("b.ply", b.at, b.size);
    expect_microns("a.obj");
    expect_microns("a.ply");
    expect_microns("b.ply");
}

Test(mesh_file, what_is_no_file_is_refused_without_waiting)
{
    expect_refused("missing.ply", RLV_UNIT_MM, "missing.ply", "no such file");
    expect_refused("missing/a.ply", RLV_UNIT_MM, "missing/a.ply", "no such file");
    cr_assert_eq(mkdir("folder.ply", 0755), 0);
    expect_refused("folder.ply", RLV_UNIT_MM, "folder.ply", "folder");
    cr_assert_eq(mkfifo("pipe.ply", 0644), 0);
    expect_refused("pipe.ply", RLV_UNIT_MM, "pipe.ply", "pipe");
    expect_refused("/dev/zero", RLV_UNIT_MM, "/dev/zero", "device");
    cr_assert_eq(symlink("loop.ply", "loop.ply"), 0);
    expect_refused("loop.ply", RLV_UNIT_MM, "loop.ply", "leads to no file");
    expect_text_refused("empty.ply", "", "empty.ply", "empty");
    expect_text_refused("a.docx", "words", "a.docx", "no mesh format");
    expect_text_refused("words", "words", "words", "no mesh format");
    expect_text_refused("a.ply", "words", "a.ply", "does not begin");
}

Test(mesh_file, a_file_without_permission_is_refused)
{
    program_write("a.ply", "ply\nformat ascii 1.0\n" TEXT_PLY);
    cr_assert_eq(chmod("a.ply", 0), 0);
    cr_assert_eq(chmod(".", 0755), 0);
    uid_t owner = geteuid();
    if (owner == 0 && seteuid(65534) != 0)
        cr_skip_test("the system's owner may read everything");
    expect_refused("a.ply", RLV_UNIT_MM, "a.ply", "permission");
    cr_assert_eq(seteuid(owner), 0);
}

Test(mesh_file, numbers_do_not_depend_on_the_locale)
{
    if (!folder_comma_locale())
        cr_skip_test("no locale with decimal commas can be made");
    // More than 18 figures: what the C library reads.
    rlv_mesh mesh =
        read_text("a.obj", "v 0.5000000000000000000000001 0 0\nv 1.25 0 0\nv 0 1.5 0\nf 1 2 3\n", RLV_UNIT_MM);
    expect_vertex(&mesh, 0, 0.5, 0, 0);
    expect_vertex(&mesh, 1, 1.25, 0, 0);
    rlv_mesh_free(&mesh);
}

Test(mesh_file, the_digest_and_the_size_are_the_files)
{
    rlv_mesh mesh = {0};
    rlv_mesh_source source;
    program_write("a.obj", "v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n");
    cr_assert_eq(rlv_mesh_file_read(&mesh, &source, "a.obj", RLV_UNIT_MM, NULL, NULL), RLV_DONE);
    // sha256sum of GNU coreutils 9.1.
    cr_assert_str_eq(source.sha256, "697b00ab13410c52a542d2e9c63711fcc04e9cbf6c0d3439a9b43cc812e6e713");
    cr_assert_eq(source.bytes, 32);
    cr_assert_str_eq(source.format, "OBJ");
    cr_assert_eq(source.merged, 0);
    rlv_mesh_free(&mesh);
}

// ---- writing --------------------------------------------------------------------------------------------------------

/// A small mesh with all that a mesh can have.
static rlv_mesh full_mesh(rlv_vec3 origin_mm)
{
    static const char* const names[] = {"dorsal 1", " 50 %\nof it ", "\xe7\x94\xb2"};
    rlv_mesh mesh = {.origin_mm = origin_mm};
    cr_assert_eq(rlv_mesh_reserve(&mesh, 4, 4, true, true, NULL), RLV_DONE);
    for (size_t i = 0; i < 4; i++)
        for (size_t k = 0; k < 3; k++)
        {
            mesh.position_mm[3 * i + k] = (float)tetrahedron[i][k] + 0.1F;
            mesh.corner[3 * i + k] = tetrahedron_face[i][k];
            mesh.colour[3 * i + k] = (uint8_t)(40 * i + k);
            mesh.object[i] = (uint32_t)(i % 3);
        }
    mesh.object_count = 3;
    mesh.object_name = calloc(3, sizeof *mesh.object_name);
    for (size_t i = 0; i < 3; i++)
        mesh.object_name[i] = strdup(names[i]);
    return mesh;
}

static void expect_same(const rlv_mesh* a, const rlv_mesh* b)
{
    cr_assert_eq(a->vertex_count, b->vertex_count);
    cr_assert_eq(a->triangle_count, b->triangle_count);
    cr_assert_eq(a->object_count, b->object_count);
    cr_assert_arr_eq(a->corner, b->corner, 3 * a->triangle_count * sizeof *a->corner);
    cr_assert_arr_eq(a->colour, b->colour, 3 * a->vertex_count);
    cr_assert_arr_eq(a->object, b->object, a->triangle_count * sizeof *a->object);
    for (size_t i = 0; i < a->object_count; i++)
        cr_assert_eq(strcmp(a->object_name[i], b->object_name[i]) == 0 || i == 1, true);
    for (size_t i = 0; i < a->vertex_count; i++)
    {
        rlv_vec3 p = rlv_mesh_vertex(a, i);
        expect_vertex(b, i, p.x, p.y, p.z);
    }
}

Test(mesh_file, what_is_written_is_read_back_to_the_bit_near_and_far)
{
    const rlv_vec3 origins[2] = {{0, 0, 0}, {500000000.0, 4500000256.0, 1024.0}};
    for (int i = 0; i < 2; i++)
    {
        rlv_mesh mesh = full_mesh(origins[i]);
        // Far out, the origin is the reader's own choice, and a float about it holds the same place where the mesh was
        // read before: so it is what has been read once that must come back.
        cr_assert_eq(rlv_mesh_file_write(&mesh, "a.ply", NULL), RLV_DONE);
        rlv_mesh first = read_well("a.ply", RLV_UNIT_MM);
        if (i == 0)
            expect_same(&mesh, &first);
        cr_assert_eq(rlv_mesh_file_write(&first, "b.ply", NULL), RLV_DONE);
        rlv_mesh second = read_well("b.ply", RLV_UNIT_MM);
        expect_same(&first, &second);
        cr_assert_eq(memcmp(&first.origin_mm, &second.origin_mm, sizeof first.origin_mm), 0);
        cr_assert_str_eq(first.object_name[0], "dorsal 1");
        cr_assert_str_eq(first.object_name[1], " 50 %\xef\xbf\xbdof it ", "a name holds no line end");
        rlv_mesh_free(&mesh);
        rlv_mesh_free(&first);
        rlv_mesh_free(&second);
    }
}

Test(mesh_file, a_full_disk_is_told_and_the_old_file_stays)
{
    rlv_mesh sphere = {0};
    rlv_error error = {0};
    shape_add_sphere(&sphere, rlv_vec3_of(0, 0, 0), 50.0, 100);
    program_write("a.ply", "old");
    signal(SIGXFSZ, SIG_IGN);
    struct rlimit before, limit;
    getrlimit(RLIMIT_FSIZE, &before);
    limit = before;
    limit.rlim_cur = 100000;
    setrlimit(RLIMIT_FSIZE, &limit);
    rlv_status status = rlv_mesh_file_write(&sphere, "a.ply", &error);
    setrlimit(RLIMIT_FSIZE, &before);
    cr_assert_eq(status, RLV_SYSTEM);
    cr_assert_str_eq(error.where, "a.ply");
    size_t size;
    char* old = program_read("a.ply", &size);
    cr_assert_str_eq(old, "old");
    cr_assert_eq(folder_count("."), 1);
    free(old);
    rlv_mesh_free(&sphere);
}

// ---- damage at random -----------------------------------------------------------------------------------------------

/// Change, cut, repeat or take out a few bytes.
static void damage(bytes* b, scan_random* random)
{
    static const uint8_t tempting[] = {0, 1, 0x7f, 0x80, 0xff, '\n', '\r', ' ', '-', '9', '.', 'e', '/', '\\'};
    int times = 1 + (int)(scan_random_bits(random) % 4);
    for (int i = 0; i < times && b->size > 8; i++)
    {
        size_t at = scan_random_bits(random) % b->size, length = 1 + scan_random_bits(random) % 8;
        length = at + length > b->size ? b->size - at : length;
        switch (scan_random_bits(random) % 5)
        {
        case 0:
            b->at[at] = (uint8_t)scan_random_bits(random);
            break;
        case 1:
            b->at[at] = tempting[scan_random_bits(random) % sizeof tempting];
            break;
        case 2:
            memmove(b->at + at, b->at + at + length, b->size - at - length);
            b->size -= length;
            break;
        case 3:
            memmove(b->at + at + length, b->at + at, b->size - at);
            b->size += length;
            break;
        default:
            b->size = scan_random_bits(random) % 8 == 0 ? at + 1 : b->size;
        }
    }
}

/// Each damaged file is read as some mesh that holds together, or is refused with words.
static void survive(const char* path, const bytes* whole, int times, uint64_t seed)
{
    scan_random random = {seed};
    int refused = 0;
    for (int i = 0; i < times; i++)
    {
        bytes b = *whole;
        rlv_mesh mesh = {0};
        rlv_error error = {0};
        damage(&b, &random);
        program_write_bytes(path, b.at, b.size);
        rlv_status status = rlv_mesh_file_read(&mesh, NULL, path, RLV_UNIT_M, NULL, &error);
        cr_assert(status == RLV_DONE || status == RLV_BAD_INPUT, "%d: %s", i, error.what);
        cr_assert(status == RLV_DONE || (error.where[0] != '\0' && error.what[0] != '\0' && error.mend[0] != '\0'));
        for (size_t k = 0; k < 3 * mesh.triangle_count; k++)
            cr_assert_lt(mesh.corner[k], mesh.vertex_count);
        for (size_t k = 0; k < 3 * mesh.vertex_count; k++)
            cr_assert(isfinite(mesh.position_mm[k]));
        for (size_t k = 0; k < mesh.triangle_count && mesh.object != NULL; k++)
            cr_assert_lt(mesh.object[k], mesh.object_count);
        refused += status != RLV_DONE;
        rlv_mesh_free(&mesh);
    }
    cr_assert(refused > times / 20 && refused < times, "%d of %d refused: the damage is of no use", refused, times);
}

Test(mesh_file, damaged_binary_ply_is_read_or_refused)
{
    bytes b = {.size = 0}, big = {.size = 0};
    make_binary_ply(&b, 0, 6, 1, 4, false);
    survive("a.ply", &b, 2000, 1);
    make_binary_ply(&big, 1, 7, 3, 3, true);
    survive("a.ply", &big, 2000, 2);
}

Test(mesh_file, damaged_text_ply_is_read_or_refused)
{
    bytes b = {.size = 0};
    add_text(&b, "ply\nformat ascii 1.0\ncomment object 3 a%41\n" TEXT_PLY);
    survive("a.ply", &b, 2000, 3);
}

Test(mesh_file, damaged_stl_is_read_or_refused)
{
    bytes b = {.size = 0}, text = {.size = 0};
    make_binary_stl(&b, "solid", 4);
    survive("a.stl", &b, 2000, 4);
    add_text(&text, "solid a\n" FACET("0 0 0", "1 0 0", "0 1 0") "endsolid\nsolid b\n" FACET("0 0 1", "1 0 1",
                                                                                             "0 1 1") "endsolid\n");
    survive("a.stl", &text, 2000, 5);
}

Test(mesh_file, damaged_obj_is_read_or_refused)
{
    bytes b = {.size = 0};
    add_text(
        &b,
        "# note\no a\nv 0 0 0 1 0 0\nv 1 0 0 .5 0 1\nv 1 1 0\nv 0.1 1e0 0\nv .3 .2 0\ng b\nf 1/1 2/2 3/3 \\\n4/4 5\n"
        "f -1 -2 -3\ng c\nf 1//1 2//2 3//3\n");
    survive("a.obj", &b, 2000, 6);
}

Test(mesh_file, damaged_gltf_is_read_or_refused)
{
    bytes b = {.size = 0};
    add_text(&b, GLTF("scute", ""));
    survive("a.gltf", &b, 100, 7); // a process each
}
