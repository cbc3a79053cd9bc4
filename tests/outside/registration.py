#!/usr/bin/env python3
"""Makes registration.txt: what two independent methods say of the motion between two states of the scanned rabbit.

Usage: registration.py build/outside/node_modules/bunny/index.js > registration.txt
Needs Debian's python3-open3d and python3-scipy; their versions are written beside the numbers.

The rabbit (npm package `bunny`, public domain: the Stanford scan, thinned) is taken at ten millimetres to its unit. The second
state has every triangle cut in four, its ears cut off by a plane, every vertex shaken by noise, and has been moved.
registration.c makes the same state by the same recipe.
"""

import json
import re
import sys

import numpy as np
import open3d
import scipy
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

SCALE, NOISE_SD, CUT = 10.0, 0.1, 0.8  # mm to a unit, mm, share of the height that stays
TURN, SHIFT = [1.1, -2.0, 0.7], [250.0, -120.0, 410.0]


def mix(index):
    """splitmix64 of an index, as a number in [0, 1)."""
    mask = (1 << 64) - 1
    z = ((index + 1) * 0x9E3779B97F4A7C15) & mask
    z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & mask
    z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & mask
    return ((z ^ (z >> 31)) >> 11) * 2.0**-53


def read(path):
    text = open(path).read()
    array = lambda name: np.array(json.loads(re.search(name + r"\s*=\s*(\[\[.*?\]\])", text, re.S).group(1)))
    return array("positions") * SCALE, array("cells").astype(int)


def second_state(points, cells):
    """Cut in four, cut off, shaken; which vertices were cut."""
    points = [p for p in points]
    middle, out = {}, []

    def between(a, b):
        key = (min(a, b), max(a, b))
        if key not in middle:
            middle[key] = len(points)
            points.append(0.5 * (points[a] + points[b]))
        return middle[key]

    for a, b, c in cells:
        ab, bc, ca = between(a, b), between(b, c), between(c, a)
        out += [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
    points = np.array(points)
    low, high = points[:, 1].min(), points[:, 1].max()
    top = low + CUT * (high - low)
    cut = points[:, 1] > top
    points[cut, 1] = top
    # Sums of twelve even numbers: near enough to normal, and the same in any language.
    shake = np.array([[sum(mix(12 * (3 * i + k) + j) for j in range(12)) - 6.0 for k in range(3)]
                      for i in range(len(points))])
    return points + NOISE_SD / np.sqrt(3.0) * shake, np.array(out), cut


def main():
    points, cells = read(sys.argv[1])
    moved, _, cut = second_state(points, cells)
    turn = Rotation.from_rotvec(TURN).as_matrix()
    moved = moved @ turn.T + SHIFT

    scene = open3d.t.geometry.RaycastingScene()
    scene.add_triangles(open3d.core.Tensor(points.astype(np.float32)), open3d.core.Tensor(cells.astype(np.uint32)))
    held = moved[~cut]
    start = np.concatenate([Rotation.from_matrix(turn.T).as_rotvec(), -turn.T @ SHIFT])
    centre = held.mean(axis=0)

    def carried(x):
        return Rotation.from_rotvec(x[:3]).apply(held) + x[3:]

    # Iterated: exact nearest points, then least squares on the distances along the normals of the faces they lie on.
    x = start.copy()
    corner = points[cells]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    for _ in range(50):
        found = scene.compute_closest_points(open3d.core.Tensor(carried(x).astype(np.float32)))
        foot = found["points"].numpy().astype(float)
        n = normal[found["primitive_ids"].numpy()]
        fit = least_squares(lambda y: np.einsum("ij,ij->i", carried(y) - foot, n), x, loss="soft_l1", f_scale=0.3,
                            x_scale=[0.01] * 3 + [1.0] * 3, xtol=1e-14, ftol=1e-14, gtol=1e-14)
        done = np.abs(Rotation.from_rotvec(fit.x[:3]).apply(centre) + fit.x[3:] -
                      Rotation.from_rotvec(x[:3]).apply(centre) - x[3:]).max() < 1e-6
        x = fit.x
        if done:
            break

    # And Open3D's own, on points of the surface, from point to plane with Tukey's weight.
    mesh = open3d.geometry.TriangleMesh(open3d.utility.Vector3dVector(points), open3d.utility.Vector3iVector(cells))
    mesh.compute_triangle_normals()
    open3d.utility.random.seed(1)
    target = mesh.sample_points_uniformly(400000, use_triangle_normal=True)
    source = open3d.geometry.PointCloud(open3d.utility.Vector3dVector(held))
    first = np.eye(4)
    first[:3, :3], first[:3, 3] = turn.T, -turn.T @ SHIFT
    registration = open3d.pipelines.registration
    icp = registration.registration_icp(
        source, target, 2.0, first,
        registration.TransformationEstimationPointToPlane(registration.TukeyLoss(k=0.5)),
        registration.ICPConvergenceCriteria(1e-12, 1e-12, 200)).transformation

    exact = np.eye(4)
    exact[:3, :3], exact[:3, 3] = Rotation.from_rotvec(x[:3]).as_matrix(), x[3:]
    print(f"# made by registration.py: Open3D {open3d.__version__}, SciPy {scipy.__version__}")
    print("# the motion that was made: a rotation vector in radians, then a shift in mm")
    print(" ".join(f"{v:.17g}" for v in TURN + SHIFT))
    print("# back again by SciPy's least squares on exact nearest points: 16 numbers, row-major")
    print(" ".join(f"{v:.17g}" for v in exact.ravel()))
    print("# back again by Open3D's registration_icp: 16 numbers, row-major")
    print(" ".join(f"{v:.17g}" for v in icp.ravel()))


main()
