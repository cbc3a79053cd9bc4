#include "mesh_file.h"
#include "rock.h"
#include "scan.h"
#include "support/program.h"
#include "support/shapes.h"
#include "support/told.h"

#include <criterion/criterion.h>
#include <ctype.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

TestSuite(commands, .init = program_enter, .fini = program_leave, .timeout = 600);

// --- meshes ---------------------------------------------------------------------------------------------------------

/// A box of 20 x 30 x 40 mm as text PLY; what is asked for is done to it.
typedef struct box_faults
{
    const char* coordinate; ///< in place of the last vertex's x
    const char* extra;      ///< faces added, `extra_count` of them
    int extra_count;
    int faces_left_out;            ///< from the end
    int faces_turned;              ///< from the start
    int vertices_said, faces_said; ///< in the header, where above 0
    double scale;                  ///< where not 0
} box_faults;

static const char* const box_faces[12] = {"0 2 1", "1 2 3", "4 5 6", "5 7 6", "0 1 4", "1 5 4",
                                          "2 6 3", "3 6 7", "0 4 2", "2 4 6", "1 3 5", "3 7 5"};

static void write_box(const char* path, box_faults faults)
{
    FILE* file = fopen(path, "w");
    double scale = faults.scale != 0.0 ? faults.scale : 1.0;
    int faces = 12 - faults.faces_left_out + faults.extra_count;
    cr_assert_not_null(file);
    fprintf(file,
            "ply\nformat ascii 1.0\nelement vertex %d\nproperty float x\nproperty float y\nproperty float z\n"
            "element face %d\nproperty list uchar int vertex_indices\nend_header\n",
            faults.vertices_said > 0 ? faults.vertices_said : 8, faults.faces_said > 0 ? faults.faces_said : faces);
    for (int i = 0; i < 8; i++)
    {
        if (i == 7 && faults.coordinate != NULL)
            fprintf(file, "%s", faults.coordinate);
        else
            fprintf(file, "%.9g", (i & 1) != 0 ? 20.0 * scale : 0.0);
        fprintf(file, " %.9g %.9g\n", (i & 2) != 0 ? 30.0 * scale : 0.0, (i & 4) != 0 ? 40.0 * scale : 0.0);
    }
    for (int i = 0; i < 12 - faults.faces_left_out; i++)
    {
        const char* face = box_faces[i];
        if (i < faults.faces_turned)
            fprintf(file, "3 %c %c %c\n", face[0], face[4], face[2]);
        else
            fprintf(file, "3 %s\n", face);
    }
    if (faults.extra != NULL)
        fputs(faults.extra, file);
    fclose(file);
}

static const double removed_depth_mm = 6.0;

/// An invented rock of about 130 mm; AFTER has lost a skin of known depth inside a cone.
static rock rock_of_stage(bool after)
{
    rock stone = {
        .half_axes_mm = {65.0, 48.0, 36.0}, .relief_mm = 3.0, .relief_length_mm = 45.0, .facets = 0.4, .seed = 17};
    if (after)
    {
        stone.cut_count = 1;
        stone.cut[0] = (rock_cut){
            .direction = {0.2, 0.1, 0.97}, .depth_mm = removed_depth_mm, .half_angle_rad = 0.6, .soft_mm = 2.0};
        stone.cut[0].direction = rlv_vec3_unit(stone.cut[0].direction);
    }
    return stone;
}

static const scan_noise bench_noise = {.noise_sd_mm = 0.05, .noise_length_mm = 2.0};

/// Write one scan of a stage, meshed and with noise by a seed; in a pose of its own where asked. `truth` may be NULL.
static void write_scan(const char* path, bool after, uint64_t seed, bool any_pose, double scale, rlv_pose* truth)
{
    rlv_mesh mesh = {0};
    rlv_error error = {0};
    rock stone = rock_of_stage(after);
    scan_noise noise = bench_noise;
    noise.any_pose = any_pose;
    noise.place_mm = 200.0;
    noise.seed = seed;
    cr_assert_eq(rock_mesh(&mesh, &stone, 24000, seed + 7, &error), RLV_DONE, "%s", error.what);
    cr_assert_eq(scan_mesh(&mesh, &noise, truth, &error), RLV_DONE, "%s", error.what);
    rlv_pose pose = rlv_pose_identity();
    pose.scale = scale;
    rlv_pose_move_mesh(&pose, &mesh);
    cr_assert_eq(rlv_mesh_file_write(&mesh, path, &error), RLV_DONE, "%s", error.what);
    rlv_mesh_free(&mesh);
}

static void write_stage(const char* path, bool after, bool any_pose, double scale, rlv_pose* truth)
{
    write_scan(path, after, after ? 5 : 4, any_pose, scale, truth);
}

static void write_stages(bool any_pose)
{
    write_stage("before.ply", false, false, 1.0, NULL);
    write_stage("after.ply", true, any_pose, 1.0, NULL);
}

static void write_sphere(const char* path, size_t fineness)
{
    rlv_mesh mesh = {0};
    rlv_error error = {0};
    shape_add_sphere(&mesh, (rlv_vec3){0, 0, 0}, 50.0, fineness);
    cr_assert_eq(rlv_mesh_file_write(&mesh, path, &error), RLV_DONE, "%s", error.what);
    rlv_mesh_free(&mesh);
}

// --- calls ----------------------------------------------------------------------------------------------------------

/// Call, expect a status, and give back what standard output held as JSON (NULL where the call asked for none).
static json_t* call(int status, const char* line)
{
    program_run run = program_call(line, NULL);
    cr_assert_eq(run.status, status, "rilievo %s: status %d\n%s", line, run.status, run.err);
    json_t* json = NULL;
    if (status == 2 || status == 4)
    {
        cr_assert_eq(run.out_size, 0, "rilievo %s: standard output is not empty", line);
        cr_assert(strncmp(run.err, "rilievo: ", 9) == 0 && strchr(run.err, '\n') == run.err + strlen(run.err) - 1,
                  "rilievo %s: not one line: %s", line, run.err);
        cr_assert_not_null(strstr(run.err, "; "), "rilievo %s: nothing that would mend it: %s", line, run.err);
    }
    if (status == 0)
        cr_assert_str_empty(run.err, "rilievo %s: %s", line, run.err);
    if (strstr(line, "--json") != NULL && (status == 0 || status == 3))
        json = told_in(run.out);
    program_free(&run);
    return json;
}

/// Call, expect to be refused, with `part` in the message.
static void refuse(const char* line, const char* part)
{
    program_run run = program_call(line, NULL);
    cr_assert_eq(run.status, 2, "rilievo %s: status %d\n%s", line, run.status, run.err);
    cr_assert_eq(run.out_size, 0, "rilievo %s: standard output is not empty", line);
    cr_assert_not_null(strstr(run.err, part), "rilievo %s: %s", line, run.err);
    program_free(&run);
}

// --- help, version, options -----------------------------------------------------------------------------------------

Test(commands, help_and_version_go_to_standard_output)
{
    const char* const lines[] = {"--help", "inspect --help", "align a --help", "--help change"};
    for (size_t i = 0; i < 4; i++)
    {
        program_run run = program_call(lines[i], NULL);
        cr_assert_eq(run.status, 0);
        cr_assert_not_null(strstr(run.out, "exit status"));
        cr_assert_str_empty(run.err);
        program_free(&run);
    }
    program_run run = program_call("--version", NULL);
    cr_assert_eq(run.status, 0);
    cr_assert_str_eq(run.out, "rilievo " RLV_VERSION "\n");
    program_free(&run);
}

Test(commands, a_call_at_fault_is_refused_and_told_what_would_do)
{
    refuse("", "--help");
    refuse("inspect a.ply --jsn", "did you mean --json?");
    refuse("chnge a b", "did you mean change?");
    refuse("change", "change BEFORE AFTER");
    refuse("change a.ply", "no such folder");
    refuse("inspect a.ply --unit yard", "mm, cm, m or in");
}

/// The options that a text holds, each once, sorted, parted by spaces. A page writes its dashes as \-.
static void options_in(const char* text, char* found, size_t size)
{
    char name[64][64];
    size_t count = 0;
    for (const char* at = text; (at = strstr(at, "--")) != NULL;)
    {
        size_t length = 2;
        while (isalpha((unsigned char)at[length]) || (at[length] == '-' && isalpha((unsigned char)at[length + 1])))
            length++;
        char word[64];
        snprintf(word, sizeof word, "%.*s", (int)length, at);
        size_t place = 0;
        while (place < count && strcmp(name[place], word) < 0)
            place++;
        if (length > 2 && (place == count || strcmp(name[place], word) != 0))
        {
            memmove(name[place + 1], name[place], (count - place) * sizeof name[0]);
            strcpy(name[place], word);
            count++;
        }
        at += length;
    }
    found[0] = '\0';
    for (size_t i = 0; i < count; i++)
        strncat(strncat(found, name[i], size - strlen(found) - 1), " ", size - strlen(found) - 1);
}

Test(commands, each_option_of_help_stands_in_its_man_page_and_the_other_way_round)
{
    const char* const names[] = {"new",          "inspect", "align",  "change", "elements",
                                 "articulation", "rejoin",  "render", "report"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
    {
        char line[64], path[4096], helped[2048], paged[2048];
        snprintf(line, sizeof line, "%s --help", names[i]);
        snprintf(path, sizeof path, "%s/../docs/man/rilievo-%s.1", RLV_TESTS_DIR, names[i]);
        program_run run = program_call(line, NULL);
        char* page = program_read(path, NULL);
        cr_assert_not_null(page, "%s is missing", path);
        size_t kept = 0;
        for (size_t k = 0; page[k] != '\0'; k++)
            if (page[k] != '\\' || page[k + 1] != '-')
                page[kept++] = page[k];
        page[kept] = '\0';
        options_in(run.out, helped, sizeof helped);
        options_in(page, paged, sizeof paged);
        cr_assert_str_eq(helped, paged, "%s", names[i]);
        cr_assert_not_null(strstr(helped, "--json"));
        cr_assert_not_null(strstr(page, "rilievo " RLV_VERSION));
        free(page);
        program_free(&run);
    }
}

Test(commands, options_stand_anywhere)
{
    write_box("box.ply", (box_faults){0});
    program_run one = program_call("inspect box.ply --unit mm --json", NULL);
    program_run two = program_call("--json --unit=mm inspect box.ply", NULL);
    cr_assert_eq(one.status, 0, "%s", one.err);
    cr_assert_str_eq(one.out, two.out);
    program_free(&one);
    program_free(&two);
}

// --- units ----------------------------------------------------------------------------------------------------------

Test(commands, a_mesh_without_a_unit_is_refused)
{
    write_box("box.ply", (box_faults){0});
    refuse("inspect box.ply", "box.ply: ");
    refuse("inspect box.ply", "--unit");
    refuse("change box.ply box.ply --aligned", "--unit");
}

/// A tetrahedron with a corner at the origin and legs of 0.1 m, as glTF 2.0: indices, then positions, in one data URI.
static const char* const tetrahedron =
    "{\"asset\":{\"version\":\"2.0\"},\"scene\":0,\"scenes\":[{\"nodes\":[0]}],\"nodes\":[{\"mesh\":0}],"
    "\"meshes\":[{\"primitives\":[{\"attributes\":{\"POSITION\":1},\"indices\":0}]}],"
    "\"accessors\":[{\"bufferView\":0,\"componentType\":5123,\"count\":12,\"type\":\"SCALAR\"},"
    "{\"bufferView\":1,\"componentType\":5126,\"count\":4,\"type\":\"VEC3\",\"min\":[0,0,0],\"max\":[0.1,0.1,0.1]}],"
    "\"bufferViews\":[{\"buffer\":0,\"byteLength\":24},{\"buffer\":0,\"byteOffset\":24,\"byteLength\":48}],"
    "\"buffers\":[{\"byteLength\":72,\"uri\":\"data:application/octet-stream;base64,%s\"}]}";

/// RFC 4648 base64 of 72 bytes.
static void base64_of_72(const unsigned char* bytes, char* text)
{
    static const char letters[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    for (size_t i = 0; i < 72; i += 3)
    {
        unsigned group = (unsigned)bytes[i] << 16 | (unsigned)bytes[i + 1] << 8 | bytes[i + 2];
        for (int k = 0; k < 4; k++)
            *text++ = letters[group >> (18 - 6 * k) & 63];
    }
    *text = '\0';
}

Test(commands, gltf_is_in_metres_and_another_unit_is_refused)
{
    const uint16_t corner[12] = {0, 2, 1, 0, 1, 3, 0, 3, 2, 1, 2, 3};
    const float place[12] = {0, 0, 0, 0.1f, 0, 0, 0, 0.1f, 0, 0, 0, 0.1f};
    unsigned char bytes[72];
    char text[128], file[2048];
    memcpy(bytes, corner, 24);
    memcpy(bytes + 24, place, 48);
    base64_of_72(bytes, text);
    snprintf(file, sizeof file, tetrahedron, text);
    program_write("t.gltf", file);
    json_t* json = call(0, "inspect t.gltf --json");
    // Legs of 100 mm: a sixth of 100^3. The corners are floats: three parts in 2^24.
    cr_assert_float_eq(told_number(json, "volume_mm3"), 1e6 / 6.0, 1e6 / 6.0 * 3.0 / 16777216.0);
    json_decref(json);
    refuse("inspect t.gltf --unit mm", "metres");
    json_decref(call(0, "inspect t.gltf --unit m --json"));
}

Test(commands, one_file_given_twice_is_refused)
{
    write_stages(false);
    refuse("change before.ply before.ply --unit mm", "before.ply: it is the same, byte for byte, as before.ply; ");
    refuse("align before.ply before.ply --unit mm", "name the mesh of the later stage");
}

/// A closed stream lends its number to no file: the mesh is still read, what is told has nowhere to go, and that is
/// told.
Test(commands, a_closed_output_is_a_failure_and_no_file_gets_it)
{
    write_box("box.ply", (box_faults){0});
    const int status = system("\"" RLV_PROGRAM "\" inspect box.ply --unit mm --out kept >&- 2> told");
    size_t size = 0;
    char* told = program_read("told", &size);
    cr_assert_not_null(told);
    cr_expect_eq(WEXITSTATUS(status), 4, "%d", WEXITSTATUS(status));
    cr_expect_not_null(strstr(told, "standard output"), "%s", told);
    cr_expect_eq(system("\"" RLV_PROGRAM "\" inspect box.ply --unit mm <&- > told 2>&1"), 0);
    free(told);
}

/// The runtime of GCC's OpenMP lists on standard error what it goes by (OMP_DISPLAY_ENV): how often a waiting thread
/// looks again before it sleeps.
Test(commands, waiting_threads_leave_the_processor_unless_they_are_told_otherwise)
{
    const char* const told = "OMP_DISPLAY_ENV=verbose \"" RLV_PROGRAM "\" --version 2>&1 > version | grep SPINCOUNT | "
                             "tail -n 1 > count";
    for (int active = 0; active <= 1; active++)
    {
        cr_assert_eq(
            program_shell("export OMP_WAIT_POLICY=active; %s%s", active ? "" : "unset OMP_WAIT_POLICY; ", told), 0);
        char* count = program_read("count", NULL);
        char* version = program_read("version", NULL);
        cr_assert_not_null(count);
        cr_expect_eq(strstr(count, "'0'") != NULL, !active, "%s", count);
        cr_expect_not_null(strstr(version, RLV_VERSION), "%s", version);
        free(count);
        free(version);
    }
}

Test(commands, metres_beside_millimetres_are_refused_until_the_unit_is_said)
{
    write_stages(false);
    write_stage("metres.ply", true, false, 0.001, NULL);
    refuse("change before.ply metres.ply --unit mm", "--unit-after m,");
    refuse("align before.ply metres.ply --unit mm", "metres.ply: ");
    json_t* json = call(0, "change before.ply metres.ply --unit mm --unit-after m --aligned --json");
    json_t* same = call(0, "change before.ply after.ply --unit mm --aligned --json");
    double mm = told_number(json_object_get(same, "removed"), "volume_mm3");
    // Coordinates of 65 mm lose half a unit in the 24th bit to float, once more on the way through metres: their
    // volume, a part in 10^6.
    cr_assert_float_eq(told_number(json_object_get(json, "removed"), "volume_mm3"), mm, 1e-4 * mm);
    json_decref(json);
    json_decref(same);
}

Test(commands, inches_are_25_4_mm)
{
    write_box("box.ply", (box_faults){0});
    json_t* json = call(0, "inspect box.ply --unit in --json");
    // 20 x 30 x 40 inches (the inch is 25.4 mm exactly, since 1959); corners are kept as floats.
    double expected = 24000.0 * 25.4 * 25.4 * 25.4;
    cr_assert_float_eq(told_number(json, "volume_mm3"), expected, expected * 3.0 / 16777216.0);
    json_decref(json);
}

// --- inspect --------------------------------------------------------------------------------------------------------

Test(commands, inspect_tells_a_box)
{
    static const char* const keys[] = {"command",    "version",    "inputs",    "parameters", "warnings",
                                       "triangles",  "vertices",   "shells",    "closed",     "area_mm2",
                                       "volume_mm3", "open_edges", "bounds_mm", NULL};
    write_box("box.ply", (box_faults){0});
    json_t* json = call(0, "inspect box.ply --unit mm --json --out told/here");
    told_has_keys(json, keys);
    cr_assert_eq(told_number(json, "triangles"), 12);
    cr_assert_eq(told_number(json, "vertices"), 8);
    cr_assert_eq(told_number(json, "shells"), 1);
    cr_assert_eq(told_number(json, "open_edges"), 0);
    cr_assert(json_is_true(json_object_get(json, "closed")));
    cr_assert_float_eq(told_number(json, "area_mm2"), 5200.0, 1e-9 * 5200.0);
    cr_assert_float_eq(told_number(json, "volume_mm3"), 24000.0, 1e-9 * 24000.0);
    json_t* high = json_array_get(json_object_get(json, "bounds_mm"), 1);
    cr_assert_eq(json_number_value(json_array_get(high, 2)), 40.0);
    cr_assert_eq(json_array_size(json_object_get(json, "warnings")), 0);
    cr_assert_eq(
        strlen(json_string_value(json_object_get(json_array_get(json_object_get(json, "inputs"), 0), "sha256"))), 64);
    json_t* kept = json_load_file("told/here/inspect.json", 0, NULL);
    cr_assert(json_equal(json, kept));
    cr_assert_eq(folder_count("told/here"), 2);
    json_decref(kept);
    json_decref(json);
}

Test(commands, inspect_takes_several_meshes)
{
    write_box("box.ply", (box_faults){0});
    write_box("open.ply", (box_faults){.faces_left_out = 2});
    json_t* json = call(0, "inspect box.ply open.ply --unit mm --json");
    cr_assert_eq(json_array_size(json_object_get(json, "meshes")), 2);
    cr_assert_eq(json_array_size(json_object_get(json, "inputs")), 2);
    json_decref(json);
}

Test(commands, an_open_mesh_has_no_volume_and_a_warning)
{
    write_box("open.ply", (box_faults){.faces_left_out = 2});
    json_t* json = call(0, "inspect open.ply --unit mm --json");
    cr_assert(json_is_null(json_object_get(json, "volume_mm3")));
    cr_assert(json_is_false(json_object_get(json, "closed")));
    cr_assert_eq(told_number(json, "open_edges"), 4);
    cr_assert(told_warns(json, "open"));
    json_decref(json);
}

Test(commands, what_can_be_measured_all_the_same_is_measured_with_a_warning)
{
    const struct
    {
        box_faults faults;
        const char* warning;
    } cases[] = {
        {{.extra = "3 0 0 1\n", .extra_count = 1}, "without area"},
        {{.extra = "3 0 2 1\n", .extra_count = 1}, "repeat"},
        {{.faces_turned = 3}, "turned to face"},
        {{.faces_turned = 12}, "inside out"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
    {
        write_box("box.ply", cases[i].faults);
        json_t* json = call(0, "inspect box.ply --unit mm --json");
        cr_assert(told_warns(json, cases[i].warning), "no warning of what is %s", cases[i].warning);
        cr_assert_float_eq(told_number(json, "volume_mm3"), 24000.0, 1e-9 * 24000.0);
        json_decref(json);
    }
}

Test(commands, islands_and_crossings_are_warned_of)
{
    rlv_mesh mesh = {0};
    rlv_error error = {0};
    shape_add_box(&mesh, (rlv_vec3){0, 0, 0}, (rlv_vec3){100, 100, 100});
    shape_add_box(&mesh, (rlv_vec3){200, 0, 0}, (rlv_vec3){201, 1, 1});
    shape_add_box(&mesh, (rlv_vec3){50, 50, 50}, (rlv_vec3){150, 150, 150});
    cr_assert_eq(rlv_mesh_file_write(&mesh, "parts.ply", &error), RLV_DONE);
    rlv_mesh_free(&mesh);
    json_t* json = call(0, "inspect parts.ply --unit mm --json");
    cr_assert(told_warns(json, "island"));
    cr_assert(told_warns(json, "crosses itself"));
    json_decref(json);
}

// --- what is refused ------------------------------------------------------------------------------------------------

/// Refused by inspect, and by change whichever of the two it is, with nothing left in --out.
static void refuse_mesh(const char* path, const char* part)
{
    char line[512];
    snprintf(line, sizeof line, "inspect %s --unit mm --json --out out", path);
    refuse(line, path);
    refuse(line, part);
    json_decref(call(2, line));
    snprintf(line, sizeof line, "change box.ply %s --unit mm --out out", path);
    refuse(line, path);
    cr_assert_eq(folder_count("out"), -1, "%s: --out was left behind", path);
}

Test(commands, what_cannot_be_trusted_is_refused_by_name_and_leaves_nothing_behind)
{
    const struct
    {
        box_faults faults;
        const char* name;
    } cases[] = {
        {{.coordinate = "nan"}, "nan.ply"},
        {{.coordinate = "inf"}, "infinite.ply"},
        {{.extra = "3 0 1 8\n", .extra_count = 1}, "beyond.ply"},
        {{.extra = "3 0 1 -1\n", .extra_count = 1}, "negative.ply"},
        {{.vertices_said = 2000000000}, "lying-vertices.ply"},
        {{.faces_said = 2000000000}, "lying-faces.ply"},
        {{.faces_left_out = 12}, "points.ply"},
    };
    write_box("box.ply", (box_faults){0});
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
    {
        write_box(cases[i].name, cases[i].faults);
        refuse_mesh(cases[i].name, "; ");
    }
}

Test(commands, what_is_no_mesh_is_refused_by_name_and_leaves_nothing_behind)
{
    char* bytes = NULL;
    size_t size = 0;
    write_box("box.ply", (box_faults){0});
    write_stage("whole.ply", false, false, 1.0, NULL);
    bytes = program_read("whole.ply", &size);
    program_write_bytes("cut-short.ply", bytes, size - 7);
    free(bytes);
    program_write("empty.ply", "");
    program_write("words.ply", "this is a note, not a mesh\n");
    program_write("words.stl", "this is a note, not a mesh\n");
    program_write("words.obj", "this is a note, not a mesh\n");
    program_write("words.xyz", "this is a note, not a mesh\n");
    cr_assert_eq(mkdir("folder.ply", 0700), 0);
    cr_assert_eq(mkfifo("pipe.ply", 0600), 0);
    const char* const names[] = {"cut-short.ply", "empty.ply",   "words.ply",  "words.stl", "words.obj",
                                 "words.xyz",     "missing.ply", "folder.ply", "pipe.ply"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
        refuse_mesh(names[i], "; ");
}

Test(commands, a_file_without_permission_is_refused)
{
    if (geteuid() == 0)
        cr_skip_test("root may read everything");
    write_box("box.ply", (box_faults){0});
    write_box("locked.ply", (box_faults){0});
    chmod("locked.ply", 0);
    refuse_mesh("locked.ply", "; ");
}

// --- align ----------------------------------------------------------------------------------------------------------

Test(commands, align_finds_the_motion_and_writes_the_moved_mesh)
{
    static const char* const keys[] = {"transform",       "rms_mm",    "stable_fraction", "position_sd_mm",
                                       "rotation_sd_deg", "ambiguous", "warnings",        NULL};
    rlv_pose truth;
    write_stage("before.ply", false, false, 1.0, NULL);
    write_stage("after.ply", true, true, 1.0, &truth);
    json_t* json = call(0, "align before.ply after.ply --unit mm --json --out out");
    told_has_keys(json, keys);
    double expected[16];
    rlv_pose_matrix(&truth, expected);
    json_t* transform = json_object_get(json, "transform");
    cr_assert_eq(json_array_size(transform), 16);
    // Over the 130 mm of the rock: four sd of place and attitude. The translation is at the frame's origin, at most 400
    // mm away.
    double rotation_sd = told_number(json, "rotation_sd_deg") * acos(-1.0) / 180.0;
    double place_sd = told_number(json, "position_sd_mm");
    for (size_t i = 0; i < 16; i++)
    {
        bool translation = i % 4 == 3 && i < 12;
        double allowed = i >= 12 ? 0.0 : translation ? 4.0 * (place_sd + 400.0 * rotation_sd) : 4.0 * rotation_sd;
        cr_assert_float_eq(json_number_value(json_array_get(transform, i)), expected[i], allowed + 1e-12, "number %zu",
                           i);
    }
    cr_assert_eq(folder_count("out"), 2);
    json_decref(json);

    // The moved mesh is where the motion says: aligned with BEFORE already.
    json = call(0, "change before.ply out/aligned.ply --unit mm --aligned --json");
    cr_assert_gt(json_array_size(json_object_get(json, "regions")), 0);
    json_decref(json);
}

Test(commands, a_body_of_revolution_is_ambiguous_and_told_with_nulls)
{
    write_sphere("before.ply", 40);
    write_sphere("after.ply", 41);
    json_t* json = call(3, "align before.ply after.ply --unit mm --json --out out");
    cr_assert(json_is_null(json_object_get(json, "transform")));
    cr_assert(json_is_null(json_object_get(json, "position_sd_mm")));
    cr_assert(json_is_true(json_object_get(json, "ambiguous")));
    cr_assert_eq(folder_count("out"), -1, "--out was left behind");
    json_decref(json);
    json = call(3, "change before.ply after.ply --unit mm --json --out out");
    cr_assert(json_is_null(json_object_get(json_object_get(json, "removed"), "volume_mm3")));
    cr_assert(json_is_null(json_object_get(json, "regions")));
    cr_assert_eq(json_array_size(json_object_get(json, "inputs")), 2);
    cr_assert_eq(folder_count("out"), -1, "--out was left behind");
    json_decref(json);
}

// --- change ---------------------------------------------------------------------------------------------------------

/// What the two true rocks differ by: their volumes, by quadrature.
static double true_removal_mm3(void)
{
    rock before = rock_of_stage(false), after = rock_of_stage(true);
    return rock_volume(&before) - rock_volume(&after);
}

Test(commands, change_tells_the_removal_with_all_that_belongs_to_it)
{
    static const char* const keys[] = {
        "removed", "added",        "untold",      "detection_limit", "regions",    "pose",           "warnings",
        "version", "inputs",       "parameters",  "noise_sd_mm",     "warp_sd_mm", "divergence_mm3", "axis_spread_mm3",
        "open",    "left_out_mm2", "overlap_mm2", "chord_mm",        NULL};
    static const char* const volume_keys[] = {"volume_mm3", "low_mm3", "high_mm3", NULL};
    static const char* const region_keys[] = {"class",
                                              "volume_mm3",
                                              "volume_low_mm3",
                                              "volume_high_mm3",
                                              "area_mm2",
                                              "area_low_mm2",
                                              "area_high_mm2",
                                              "area_from_mm",
                                              "max_depth_mm",
                                              "max_depth_low_mm",
                                              "max_depth_high_mm",
                                              "mean_depth_mm",
                                              "mean_depth_low_mm",
                                              "mean_depth_high_mm",
                                              "centroid_mm",
                                              NULL};
    static const char* const limit_keys[] = {"area_mm2", "depth_mm", NULL};
    static const char* const pose_keys[] = {
        "transform", "rms_mm", "stable_fraction", "position_sd_mm", "rotation_sd_deg", "ambiguous", NULL};
    write_stages(true);
    json_t* json = call(0, "change before.ply after.ply --unit mm --json --out out");
    json_t* removed = json_object_get(json, "removed");
    json_t* region = json_array_get(json_object_get(json, "regions"), 0);
    told_has_keys(json, keys);
    told_has_keys(removed, volume_keys);
    told_has_keys(json_object_get(json, "added"), volume_keys);
    told_has_keys(json_object_get(json, "untold"), volume_keys);
    told_has_keys(region, region_keys);
    told_has_keys(json_array_get(json_object_get(json, "detection_limit"), 0), limit_keys);
    told_has_keys(json_object_get(json, "pose"), pose_keys);
    cr_assert_str_eq(json_string_value(json_object_get(region, "class")), "removed");

    // A 95 % interval misses one seed in twenty: twice its width is asked, which this seed must meet.
    double truth = true_removal_mm3();
    double half = (told_number(removed, "high_mm3") - told_number(removed, "low_mm3")) / 2.0;
    cr_assert_float_eq(told_number(removed, "volume_mm3"), truth, 2.0 * half, "%g beside %g, half width %g",
                       told_number(removed, "volume_mm3"), truth, half);
    cr_assert_lt(half, 0.1 * truth, "an interval this wide tells nothing");
    // A skin taken along the radius is at most that deep along the normal; four sd of the noise of two scans above it.
    cr_assert_leq(told_number(region, "max_depth_mm"), removed_depth_mm + 4.0 * 0.05 * sqrt(2.0));

    // The three parts and the divergence theorem: the columns' own error is asked to be below a thousandth of the
    // removal.
    double sum = told_number(removed, "volume_mm3") - told_number(json_object_get(json, "added"), "volume_mm3") +
                 told_number(json_object_get(json, "untold"), "volume_mm3");
    cr_assert_float_eq(sum, told_number(json, "divergence_mm3"), 1e-3 * truth);
    json_t* kept = json_load_file("out/change.json", 0, NULL);
    cr_assert(json_equal(json, kept));
    json_decref(kept);
    json_decref(json);
}

Test(commands, change_writes_its_table_and_pictures)
{
    static const unsigned char png[8] = {0x89, 'P', 'N', 'G', '\r', '\n', 0x1A, '\n'}; // ISO/IEC 15948, 5.2
    write_stages(false);
    json_t* json = call(0, "change before.ply after.ply --unit mm --aligned --json --out out");
    const char* const pictures[] = {"out/before.png", "out/after.png", "out/depth.png"};
    for (size_t i = 0; i < 3; i++)
    {
        char* bytes = program_read(pictures[i], NULL);
        cr_assert_not_null(bytes, "%s is missing", pictures[i]);
        cr_assert_eq(memcmp(bytes, png, sizeof png), 0);
        free(bytes);
    }
    char* table = program_read("out/regions.csv", NULL);
    size_t rows = 0;
    for (const char* at = table; (at = strchr(at, '\n')) != NULL; at++)
        rows++;
    cr_assert_eq(rows, 1 + json_array_size(json_object_get(json, "regions")));
    cr_assert_null(json_object_get(json, "pose"), "it did not align");
    free(table);
    json_decref(json);
}

Test(commands, the_text_tells_the_interval_the_limit_and_what_meshes_cannot_tell)
{
    write_stages(false);
    program_run run = program_call("change before.ply after.ply --unit mm --aligned", NULL);
    const char* const parts[] = {"removed", "95 % interval", "detection limit", "a mesh cannot tell",
                                 "check:",  "next:"};
    cr_assert_eq(run.status, 0, "%s", run.err);
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++)
        cr_assert_not_null(strstr(run.out, parts[i]), "%s is missing:\n%s", parts[i], run.out);
    program_free(&run);
}

Test(commands, two_meshes_without_a_change_are_told_as_nothing_beyond_noise)
{
    write_stage("before.ply", false, false, 1.0, NULL);
    write_scan("again.ply", false, 6, false, 1.0, NULL);
    program_run run = program_call("change before.ply again.ply --unit mm --aligned", NULL);
    cr_assert_eq(run.status, 0, "%s", run.err);
    cr_assert_not_null(strstr(run.out, "removed     nothing that can be told apart from noise"), "%s", run.out);
    program_free(&run);
}

Test(commands, the_thread_count_does_not_change_a_byte)
{
    write_stages(true);
    program_run one = program_call("change before.ply after.ply --unit mm --json --threads 1 --out one", NULL);
    program_run two = program_call("change before.ply after.ply --unit mm --json --threads 2 --out two", NULL);
    cr_assert_eq(one.status, 0, "%s", one.err);
    cr_assert_str_eq(one.out, two.out);
    cr_assert_eq(folder_count("one"), folder_count("two"));
    const char* const names[] = {"change.json", "regions.csv", "before.png", "after.png", "depth.png"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
    {
        char path[2][64];
        size_t size[2];
        snprintf(path[0], sizeof path[0], "one/%s", names[i]);
        snprintf(path[1], sizeof path[1], "two/%s", names[i]);
        char* bytes[2] = {program_read(path[0], &size[0]), program_read(path[1], &size[1])};
        cr_assert(bytes[0] != NULL && bytes[1] != NULL, "%s is missing", names[i]);
        cr_assert(size[0] == size[1] && memcmp(bytes[0], bytes[1], size[0]) == 0, "%s differs", names[i]);
        free(bytes[0]);
        free(bytes[1]);
    }
    program_free(&one);
    program_free(&two);
}

// --- the system failing ---------------------------------------------------------------------------------------------

Test(commands, a_full_disk_fails_with_4_and_leaves_the_folder_as_it_was)
{
    write_stages(false);
    cr_assert_eq(mkdir("out", 0700), 0);
    program_write("out/change.json", "old");
    // No file may pass 1 kB: as when the disk is full, each write beyond fails.
    const program_limits full = {.file_bytes = 1024};
    program_run run = program_call("change before.ply after.ply --unit mm --aligned --out out", &full);
    cr_assert_eq(run.status, 4, "status %d: %s", run.status, run.err);
    cr_assert_eq(run.out_size, 0);
    cr_assert_not_null(strstr(run.err, "out/"), "%s", run.err);
    program_free(&run);
    cr_assert_eq(folder_count("out"), 1);
    char* kept = program_read("out/change.json", NULL);
    cr_assert_str_eq(kept, "old");
    free(kept);
    run = program_call("align before.ply after.ply --unit mm --out new/folder", &full);
    cr_assert_eq(run.status, 4, "status %d: %s", run.status, run.err);
    cr_assert_eq(folder_count("new"), -1, "the folder made for it was left behind");
    program_free(&run);
}

Test(commands, standard_output_that_cannot_be_written_fails_with_4)
{
    write_box("box.ply", (box_faults){0});
    const program_limits full = {.out = "/dev/full"};
    const char* const lines[] = {"inspect box.ply --unit mm", "inspect box.ply --unit mm --json", "--help",
                                 "--version"};
    for (size_t i = 0; i < 4; i++)
    {
        program_run run = program_call(lines[i], &full);
        cr_assert_eq(run.status, 4, "rilievo %s: status %d", lines[i], run.status);
        program_free(&run);
    }
    program_run run = program_call("inspect box.ply --unit mm --out out", &full);
    cr_assert_eq(folder_count("out"), -1, "--out was left behind");
    program_free(&run);
}

Test(commands, a_folder_that_cannot_be_made_is_said_before_any_work)
{
    write_box("box.ply", (box_faults){0});
    program_write("file", "old");
    refuse("inspect missing.ply --unit mm --out file", "file");
    refuse("inspect box.ply --unit mm --out file/deeper", "file");
    char* kept = program_read("file", NULL);
    cr_assert_str_eq(kept, "old");
    free(kept);
}
