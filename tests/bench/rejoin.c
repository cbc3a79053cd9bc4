/// How long it takes to put a piece back on its block, from their files to the answer, by the two faces alone: any
/// attitude is tried.
///
/// Usage: bench_rejoin [TRIANGLES [SEED]]
///
/// A break of `tests/support/breaking` with about so many triangles in either part (2,000,000 where nothing is said) is
/// written into a folder of its own, read and mended again, and measured; medians of a few runs, on the clock and of
/// all threads' processor time. Phases are those that rejoin tells as it goes: `closing` finds the faces and fits them
/// in each place that the search proposes.

#include "rejoin.h"
#include "beside/timing.h"
#include "mesh_file.h"
#include "support/breaking.h"
#include "support/own_folder.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum
{
    RUNS = 3,
    PHASES = 6,
};

/// In the order in which they come; the last is all of them.
static const char* const phase[PHASES] = {"reading", "indexing", "searching", "closing", "measuring", "all"};

/// What one run took, by phase.
typedef struct run
{
    timing took[PHASES];
    size_t now; ///< the phase that it is in
    timing since;
} run;

static void add(timing* to, timing more)
{
    to->wall_s += more.wall_s;
    to->processor_s += more.processor_s;
}

static void turn_to(run* r, size_t next)
{
    const timing took = timing_since(r->since);
    add(&r->took[r->now], took);
    add(&r->took[PHASES - 1], took);
    r->now = next;
    r->since = timing_start();
}

static void tell(void* user, const char* step, double share)
{
    run* r = user;
    (void)share;
    for (size_t k = 1; k + 1 < PHASES; k++)
        if (strcmp(step, phase[k]) == 0 && k != r->now)
            turn_to(r, k);
}

static void give_up(const char* what)
{
    fprintf(stderr, "bench_rejoin: %s\n", what);
    exit(4);
}

static void read_part(rlv_mesh* mesh, const char* path)
{
    rlv_error error = {0};
    rlv_mesh_source source;
    rlv_mesh_health health;
    const rlv_progress progress = {0};
    if (rlv_mesh_file_read(mesh, &source, path, RLV_UNIT_MM, &progress, &error) != RLV_DONE ||
        rlv_mesh_mend(mesh, &health, &error) != RLV_DONE)
        give_up(error.what);
}

static void write_part(const rlv_mesh* mesh, const char* path)
{
    rlv_error error = {0};
    if (rlv_mesh_file_write(mesh, path, &error) != RLV_DONE)
        give_up(error.what);
}

/// Paths of the two parts, and of the folder that is theirs.
typedef struct files
{
    char folder[4096], block[4200], piece[4200];
} files;

static run measure(const files* at)
{
    run r = {.since = timing_start()};
    rlv_mesh block = {0}, piece = {0};
    read_part(&block, at->block);
    read_part(&piece, at->piece);
    rlv_rejoin rejoin;
    rlv_error error = {0};
    const rlv_rejoin_input input = {.block = &block, .piece = &piece, .progress = {.tell = tell, .user = &r}};
    const rlv_status status = rlv_rejoin_measure(&rejoin, &input, &error);
    turn_to(&r, 0);
    printf("%s, %.0f %% of each other's relief, known to %.3f mm\n", status == RLV_DONE ? "put back" : error.what,
           100.0 * rejoin.fit, rlv_pose_position_sd_mm(&rejoin.closed));
    rlv_rejoin_free(&rejoin);
    rlv_mesh_free(&piece);
    rlv_mesh_free(&block);
    return r;
}

int main(int argc, char** argv)
{
    const size_t triangles = argc > 1 ? (size_t)strtoul(argv[1], NULL, 10) : 2000000;
    breaking_plan plan = breaking_draw(argc > 2 ? strtoull(argv[2], NULL, 10) : 0, triangles);
    plan.triangles[1] = plan.triangles[2] = triangles; // of equal size, and none from before
    breaking made = breaking_make(&plan, false);
    static files at;
    folder_make(at.folder);
    snprintf(at.block, sizeof at.block, "%s/block.ply", at.folder);
    snprintf(at.piece, sizeof at.piece, "%s/piece.ply", at.folder);
    write_part(&made.block, at.block);
    write_part(&made.piece, at.piece);
    printf("%zu and %zu triangles\n", made.block.triangle_count, made.piece.triangle_count);
    breaking_free(&made);
    run all[RUNS];
    for (int k = 0; k < RUNS; k++)
        all[k] = measure(&at);
    folder_remove(at.folder);
    printf("%-10s %9s %10s\n", "phase", "seconds", "processor");
    for (size_t p = 0; p < PHASES; p++)
    {
        timing took[RUNS];
        for (int k = 0; k < RUNS; k++)
            took[k] = all[k].took[p];
        const timing middle = timing_median(took, RUNS);
        printf("%-10s %9.3f %10.3f\n", phase[p], middle.wall_s, middle.processor_s);
    }
    return 0;
}
