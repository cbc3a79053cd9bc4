/// Tests of a folder whose files appear together: killed at every step, on a full disk, beside another run.

#include "out_folder.h"
#include "support/own_folder.h"

#include <criterion/criterion.h>
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <ftw.h>
#include <signal.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mount.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

// --- Calls of the system, counted -----------------------------------------------------------------------------------
//
// The definitions below stand before the C library's, so that each call that changes a folder, or takes a lock, or
// flushes, is a step at which the process can be killed or the call fail.

static struct
{
    bool armed;
    long steps;       ///< made so far
    long kill_at;     ///< 0: never
    long fail_at;     ///< 0: never
    bool no_exchange; ///< as a file system without that step
    bool quick;       ///< fsync does nothing: a kill leaves what was written, as a power cut may not
    bool watch;       ///< note what is flushed, and hold it against what is put in place
    size_t flushed_count;
    ino_t flushed[4096];
    int unflushed; ///< what was put in place without having been flushed
} hook;

static bool step_fails(void)
{
    if (!hook.armed)
        return false;
    hook.steps++;
    if (hook.steps == hook.kill_at)
        kill(getpid(), SIGKILL);
    if (hook.steps != hook.fail_at)
        return false;
    errno = ENOSPC;
    return true;
}

int mkdirat(int at, const char* path, mode_t mode)
{
    return step_fails() ? -1 : (int)syscall(SYS_mkdirat, at, path, mode);
}

int openat(int at, const char* path, int flags, ...)
{
    va_list list;
    va_start(list, flags);
    mode_t mode = (flags & O_CREAT) != 0 ? va_arg(list, mode_t) : 0;
    va_end(list);
    return step_fails() ? -1 : (int)syscall(SYS_openat, at, path, flags, mode);
}

int unlinkat(int at, const char* path, int flags)
{
    return step_fails() ? -1 : (int)syscall(SYS_unlinkat, at, path, flags);
}

int flock(int descriptor, int how)
{
    return step_fails() ? -1 : (int)syscall(SYS_flock, descriptor, how);
}

int fsync(int descriptor)
{
    struct stat what;
    if (step_fails())
        return -1;
    if (hook.watch && fstat(descriptor, &what) == 0)
        hook.flushed[hook.flushed_count++] = what.st_ino;
    return hook.quick ? 0 : (int)syscall(SYS_fsync, descriptor);
}

static int look_whether_flushed(const char* path, const struct stat* what, int kind, struct FTW* walk)
{
    (void)path;
    (void)kind;
    (void)walk;
    for (size_t i = 0; i < hook.flushed_count; i++)
        if (hook.flushed[i] == what->st_ino)
            return 0;
    hook.unflushed++;
    return 0;
}

/// What is about to be put in place must have been flushed, files and folders.
static void hold_against_flushed(int at, const char* name)
{
    char link[64], path[4096 + 64] = {0}, whole[4096 + 320];
    snprintf(link, sizeof link, "/proc/self/fd/%d", at);
    if (readlink(link, path, sizeof path - 1) < 0)
        abort();
    snprintf(whole, sizeof whole, "%s/%s", path, name);
    nftw(whole, look_whether_flushed, 16, FTW_PHYS);
}

int renameat(int at, const char* path, int to, const char* name)
{
    if (hook.watch)
        hold_against_flushed(at, path);
    return step_fails() ? -1 : (int)syscall(SYS_renameat2, at, path, to, name, 0U);
}

int renameat2(int at, const char* path, int to, const char* name, unsigned flags)
{
    if (hook.watch)
        hold_against_flushed(at, path);
    if (step_fails())
        return -1;
    if (hook.no_exchange && flags != 0)
    {
        errno = EINVAL;
        return -1;
    }
    return (int)syscall(SYS_renameat2, at, path, to, name, flags);
}

// --- A specimen's folder --------------------------------------------------------------------------------------------

static char specimen[4096];
static char out[4200];

static void set_up(void)
{
    folder_make(specimen);
    cr_assert_eq(chmod(specimen, 0755), 0);
    snprintf(out, sizeof out, "%s/out", specimen);
}

static void tear_down(void)
{
    folder_remove(specimen);
}

TestSuite(out_folder, .init = set_up, .fini = tear_down, .timeout = 600);

/// The name of file `i` of a generation: pictures, tables, and one that no other generation has.
static void name_file(char name[64], int generation, int i)
{
    if (i == 0)
        snprintf(name, 64, "only-%d.txt", generation);
    else
        snprintf(name, 64, i % 3 == 0 ? "tables/of/t%d.csv" : i % 3 == 1 ? "pictures/p%d.png" : "report%d.html", i);
}

/// Files of a generation hold its number and theirs, up to 100 times: up to a kilobyte.
static void write_content(FILE* stream, int generation, int i)
{
    for (int k = 0; k <= i % 100; k++)
        fprintf(stream, "%d of %d\n", i, generation);
}

static rlv_status open_for(out_way way, out_folder* folder, rlv_error* error)
{
    switch (way)
    {
    case OUT_AMONG_OTHERS:
        return out_folder_open(folder, out, error);
    case OUT_WHOLE:
        return out_folder_open_whole(folder, out, NULL, error);
    case OUT_NEW:
        return out_folder_open_new(folder, out, NULL, error);
    }
    abort();
}

/// Write generation `generation` of `files` files. It does not use Criterion, so that a child can do it.
static rlv_status write_generation(out_way way, int generation, int files, rlv_error* error)
{
    out_folder folder = {0};
    rlv_status status = open_for(way, &folder, error);
    for (int i = 0; i < files && status == RLV_DONE; i++)
    {
        char name[64];
        FILE* stream = NULL;
        name_file(name, generation, i);
        status = out_folder_add(&folder, name, &stream, error);
        if (status != RLV_DONE)
            break;
        write_content(stream, generation, i);
        if (i % 4 != 0) // a few are left for the seal
            status = out_folder_finish(&folder, stream, error);
    }
    if (status == RLV_DONE)
        status = out_folder_commit(&folder, error);
    out_folder_abandon(&folder);
    return status;
}

static int counted_files;

static int count_file(const char* path, const struct stat* what, int kind, struct FTW* walk)
{
    (void)path;
    (void)what;
    (void)walk;
    counted_files += kind == FTW_F;
    return 0;
}

static bool holds_file(int generation, int i)
{
    char name[64], path[4300], held[2048] = {0}, *expected = NULL;
    size_t size = 0;
    name_file(name, generation, i);
    snprintf(path, sizeof path, "%s/%s", out, name);
    FILE* file = fopen(path, "rb");
    if (file == NULL)
        return false;
    size_t got = fread(held, 1, sizeof held, file);
    fclose(file);
    FILE* memory = open_memstream(&expected, &size);
    write_content(memory, generation, i);
    fclose(memory);
    bool same = got == size && memcmp(held, expected, size) == 0;
    free(expected);
    return same;
}

/// Whether `out` is that generation, whole, and holds nothing else.
static bool is_generation(int generation, int files)
{
    counted_files = 0;
    if (nftw(out, count_file, 16, FTW_PHYS) != 0 || counted_files != files)
        return false;
    for (int i = 0; i < files; i++)
        if (!holds_file(generation, i))
            return false;
    return true;
}

/// What the next run does first.
static void sweep(void)
{
    rlv_error error = {0};
    out_folder folder = {0};
    cr_assert_eq(out_folder_open_whole(&folder, out, NULL, &error), RLV_DONE, "%s", error.what);
    out_folder_abandon(&folder);
}

enum
{
    OLD_FILES = 7,
    NEW_FILES = 10,
    MANY_FILES = 300
};

/// Put `out` back to the old generation, or to none.
static void begin_again(bool there_is_an_old)
{
    hook.armed = false;
    if (there_is_an_old && is_generation(1, OLD_FILES))
        return;
    folder_remove(out);
    if (there_is_an_old)
        cr_assert_eq(write_generation(OUT_WHOLE, 1, OLD_FILES, NULL), RLV_DONE);
}

// --- Killed ---------------------------------------------------------------------------------------------------------

/// Run a child that writes the new generation and is killed at a step (0: at none), or after a time. Returns true
/// where it came to its end.
static bool write_and_be_killed(out_way way, int files, long kill_at, long after_ns)
{
    pid_t child = fork();
    if (child == 0)
    {
        hook.armed = true;
        hook.kill_at = kill_at;
        _exit((int)write_generation(way, 2, files, NULL));
    }
    if (after_ns >= 0)
    {
        nanosleep(&(struct timespec){after_ns / 1000000000, after_ns % 1000000000}, NULL);
        kill(child, SIGKILL);
    }
    int ended = 0;
    waitpid(child, &ended, 0);
    cr_assert(WIFSIGNALED(ended) || WEXITSTATUS(ended) == 0, "the run failed");
    return WIFEXITED(ended);
}

/// After a kill: the old or the new, whole, at once (between the two moves of a disk without the swap: none), and after
/// the next run's sweep; and nothing else beside it. Returns whether `out` was missing before the sweep.
static bool expect_old_or_new(bool there_was_an_old, bool may_be_missing, int files, long moment)
{
    bool missing = folder_count(out) < 0;
    cr_assert(folder_count(specimen) <= 2, "moment %ld", moment);
    if (missing)
        cr_assert(!there_was_an_old || may_be_missing, "moment %ld: no folder is left", moment);
    else
        cr_assert(is_generation(1, OLD_FILES) || is_generation(2, files), "moment %ld: neither old nor new", moment);
    sweep();
    if (there_was_an_old || !missing)
        cr_assert(is_generation(1, OLD_FILES) || is_generation(2, files), "moment %ld: after the sweep", moment);
    cr_assert_eq(folder_count(specimen), folder_count(out) < 0 ? 0 : 1, "moment %ld: something is left", moment);
    return missing;
}

/// Kill at each step of a whole run. Returns how many steps there were; `*gaps` how often `out` was missing.
static long kill_at_each_step(out_way way, bool there_is_an_old, bool no_exchange, long* gaps)
{
    long moment = 0;
    hook.quick = true;
    hook.no_exchange = no_exchange;
    *gaps = 0;
    for (bool ended = false; !ended;)
    {
        begin_again(there_is_an_old);
        ended = write_and_be_killed(way, NEW_FILES, ++moment, -1);
        *gaps += expect_old_or_new(there_is_an_old, no_exchange, NEW_FILES, moment);
    }
    cr_assert(is_generation(2, NEW_FILES));
    return moment - 1;
}

Test(out_folder, killed_at_each_step_it_is_the_old_or_the_new_whole_and_the_next_run_sweeps)
{
    long gaps;
    long steps = kill_at_each_step(OUT_WHOLE, true, false, &gaps);
    cr_log_info("killed at %ld steps", steps);
    // Each new file is made and flushed, each old one removed.
    cr_assert_geq(steps, 2 * NEW_FILES + OLD_FILES);
    cr_assert_eq(gaps, 0);
}

Test(out_folder, killed_at_each_step_where_there_was_none_it_is_none_or_the_new_whole)
{
    long gaps;
    cr_assert_geq(kill_at_each_step(OUT_WHOLE, false, false, &gaps), 2 * NEW_FILES);
}

Test(out_folder, a_new_one_killed_at_each_step_is_not_there_or_whole_and_the_next_run_sweeps)
{
    long gaps;
    cr_assert_geq(kill_at_each_step(OUT_NEW, false, false, &gaps), 2 * NEW_FILES);
}

Test(out_folder, where_the_disk_cannot_swap_a_kill_between_the_two_moves_is_mended_by_the_next_run)
{
    long gaps;
    cr_assert_geq(kill_at_each_step(OUT_WHOLE, true, true, &gaps), 2 * NEW_FILES + OLD_FILES);
    // Between the two moves there are steps: the test has seen the gap and what mends it.
    cr_assert_geq(gaps, 1);
}

/// The step of a run of two files at which a kill leaves no `out`: between the two moves.
static long find_gap(void)
{
    for (long at = 1;; at++)
    {
        begin_again(true);
        cr_assert_not(write_and_be_killed(OUT_WHOLE, 2, at, -1), "no step leaves a gap");
        bool gap = folder_count(out) < 0;
        sweep();
        if (gap)
            return at;
    }
}

Test(out_folder, a_sweep_that_is_killed_at_any_step_is_finished_by_the_next)
{
    hook.quick = true;
    hook.no_exchange = true;
    const long gap = find_gap();
    long moment = 0;
    for (bool ended = false; !ended;)
    {
        moment++;
        begin_again(true);
        cr_assert_not(write_and_be_killed(OUT_WHOLE, 2, gap, -1));
        cr_assert_lt(folder_count(out), 0);
        pid_t child = fork();
        if (child == 0)
        {
            hook.armed = true;
            hook.kill_at = moment;
            rlv_temporary_sweep(specimen);
            _exit(0);
        }
        int how = 0;
        waitpid(child, &how, 0);
        ended = WIFEXITED(how);
        rlv_temporary_sweep(specimen);
        cr_assert(is_generation(1, OLD_FILES), "step %ld", moment);
        cr_assert_eq(folder_count(specimen), 1, "step %ld", moment);
    }
    cr_assert_geq(moment, 8);
}

/// A number below `below`, from a seed (the constants of Knuth's MMIX generator).
static long draw(unsigned long long* seed, long below)
{
    *seed = *seed * 6364136223846793005ULL + 1442695040888963407ULL;
    return (long)((*seed >> 33) % (unsigned long long)below);
}

Test(out_folder, with_hundreds_of_files_killed_at_200_moments_it_is_the_old_or_the_new_whole)
{
    enum
    {
        MOMENTS = 200
    };
    hook.quick = true;
    begin_again(true);
    struct timespec from, to;
    clock_gettime(CLOCK_MONOTONIC, &from);
    cr_assert(write_and_be_killed(OUT_WHOLE, MANY_FILES, 0, -1));
    clock_gettime(CLOCK_MONOTONIC, &to);
    long run_ns = (to.tv_sec - from.tv_sec) * 1000000000 + to.tv_nsec - from.tv_nsec;
    unsigned long long seed = 417;
    int ended = 0, old = 0;
    for (int i = 0; i < MOMENTS; i++)
    {
        begin_again(true);
        ended += write_and_be_killed(OUT_WHOLE, MANY_FILES, 0, draw(&seed, run_ns));
        old += is_generation(1, OLD_FILES);
        expect_old_or_new(true, false, MANY_FILES, i);
    }
    cr_log_info("%d moments over %ld us: %d found the old, %d runs had ended", MOMENTS, run_ns / 1000, old, ended);
    // The moments are spread over the run: a good part of them must have come before the swap.
    cr_assert_geq(old, MOMENTS / 10);
}

Test(out_folder, with_hundreds_of_files_killed_at_steps_over_the_whole_run_it_is_the_old_or_the_new_whole)
{
    hook.quick = true;
    unsigned long long seed = 99;
    int moments = 0;
    bool ended = false;
    for (long at = 1; !ended; at += 1 + draw(&seed, 40))
    {
        begin_again(true);
        ended = write_and_be_killed(OUT_WHOLE, MANY_FILES, at, -1);
        expect_old_or_new(true, false, MANY_FILES, at);
        moments++;
    }
    // Each file is made and flushed: 600 steps at least, 40 at most between two moments.
    cr_assert_geq(moments, 2 * MANY_FILES / 40);
}

Test(out_folder, among_others_a_kill_at_any_step_leaves_each_file_old_or_new_whole)
{
    hook.quick = true;
    long moment = 0;
    for (bool ended = false; !ended;)
    {
        hook.armed = false;
        folder_remove(out);
        cr_assert_eq(write_generation(OUT_AMONG_OTHERS, 1, NEW_FILES, NULL), RLV_DONE);
        ended = write_and_be_killed(OUT_AMONG_OTHERS, NEW_FILES, ++moment, -1);
        for (int i = 1; i < NEW_FILES; i++)
            cr_assert(holds_file(1, i) || holds_file(2, i), "step %ld, file %d", moment, i);
        out_folder folder = {0};
        cr_assert_eq(out_folder_open(&folder, out, NULL), RLV_DONE);
        out_folder_abandon(&folder);
        DIR* stream = opendir(out);
        for (const struct dirent* entry = readdir(stream); entry != NULL; entry = readdir(stream))
            cr_assert(strstr(entry->d_name, ".partial") == NULL, "step %ld: %s is left", moment, entry->d_name);
        closedir(stream);
    }
    cr_assert_geq(moment, 3 * NEW_FILES);
}

// --- Flushed, and a full disk ---------------------------------------------------------------------------------------

Test(out_folder, all_files_and_folders_are_flushed_before_they_are_put_in_place)
{
    for (out_way way = OUT_AMONG_OTHERS; way <= OUT_NEW; way++)
    {
        folder_remove(out);
        hook.watch = true;
        hook.flushed_count = 0;
        cr_assert_eq(write_generation(way, 1, NEW_FILES, NULL), RLV_DONE);
        cr_assert_eq(hook.unflushed, 0);
        // Ten files, and pictures, tables, tables/of, new, the temporary folder, and the one above.
        cr_assert_geq(hook.flushed_count, NEW_FILES + 6);
    }
}

/// Let each step fail, one after another. Each time the old or the new is there whole, and what was not done is said.
static void fail_at_each_step(bool no_exchange)
{
    hook.quick = true;
    hook.no_exchange = no_exchange;
    long failures = 0;
    for (long at = 1;; at++)
    {
        rlv_error error = {0};
        begin_again(true);
        hook.armed = true;
        hook.steps = 0;
        hook.fail_at = at;
        rlv_status status = write_generation(OUT_WHOLE, 2, NEW_FILES, &error);
        hook.armed = false;
        if (status == RLV_DONE)
            cr_assert(is_generation(2, NEW_FILES), "step %ld", at);
        else
        {
            failures++;
            cr_assert_eq(status, RLV_SYSTEM, "step %ld", at);
            cr_assert(strstr(error.where, out) != NULL, "step %ld: %s", at, error.where);
            cr_assert_neq(error.mend[0], '\0', "step %ld", at);
            cr_assert(is_generation(1, OLD_FILES) || is_generation(2, NEW_FILES) || folder_count(out) < 0, "step %ld",
                      at);
        }
        sweep();
        cr_assert(is_generation(1, OLD_FILES) || is_generation(2, NEW_FILES), "step %ld: after the sweep", at);
        cr_assert_eq(folder_count(specimen), 1, "step %ld: something is left", at);
        if (hook.steps < at)
            break;
    }
    cr_assert_geq(failures, 2 * NEW_FILES);
}

Test(out_folder, a_step_that_fails_is_told_and_leaves_the_old_or_the_new_whole)
{
    fail_at_each_step(false);
}

Test(out_folder, a_step_that_fails_where_the_disk_cannot_swap_leaves_the_old_or_the_new_whole)
{
    fail_at_each_step(true);
}

static void expect_full(const char* where)
{
    rlv_error error = {0};
    out_folder folder = {0};
    FILE* stream = NULL;
    char block[4096] = {1};
    cr_assert_eq(out_folder_open_whole(&folder, out, NULL, &error), RLV_DONE, "%s", error.what);
    cr_assert_eq(out_folder_add(&folder, "pictures/large.png", &stream, &error), RLV_DONE);
    for (int i = 0; i < 256; i++)
        fwrite(block, 1, sizeof block, stream);
    cr_assert_eq(out_folder_commit(&folder, &error), RLV_SYSTEM);
    cr_assert_str_eq(error.where, where);
    cr_assert(strstr(error.mend, "make room on the disk") != NULL, "%s", error.mend);
    cr_assert(is_generation(1, OLD_FILES));
    cr_assert_eq(folder_count(specimen), 1);
}

Test(out_folder, past_a_limit_of_file_size_the_old_stays_and_nothing_is_left)
{
    char where[4300];
    begin_again(true);
    snprintf(where, sizeof where, "%s/pictures/large.png", out);
    signal(SIGXFSZ, SIG_IGN);
    struct rlimit before, limit;
    getrlimit(RLIMIT_FSIZE, &before);
    limit = before;
    limit.rlim_cur = 65536;
    cr_assert_eq(setrlimit(RLIMIT_FSIZE, &limit), 0);
    expect_full(where);
    setrlimit(RLIMIT_FSIZE, &before);
}

Test(out_folder, on_a_full_disk_the_old_stays_and_nothing_is_left)
{
    char where[4300];
    if (!folder_mount_memory(specimen, "size=262144"))
        cr_skip_test("a small disk can only be mounted by the system's owner");
    begin_again(true);
    snprintf(where, sizeof where, "%s/pictures/large.png", out);
    expect_full(where);
    umount(specimen);
}

Test(out_folder, a_disk_without_room_for_a_folder_is_refused_before_any_work)
{
    rlv_error error = {0};
    out_folder folder = {0};
    if (!folder_mount_memory(specimen, "nr_inodes=3"))
        cr_skip_test("a small disk can only be mounted by the system's owner");
    cr_assert_eq(out_folder_open_whole(&folder, out, NULL, &error), RLV_SYSTEM);
    cr_assert_str_eq(error.where, out);
    cr_assert(strstr(error.mend, "make room") != NULL);
    cr_assert_eq(folder_count(specimen), 0);
    umount(specimen);
}

// --- Refused --------------------------------------------------------------------------------------------------------

static void refuse(const char* path, const char* mark, rlv_status expected, const char* words)
{
    rlv_error error = {0};
    out_folder folder = {0};
    cr_assert_eq(out_folder_open_whole(&folder, path, mark, &error), expected, "%s", path);
    cr_assert(strstr(error.what, words) != NULL, "%s: %s", path, error.what);
    cr_assert_str_eq(error.where, path);
    cr_assert_neq(error.mend[0], '\0');
    cr_assert_null(folder.path);
}

Test(out_folder, a_link_or_a_file_in_its_place_is_refused_and_stays)
{
    struct stat what;
    char elsewhere[4300];
    snprintf(elsewhere, sizeof elsewhere, "%s/elsewhere", specimen);
    cr_assert_eq(mkdir(elsewhere, 0777), 0);
    cr_assert_eq(symlink("elsewhere", out), 0);
    refuse(out, NULL, RLV_BAD_INPUT, "link");
    cr_assert(lstat(out, &what) == 0 && S_ISLNK(what.st_mode));
    cr_assert_eq(unlink(out), 0);
    fclose(fopen(out, "wb"));
    refuse(out, NULL, RLV_BAD_INPUT, "file");
    cr_assert(lstat(out, &what) == 0 && S_ISREG(what.st_mode));
    cr_assert_eq(folder_count(specimen), 2);
}

Test(out_folder, a_path_that_names_no_folder_is_refused)
{
    char path[4300];
    refuse("/", NULL, RLV_BAD_INPUT, "no folder is named");
    refuse(".", NULL, RLV_BAD_INPUT, "no folder is named");
    snprintf(path, sizeof path, "%s/..", specimen);
    refuse(path, NULL, RLV_BAD_INPUT, "no folder is named");
    refuse("", NULL, RLV_BAD_INPUT, "no folder is named");
    cr_assert_eq(folder_count(specimen), 0);
}

Test(out_folder, a_folder_without_its_mark_is_somebodys_papers_and_refused)
{
    char path[4300];
    out_folder folder = {0};
    begin_again(true);
    refuse(out, "report.html", RLV_BAD_INPUT, "report.html");
    cr_assert(is_generation(1, OLD_FILES));
    cr_assert_eq(out_folder_open_whole(&folder, out, "report2.html", NULL), RLV_DONE);
    out_folder_abandon(&folder);
    snprintf(path, sizeof path, "%s/empty", specimen);
    cr_assert_eq(mkdir(path, 0777), 0);
    cr_assert_eq(out_folder_open_whole(&folder, path, "report.html", NULL), RLV_DONE, "an empty one is nobody's");
    out_folder_abandon(&folder);
}

Test(out_folder, a_mounted_disk_is_refused)
{
    cr_assert_eq(mkdir(out, 0777), 0);
    if (!folder_mount_memory(out, "size=65536"))
        cr_skip_test("a disk can only be mounted by the system's owner");
    refuse(out, NULL, RLV_BAD_INPUT, "mounted");
    umount(out);
}

Test(out_folder, a_disk_that_cannot_be_written_to_is_refused)
{
    if (!folder_mount_memory(specimen, "size=262144"))
        cr_skip_test("a disk can only be mounted by the system's owner");
    begin_again(true);
    cr_assert_eq(mount("small", specimen, "tmpfs", MS_REMOUNT | MS_RDONLY, NULL), 0);
    refuse(out, NULL, RLV_SYSTEM, "Read-only");
    cr_assert(is_generation(1, OLD_FILES));
    umount(specimen);
}

/// Refused to a user who is not the system's owner.
static void refuse_others(const char* words)
{
    rlv_error error = {0};
    out_folder folder = {0};
    cr_assert_eq(seteuid(65534), 0);
    rlv_status status = out_folder_open_whole(&folder, out, NULL, &error);
    out_folder_abandon(&folder);
    cr_assert_eq(seteuid(0), 0);
    cr_assert_eq(status, RLV_SYSTEM);
    cr_assert(strstr(error.what, words) != NULL, "%s", error.what);
    cr_assert(is_generation(1, OLD_FILES));
    cr_assert_eq(folder_count(specimen), 1);
}

Test(out_folder, what_is_not_ours_to_write_to_or_to_remove_is_refused)
{
    static const char* const inner[] = {"tables", "tables/of", "pictures"};
    char path[4300];
    if (geteuid() != 0)
        cr_skip_test("another's folder can only be made by the system's owner");
    begin_again(true);
    refuse_others("the folder out cannot be read and written to: Permission denied");
    cr_assert_eq(chown(out, 65534, 65534), 0);
    for (size_t i = 0; i < 3; i++)
    {
        if (i == 2)
            refuse_others("the folder pictures cannot be read and written to");
        snprintf(path, sizeof path, "%s/%s", out, inner[i]);
        cr_assert_eq(chmod(path, 0777), 0);
    }
    refuse_others("nothing can be written to");
    cr_assert_eq(chown(out, 0, 0), 0);
    cr_assert_eq(chmod(out, 0777), 0);
    cr_assert_eq(chmod(specimen, 01777), 0);
    refuse_others("another user's");
}

Test(out_folder, names_that_lead_out_or_come_twice_are_refused)
{
    static const char* const astray[] = {"", "/etc/passwd", "../report.html", "pictures/../../x", "pictures/", "./x"};
    out_folder folder = {0};
    rlv_error error = {0};
    FILE* stream = NULL;
    cr_assert_eq(out_folder_open_whole(&folder, out, NULL, NULL), RLV_DONE);
    for (size_t i = 0; i < sizeof astray / sizeof astray[0]; i++)
        cr_assert_eq(out_folder_add(&folder, astray[i], &stream, &error), RLV_BAD_INPUT, "%s", astray[i]);
    cr_assert_eq(out_folder_add(&folder, "pictures/a.png", &stream, &error), RLV_DONE);
    cr_assert_eq(out_folder_add(&folder, "pictures/a.png", &stream, &error), RLV_BAD_INPUT);
    cr_assert_eq(out_folder_add(&folder, "pictures", &stream, &error), RLV_BAD_INPUT);
    cr_assert_eq(out_folder_add(&folder, "pictures/a.png/b", &stream, &error), RLV_BAD_INPUT);
    cr_assert_eq(folder.file_count, 1, "what was refused is no file of the folder");
    out_folder_abandon(&folder);
    cr_assert_eq(folder_count(specimen), 0);
}

Test(out_folder, a_new_one_is_refused_where_something_is_and_that_stays)
{
    rlv_error error = {0};
    out_folder folder = {0};
    begin_again(true);
    cr_assert_eq(out_folder_open_new(&folder, out, "report2.html", &error), RLV_BAD_INPUT);
    cr_assert_str_eq(error.what, "the folder holds a report2.html already");
    cr_assert_eq(out_folder_open_new(&folder, out, "specimen.yaml", &error), RLV_BAD_INPUT);
    cr_assert_str_eq(error.what, "the folder is not empty");
    cr_assert_null(folder.path);
    cr_assert(is_generation(1, OLD_FILES));
    cr_assert_eq(folder_count(specimen), 1);
}

/// Put something in the place of a folder that is about to be new: a folder with a file, a file, a link.
static void intrude(int kind)
{
    char path[4300];
    cr_assert_eq(kind == 0 ? mkdir(out, 0777) : kind == 2 ? symlink("elsewhere", out) : 0, 0);
    snprintf(path, sizeof path, kind == 0 ? "%s/mine.txt" : "%s", out);
    if (kind < 2)
        fclose(fopen(path, "wb"));
}

Test(out_folder, a_new_one_replaces_nothing_that_came_meanwhile)
{
    for (int kind = 0; kind < 3; kind++)
    {
        rlv_error error = {0};
        out_folder folder = {0};
        struct stat before, after;
        cr_assert_eq(out_folder_open_new(&folder, out, NULL, &error), RLV_DONE);
        cr_assert_eq(out_folder_add_folder(&folder, "meshes", &error), RLV_DONE);
        intrude(kind);
        cr_assert_eq(lstat(out, &before), 0);
        cr_assert_eq(out_folder_commit(&folder, &error), RLV_BAD_INPUT);
        cr_assert_str_eq(error.what, "something was put there in the meantime");
        cr_assert(lstat(out, &after) == 0 && after.st_ino == before.st_ino);
        cr_assert_eq(folder_count(out), kind == 0 ? 1 : -1);
        cr_assert_eq(folder_count(specimen), 1);
        folder_remove(out);
    }
}

Test(out_folder, a_new_one_holds_the_empty_folders_that_were_added)
{
    char path[4300];
    out_folder folder = {0};
    cr_assert_eq(out_folder_open_new(&folder, out, NULL, NULL), RLV_DONE);
    cr_assert_eq(out_folder_add_folder(&folder, "meshes/of", NULL), RLV_DONE);
    cr_assert_eq(out_folder_add_folder(&folder, "../meshes", NULL), RLV_BAD_INPUT);
    cr_assert_eq(out_folder_commit(&folder, NULL), RLV_DONE);
    snprintf(path, sizeof path, "%s/meshes/of", out);
    cr_assert_eq(folder_count(path), 0);
    cr_assert_eq(folder_count(out), 1);
    cr_assert_eq(folder_count(specimen), 1);
}

// --- What is kept ---------------------------------------------------------------------------------------------------

Test(out_folder, links_in_the_old_one_go_and_what_they_lead_to_stays)
{
    char path[4300];
    begin_again(true);
    snprintf(path, sizeof path, "%s/keep", specimen);
    cr_assert_eq(mkdir(path, 0777), 0);
    snprintf(path, sizeof path, "%s/keep/mine.txt", specimen);
    fclose(fopen(path, "wb"));
    snprintf(path, sizeof path, "%s/pictures/link", out);
    cr_assert_eq(symlink("../../keep", path), 0);
    cr_assert_eq(write_generation(OUT_WHOLE, 2, NEW_FILES, NULL), RLV_DONE);
    snprintf(path, sizeof path, "%s/keep", specimen);
    cr_assert_eq(folder_count(path), 1);
    cr_assert(is_generation(2, NEW_FILES));
}

Test(out_folder, the_new_keeps_the_permissions_of_the_old)
{
    struct stat what;
    begin_again(true);
    cr_assert_eq(chmod(out, 02750), 0);
    cr_assert_eq(write_generation(OUT_WHOLE, 2, NEW_FILES, NULL), RLV_DONE);
    cr_assert_eq(stat(out, &what), 0);
    cr_assert_eq(what.st_mode & 07777, 02750);
}

Test(out_folder, among_others_all_else_stays_and_a_link_stays_a_link)
{
    char path[4300];
    struct stat what;
    begin_again(true);
    snprintf(path, sizeof path, "%s/far.txt", specimen);
    fclose(fopen(path, "wb"));
    cr_assert_eq(chmod(path, 0640), 0);
    snprintf(path, sizeof path, "%s/only-2.txt", out);
    cr_assert_eq(symlink("../far.txt", path), 0);
    cr_assert_eq(write_generation(OUT_AMONG_OTHERS, 2, MANY_FILES, NULL), RLV_DONE);
    cr_assert(lstat(path, &what) == 0 && S_ISLNK(what.st_mode));
    cr_assert(stat(path, &what) == 0 && (what.st_mode & 0777) == 0640);
    cr_assert(holds_file(1, 0), "a file that was there is gone");
    for (int i = 0; i < MANY_FILES; i++)
        cr_assert(holds_file(2, i));
}

Test(out_folder, folders_made_for_a_run_that_fails_go_again)
{
    char path[4300];
    out_folder folder = {0};
    snprintf(path, sizeof path, "%s/a/b/out//", specimen);
    cr_assert_eq(out_folder_open_whole(&folder, path, NULL, NULL), RLV_DONE);
    out_folder_abandon(&folder);
    cr_assert_eq(folder_count(specimen), 0);
    cr_assert_eq(out_folder_open(&folder, path, NULL), RLV_DONE);
    out_folder_abandon(&folder);
    cr_assert_eq(folder_count(specimen), 0);
}

// --- Beside another run ---------------------------------------------------------------------------------------------

static void run_side_by_side(bool no_exchange)
{
    hook.quick = true;
    hook.no_exchange = no_exchange;
    begin_again(true);
    for (int round = 0; round < 50; round++)
    {
        pid_t child[4];
        for (int i = 0; i < 4; i++)
        {
            child[i] = fork();
            if (child[i] == 0)
                _exit((int)write_generation(OUT_WHOLE, 2 + i, 20, NULL));
        }
        for (int i = 0; i < 4; i++)
        {
            int how = 0;
            waitpid(child[i], &how, 0);
            cr_assert(WIFEXITED(how) && WEXITSTATUS(how) == 0, "round %d: run %d ended with %d", round, i, how);
        }
        cr_assert(is_generation(2, 20) || is_generation(3, 20) || is_generation(4, 20) || is_generation(5, 20));
        cr_assert_eq(folder_count(specimen), 1, "round %d", round);
    }
}

Test(out_folder, runs_side_by_side_all_end_and_the_folder_is_one_of_theirs_whole)
{
    run_side_by_side(false);
}

Test(out_folder, runs_side_by_side_all_end_where_the_disk_cannot_swap)
{
    run_side_by_side(true);
}

Test(out_folder, what_a_living_run_writes_is_not_swept)
{
    out_folder folder = {0};
    FILE* stream = NULL;
    begin_again(true);
    cr_assert_eq(out_folder_open_whole(&folder, out, NULL, NULL), RLV_DONE);
    cr_assert_eq(out_folder_add(&folder, "a.txt", &stream, NULL), RLV_DONE);
    pid_t child = fork();
    if (child == 0)
    {
        rlv_temporary_sweep(specimen);
        _exit(0);
    }
    waitpid(child, NULL, 0);
    cr_assert_eq(folder_count(specimen), 2);
    cr_assert_eq(out_folder_commit(&folder, NULL), RLV_DONE);
    cr_assert_eq(folder_count(specimen), 1);
    cr_assert_eq(folder_count(out), 1);
}
