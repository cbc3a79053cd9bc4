/// Tests of files that are whole or not at all.

#include "safe_file.h"
#include "support/own_folder.h"

#include <criterion/criterion.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <string.h>
#include <sys/mount.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

static char folder[4096];
static char target[4200];

static void set_up(void)
{
    folder_make(folder);
    snprintf(target, sizeof target, "%s/answer.txt", folder);
}

static void tear_down(void)
{
    folder_remove(folder);
}

TestSuite(safe_file, .init = set_up, .fini = tear_down, .timeout = 60);

static void put(const char* text)
{
    FILE* stream = fopen(target, "wb");
    cr_assert_not_null(stream);
    fputs(text, stream);
    fclose(stream);
}

static void expect_target(const char* text)
{
    char held[64] = {0};
    FILE* stream = fopen(target, "rb");
    cr_assert_not_null(stream);
    cr_assert_eq(fread(held, 1, sizeof held - 1, stream), strlen(text));
    fclose(stream);
    cr_assert_str_eq(held, text);
}

Test(safe_file, a_commit_puts_the_new_in_place_and_leaves_nothing_else)
{
    rlv_safe_file file;
    rlv_error error = {0};
    put("old");
    cr_assert_eq(rlv_safe_file_open(&file, target, &error), RLV_DONE);
    fputs("new", file.stream);
    expect_target("old");
    cr_assert_eq(rlv_safe_file_commit(&file, &error), RLV_DONE);
    expect_target("new");
    cr_assert_eq(folder_count(folder), 1);
    cr_assert_null(file.stream);
}

Test(safe_file, an_abandoned_file_leaves_the_old_and_nothing_else)
{
    rlv_safe_file file;
    put("old");
    cr_assert_eq(rlv_safe_file_open(&file, target, NULL), RLV_DONE);
    fputs("new", file.stream);
    rlv_safe_file_abandon(&file);
    rlv_safe_file_abandon(&file);
    expect_target("old");
    cr_assert_eq(folder_count(folder), 1);
}

Test(safe_file, the_new_keeps_the_permissions_of_the_old)
{
    rlv_safe_file file;
    struct stat after;
    put("old");
    cr_assert_eq(chmod(target, 0640), 0);
    cr_assert_eq(rlv_safe_file_open(&file, target, NULL), RLV_DONE);
    cr_assert_eq(rlv_safe_file_commit(&file, NULL), RLV_DONE);
    cr_assert_eq(stat(target, &after), 0);
    cr_assert_eq(after.st_mode & 07777, 0640);
}

Test(safe_file, a_link_stays_a_link)
{
    rlv_safe_file file;
    char link[4200];
    struct stat after;
    put("old");
    snprintf(link, sizeof link, "%s/link", folder);
    cr_assert_eq(symlink("answer.txt", link), 0);
    cr_assert_eq(rlv_safe_file_open(&file, link, NULL), RLV_DONE);
    fputs("new", file.stream);
    cr_assert_eq(rlv_safe_file_commit(&file, NULL), RLV_DONE);
    expect_target("new");
    cr_assert_eq(lstat(link, &after), 0);
    cr_assert(S_ISLNK(after.st_mode));
}

/// Write more than fits until it fails; what is said, and what is left.
static void expect_full(void)
{
    rlv_safe_file file;
    rlv_error error = {0};
    char block[4096] = {1};
    cr_assert_eq(rlv_safe_file_open(&file, target, &error), RLV_DONE);
    for (int i = 0; i < 64; i++)
        fwrite(block, 1, sizeof block, file.stream);
    cr_assert_eq(rlv_safe_file_commit(&file, &error), RLV_SYSTEM);
    cr_assert_str_eq(error.where, target);
    cr_assert(strstr(error.what, "could not be written whole") != NULL, "%s", error.what);
    cr_assert_neq(error.mend[0], '\0');
    expect_target("old");
    cr_assert_eq(folder_count(folder), 1);
}

Test(safe_file, past_a_limit_of_file_size_the_old_stays_and_nothing_is_left)
{
    put("old");
    signal(SIGXFSZ, SIG_IGN);
    struct rlimit before, limit;
    getrlimit(RLIMIT_FSIZE, &before);
    limit = before;
    limit.rlim_cur = 65536;
    cr_assert_eq(setrlimit(RLIMIT_FSIZE, &limit), 0);
    expect_full();
    setrlimit(RLIMIT_FSIZE, &before);
}

Test(safe_file, on_a_full_disk_the_old_stays_and_nothing_is_left)
{
    if (!folder_mount_memory(folder, "size=65536"))
        cr_skip_test("a small disk can only be mounted by the system's owner");
    put("old");
    expect_full();
    umount(folder);
}

Test(safe_file, what_cannot_hold_a_file_is_refused)
{
    rlv_safe_file file;
    rlv_error error = {0};
    char path[4300];
    cr_assert_eq(rlv_safe_file_open(&file, folder, &error), RLV_BAD_INPUT);
    cr_assert(strstr(error.what, "folder") != NULL);
    cr_assert_eq(rlv_safe_file_open(&file, "/dev/null", &error), RLV_BAD_INPUT);
    cr_assert(strstr(error.what, "device") != NULL);
    cr_assert_eq(rlv_safe_file_open(&file, "", &error), RLV_BAD_INPUT);
    snprintf(path, sizeof path, "%s/missing/answer.txt", folder);
    cr_assert_eq(rlv_safe_file_open(&file, path, &error), RLV_BAD_INPUT);
    cr_assert(strstr(error.what, "folder does not exist") != NULL);
    memset(path, 'n', 300);
    path[300] = '\0';
    cr_assert_eq(rlv_safe_file_open(&file, path, &error), RLV_BAD_INPUT);
    cr_assert(strstr(error.what, "too long") != NULL);
    cr_assert_eq(rlv_safe_file_open(&file, target, NULL), RLV_DONE, "the error may be left out");
    rlv_safe_file_abandon(&file);
    cr_assert_eq(folder_count(folder), 0);
}

/// Start a process that opens the target for writing, tells so, and waits to be killed.
static pid_t start_writer(void)
{
    int ready[2];
    char byte;
    cr_assert_eq(pipe(ready), 0);
    pid_t child = fork();
    if (child == 0)
    {
        rlv_safe_file file;
        if (rlv_safe_file_open(&file, target, NULL) != RLV_DONE || write(ready[1], "x", 1) != 1)
            _exit(1);
        for (;;)
            pause();
    }
    cr_assert_eq(read(ready[0], &byte, 1), 1);
    close(ready[0]);
    close(ready[1]);
    return child;
}

Test(safe_file, what_a_killed_run_left_is_swept_and_what_a_living_one_writes_is_not)
{
    rlv_safe_file file;
    pid_t dead = start_writer(), living = start_writer();
    kill(dead, SIGKILL);
    waitpid(dead, NULL, 0);
    cr_assert_eq(folder_count(folder), 2);
    cr_assert_eq(rlv_safe_file_open(&file, target, NULL), RLV_DONE);
    cr_assert_eq(folder_count(folder), 2);
    cr_assert_eq(rlv_safe_file_commit(&file, NULL), RLV_DONE);
    kill(living, SIGKILL);
    waitpid(living, NULL, 0);
    cr_assert_eq(rlv_safe_file_open(&file, target, NULL), RLV_DONE);
    rlv_safe_file_abandon(&file);
    cr_assert_eq(folder_count(folder), 1);
}

Test(safe_file, folders_are_made_with_their_parents_and_the_first_made_is_told)
{
    char path[4300], made[4300], first[4300];
    struct stat there;
    snprintf(first, sizeof first, "%s/a", folder);
    snprintf(path, sizeof path, "%s/a/b//c/", folder);
    cr_assert_eq(rlv_folder_make(path, made, sizeof made, NULL), RLV_DONE);
    cr_assert_str_eq(made, first);
    cr_assert_eq(stat(path, &there), 0);
    cr_assert_eq(rlv_folder_make(path, made, sizeof made, NULL), RLV_DONE);
    cr_assert_str_eq(made, "");
    snprintf(path, sizeof path, "%s/a/b/c", folder);
    rmdir(path);
    snprintf(path, sizeof path, "%s/a/b", folder);
    rmdir(path);
}

Test(safe_file, a_folder_is_not_made_where_a_file_stands)
{
    char path[4300], made[4300];
    rlv_error error = {0};
    put("old");
    cr_assert_eq(rlv_folder_make(target, made, sizeof made, &error), RLV_BAD_INPUT);
    snprintf(path, sizeof path, "%s/below", target);
    cr_assert_eq(rlv_folder_make(path, made, sizeof made, &error), RLV_BAD_INPUT);
    cr_assert_str_eq(error.where, path);
    cr_assert_str_eq(made, "");
    expect_target("old");
}
