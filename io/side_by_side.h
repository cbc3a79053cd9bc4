/// Independent jobs, two at a time, with the threads shared out between them.
///
/// Measuring a step and drawing a sheet both have stretches that one thread must do alone; another job fills them. No
/// more than two run at once, so that memory is no more than twice that of one; the one that is left at the end has all
/// threads, from where it next tells how far it is. What each does hangs on its index alone: the answers are the same
/// at any number of threads.

#ifndef RLV_SIDE_BY_SIDE_H
#define RLV_SIDE_BY_SIDE_H

#include "error.h"

#include <stddef.h>

/// Do one job. What it tells to `progress` is heard by people where it is the only one.
typedef rlv_status (*side_job)(void* user, size_t index, const rlv_progress* progress, rlv_error* error);

/// Do jobs 0 up to `count`, begun in order. `progress` tells how many are done, as `step`, from either thread, one at a
/// time. After a failure no job of a higher index is begun; the failure of the lowest index is told, the same at any
/// number of threads.
rlv_status side_by_side(size_t count, side_job job, void* user, const char* step, const rlv_progress* progress,
                        rlv_error* error);

#endif
