#include "pose.h"

#include <gsl/gsl_eigen.h>
#include <string.h>

rlv_pose rlv_pose_identity(void)
{
    return (rlv_pose){.rotation = rlv_mat3_identity(), .scale = 1.0};
}

rlv_vec3 rlv_pose_apply(const rlv_pose* pose, rlv_vec3 point_mm)
{
    return rlv_vec3_along(pose->translation_mm, pose->scale, rlv_mat3_apply(pose->rotation, point_mm));
}

rlv_pose rlv_pose_compose(const rlv_pose* second, const rlv_pose* first)
{
    rlv_pose both = rlv_pose_identity();
    both.rotation = rlv_mat3_multiply(second->rotation, first->rotation);
    both.scale = second->scale * first->scale;
    both.translation_mm = rlv_pose_apply(second, first->translation_mm);
    return both;
}

rlv_pose rlv_pose_inverse(const rlv_pose* pose)
{
    rlv_pose inverse = rlv_pose_identity();
    inverse.rotation = rlv_mat3_transpose(pose->rotation);
    inverse.scale = 1.0 / pose->scale;
    inverse.translation_mm = rlv_vec3_scale(rlv_mat3_apply(inverse.rotation, pose->translation_mm), -inverse.scale);
    return inverse;
}

rlv_pose rlv_pose_nudge(const rlv_pose* pose, rlv_vec3 centre_mm, const double delta[7])
{
    rlv_pose small = rlv_pose_identity();
    small.rotation = rlv_rotation_from_vector(rlv_vec3_of(delta[3], delta[4], delta[5]));
    small.scale = exp(delta[6]);
    rlv_vec3 turned = rlv_vec3_scale(rlv_mat3_apply(small.rotation, centre_mm), small.scale);
    small.translation_mm = rlv_vec3_add(rlv_vec3_of(delta[0], delta[1], delta[2]), rlv_vec3_sub(centre_mm, turned));
    rlv_pose moved = rlv_pose_compose(&small, pose);
    moved.centre_mm = pose->centre_mm;
    memcpy(moved.covariance, pose->covariance, sizeof moved.covariance);
    return moved;
}

rlv_mat3 rlv_rotation_from_quaternion(const double wxyz[4])
{
    double length = sqrt(wxyz[0] * wxyz[0] + wxyz[1] * wxyz[1] + wxyz[2] * wxyz[2] + wxyz[3] * wxyz[3]);
    if (!(length > 0.0))
        return rlv_mat3_identity();
    double w = wxyz[0] / length, x = wxyz[1] / length, y = wxyz[2] / length, z = wxyz[3] / length;
    return (rlv_mat3){{1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y), 2 * (x * y + w * z),
                       1 - 2 * (x * x + z * z), 2 * (y * z - w * x), 2 * (x * z - w * y), 2 * (y * z + w * x),
                       1 - 2 * (x * x + y * y)}};
}

rlv_mat3 rlv_rotation_from_vector(rlv_vec3 rotation_vector)
{
    double angle = rlv_vec3_length(rotation_vector);
    double half_sinc = angle > 1e-8 ? sin(angle / 2) / angle : 0.5; // sin(a/2)/a, to rounding at small angles
    double wxyz[4] = {cos(angle / 2), rotation_vector.x * half_sinc, rotation_vector.y * half_sinc,
                      rotation_vector.z * half_sinc};
    return rlv_rotation_from_quaternion(wxyz);
}

rlv_vec3 rlv_rotation_to_vector(rlv_mat3 rotation)
{
    // S. W. Shepperd, Quaternion from rotation matrix, J. Guidance and Control 1, 1978: divide by the largest part.
    const double* m = rotation.m;
    double part[4] = {m[0] + m[4] + m[8], m[0] - m[4] - m[8], m[4] - m[0] - m[8], m[8] - m[0] - m[4]};
    int largest = 0;
    for (int i = 1; i < 4; i++)
        if (part[i] > part[largest])
            largest = i;
    double q = 0.5 * sqrt(1.0 + part[largest]), r = 0.25 / q;
    double w, x, y, z;
    if (largest == 0)
        w = q, x = (m[7] - m[5]) * r, y = (m[2] - m[6]) * r, z = (m[3] - m[1]) * r;
    else if (largest == 1)
        w = (m[7] - m[5]) * r, x = q, y = (m[1] + m[3]) * r, z = (m[2] + m[6]) * r;
    else if (largest == 2)
        w = (m[2] - m[6]) * r, x = (m[1] + m[3]) * r, y = q, z = (m[5] + m[7]) * r;
    else
        w = (m[3] - m[1]) * r, x = (m[2] + m[6]) * r, y = (m[5] + m[7]) * r, z = q;
    if (w < 0.0)
        w = -w, x = -x, y = -y, z = -z;
    double sine = sqrt(x * x + y * y + z * z);
    double factor = sine > 1e-12 ? 2.0 * atan2(sine, w) / sine : 2.0;
    return rlv_vec3_of(x * factor, y * factor, z * factor);
}

void rlv_pose_matrix(const rlv_pose* pose, double matrix[16])
{
    const double shift[3] = {pose->translation_mm.x, pose->translation_mm.y, pose->translation_mm.z};
    for (int i = 0; i < 3; i++)
    {
        for (int j = 0; j < 3; j++)
            matrix[4 * i + j] = pose->scale * pose->rotation.m[3 * i + j];
        matrix[4 * i + 3] = shift[i];
        matrix[12 + i] = 0.0;
    }
    matrix[15] = 1.0;
}

static double root_of_trace(const rlv_pose* pose, int first)
{
    double trace = 0.0;
    for (int i = first; i < first + 3; i++)
        trace += pose->covariance[8 * i];
    return sqrt(trace);
}

double rlv_pose_position_sd_mm(const rlv_pose* pose)
{
    return root_of_trace(pose, 0);
}

double rlv_pose_rotation_sd_deg(const rlv_pose* pose)
{
    return root_of_trace(pose, 3) * 180.0 / M_PI;
}

rlv_pose rlv_pose_centred(const rlv_pose* pose, rlv_vec3 centre_mm)
{
    rlv_pose centred = *pose;
    const rlv_vec3 a = rlv_vec3_sub(centre_mm, pose->centre_mm);
    const double lever[3][7] = {
        {1, 0, 0, 0, a.z, -a.y, a.x}, {0, 1, 0, -a.z, 0, a.x, a.y}, {0, 0, 1, a.y, -a.x, 0, a.z}};
    double half[49];
    centred.centre_mm = centre_mm;
    for (int i = 0; i < 7; i++)
        for (int j = 0; j < 7; j++)
        {
            half[7 * i + j] = i < 3 ? 0.0 : pose->covariance[7 * i + j];
            for (int k = 0; i < 3 && k < 7; k++)
                half[7 * i + j] += lever[i][k] * pose->covariance[7 * k + j];
        }
    for (int i = 0; i < 7; i++)
        for (int j = 0; j < 7; j++)
        {
            centred.covariance[7 * i + j] = j < 3 ? 0.0 : half[7 * i + j];
            for (int k = 0; j < 3 && k < 7; k++)
                centred.covariance[7 * i + j] += half[7 * i + k] * lever[j][k];
        }
    return centred;
}

void rlv_pose_covariance_at(const rlv_pose* pose, rlv_vec3 place_mm, double covariance_mm2[9])
{
    const rlv_pose there = rlv_pose_centred(pose, place_mm);
    for (int k = 0; k < 9; k++)
        covariance_mm2[k] = there.covariance[7 * (k / 3) + k % 3];
}

double rlv_pose_variance_at(const rlv_pose* pose, rlv_vec3 place_mm)
{
    double covariance_mm2[9];
    rlv_pose_covariance_at(pose, place_mm, covariance_mm2);
    return covariance_mm2[0] + covariance_mm2[4] + covariance_mm2[8];
}

static rlv_vec3 weighted_centroid(size_t count, const rlv_vec3* point, const double* weight)
{
    rlv_vec3 sum = {0, 0, 0};
    double total = 0.0;
    for (size_t i = 0; i < count; i++)
    {
        double w = weight != NULL ? weight[i] : 1.0;
        sum = rlv_vec3_along(sum, w, point[i]);
        total += w;
    }
    return rlv_vec3_scale(sum, 1.0 / total);
}

/// Horn's symmetric matrix of sums of products, whose greatest eigenvector is the quaternion.
static void horn_matrix(const double s[9], double n[16])
{
    const double trace = s[0] + s[4] + s[8];
    n[0] = trace;
    n[1] = n[4] = s[5] - s[7];
    n[2] = n[8] = s[6] - s[2];
    n[3] = n[12] = s[1] - s[3];
    n[5] = s[0] - s[4] - s[8];
    n[6] = n[9] = s[1] + s[3];
    n[7] = n[13] = s[6] + s[2];
    n[10] = s[4] - s[0] - s[8];
    n[11] = n[14] = s[5] + s[7];
    n[15] = s[8] - s[0] - s[4];
}

rlv_status rlv_pose_fit(rlv_pose* pose, size_t count, const rlv_vec3* from, const rlv_vec3* to, const double* weight,
                        bool scale_free, rlv_error* error)
{
    const char* mend = "give at least three points that do not lie on one line";
    *pose = rlv_pose_identity();
    if (count < 3)
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL, mend, "%zu points do not fix a pose", count);
    rlv_vec3 from_centre = weighted_centroid(count, from, weight), to_centre = weighted_centroid(count, to, weight);
    double s[9] = {0}, from_spread = 0.0, to_spread = 0.0;
    for (size_t i = 0; i < count; i++)
    {
        double w = weight != NULL ? weight[i] : 1.0;
        rlv_vec3 a = rlv_vec3_sub(from[i], from_centre), b = rlv_vec3_sub(to[i], to_centre);
        const double av[3] = {a.x, a.y, a.z}, bv[3] = {b.x, b.y, b.z};
        for (int j = 0; j < 9; j++)
            s[j] += w * av[j / 3] * bv[j % 3];
        from_spread += w * rlv_vec3_dot(a, a);
        to_spread += w * rlv_vec3_dot(b, b);
    }
    double n[16], value[4], vector[16];
    horn_matrix(s, n);
    gsl_matrix_view n_view = gsl_matrix_view_array(n, 4, 4), vector_view = gsl_matrix_view_array(vector, 4, 4);
    gsl_vector_view value_view = gsl_vector_view_array(value, 4);
    gsl_eigen_symmv_workspace* workspace = gsl_eigen_symmv_alloc(4);
    if (workspace == NULL)
        return rlv_fail(error, RLV_SYSTEM, NULL, "close other programs", "no memory for a fit of points");
    gsl_eigen_symmv(&n_view.matrix, &value_view.vector, &vector_view.matrix, workspace);
    gsl_eigen_symmv_free(workspace);
    gsl_eigen_symmv_sort(&value_view.vector, &vector_view.matrix, GSL_EIGEN_SORT_VAL_DESC);
    // Points on a line leave a turn about it free: then the two greatest eigenvalues are equal.
    if (!(value[0] - value[1] > 1e-9 * sqrt(from_spread * to_spread)))
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL, mend, "the points lie on one line or in one place");
    const double wxyz[4] = {vector[0], vector[4], vector[8], vector[12]};
    pose->rotation = rlv_rotation_from_quaternion(wxyz);
    pose->scale = scale_free ? value[0] / from_spread : 1.0;
    pose->translation_mm = rlv_vec3_along(to_centre, -pose->scale, rlv_mat3_apply(pose->rotation, from_centre));
    pose->centre_mm = to_centre;
    return RLV_DONE;
}

void rlv_pose_move_mesh(const rlv_pose* pose, rlv_mesh* mesh)
{
    rlv_vec3 origin = rlv_pose_apply(pose, mesh->origin_mm);
    rlv_vec3 rounded =
        rlv_vec3_of(rlv_float_rounded(origin.x), rlv_float_rounded(origin.y), rlv_float_rounded(origin.z));
    rlv_vec3 rest = rlv_vec3_sub(origin, rounded);
#pragma omp parallel for schedule(static) if (mesh->vertex_count > 20000)
    for (size_t i = 0; i < mesh->vertex_count; i++)
    {
        float* at = mesh->position_mm + 3 * i;
        rlv_vec3 moved = rlv_vec3_along(rest, pose->scale, rlv_mat3_apply(pose->rotation, rlv_vec3_from(at)));
        at[0] = (float)moved.x;
        at[1] = (float)moved.y;
        at[2] = (float)moved.z;
    }
    mesh->origin_mm = rounded;
}
