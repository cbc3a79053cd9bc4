/// The program: reads the call, runs the command, tells its answer, and says in one line what went wrong.

#include "command.h"

#include <fcntl.h>
#include <limits.h>
#include <malloc.h>
#include <omp.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/// What the line of progress says.
typedef struct progress_line
{
    const char* step;
    int percent;
} progress_line;

/// One line on stderr, drawn over itself; only where a person is looking.
static void tell_progress(void* user, const char* step, double share)
{
    progress_line* last = user;
    int now = (int)(100.0 * share);
    if (now == last->percent && step == last->step)
        return;
    *last = (progress_line){step, now};
    fprintf(stderr, "\r%-40.40s %3d %%", step, now);
    fflush(stderr);
}

static void clear_progress(const rlv_answer* answer)
{
    if (answer->progress.tell != NULL)
        fputs("\r\033[K", stderr);
}

/// `rilievo: where: what; mend`
static void tell_error(const rlv_error* error)
{
    fprintf(stderr, "rilievo: %s%s%s%s%s\n", error->where, error->where[0] != '\0' ? ": " : "", error->what,
            error->mend[0] != '\0' ? "; " : "", error->mend);
}

/// An error that says where it was, for one that came from a room that knows no file.
static void name_place(rlv_error* error, const rlv_options* options)
{
    if (error->where[0] != '\0' || options->path_count == 0)
        return;
    if (options->path_count == 1)
        snprintf(error->where, sizeof error->where, "%s", options->path[0]);
    else
        snprintf(error->where, sizeof error->where, "%.500s and %.500s", options->path[0], options->path[1]);
}

static rlv_status run(const rlv_options* options, rlv_error* error)
{
    rlv_answer answer = {0};
    progress_line last = {NULL, -1};
    rlv_error told_error = {0};
    if (isatty(STDERR_FILENO))
        answer.progress = (rlv_progress){tell_progress, &last};
    rlv_status status = answer_begin(&answer, options, error);
    if (status == RLV_DONE)
    {
        status = options->command->run(options, &answer, error);
        if (status == RLV_IMPOSSIBLE)
            name_place(error, options);
    }
    clear_progress(&answer);
    if (status == RLV_DONE || status == RLV_IMPOSSIBLE)
    {
        rlv_status told = answer_tell(&answer, options, status == RLV_DONE, &told_error);
        if (told != RLV_DONE)
        {
            status = told;
            *error = told_error;
        }
    }
    answer_free(&answer);
    return status;
}

static rlv_status start(int argc, char** argv, rlv_options* options, rlv_error* error)
{
    rlv_status status = options_read(options, argc, argv, error);
    if (status != RLV_DONE)
        return status;
    if (options->help || options->version)
    {
        if (options->help)
            options_help(options->command, stdout);
        else
            puts("rilievo " RLV_VERSION);
        return fflush(stdout) == 0 ? RLV_DONE
                                   : rlv_fail(error, RLV_SYSTEM, "standard output", "make room, or send it elsewhere",
                                              "it could not be written");
    }
    if (options->threads > 0)
        omp_set_num_threads(options->threads);
    return run(options, error);
}

/// A stream that came closed would lend its number to the next file that is opened, and what is told would go in there.
/// It gets one that cannot be used, so that its use fails and is told.
static void hold_streams(void)
{
    for (int stream = STDIN_FILENO; stream <= STDERR_FILENO; stream++)
        if (fcntl(stream, F_GETFD) < 0)
            (void)open("/dev/null", stream == STDIN_FILENO ? O_WRONLY : O_RDONLY);
}

/// What one step frees the next one takes. Large blocks would else go back to the system each time, which clears every
/// page that it hands out anew: a tenth of the processor time of a change between two meshes of five million triangles.
static void keep_memory(void)
{
    mallopt(M_MMAP_MAX, 0);
    mallopt(M_TRIM_THRESHOLD, INT_MAX);
}

/// A thread that waits leaves its processor to others: one that spins takes it from whatever else the machine does, and
/// a report beside another program then takes 1.4 times as long. The wish is read before main begins, so the program
/// begins again with it; where it cannot, it goes on as it is.
static void let_waiting_threads_rest(char** argv)
{
    char path[PATH_MAX];
    ssize_t length = readlink("/proc/self/exe", path, sizeof path - 1);
    if (length <= 0 || getenv("OMP_WAIT_POLICY") != NULL || setenv("OMP_WAIT_POLICY", "passive", 1) != 0)
        return;
    path[length] = '\0';
    execv(path, argv);
}

int main(int argc, char** argv)
{
    let_waiting_threads_rest(argv);
    rlv_options options = {0};
    rlv_error error = {0};
    hold_streams();
    keep_memory();
    // A reader that went away is a write that fails, and is told as one.
    signal(SIGPIPE, SIG_IGN);
    record_watch();
    rlv_status status = start(argc, argv, &options, &error);
    if (status != RLV_DONE)
        tell_error(&error);
    options_free(&options);
    return (int)status;
}
