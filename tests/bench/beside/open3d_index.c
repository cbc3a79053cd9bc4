/// The index of Open3D, through a script in Python. It takes its own times, of the library's calls alone.

#include "index.h"
#include "python.h"

#include <stdio.h>
#include <string.h>

static bool give(const hand_over* folder, const index_work* work)
{
    return hand_over_put(folder, "position", work->position_mm, 12 * work->vertex_count) &&
           hand_over_put(folder, "corner", work->corner, 12 * work->triangle_count) &&
           hand_over_put(folder, "query", work->query_mm, 12 * work->query_count) &&
           hand_over_put(folder, "ray", work->ray, 28 * work->ray_count);
}

/// Times come run by run: build, nearest, rays, blocked, each as seconds and processor seconds.
static bool take(const hand_over* folder, index_result* result, const index_work* work)
{
    static const index_kind kind[4] = {INDEX_BUILD, INDEX_NEAREST, INDEX_RAYS, INDEX_BLOCKED};
    timing run[INDEX_REPEAT_MOST][4];
    if (!hand_over_take(folder, "times", run, work->repeat * sizeof *run) ||
        !hand_over_take(folder, "distance", result->distance_mm, 4 * work->query_count) ||
        !hand_over_take(folder, "met", result->met, work->ray_count))
        return false;
    for (size_t i = 0; i < work->repeat; i++)
        for (size_t k = 0; k < 4; k++)
            result->run[kind[k]][i] = run[i][k];
    return true;
}

bool index_open3d(index_result* result, const index_work* work)
{
    const char* python = python_with("open3d");
    hand_over folder;
    if (python == NULL)
        return false;
    if (!hand_over_open(&folder))
    {
        strcpy(result->trouble, "no folder to hand over in");
        return false;
    }
    bool done = give(&folder, work);
    if (!done)
        strcpy(result->trouble, "no room to hand over in");
    done = done &&
           hand_over_run(&folder, python, "open3d_index.py", work->repeat, result->trouble, sizeof result->trouble);
    if (done && !take(&folder, result, work))
    {
        strcpy(result->trouble, "open3d_index.py left no whole answer");
        done = false;
    }
    hand_over_close(&folder);
    return done;
}
