/// Seconds on the clock and seconds of all threads' processor time: on a shared machine the second, over the number of
/// threads, tells what the first would be alone. Read by C and C++.

#ifndef RLV_BENCH_TIMING_H
#define RLV_BENCH_TIMING_H

#include <stdlib.h>
#include <time.h>

typedef struct timing
{
    double wall_s, processor_s;
} timing;

static inline double timing_clock(clockid_t clock)
{
    struct timespec now;
    clock_gettime(clock, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static inline timing timing_start(void)
{
    timing now;
    now.wall_s = timing_clock(CLOCK_MONOTONIC);
    now.processor_s = timing_clock(CLOCK_PROCESS_CPUTIME_ID);
    return now;
}

static inline timing timing_since(timing start)
{
    timing now = timing_start();
    now.wall_s -= start.wall_s;
    now.processor_s -= start.processor_s;
    return now;
}

static inline int timing_by_wall(const void* a, const void* b)
{
    double x = ((const timing*)a)->wall_s, y = ((const timing*)b)->wall_s;
    return (x > y) - (x < y);
}

/// The run of `count` that took the median time on the clock. They are sorted.
static inline timing timing_median(timing* run, size_t count)
{
    qsort(run, count, sizeof *run, timing_by_wall);
    return run[count / 2];
}

#endif
