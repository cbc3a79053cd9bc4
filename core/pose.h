/// Poses: rotation, translation and, where it is uncertain, scale, with their covariance.
///
/// A pose acts on column vectors: x' = scale * rotation * x + translation_mm. Its covariance is over the seven
/// parameters (translation in mm, rotation vector in radians, log scale), perturbed on the left at `centre_mm`:
/// x'' = centre + t + exp(log scale) * exp([w]x) * (x' - centre). The closed fit to points is B. K. P. Horn,
/// Closed-form solution of absolute orientation using unit quaternions, J. Opt. Soc. Am. A 4, 1987; its scale is S.
/// Umeyama, Least-squares estimation of transformation parameters, IEEE PAMI 13, 1991.

#ifndef RLV_POSE_H
#define RLV_POSE_H

#include "error.h"
#include "mesh.h"
#include "vector.h"

typedef struct rlv_pose
{
    rlv_mat3 rotation; ///< a proper rotation
    rlv_vec3 translation_mm;
    double scale;          ///< 1 where scale is certain
    rlv_vec3 centre_mm;    ///< where the covariance is perturbed: centroid of the stable surface, in the target frame
    double covariance[49]; ///< 7 x 7, row-major; zero rows where a parameter is certain
} rlv_pose;

/// No motion, scale 1, no covariance.
rlv_pose rlv_pose_identity(void);

/// Where a point goes.
rlv_vec3 rlv_pose_apply(const rlv_pose* pose, rlv_vec3 point_mm);

/// First `first`, then `second`. Covariances are not carried: the result has none.
rlv_pose rlv_pose_compose(const rlv_pose* second, const rlv_pose* first);

/// The motion that undoes `pose`, without covariance.
rlv_pose rlv_pose_inverse(const rlv_pose* pose);

/// Move `pose` on the left by the small motion `delta` (7 numbers, as the covariance orders them) about `centre_mm`.
rlv_pose rlv_pose_nudge(const rlv_pose* pose, rlv_vec3 centre_mm, const double delta[7]);

/// The rotation by |rotation_vector| radians about its direction (Rodrigues), and back (angle 0 to pi).
rlv_mat3 rlv_rotation_from_vector(rlv_vec3 rotation_vector);
rlv_vec3 rlv_rotation_to_vector(rlv_mat3 rotation);

/// The rotation of a unit quaternion (w, x, y, z); it is normalised first.
rlv_mat3 rlv_rotation_from_quaternion(const double wxyz[4]);

/// 16 numbers, row-major, acting on homogeneous column vectors in mm.
void rlv_pose_matrix(const rlv_pose* pose, double matrix[16]);

/// Square roots of the traces of the translation's and the rotation's covariance: mm and degrees.
double rlv_pose_position_sd_mm(const rlv_pose* pose);
double rlv_pose_rotation_sd_deg(const rlv_pose* pose);

/// What the pose's covariance does to a place in the target frame: 3 by 3, row-major, mm². Its small motion moves the
/// place by t + w x arm + s arm, with the arm from the centre.
void rlv_pose_covariance_at(const rlv_pose* pose, rlv_vec3 place_mm, double covariance_mm2[9]);

/// The trace of that: the variance of the distance, mm².
double rlv_pose_variance_at(const rlv_pose* pose, rlv_vec3 place_mm);

/// The same pose, its covariance perturbed at another place of the target frame.
rlv_pose rlv_pose_centred(const rlv_pose* pose, rlv_vec3 centre_mm);

/// The pose that carries `from` closest to `to` (both `count` points, at least three not on a line; weight may be
/// NULL), by least squares; with scale where `scale_free`. No covariance. RLV_IMPOSSIBLE where the points do not fix
/// it.
rlv_status rlv_pose_fit(rlv_pose* pose, size_t count, const rlv_vec3* from, const rlv_vec3* to, const double* weight,
                        bool scale_free, rlv_error* error);

/// Carry a mesh by a pose, in place. The new origin is the old one's image, rounded to a float-exact value.
void rlv_pose_move_mesh(const rlv_pose* pose, rlv_mesh* mesh);

#endif
