/// How long the whole `rilievo change --aligned` takes from files to answer, and what memory it holds; and how both
/// grow from one size to four times it.
///
/// Usage: bench_change [TRIANGLES] (default 5,000,000; four times that is measured too)
///
/// The program itself is run as a child, so that its time and its greatest memory are the kernel's own figures. The
/// rocks are closed, free of noise and cut by a plane, with the same tessellation before and after: what is off is the
/// measurement's. The aims are for 5 million triangles on two cores.

#include "mesh_file.h"
#include "rock.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum
{
    RUNS = 3,
};

typedef struct run
{
    double seconds, megabytes, removed_mm3;
} run;

static void need(rlv_status status, const rlv_error* error)
{
    if (status == RLV_DONE)
        return;
    fprintf(stderr, "bench_change: %s %s; %s\n", error->where, error->what, error->mend);
    exit(EXIT_FAILURE);
}

/// Write the two stages into `folder`; returns the volume between them.
static double write_stages(const char* folder, size_t triangles)
{
    rlv_error error = {0};
    double volume[2];
    rock block = {.half_axes_mm = {140, 110, 80}, .relief_mm = 4, .relief_length_mm = 120, .facets = 0.5, .seed = 7};
    block.cut[0] = (rock_cut){.plane = true, .direction = {0.3, 0.2, 0.93}, .distance_mm = 60};
    for (size_t stage = 0; stage < 2; stage++)
    {
        char path[512];
        rlv_mesh mesh = {0};
        block.cut_count = stage;
        need(rock_mesh(&mesh, &block, triangles, 3, &error), &error);
        volume[stage] = rlv_mesh_measure(&mesh).volume_mm3;
        snprintf(path, sizeof path, "%s/stage%zu.ply", folder, stage);
        need(rlv_mesh_file_write(&mesh, path, &error), &error);
        rlv_mesh_free(&mesh);
    }
    return volume[0] - volume[1];
}

/// Run the program once in `folder`.
static run run_once(const char* folder)
{
    struct timespec start, end;
    struct rusage usage;
    int status = 0;
    clock_gettime(CLOCK_MONOTONIC, &start);
    const pid_t child = fork();
    if (child == 0)
    {
        if (chdir(folder) == 0 && freopen("answer.json", "w", stdout) != NULL)
            execl(RLV_PROGRAM, "rilievo", "change", "stage0.ply", "stage1.ply", "--unit", "mm", "--aligned", "--json",
                  (char*)NULL);
        _exit(127);
    }
    if (child < 0 || wait4(child, &status, 0, &usage) < 0 || !WIFEXITED(status) || WEXITSTATUS(status) != 0)
    {
        fprintf(stderr, "bench_change: the program could not be run\n");
        exit(EXIT_FAILURE);
    }
    clock_gettime(CLOCK_MONOTONIC, &end);
    char path[512];
    snprintf(path, sizeof path, "%s/answer.json", folder);
    json_t* answer = json_load_file(path, 0, NULL);
    const run once = {(double)(end.tv_sec - start.tv_sec) + 1e-9 * (double)(end.tv_nsec - start.tv_nsec),
                      (double)usage.ru_maxrss / 1024.0,
                      json_number_value(json_object_get(json_object_get(answer, "removed"), "volume_mm3"))};
    json_decref(answer);
    return once;
}

static int by_seconds(const void* a, const void* b)
{
    const double x = ((const run*)a)->seconds, y = ((const run*)b)->seconds;
    return (x > y) - (x < y);
}

/// Measure one size and print its row.
static run measure_size(const char* folder, size_t triangles)
{
    run runs[RUNS];
    const double truth = write_stages(folder, triangles);
    for (int i = 0; i < RUNS; i++)
        runs[i] = run_once(folder);
    qsort(runs, RUNS, sizeof *runs, by_seconds);
    const run middle = runs[RUNS / 2];
    printf("change --aligned, %9zu triangles a stage: %6.2f s, %5.0f MB, removed volume off by %+.5f %%\n", triangles,
           middle.seconds, middle.megabytes, 100.0 * (middle.removed_mm3 / truth - 1.0));
    fflush(stdout);
    return middle;
}

static void clear(const char* folder)
{
    static const char* const name[] = {"stage0.ply", "stage1.ply", "answer.json"};
    char path[512];
    for (size_t i = 0; i < sizeof name / sizeof *name; i++)
    {
        snprintf(path, sizeof path, "%s/%s", folder, name[i]);
        unlink(path);
    }
    rmdir(folder);
}

int main(int argc, char** argv)
{
    const size_t triangles = argc > 1 ? (size_t)strtoull(argv[1], NULL, 10) : 5000000;
    char folder[] = "bench-change-XXXXXX";
    if (triangles == 0 || mkdtemp(folder) == NULL)
    {
        fprintf(stderr, "bench_change: say how many triangles, in a folder that can be written to\n");
        return EXIT_FAILURE;
    }
    const run one = measure_size(folder, triangles), four = measure_size(folder, 4 * triangles);
    clear(folder);
    printf("aims at 5 million: 3 s, 1000 MB; four times the triangles took %.1f times the time and %.1f times the "
           "memory, aim 4.4\n",
           four.seconds / one.seconds, four.megabytes / one.megabytes);
    return EXIT_SUCCESS;
}
