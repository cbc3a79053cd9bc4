#include "axis.h"

#include <gsl/gsl_spline.h>
#include <stdlib.h>

/// Points of the spline that its length is measured between, for each step of the axis.
static const size_t FINE = 4;

void rlv_body_axis_free(rlv_body_axis* axis)
{
    free(axis->at_mm);
    free(axis->along);
    free(axis->side);
    free(axis->bend[0]);
    free(axis->bend[1]);
    *axis = (rlv_body_axis){0};
}

/// `v` mirrored in the plane square to `normal`.
static rlv_vec3 mirrored(rlv_vec3 v, rlv_vec3 normal)
{
    const double square = rlv_vec3_dot(normal, normal);
    return square > 0.0 ? rlv_vec3_along(v, -2.0 * rlv_vec3_dot(v, normal) / square, normal) : v;
}

/// Carry the frame from point to point (table I of Wang et al.), and read the bend off it.
static void carry_frame(rlv_body_axis* axis)
{
    axis->side[0] = rlv_vec3_across(axis->along[0]);
    for (size_t i = 0; i + 1 < axis->count; i++)
    {
        const rlv_vec3 first = rlv_vec3_sub(axis->at_mm[i + 1], axis->at_mm[i]);
        const rlv_vec3 side = mirrored(axis->side[i], first), along = mirrored(axis->along[i], first);
        const rlv_vec3 next = mirrored(side, rlv_vec3_sub(axis->along[i + 1], along)), t = axis->along[i + 1];
        axis->side[i + 1] = rlv_vec3_unit(rlv_vec3_along(next, -rlv_vec3_dot(next, t), t));
    }
    for (size_t i = 0; i < axis->count; i++)
    {
        const size_t before = i > 0 ? i - 1 : i, after = i + 1 < axis->count ? i + 1 : i;
        const rlv_vec3 turn = rlv_vec3_scale(rlv_vec3_sub(axis->along[after], axis->along[before]),
                                             1.0 / ((double)(after - before) * axis->step_mm));
        axis->bend[0][i] = rlv_vec3_dot(turn, axis->side[i]);
        axis->bend[1][i] = rlv_vec3_dot(turn, rlv_vec3_cross(axis->along[i], axis->side[i]));
    }
}

/// The spline through the points over their chords, in three parts.
typedef struct curve
{
    gsl_spline* part[3];
    double *chord, *value; ///< count; 3 * count
    size_t count;
} curve;

static void free_curve(curve* c)
{
    for (int k = 0; k < 3; k++)
        if (c->part[k] != NULL)
            gsl_spline_free(c->part[k]);
    free(c->chord);
    free(c->value);
}

static rlv_status make_curve(curve* c, size_t count, const rlv_vec3* point, rlv_error* error)
{
    c->count = count;
    if ((c->chord = rlv_reserve(count, sizeof(double), error)) == NULL ||
        (c->value = rlv_reserve(3 * count, sizeof(double), error)) == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < count; i++)
    {
        const double step = i > 0 ? rlv_vec3_length(rlv_vec3_sub(point[i], point[i - 1])) : 0.0;
        c->chord[i] = i > 0 ? c->chord[i - 1] + step : 0.0;
        if (i > 0 && !(c->chord[i] > c->chord[i - 1]))
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "give points that lie apart",
                            "points %zu and %zu of the body axis coincide", i, i + 1);
        c->value[i] = point[i].x, c->value[count + i] = point[i].y, c->value[2 * count + i] = point[i].z;
    }
    for (size_t k = 0; k < 3; k++)
    {
        c->part[k] = gsl_spline_alloc(gsl_interp_cspline, count);
        if (c->part[k] == NULL)
            return rlv_fail(error, RLV_SYSTEM, NULL, NULL, "no memory for a spline");
        gsl_spline_init(c->part[k], c->chord, c->value + k * count, count);
    }
    return RLV_DONE;
}

static rlv_vec3 curve_at(const curve* c, double at)
{
    const double t = fmin(at, c->chord[c->count - 1]);
    return rlv_vec3_of(gsl_spline_eval(c->part[0], t, NULL), gsl_spline_eval(c->part[1], t, NULL),
                       gsl_spline_eval(c->part[2], t, NULL));
}

static rlv_vec3 curve_way(const curve* c, double at)
{
    const double t = fmin(at, c->chord[c->count - 1]);
    return rlv_vec3_unit(rlv_vec3_of(gsl_spline_eval_deriv(c->part[0], t, NULL),
                                     gsl_spline_eval_deriv(c->part[1], t, NULL),
                                     gsl_spline_eval_deriv(c->part[2], t, NULL)));
}

/// Read the curve at even steps of its length: `fine` + 1 lengths at even steps of its chord say where those are.
static void read_curve(rlv_body_axis* axis, const curve* c, size_t fine, const double* length)
{
    const double whole = c->chord[c->count - 1];
    size_t k = 0;
    for (size_t i = 0; i < axis->count; i++)
    {
        const double want = (double)i * axis->step_mm;
        while (k + 2 < fine + 1 && length[k + 1] < want)
            k++;
        const double share = (want - length[k]) / (length[k + 1] - length[k]),
                     t = whole * ((double)k + fmin(share, 1.0)) / (double)fine;
        axis->at_mm[i] = curve_at(c, t);
        axis->along[i] = curve_way(c, t);
    }
}

static rlv_status reserve_axis(rlv_body_axis* axis, size_t count, rlv_error* error)
{
    axis->count = count;
    if ((axis->at_mm = rlv_reserve(count, sizeof(rlv_vec3), error)) == NULL ||
        (axis->along = rlv_reserve(count, sizeof(rlv_vec3), error)) == NULL ||
        (axis->side = rlv_reserve(count, sizeof(rlv_vec3), error)) == NULL ||
        (axis->bend[0] = rlv_reserve(count, sizeof(double), error)) == NULL ||
        (axis->bend[1] = rlv_reserve(count, sizeof(double), error)) == NULL)
        return RLV_SYSTEM;
    return RLV_DONE;
}

rlv_status rlv_body_axis_lay(rlv_body_axis* axis, size_t count, const rlv_vec3* point_mm, double step_mm,
                             rlv_error* error)
{
    curve c = {0};
    double* length = NULL;
    if (count < 3)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give three points at least", "%zu points are no body axis", count);
    rlv_status status = make_curve(&c, count, point_mm, error);
    if (status == RLV_DONE)
    {
        const double whole = c.chord[count - 1];
        const size_t fine = FINE * (size_t)fmax(ceil(whole / step_mm), 1.0);
        if ((length = rlv_reserve(fine + 1, sizeof *length, error)) == NULL)
            status = RLV_SYSTEM;
        for (size_t i = 1; i <= fine && status == RLV_DONE; i++)
            length[i] =
                length[i - 1] + rlv_vec3_length(rlv_vec3_sub(curve_at(&c, whole * (double)i / (double)fine),
                                                             curve_at(&c, whole * (double)(i - 1) / (double)fine)));
        if (status == RLV_DONE)
        {
            const double steps = fmax(ceil(length[fine] / step_mm), 1.0);
            axis->step_mm = length[fine] / steps;
            status = reserve_axis(axis, (size_t)steps + 1, error);
        }
        if (status == RLV_DONE)
        {
            read_curve(axis, &c, fine, length);
            carry_frame(axis);
        }
    }
    free(length);
    free_curve(&c);
    return status;
}

double rlv_body_axis_length_mm(const rlv_body_axis* axis)
{
    return axis->step_mm * (double)(axis->count - 1);
}

rlv_body_frame rlv_body_axis_at(const rlv_body_axis* axis, double along_mm)
{
    const double last = (double)(axis->count - 1), x = along_mm / axis->step_mm, inside = fmin(fmax(x, 0.0), last);
    size_t i = (size_t)inside;
    if (i + 1 >= axis->count)
        i = axis->count - 2;
    const double t = inside - (double)i, h = axis->step_mm;
    const rlv_vec3 p = axis->at_mm[i], q = axis->at_mm[i + 1], a = axis->along[i], b = axis->along[i + 1];
    rlv_body_frame f;
    // Hermite's cubic between two points, straight on beyond the ends.
    const double t2 = t * t, t3 = t2 * t;
    f.at_mm = rlv_vec3_scale(p, 2 * t3 - 3 * t2 + 1);
    f.at_mm = rlv_vec3_along(f.at_mm, -2 * t3 + 3 * t2, q);
    f.at_mm = rlv_vec3_along(f.at_mm, h * (t3 - 2 * t2 + t), a);
    f.at_mm = rlv_vec3_along(f.at_mm, h * (t3 - t2), b);
    f.along = rlv_vec3_unit(rlv_vec3_along(rlv_vec3_scale(a, 1 - t), t, b));
    f.at_mm = rlv_vec3_along(f.at_mm, h * (x - inside), f.along);
    const rlv_vec3 side = rlv_vec3_along(rlv_vec3_scale(axis->side[i], 1 - t), t, axis->side[i + 1]);
    f.side = rlv_vec3_unit(rlv_vec3_along(side, -rlv_vec3_dot(side, f.along), f.along));
    f.other = rlv_vec3_cross(f.along, f.side);
    for (int k = 0; k < 2; k++)
        f.bend[k] = x == inside ? (1 - t) * axis->bend[k][i] + t * axis->bend[k][i + 1] : 0.0;
    return f;
}

double rlv_body_axis_foot(const rlv_body_axis* axis, rlv_vec3 point_mm, double near_mm, double reach_mm)
{
    double u = near_mm;
    for (int n = 0; n < 50; n++)
    {
        const rlv_body_frame f = rlv_body_axis_at(axis, u);
        const rlv_vec3 d = rlv_vec3_sub(point_mm, f.at_mm);
        // d/du of (x - C) . T is -(1 - k . d): a step is no longer than four times the plain one.
        const double room = 1.0 - f.bend[0] * rlv_vec3_dot(d, f.side) - f.bend[1] * rlv_vec3_dot(d, f.other),
                     step = rlv_vec3_dot(d, f.along) / fmax(room, 0.25);
        const double next = fmin(fmax(u + step, near_mm - reach_mm), near_mm + reach_mm);
        if (fabs(next - u) < 1e-9 * axis->step_mm)
            return next;
        u = next;
    }
    return u;
}
