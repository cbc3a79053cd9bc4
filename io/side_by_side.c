#include "side_by_side.h"

#include <omp.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>

enum
{
    AT_ONCE = 2,
};

/// How far all jobs are.
typedef struct pool
{
    size_t count, done;
    int threads; ///< of all together
} pool;

/// Whoever runs alone at the end takes over the threads of those that are done.
static void take_over(void* user, const char* step, double share)
{
    const pool* of = user;
    size_t done;
    (void)step;
    (void)share;
#pragma omp atomic read
    done = of->done;
    if (done + 1 == of->count)
        omp_set_num_threads(of->threads);
}

rlv_status side_by_side(size_t count, side_job job, void* user, const char* step, const rlv_progress* progress,
                        rlv_error* error)
{
    const int threads = omp_get_max_threads(), levels = omp_get_max_active_levels(),
              at_once = count < AT_ONCE || threads < AT_ONCE ? 1 : AT_ONCE;
    pool of = {.count = count, .threads = threads};
    const rlv_progress silent = {take_over, &of}, *own_progress = count == 1 ? progress : &silent;
    rlv_status* status = rlv_reserve(count + 1, sizeof *status, error);
    rlv_error* own = status != NULL ? rlv_reserve(count + 1, sizeof *own, error) : NULL;
    size_t failed = SIZE_MAX; // the lowest that has
    if (own == NULL)
    {
        free(status);
        return RLV_SYSTEM;
    }
    omp_set_max_active_levels(2);
#pragma omp parallel for num_threads(at_once) schedule(dynamic, 1) if (at_once > 1)
    for (size_t i = 0; i < count; i++)
    {
        bool go;
#pragma omp critical(rlv_side_by_side)
        {
            go = i < failed;
            if (count > 1)
                rlv_tell(progress, step, (double)of.done / (double)count);
        }
        if (!go)
            continue;
        omp_set_num_threads(threads / at_once);
        status[i] = job(user, i, own_progress, own + i);
#pragma omp critical(rlv_side_by_side)
        {
            failed = status[i] != RLV_DONE && i < failed ? i : failed;
#pragma omp atomic
            of.done++;
        }
    }
    omp_set_num_threads(threads);
    omp_set_max_active_levels(levels);
    const rlv_status first = rlv_first_failure(count + 1, status, own, error);
    free(own);
    free(status);
    return first;
}
