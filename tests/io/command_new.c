/// Tests of `rilievo new`, run as a user would.

#include "specimen.h"
#include "support/program.h"

#include <criterion/criterion.h>
#include <fcntl.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

TestSuite(command_new, .init = program_enter, .fini = program_leave, .timeout = 60);

static void refuse(const char* line, const char* what)
{
    program_run run = program_call(line, NULL);
    cr_assert_eq(run.status, 2, "%s: %s", line, run.err);
    cr_assert_str_empty(run.out);
    cr_assert_not_null(strstr(run.err, what), "%s", run.err);
    program_free(&run);
}

static void make(const char* line)
{
    program_run run = program_call(line, NULL);
    cr_assert_eq(run.status, 0, "%s", run.err);
    cr_assert_str_empty(run.err);
    cr_assert_not_null(strstr(run.out, "next: copy the first mesh"));
    program_free(&run);
}

static void expect_id(const char* folder, const char* id)
{
    char mesh[256];
    rlv_specimen specimen = {0};
    rlv_error error = {0};
    snprintf(mesh, sizeof mesh, "%s/meshes/field.ply", folder);
    program_write(mesh, "p");
    cr_assert_eq(rlv_specimen_read(&specimen, folder, &error), RLV_DONE, "%s: %s", error.where, error.what);
    cr_assert_str_eq(specimen.id, id);
    rlv_specimen_free(&specimen);
}

Test(command_new, lays_out_a_folder_that_is_read_once_its_mesh_is_there)
{
    make("new LQ-0417");
    cr_assert_eq(folder_count("LQ-0417"), 4);
    cr_assert_eq(folder_count("LQ-0417/meshes"), 0);
    cr_assert_eq(folder_count("."), 1, "nothing is left beside it");
    rlv_specimen specimen = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_specimen_read(&specimen, "LQ-0417", &error), RLV_BAD_INPUT);
    cr_assert_str_eq(error.where, "LQ-0417/specimen.yaml: stages[0].mesh");
    rlv_specimen_free(&specimen);
    expect_id("LQ-0417", "LQ-0417");
}

Test(command_new, takes_the_id_from_the_folder_where_it_serves_as_one)
{
    make("new a/b/0417/");
    expect_id("a/b/0417", "0417");
    make("new true");
    expect_id("true", "true");
    make("new рыба");
    expect_id("рыба", "рыба");
    make("new a,b");
    expect_id("a,b", "specimen");
    make("new .hidden");
    expect_id(".hidden", "specimen");
}

Test(command_new, writes_down_the_unit_that_is_said)
{
    make("new a --unit m");
    rlv_specimen specimen = {0};
    program_write("a/meshes/field.ply", "p");
    cr_assert_eq(rlv_specimen_read(&specimen, "a", NULL), RLV_DONE);
    cr_assert_eq(*specimen.stage[0].mesh.unit, RLV_UNIT_M);
    rlv_specimen_free(&specimen);
}

Test(command_new, touches_nothing_that_is_there)
{
    make("new a");
    program_write("a/specimen.yaml", "mine");
    refuse("new a", "holds a specimen.yaml already");
    refuse("new a/", "holds a specimen.yaml already");
    char* kept = program_read("a/specimen.yaml", NULL);
    cr_assert_str_eq(kept, "mine");
    free(kept);
    cr_assert_eq(mkdir("b", 0777), 0);
    program_write("b/letter.txt", "x");
    refuse("new b", "not empty");
    program_write("c", "x");
    refuse("new c", "a file has that name");
    refuse("new c/d", "a file stands");
    refuse("new .", "folder");
    refuse("new b/..", "folder");
    refuse("new d/..", "no folder is named");
    cr_assert_eq(symlink("d", "link"), 0);
    refuse("new link", "a link has the name");
    cr_assert_eq(unlink("link"), 0);
    cr_assert_eq(folder_count("."), 3);
    cr_assert_eq(folder_count("b"), 1);
}

Test(command_new, fills_an_empty_folder_that_is_there_and_keeps_its_permissions)
{
    struct stat there;
    cr_assert_eq(mkdir("a", 0777), 0);
    cr_assert_eq(chmod("a", 0750), 0);
    cr_assert_eq(symlink("a", "link"), 0);
    make("new link");
    cr_assert_eq(lstat("link", &there), 0);
    cr_assert(S_ISLNK(there.st_mode));
    cr_assert_eq(stat("a", &there), 0);
    cr_assert_eq(there.st_mode & 07777, 0750);
    cr_assert_eq(folder_count("a"), 4);
    cr_assert_eq(mkdir("here", 0777), 0);
    cr_assert_eq(chdir("here"), 0);
    refuse("new .", "the folder at hand");
    make("new ../beside");
    cr_assert_eq(chdir(".."), 0);
}

Test(command_new, refuses_a_name_that_no_disk_holds)
{
    char line[600], *end = line + snprintf(line, sizeof line, "new %0300d", 0);
    refuse(line, "the name is too long");
    snprintf(end, 10, "/a");
    refuse(line, "the name is too long");
    cr_assert_eq(folder_count("."), 0);
}

Test(command_new, leaves_nothing_where_it_fails)
{
    program_run run = program_call("new a/b/c", &(program_limits){.file_bytes = 4096});
    cr_assert_eq(run.status, 4, "%s", run.err);
    cr_assert_str_empty(run.out);
    cr_assert_eq(folder_count("."), 0);
    program_free(&run);
    // Standard output that cannot be written: the folder is not made either.
    run = program_call("new a/b/c", &(program_limits){.out = "/dev/full"});
    cr_assert_eq(run.status, 4, "%s", run.err);
    cr_assert_eq(folder_count("."), 0);
    program_free(&run);
}

Test(command_new, sweeps_what_a_killed_run_left_and_no_other)
{
    const char* const folders[] = {".rilievo-1-0.partial", ".rilievo-2-0.partial", ".mine.partial"};
    for (size_t i = 0; i < 3; i++)
        cr_assert_eq(mkdir(folders[i], 0777), 0);
    program_write(".rilievo-1-0.partial/lock", "");
    cr_assert_eq(mkdir(".rilievo-1-0.partial/new", 0777), 0);
    program_write(".rilievo-1-0.partial/new/specimen.yaml", "half");
    program_write(".rilievo-2-0.partial/lock", "");
    int held = open(".rilievo-2-0.partial/lock", O_RDWR);
    cr_assert_eq(flock(held, LOCK_EX), 0);
    make("new a");
    cr_assert_eq(folder_count(folders[0]), -1);
    cr_assert_eq(folder_count(folders[1]), 1);
    cr_assert_eq(folder_count(folders[2]), 0);
    close(held);
}

Test(command_new, tells_json_and_is_the_same_bytes_again)
{
    program_run run = program_call("new a --json", NULL);
    json_t* record = json_loads(run.out, 0, NULL);
    cr_assert_not_null(record);
    cr_assert_str_eq(json_string_value(json_object_get(record, "folder")), "a");
    cr_assert_eq(json_array_size(json_object_get(record, "files")), 4);
    cr_assert_eq(json_array_size(json_object_get(record, "warnings")), 0);
    cr_assert_eq(json_array_size(json_object_get(record, "inputs")), 0);
    json_decref(record);
    program_free(&run);
    cr_assert_eq(mkdir("x", 0777), 0);
    make("new x/a --threads 2");
    char *first = program_read("a/specimen.yaml", NULL), *second = program_read("x/a/specimen.yaml", NULL);
    cr_assert_str_eq(first, second);
    free(first);
    free(second);
}
