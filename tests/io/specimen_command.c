/// Tests of `align` and `change` of a specimen: run as a user would. A run takes seconds: what several tests look at is
/// made once, by the process that starts the tests.
///
/// `fish` has two stages. `three` has one more before them, at which nothing had come off yet, and a piece that was
/// glued on when `field` was scanned.

#include "support/program.h"
#include "support/shapes.h"
#include "support/told.h"
#include "support/two_stages.h"

#include "mesh_file.h"

#include <criterion/criterion.h>
#include <criterion/hooks.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum
{
    SEED = 3
};

static char kept[4096]; ///< the specimens, and what was made of them

/// Both specimens into the folder at hand.
static void write_specimens(void)
{
    two_stages_write("fish", SEED, NULL, NULL);
    two_stages_write("three", SEED, "  - id: glued\n    joined: field\n", NULL);
    program_shell("cp three/meshes/field.ply three/meshes/start.ply");
    program_change("three/specimen.yaml", "stages:\n",
                   "stages:\n  - id: start\n    mesh: meshes/start.ply\n    mesh_unit: mm\n");
    program_change("three/specimen.yaml", "masks:\n",
                   "masks:\n  - stage: field\n    is: piece\n    piece: glued\n    object: bone\n");
}

/// Every run that several tests look at: its name, what it is, and its --out folder's name.
static const char* const runs[][2] = {
    {"change-two", "change three field second --json --threads 2 --out change-two.out"},
    {"change-one", "change three field second --json --threads 1 --out change-one.out"},
    {"change-all", "change fish --threads 2 --out change-all.out"},
    {"align-two", "align fish --threads 2 --out align-two.out"},
    {"align-one", "align fish --json --threads 1 --out align-one.out"},
};

ReportHook(PRE_ALL)(struct criterion_test_set* tests)
{
    (void)tests;
    folder_name_shared(kept, "specimen-command", getpid());
    if (program_shell("rm -rf %s && mkdir -p %s", kept, kept) != 0 || chdir(kept) != 0)
        return;
    write_specimens();
    for (size_t i = 0; i < sizeof runs / sizeof *runs; i++)
        program_shell("%s %s > %s.txt 2> %s.err; echo $? > %s.status", RLV_PROGRAM, runs[i][1], runs[i][0], runs[i][0],
                      runs[i][0]);
}

ReportHook(POST_ALL)(struct criterion_global_stats* stats)
{
    if (stats->tests_failed == 0)
        program_shell("rm -rf %s", kept);
}

static void enter(void)
{
    folder_name_shared(kept, "specimen-command", getppid());
    program_enter();
    cr_assert_eq(program_shell("cp -r %s/fish %s/three .", kept, kept), 0);
}

TestSuite(specimen_command, .init = enter, .fini = program_leave, .timeout = 1200);

static char* text_of(const char* path)
{
    char* text = program_read(path, NULL);
    cr_assert_not_null(text, "%s is missing", path);
    return text;
}

/// What a run that was made at the start left in one of its files; it ended well and said nothing on standard error.
static char* made(const char* run, const char* file)
{
    char path[4200];
    snprintf(path, sizeof path, "%s/%s.err", kept, run);
    char* errors = text_of(path);
    cr_assert_str_empty(errors, "%s: %s", run, errors);
    free(errors);
    snprintf(path, sizeof path, "%s/%s.status", kept, run);
    char* status = text_of(path);
    cr_assert_str_eq(status, "0\n", "%s ended with %s", run, status);
    free(status);
    snprintf(path, sizeof path, "%s/%s%s", kept, run, file);
    return text_of(path);
}

static json_t* made_json(const char* run, const char* file)
{
    char* text = made(run, file);
    json_t* json = told_in(text);
    free(text);
    return json;
}

// --- change ----------------------------------------------------------------------------------------------------------

static const char* const step_keys[] = {"from",         "to",          "measured", "removed",         "added",
                                        "untold",       "regions",     "classes",  "detection_limit", "hours",
                                        "mass_balance", "noise_sd_mm", "pose",     "spoil_balance",   NULL};

Test(specimen_command, a_step_has_at_the_top_what_two_meshes_have_with_classes_hours_and_balances)
{
    static const char* const volume_keys[] = {"volume_mm3", "low_mm3", "high_mm3", NULL};
    static const char* const region_keys[] = {"class",    "volume_mm3",   "volume_low_mm3", "volume_high_mm3",
                                              "area_mm2", "max_depth_mm", "centroid_mm",    NULL};
    static const char* const limit_keys[] = {"area_mm2", "depth_mm", NULL};
    static const char* const pose_keys[] = {
        "transform", "rms_mm", "stable_fraction", "position_sd_mm", "rotation_sd_deg", "ambiguous", NULL};
    static const char* const all_keys[] = {"warnings", "version", "inputs", "parameters", NULL};
    json_t* json = made_json("change-two", ".txt");
    told_has_keys(json, step_keys);
    told_has_keys(json, all_keys);
    told_has_keys(json_object_get(json, "removed"), volume_keys);
    told_has_keys(json_object_get(json, "added"), volume_keys);
    told_has_keys(json_object_get(json, "untold"), volume_keys);
    told_has_keys(json_array_get(json_object_get(json, "regions"), 0), region_keys);
    told_has_keys(json_array_get(json_object_get(json, "detection_limit"), 0), limit_keys);
    told_has_keys(json_object_get(json, "pose"), pose_keys);
    cr_assert(strcmp(told_text(json, "from"), "field") == 0 && strcmp(told_text(json, "to"), "second") == 0);
    cr_assert_eq(told_number(json, "hours"), 7.75, "6.25, 1 and a half, as recorded");
    cr_assert_null(json_object_get(json, "steps"));
    json_decref(json);
}

Test(specimen_command, the_classes_hold_what_truly_went_and_came)
{
    static const char* const key[RLV_CHANGE_CLASSES] = {"matrix_removed", "bone_lost", "piece_detached",
                                                        "material_added", "piece_joined"};
    double truth_mm3[RLV_CHANGE_CLASSES];
    json_t *json = made_json("change-two", ".txt"), *classes = json_object_get(json, "classes");
    two_stages_truth(SEED, truth_mm3);
    for (size_t k = 0; k < RLV_CHANGE_JOINED; k++)
    {
        json_t* found = json_object_get(classes, key[k]);
        cr_assert(json_is_true(json_object_get(found, "known")), "%s", key[k]);
        // A 95 % interval misses one seed in twenty: twice its width is asked, which this seed must meet.
        const double half = (told_number(found, "volume_high_mm3") - told_number(found, "volume_low_mm3")) / 2.0;
        cr_assert_float_eq(told_number(found, "volume_mm3"), truth_mm3[k], 2.0 * half,
                           "%s: %g beside %g, half width %g", key[k], told_number(found, "volume_mm3"), truth_mm3[k],
                           half);
        cr_assert_lt(half, 0.25 * truth_mm3[k], "%s: an interval this wide tells nothing", key[k]);
    }
    cr_assert_eq(truth_mm3[RLV_CHANGE_JOINED], 0.0);
    cr_assert_eq(told_number(json_object_get(classes, key[RLV_CHANGE_JOINED]), "regions"), 0.0);
    json_decref(json);
}

/// Without stages, and with two that are the same: what stands at the top of one, as a step of the other. That `three`
/// has a piece glued on at `field`, and so a mask, is nothing to the step.
Test(specimen_command, of_two_stages_of_a_longer_record_no_squares_are_told_and_the_text_says_so)
{
    char line[200];
    snprintf(line, sizeof line, "change three field second");
    program_run run = program_call(line, NULL);
    cr_assert_eq(run.status, 0, "%s", run.err);
    cr_expect_not_null(strstr(run.out, "Places are told by no squares here"), "%s", run.out);
    cr_expect_null(strstr(run.out, "square "), "%s", run.out);
    program_free(&run);
    char* whole = made("change-all", ".txt");
    cr_expect_null(strstr(whole, "no squares"), "%s", whole);
    free(whole);
}

/// Of two stages of a longer record regions are told by no square.
static void drop_squares(json_t* step)
{
    size_t i;
    json_t* region;
    json_array_foreach(json_object_get(step, "regions"), i, region)
    {
        json_object_del(region, "square");
        json_object_del(region, "deepest_square");
    }
}

Test(specimen_command, without_stages_the_same_object_stands_under_steps)
{
    json_t *one = made_json("change-two", ".txt"), *all = made_json("change-all", ".out/change.json");
    json_t* steps = json_object_get(all, "steps");
    cr_assert_eq(json_array_size(steps), 1);
    json_t* step = json_array_get(steps, 0);
    told_has_keys(step, step_keys);
    const char* key;
    json_t* value;
    drop_squares(step);
    drop_squares(one);
    json_object_foreach(step, key, value) cr_assert(json_equal(value, json_object_get(one, key)), "%s is another", key);
    cr_assert_null(json_object_get(all, "removed"));
    cr_assert(json_is_object(json_object_get(all, "in_all")) && json_is_array(json_object_get(all, "rates")));
    json_decref(one);
    json_decref(all);
}

Test(specimen_command, the_text_tells_each_class_with_its_interval_and_what_meshes_cannot_tell)
{
    char* told = made("change-all", ".txt");
    static const char* const parts[] = {"field → second",     "Bone lost",       "Matrix removed",
                                        "), in 1 region",     "Pieces detached", "Material added",
                                        "a mesh cannot tell", "scribe",          "next: "};
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++)
        cr_assert_not_null(strstr(told, parts[i]), "%s is missing:\n%s", parts[i], told);
    free(told);
}

Test(specimen_command, a_folder_of_change_holds_its_record_tables_with_meanings_and_pictures)
{
    json_t *told = made_json("change-two", ".txt"), *written = made_json("change-two", ".out/change.json");
    cr_assert(json_equal(told, written));
    char* meanings = made("change-two", ".out/tables/meanings.csv");
    cr_assert_eq(strncmp(meanings, "file,column,unit,kind,meaning,rows,filled\n", 42), 0);
    cr_assert_not_null(strstr(meanings, "regions.csv,volume_mm3,mm3"), "%s", meanings);
    char* picture = made("change-two", ".out/pictures/second-depth.png");
    cr_assert_eq(strncmp(picture, "\x89PNG\r\n\x1A\n", 8), 0); // ISO/IEC 15948, 5.2
    free(picture);
    free(meanings);
    json_decref(told);
    json_decref(written);
}

// --- align -----------------------------------------------------------------------------------------------------------

Test(specimen_command, align_tells_where_each_stage_lies_and_what_the_alignments_say)
{
    char* told = made("align-two", ".txt");
    cr_assert_not_null(strstr(told, "2 stages in the frame of field"), "%s", told);
    cr_assert_not_null(strstr(told, "next: "));
    free(told);
    json_t *json = made_json("align-one", ".txt"), *tables = json_object_get(json, "tables");
    json_t *frame = json_object_get(json, "frame"), *poses = json_object_get(tables, "poses");
    cr_assert_str_eq(told_text(frame, "stage"), "field");
    cr_assert(json_is_true(json_object_get(frame, "joined")));
    cr_assert_eq(json_array_size(poses), 2);
    cr_assert_eq(told_number(json_array_get(poses, 0), "position_sd_mm"), 0.0, "the frame's own stage");
    cr_assert_gt(told_number(json_array_get(poses, 1), "position_sd_mm"), 0.0);
    cr_assert_eq(json_array_size(json_object_get(tables, "alignments")), 1);
    cr_assert_eq(json_array_size(json_object_get(json, "inputs")), 4, "the record, its points, and two meshes");
    json_decref(json);
}

Test(specimen_command, a_step_is_aligned_alike_whether_it_is_measured_or_not)
{
    json_t *aligned = made_json("align-one", ".txt"), *measured = made_json("change-all", ".out/change.json");
    json_t *edge = json_array_get(json_object_get(json_object_get(aligned, "tables"), "alignments"), 0),
           *pose = json_object_get(json_array_get(json_object_get(measured, "steps"), 0), "pose");
    cr_expect_eq(told_number(edge, "rms_mm"), told_number(pose, "rms_mm"), "%.17g and %.17g",
                 told_number(edge, "rms_mm"), told_number(pose, "rms_mm"));
    cr_expect_eq(told_number(edge, "stable_share_percent"), 100.0 * told_number(pose, "stable_fraction"));
    json_decref(measured);
    json_decref(aligned);
}

Test(specimen_command, the_meshes_that_align_writes_lie_in_one_frame)
{
    char line[9000];
    snprintf(line, sizeof line,
             "change %s/align-two.out/field.ply %s/align-two.out/second.ply --aligned --unit mm --json", kept, kept);
    program_run run = program_call(line, NULL);
    cr_assert_eq(run.status, 0, "%s", run.err);
    json_t *json = told_in(run.out), *one = made_json("change-two", ".txt");
    json_t *removed = json_object_get(json, "removed"), *same = json_object_get(one, "removed");
    // Both are of the same two meshes in the same pose, but for the graph of poses, which widens it, and floats of
    // moved vertices; what the pose is unsure of is in the interval of `same` alone.
    const double half = (told_number(same, "high_mm3") - told_number(same, "low_mm3")) / 2.0;
    cr_assert_float_eq(told_number(removed, "volume_mm3"), told_number(same, "volume_mm3"), half);
    json_decref(one);
    json_decref(json);
    program_free(&run);
}

// --- threads ---------------------------------------------------------------------------------------------------------

Test(specimen_command, the_thread_count_changes_no_byte_of_an_answer_or_a_file)
{
    cr_assert_eq(program_shell("cd %s && cmp change-one.txt change-two.txt", kept), 0);
    cr_assert_eq(
        program_shell("cd %s && diff -r change-one.out change-two.out && diff -r align-one.out align-two.out", kept),
        0);
    // Not because there is nothing in them.
    char folder[4200];
    snprintf(folder, sizeof folder, "%s/change-one.out/pictures", kept);
    cr_assert_geq(folder_count(folder), 4, "maps of depth and comparisons, in two formats each");
    snprintf(folder, sizeof folder, "%s/align-one.out", kept);
    cr_assert_geq(folder_count(folder), 4, "two meshes, the record, and tables");
}

// --- what is refused -------------------------------------------------------------------------------------------------

static void refuse(const char* line, const char* what, const char* mend)
{
    program_run run = program_call(line, NULL);
    cr_assert_eq(run.status, 2, "rilievo %s: status %d\n%s", line, run.status, run.err);
    cr_assert_eq(run.out_size, 0, "rilievo %s: standard output is not empty", line);
    cr_assert(strncmp(run.err, "rilievo: ", 9) == 0 && strchr(run.err, '\n') == run.err + strlen(run.err) - 1,
              "rilievo %s: not one line: %s", line, run.err);
    cr_assert_not_null(strstr(run.err, what), "rilievo %s: %s", line, run.err);
    cr_assert_not_null(strstr(run.err, mend), "rilievo %s: %s", line, run.err);
    cr_assert_eq(folder_count("out"), -1, "rilievo %s: a folder was left behind", line);
    program_free(&run);
}

Test(specimen_command, what_is_said_of_meshes_is_refused_with_a_specimen)
{
    refuse("change fish --unit mm --json --out out", "--unit is for meshes", "specimen.yaml");
    refuse("align fish --unit mm --out out", "--unit is for meshes", "specimen.yaml");
    refuse("change fish field second --scale-sd 0.001 --out out", "--scale-sd is for meshes", "specimen.yaml");
    refuse("change fish --aligned --out out", "--aligned is for meshes", "specimen.yaml");
}

Test(specimen_command, stages_that_make_no_step_are_refused)
{
    refuse("change three field scond --json --out out", "no stage 'scond'", "say one of start, field, second");
    refuse("change three fied second --out out", "no stage 'fied'", "say one of start, field, second");
    refuse("change three second field --json --out out", "'second' does not come before 'field'", "the earlier stage");
    refuse("change three field field --out out", "'field' does not come before 'field'", "another after it");
    refuse("change three field --out out", "'field' alone is no step", "two stages after a specimen's folder");
    refuse("align three field --out out", "it is a folder", "a specimen's folder alone");
    refuse("align three field second --out out", "align takes at most 2 operands, and 3 are given", "SPECIMEN");
}

Test(specimen_command, a_specimen_with_a_single_stage_is_refused)
{
    cr_assert_eq(mkdir("single", 0777), 0);
    cr_assert_eq(program_shell("cp fish/meshes/field.ply single/field.ply"), 0);
    program_write("single/specimen.yaml",
                  "specimen: LQ-0417\nstages:\n  - {id: field, mesh: field.ply, mesh_unit: mm}\n");
    refuse("change single --json --out out", "a single stage", "record the next stage");
    refuse("align single --out out", "a single stage", "record the next stage");
    refuse("change single field field --out out", "a single stage", "record the next stage");
}

Test(specimen_command, what_is_no_specimen_is_refused)
{
    refuse("change nowhere --out out", "nowhere", "; ");
    refuse("align fish/meshes/field.ply --unit mm --out out", "alone", "two meshes, or the folder of a specimen");
    program_write("fish/meshes/cleared.ply", "ply\n");
    refuse("change fish --json --out out", "cleared.ply", "; ");
    refuse("align fish --json --out out", "cleared.ply", "; ");
}

// --- what fails ------------------------------------------------------------------------------------------------------

Test(specimen_command, a_full_disk_fails_with_4_and_leaves_no_folder_behind)
{
    // No file may pass 1 kB: as when the disk is full, each write beyond fails.
    const program_limits full = {.file_bytes = 1024};
    program_run run = program_call("align fish --out out", &full);
    cr_assert_eq(run.status, 4, "status %d: %s", run.status, run.err);
    cr_assert_eq(run.out_size, 0);
    cr_assert_eq(folder_count("out"), -1, "a folder was left behind");
    program_free(&run);
}

/// Two spheres: no alignment of one to the other is better than another.
static void write_balls(void)
{
    mkdir("ball", 0777);
    for (size_t k = 0; k < 2; k++)
    {
        rlv_mesh mesh = {0};
        shape_add_sphere(&mesh, (rlv_vec3){0, 0, 0}, 50.0, 20 + k);
        cr_assert_eq(rlv_mesh_file_write(&mesh, k == 0 ? "ball/a.ply" : "ball/b.ply", NULL), RLV_DONE);
        rlv_mesh_free(&mesh);
    }
    program_write("ball/specimen.yaml", "specimen: LQ-0417\nstages:\n"
                                        "  - {id: field, mesh: a.ply, mesh_unit: mm}\n"
                                        "  - {id: second, mesh: b.ply, mesh_unit: mm}\n");
}

Test(specimen_command, what_cannot_be_measured_is_told_with_nulls_and_leaves_no_folder_behind)
{
    write_balls();
    program_run run = program_call("change ball field second --json --out out", NULL);
    cr_assert_eq(run.status, 3, "status %d: %s", run.status, run.err);
    json_t* json = told_in(run.out);
    told_has_keys(json, step_keys);
    cr_assert(json_is_false(json_object_get(json, "measured")));
    cr_assert(json_is_null(json_object_get(json_object_get(json, "removed"), "volume_mm3")));
    cr_assert(json_is_null(json_object_get(json, "regions")) && json_is_null(json_object_get(json, "mass_balance")));
    cr_assert(json_is_null(json_object_get(json_object_get(json, "pose"), "transform")));
    cr_assert_eq(folder_count("out"), -1);
    json_decref(json);
    program_free(&run);
}

Test(specimen_command, stages_that_cannot_be_aligned_are_told_to_be_apart_and_why)
{
    write_balls();
    program_run run = program_call("align ball --json --out out", NULL);
    cr_assert_eq(run.status, 3, "status %d: %s", run.status, run.err);
    json_t *json = told_in(run.out), *frame = json_object_get(json, "frame"), *tables = json_object_get(json, "tables");
    cr_assert(json_is_false(json_object_get(frame, "joined")));
    cr_assert_not_null(strstr(told_text(frame, "why_not"), "ambiguous"));
    cr_assert_eq(json_array_size(json_object_get(tables, "stages")), 2, "what the meshes are is known");
    cr_assert_eq(json_array_size(json_object_get(tables, "poses")), 0);
    cr_assert_eq(folder_count("out"), -1);
    json_decref(json);
    program_free(&run);
}
