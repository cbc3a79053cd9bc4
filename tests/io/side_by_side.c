/// Tests of jobs side by side.

#include "side_by_side.h"

#include <criterion/criterion.h>
#include <omp.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum
{
    JOBS = 40
};

/// What jobs leave behind them, and what they are to do.
typedef struct bench
{
    atomic_int begun[JOBS], running, most, failing_told;
    const rlv_progress* progress[JOBS]; ///< of jobs that are done: not to be followed
    int threads[JOBS];
    bool fails[JOBS];
    bool hold_second; ///< job 1 lasts until job 0 has failed, and that has been noticed
} bench;

static rlv_status note(void* user, size_t index, const rlv_progress* progress, rlv_error* error)
{
    bench* b = user;
    const int now = atomic_fetch_add(&b->running, 1) + 1;
    for (int most = atomic_load(&b->most); now > most && !atomic_compare_exchange_weak(&b->most, &most, now);)
        ;
    atomic_fetch_add(b->begun + index, 1);
    b->progress[index] = progress;
    b->threads[index] = omp_get_max_threads();
    rlv_tell(progress, "own", 0.5);
    while (b->hold_second && index == 1 && atomic_load(&b->failing_told) == 0)
        usleep(1000);
    if (b->hold_second && index == 1)
        usleep(300000); // far longer than a thread needs from a job's return to noting its failure
    atomic_fetch_sub(&b->running, 1);
    if (!b->fails[index])
        return RLV_DONE;
    atomic_store(&b->failing_told, 1);
    return rlv_fail(error, RLV_IMPOSSIBLE, "job", NULL, "job %zu cannot be done", index);
}

/// Shares as they were told.
typedef struct told
{
    char step[64];
    double share[2 * JOBS];
    size_t count;
} told;

static void hear(void* user, const char* step, double share)
{
    told* t = user;
    snprintf(t->step, sizeof t->step, "%s", step);
    if (t->count < sizeof t->share / sizeof *t->share)
        t->share[t->count++] = share;
}

static const int thread_counts[] = {1, 2, 4};

Test(side_by_side, every_job_is_done_once_at_any_thread_count_and_no_more_than_two_at_a_time)
{
    for (size_t k = 0; k < 3; k++)
    {
        bench b = {0};
        omp_set_num_threads(thread_counts[k]);
        cr_assert_eq(side_by_side(JOBS, note, &b, "jobs", &(rlv_progress){0}, NULL), RLV_DONE);
        for (size_t i = 0; i < JOBS; i++)
            cr_assert_eq(b.begun[i], 1, "job %zu was begun %d times with %d threads", i, b.begun[i], thread_counts[k]);
        cr_assert_leq(b.most, thread_counts[k] < 2 ? 1 : 2);
    }
}

Test(side_by_side, threads_are_shared_out_between_two_jobs_and_given_back)
{
    for (size_t k = 0; k < 3; k++)
    {
        const int threads = thread_counts[k], each = threads < 2 ? 1 : threads / 2;
        bench many = {0}, one = {0};
        omp_set_num_threads(threads);
        cr_assert_eq(side_by_side(JOBS, note, &many, "jobs", &(rlv_progress){0}, NULL), RLV_DONE);
        cr_assert_eq(omp_get_max_threads(), threads);
        for (size_t i = 0; i < JOBS; i++)
            cr_assert_eq(many.threads[i], each);
        cr_assert_eq(side_by_side(1, note, &one, "jobs", &(rlv_progress){0}, NULL), RLV_DONE);
        cr_assert_eq(one.threads[0], threads, "a single job has all threads");
        cr_assert_eq(omp_get_max_threads(), threads);
    }
}

/// Of two jobs the second lasts until the first has been noted as done, which its returning tells a moment too early.
static rlv_status outlast(void* user, size_t index, const rlv_progress* progress, rlv_error* error)
{
    bench* b = user;
    (void)error;
    atomic_fetch_add(b->begun + index, 1);
    for (int tries = 0; index == 1 && tries < 2000 && omp_get_max_threads() < 4; tries++)
    {
        usleep(1000);
        rlv_tell(progress, "own", 0.5);
    }
    b->threads[index] = omp_get_max_threads();
    return RLV_DONE;
}

Test(side_by_side, the_job_that_is_left_at_the_end_has_all_threads)
{
    bench b = {0};
    omp_set_num_threads(4);
    cr_assert_eq(side_by_side(2, outlast, &b, "jobs", &(rlv_progress){0}, NULL), RLV_DONE);
    cr_assert_eq(b.threads[0], 2);
    cr_assert_eq(b.threads[1], 4);
    cr_assert_eq(omp_get_max_threads(), 4);
}

Test(side_by_side, no_job_is_begun_after_a_failure, .timeout = 60)
{
    for (size_t k = 0; k < 3; k++)
    {
        bench b = {.hold_second = true, .fails = {true}};
        rlv_error error = {0};
        omp_set_num_threads(thread_counts[k]);
        cr_assert_eq(side_by_side(JOBS, note, &b, "jobs", &(rlv_progress){0}, &error), RLV_IMPOSSIBLE);
        cr_assert_str_eq(error.what, "job 0 cannot be done");
        // The second runs beside the first where there are two threads; it outlasts it, and nothing comes after.
        if (thread_counts[k] == 1)
            cr_assert_eq(b.begun[1], 0);
        for (size_t i = 2; i < JOBS; i++)
            cr_assert_eq(b.begun[i], 0, "job %zu was begun with %d threads", i, thread_counts[k]);
    }
}

/// Ten microseconds, so that the other thread is made to wait for its turn.
static void dawdle(void* user, const char* step, double share)
{
    (void)user;
    (void)step;
    (void)share;
    for (const double from = omp_get_wtime(); omp_get_wtime() - from < 1e-5;)
        ;
}

Test(side_by_side, of_several_failures_that_of_the_lowest_job_is_told_every_time, .timeout = 300)
{
    // Which of two threads gets its turn first is luck: seldom, once in some thousand times, the later job's does.
    const rlv_progress progress = {dawdle, NULL};
    for (size_t k = 0; k < 3; k++)
    {
        omp_set_num_threads(thread_counts[k]);
        for (int trial = 0; trial < 200; trial++)
        {
            bench b = {.fails = {[2] = true, [3] = true, [4] = true}};
            rlv_error error = {0};
            cr_assert_eq(side_by_side(6, note, &b, "jobs", &progress, &error), RLV_IMPOSSIBLE);
            cr_assert_str_eq(error.what, "job 2 cannot be done", "trial %d with %d threads", trial, thread_counts[k]);
            cr_assert(b.begun[0] == 1 && b.begun[1] == 1 && b.begun[5] == 0);
        }
    }
}

Test(side_by_side, a_single_job_tells_its_own_progress)
{
    told t = {0};
    bench b = {0};
    const rlv_progress progress = {hear, &t};
    cr_assert_eq(side_by_side(1, note, &b, "jobs", &progress, NULL), RLV_DONE);
    cr_assert_eq(b.progress[0], &progress);
    cr_assert_eq(t.count, 1, "nothing is told beside it");
    cr_assert_str_eq(t.step, "own");
}

Test(side_by_side, several_jobs_tell_nothing_themselves_and_how_many_are_done_is_told)
{
    for (size_t k = 0; k < 3; k++)
    {
        told t = {0};
        bench b = {0};
        const rlv_progress progress = {hear, &t};
        omp_set_num_threads(thread_counts[k]);
        cr_assert_eq(side_by_side(JOBS, note, &b, "jobs", &progress, NULL), RLV_DONE);
        cr_assert_str_eq(t.step, "jobs");
        cr_assert_eq(t.count, JOBS, "once a job");
        cr_assert_eq(t.share[0], 0.0);
        for (size_t i = 0; i < JOBS; i++)
        {
            // The job that is begun as the i-th finds at most one other of those before it at work.
            cr_assert_leq(t.share[i], (double)i / JOBS);
            cr_assert_geq(t.share[i], ((double)i - 1.0) / JOBS);
            cr_assert(i == 0 || t.share[i] >= t.share[i - 1], "a share fell");
        }
    }
}

Test(side_by_side, no_jobs_are_done)
{
    told t = {0};
    const rlv_progress progress = {hear, &t};
    cr_assert_eq(side_by_side(0, note, NULL, "jobs", &progress, NULL), RLV_DONE);
    cr_assert_eq(t.count, 0);
}
