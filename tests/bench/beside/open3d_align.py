"""Open3D's registration of what lies in a folder; called by bench_align: open3d_align.py FOLDER 1.

In: before_position, after_position (float32, 3 each), before_corner, after_corner (uint32, 3 each). Out: transform
(float64, 16 row-major, AFTER to BEFORE), times (float64: seconds and processor seconds).

The library's own recipe: points thinned to cells of 2 % of the size, feature histograms of the neighbourhood (R. B.
Rusu, N. Blodow, M. Beetz, ICRA 2009) matched by random samples, then refinement from point to plane, on the thinned
points and on all.
"""

import os
import sys
import time

import numpy as np
import open3d

registration = open3d.pipelines.registration


def mesh_of(folder, name):
    read = lambda part, kind: np.fromfile(os.path.join(folder, name + part), kind).reshape(-1, 3)
    vector = open3d.utility
    return open3d.geometry.TriangleMesh(vector.Vector3dVector(read("_position", "<f4").astype(float)),
                                        vector.Vector3iVector(read("_corner", "<u4").astype(np.int32)))


def cloud_of(mesh):
    mesh.compute_vertex_normals()
    cloud = open3d.geometry.PointCloud(mesh.vertices)
    cloud.normals = mesh.vertex_normals
    return cloud


def thinned(cloud, cell):
    thin = cloud.voxel_down_sample(cell)
    thin.normalize_normals()
    near = open3d.geometry.KDTreeSearchParamHybrid(radius=5.0 * cell, max_nn=100)
    return thin, registration.compute_fpfh_feature(thin, near)


def refined(source, target, within, start):
    return registration.registration_icp(
        source, target, within, start,
        registration.TransformationEstimationPointToPlane(registration.TukeyLoss(k=0.5 * within)),
        registration.ICPConvergenceCriteria(1e-6, 1e-6, 30)).transformation


def align(before, after):
    target, source = cloud_of(before), cloud_of(after)
    cell = 0.02 * np.linalg.norm(target.get_max_bound() - target.get_min_bound()) / np.sqrt(3.0)
    thin_target, target_feature = thinned(target, cell)
    thin_source, source_feature = thinned(source, cell)
    found = registration.registration_ransac_based_on_feature_matching(
        thin_source, thin_target, source_feature, target_feature, True, 1.5 * cell,
        registration.TransformationEstimationPointToPoint(False), 3,
        [registration.CorrespondenceCheckerBasedOnEdgeLength(0.9),
         registration.CorrespondenceCheckerBasedOnDistance(1.5 * cell)],
        registration.RANSACConvergenceCriteria(100000, 0.999)).transformation
    found = refined(thin_source, thin_target, cell, found)
    return refined(source, target, 0.25 * cell, found)


def main():
    folder = sys.argv[1]
    before, after = mesh_of(folder, "before"), mesh_of(folder, "after")
    open3d.utility.random.seed(1)
    wall, processor = time.perf_counter(), time.process_time()
    transform = align(before, after)
    times = time.perf_counter() - wall, time.process_time() - processor
    np.asarray(transform, "<f8").tofile(os.path.join(folder, "transform"))
    np.array(times, "<f8").tofile(os.path.join(folder, "times"))


main()
