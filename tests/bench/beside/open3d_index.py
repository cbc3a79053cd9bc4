"""Open3D's RaycastingScene on what lies in a folder; called by bench_tree: open3d_index.py FOLDER REPEAT.

In: position, query (float32, 3 each), corner (uint32, 3 each), ray (float32: origin, direction, limit). Out: distance
(float32), met (a byte each), times (float64: for each run build, nearest, rays, blocked, each seconds and processor
seconds).

The rays of Debian 12's build (0.16.1) meet nothing, not even a lone triangle before them; the benchmark sees that.
"""

import os
import sys
import time

import numpy as np
import open3d


def timed(work):
    wall, processor = time.perf_counter(), time.process_time()
    answer = work()
    return answer, (time.perf_counter() - wall, time.process_time() - processor)


def main():
    folder, repeat = sys.argv[1], int(sys.argv[2])
    read = lambda name, kind, width: np.fromfile(os.path.join(folder, name), kind).reshape(-1, width)
    write = lambda name, array, kind: np.ascontiguousarray(array, kind).tofile(os.path.join(folder, name))
    tensor = lambda array: open3d.core.Tensor(np.ascontiguousarray(array))
    position, corner = tensor(read("position", "<f4", 3)), tensor(read("corner", "<u4", 3))
    queries = read("query", "<f4", 3)
    query, ray = tensor(queries), tensor(read("ray", "<f4", 7)[:, :6])
    one = tensor(queries[:1])

    def build():
        scene = open3d.t.geometry.RaycastingScene()
        scene.add_triangles(position, corner)
        scene.compute_closest_points(one)  # it is built when first asked
        return scene

    times = []
    for _ in range(repeat):
        scene, built = timed(build)
        nearest, near = timed(lambda: scene.compute_closest_points(query))
        hits, cast = timed(lambda: scene.cast_rays(ray))
        _, blocked = timed(lambda: scene.test_occlusions(ray))
        times.append((built, near, cast, blocked))
    write("distance", np.linalg.norm(nearest["points"].numpy() - queries, axis=1), "<f4")
    write("met", np.isfinite(hits["t_hit"].numpy()), "u1")
    write("times", times, "<f8")


main()
