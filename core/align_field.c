#include "align_field.h"

#include <stdlib.h>
#include <string.h>

#define CELLS 96   ///< along the longest side
#define KERNEL 2.5 ///< radius of the mean around a cell, in cells
#define MARGIN 5   ///< cells around the surface, so that what sticks out is seen to
#define SPREADS 2  ///< layers of cells that take their neighbour's plane
static const double stick_out_penalty = 1.0;

/// Sums around a cell.
typedef struct cell_sum
{
    float weight, at[3], normal[3];
} cell_sum;

void rlv_distance_field_free(rlv_distance_field* field)
{
    free(field->cell);
    memset(field, 0, sizeof *field);
}

static void lay_out(rlv_distance_field* field, const rlv_samples* samples)
{
    rlv_vec3 extent = rlv_vec3_sub(samples->high_mm, samples->low_mm);
    const double longest = fmax(fmax(extent.x, extent.y), extent.z);
    field->side_mm = fmax(longest / CELLS, 1e-6);
    // Sparse samples would leave holes between cells.
    field->side_mm = fmax(field->side_mm, 0.7 * samples->spacing_mm);
    const double sides[3] = {extent.x, extent.y, extent.z};
    for (int k = 0; k < 3; k++)
        field->size[k] = (size_t)(sides[k] / field->side_mm) + 1 + 2 * MARGIN;
    const double margin = MARGIN * field->side_mm;
    field->low_mm = rlv_vec3_sub(samples->low_mm, rlv_vec3_of(margin, margin, margin));
}

/// Add a sample to the cells around it that lie in layers [first, last).
static void add_sample(const rlv_distance_field* field, cell_sum* sum, const rlv_samples* samples, size_t i,
                       size_t first, size_t last)
{
    const float* p = samples->position_mm + 3 * i;
    const float* n = samples->normal + 3 * i;
    const double low[3] = {field->low_mm.x, field->low_mm.y, field->low_mm.z};
    float at[3];
    int from[3], to[3];
    for (int k = 0; k < 3; k++)
    {
        at[k] = (float)(((double)p[k] - low[k]) / field->side_mm - 0.5); // in cells, about cell centres
        from[k] = (int)ceilf(at[k] - (float)KERNEL);
        to[k] = (int)floorf(at[k] + (float)KERNEL);
    }
    from[2] = from[2] > (int)first ? from[2] : (int)first;
    to[2] = to[2] < (int)last - 1 ? to[2] : (int)last - 1;
    for (int z = from[2]; z <= to[2]; z++)
        for (int y = from[1]; y <= to[1]; y++)
            for (int x = from[0]; x <= to[0]; x++)
            {
                const float dx = (float)x - at[0], dy = (float)y - at[1], dz = (float)z - at[2];
                const float near = 1.0f - (dx * dx + dy * dy + dz * dz) / (float)(KERNEL * KERNEL);
                if (near <= 0.0f)
                    continue;
                cell_sum* to_sum = sum + ((size_t)z * field->size[1] + (size_t)y) * field->size[0] + (size_t)x;
                const float w = near * near;
                to_sum->weight += w;
                to_sum->at[0] -= w * dx, to_sum->at[1] -= w * dy, to_sum->at[2] -= w * dz;
                to_sum->normal[0] += w * n[0], to_sum->normal[1] += w * n[1], to_sum->normal[2] += w * n[2];
            }
}

static void set_normal(rlv_distance_field_cell* cell, rlv_vec3 n)
{
    cell->normal[0] = (int8_t)lrint(127.0 * n.x);
    cell->normal[1] = (int8_t)lrint(127.0 * n.y);
    cell->normal[2] = (int8_t)lrint(127.0 * n.z);
}

static rlv_vec3 cell_normal(const rlv_distance_field_cell* cell)
{
    return rlv_vec3_of(cell->normal[0] / 127.0, cell->normal[1] / 127.0, cell->normal[2] / 127.0);
}

/// The plane of a cell: through the mean of the samples around it. Where that mean lies well aside of the foot of the
/// cell the surface has ended: no verdict.
static rlv_distance_field_cell close_cell(const cell_sum* sum, double side_mm)
{
    rlv_distance_field_cell cell = {0};
    if (!(sum->weight > 0.0f))
        return cell;
    rlv_vec3 at = rlv_vec3_scale(rlv_vec3_from(sum->at), 1.0 / (double)sum->weight);
    rlv_vec3 n = rlv_vec3_scale(rlv_vec3_from(sum->normal), 1.0 / (double)sum->weight);
    if (rlv_vec3_length(n) < 0.5)
        return cell; // two sides of a thin place
    n = rlv_vec3_unit(n);
    const double along = rlv_vec3_dot(at, n);
    rlv_vec3 aside = rlv_vec3_along(at, -along, n);
    cell.distance_mm = (float)(-along * side_mm);
    cell.kind = rlv_vec3_length(aside) < 1.0 ? RLV_FIELD_NEAR : RLV_FIELD_UNKNOWN;
    set_normal(&cell, n);
    return cell;
}

/// A cell without a plane takes that of the neighbour with the smallest distance, carried over.
static void spread_planes(const rlv_distance_field* field, rlv_distance_field_cell* to)
{
    const size_t nx = field->size[0], ny = field->size[1], nz = field->size[2];
    const ptrdiff_t step[3] = {1, (ptrdiff_t)nx, (ptrdiff_t)(nx * ny)};
#pragma omp parallel for schedule(static)
    for (size_t z = 1; z < nz - 1; z++)
        for (size_t y = 1; y < ny - 1; y++)
            for (size_t x = 1; x < nx - 1; x++)
            {
                const size_t own = (z * ny + y) * nx + x;
                to[own] = field->cell[own];
                if (field->cell[own].kind == RLV_FIELD_NEAR)
                    continue;
                for (int side = 0; side < 6; side++)
                {
                    const ptrdiff_t move = side & 1 ? step[side / 2] : -step[side / 2];
                    const rlv_distance_field_cell* from = field->cell + (ptrdiff_t)own + move;
                    if (from->kind != RLV_FIELD_NEAR)
                        continue;
                    rlv_distance_field_cell taken = *from;
                    const double part = (side & 1 ? -1.0 : 1.0) * from->normal[side / 2] / 127.0;
                    taken.distance_mm += (float)(part * field->side_mm);
                    if (to[own].kind != RLV_FIELD_NEAR || fabsf(taken.distance_mm) < fabsf(to[own].distance_mm))
                        to[own] = taken;
                }
            }
}

/// Whether the cells without a plane lie inside or outside: along each row the side that was left last. A row read from
/// both ends must agree with itself, or there is no verdict.
static void tell_sides(rlv_distance_field* field)
{
    const size_t nx = field->size[0], ny = field->size[1], nz = field->size[2];
#pragma omp parallel for schedule(static)
    for (size_t row = 0; row < ny * nz; row++)
    {
        rlv_distance_field_cell* cell = field->cell + row * nx;
        uint8_t side = RLV_FIELD_OUTSIDE;
        for (size_t x = 0; x < nx; x++)
            if (cell[x].kind == RLV_FIELD_NEAR)
                side = cell[x].distance_mm > 0.0f ? RLV_FIELD_OUTSIDE : RLV_FIELD_INSIDE;
            else
                cell[x].kind = side;
        side = RLV_FIELD_OUTSIDE;
        for (size_t x = nx; x-- > 0;)
            if (cell[x].kind == RLV_FIELD_NEAR)
                side = cell[x].distance_mm > 0.0f ? RLV_FIELD_OUTSIDE : RLV_FIELD_INSIDE;
            else if (cell[x].kind != side)
                cell[x].kind = RLV_FIELD_UNKNOWN;
    }
}

rlv_status rlv_distance_field_build(rlv_distance_field* field, const rlv_samples* samples, bool open, rlv_error* error)
{
    lay_out(field, samples);
    field->open = open;
    const size_t layer = field->size[0] * field->size[1], total = layer * field->size[2];
    cell_sum* sum = rlv_reserve(total, sizeof *sum, error);
    rlv_distance_field_cell* spare = sum != NULL ? rlv_reserve(total, sizeof *spare, error) : NULL;
    field->cell = spare != NULL ? rlv_reserve(total, sizeof *field->cell, error) : NULL;
    if (field->cell == NULL)
    {
        free(sum);
        free(spare);
        return RLV_SYSTEM;
    }
    const size_t slab = 8; // layers filled by one thread at a time, each in the order of the samples
#pragma omp parallel for schedule(dynamic, 1)
    for (size_t first = 0; first < field->size[2]; first += slab)
    {
        const size_t last = first + slab < field->size[2] ? first + slab : field->size[2];
        const double low = field->low_mm.z + ((double)first - KERNEL) * field->side_mm;
        const double high = field->low_mm.z + ((double)last + KERNEL) * field->side_mm;
        for (size_t i = 0; i < samples->count; i++)
        {
            const double z = (double)samples->position_mm[3 * i + 2];
            if (z >= low && z <= high)
                add_sample(field, sum, samples, i, first, last);
        }
        for (size_t c = first * layer; c < last * layer; c++)
            field->cell[c] = close_cell(sum + c, field->side_mm);
    }
    for (int k = 0; k < SPREADS; k++)
    {
        spread_planes(field, spare);
        rlv_distance_field_cell* swap = field->cell;
        field->cell = spare;
        spare = swap;
    }
    if (!open)
        tell_sides(field);
    free(sum);
    free(spare);
    return RLV_DONE;
}

/// The cell a point lies in, or NULL outside the grid.
static inline const rlv_distance_field_cell* cell_at(const rlv_distance_field* field, rlv_vec3 p, double* distance_mm)
{
    const double factor = 1.0 / field->side_mm;
    const double x = (p.x - field->low_mm.x) * factor, y = (p.y - field->low_mm.y) * factor,
                 z = (p.z - field->low_mm.z) * factor;
    if (!(x >= 0.0 && y >= 0.0 && z >= 0.0 && x < (double)field->size[0] && y < (double)field->size[1] &&
          z < (double)field->size[2]))
        return NULL;
    const size_t i = (size_t)x, j = (size_t)y, k = (size_t)z;
    const rlv_distance_field_cell* cell = field->cell + (k * field->size[1] + j) * field->size[0] + i;
    const double part = (x - (double)i - 0.5) * cell->normal[0] + (y - (double)j - 0.5) * cell->normal[1] +
                        (z - (double)k - 0.5) * cell->normal[2];
    *distance_mm = (double)cell->distance_mm + part * field->side_mm / 127.0;
    return cell;
}

double rlv_distance_field_score(const rlv_distance_field* field, const rlv_samples* samples, const rlv_pose* pose,
                                double reach_mm, size_t first, size_t stride)
{
    const int off_grid = field->open ? RLV_FIELD_UNKNOWN : RLV_FIELD_OUTSIDE;
    double sum = 0.0;
    size_t count = 0;
    for (size_t i = first; i < samples->count; i += stride, count++)
    {
        rlv_vec3 at = rlv_pose_apply(pose, rlv_vec3_from(samples->position_mm + 3 * i));
        double distance = 0.0;
        const rlv_distance_field_cell* cell = cell_at(field, at, &distance);
        const int kind = cell == NULL ? off_grid : (int)cell->kind;
        if (kind == RLV_FIELD_OUTSIDE || (kind == RLV_FIELD_NEAR && distance > reach_mm))
        {
            sum -= stick_out_penalty;
            continue;
        }
        if (kind != RLV_FIELD_NEAR || distance < -reach_mm)
            continue;
        rlv_vec3 own = rlv_mat3_apply(pose->rotation, rlv_vec3_from(samples->normal + 3 * i));
        const double agree = (rlv_vec3_dot(own, cell_normal(cell)) - 0.8) / 0.2; // 0 at 37 degrees
        const double near = distance / reach_mm;
        if (agree > 0.0)
            sum += (1.0 - near * near) * agree;
    }
    return count > 0 ? sum / (double)count : 0.0;
}

/// Solve a 6 x 6 positive definite system in place by Cholesky.
static bool solve6(double a[36], double b[6])
{
    for (int i = 0; i < 6; i++)
    {
        for (int j = 0; j <= i; j++)
        {
            double sum = a[6 * i + j];
            for (int k = 0; k < j; k++)
                sum -= a[6 * i + k] * a[6 * j + k];
            if (i == j && !(sum > 0.0))
                return false;
            a[6 * i + j] = i == j ? sqrt(sum) : sum / a[6 * j + j];
        }
    }
    for (int i = 0; i < 6; i++)
    {
        for (int k = 0; k < i; k++)
            b[i] -= a[6 * i + k] * b[k];
        b[i] /= a[7 * i];
    }
    for (int i = 5; i >= 0; i--)
    {
        for (int k = i + 1; k < 6; k++)
            b[i] -= a[6 * k + i] * b[k];
        b[i] /= a[7 * i];
    }
    return true;
}

static bool settle_once(const rlv_distance_field* field, const rlv_samples* samples, rlv_pose* pose, double reach_mm,
                        size_t stride)
{
    const double radius = samples->radius_mm;
    const rlv_vec3 centre = rlv_pose_apply(pose, samples->centre_mm);
    double a[36] = {0}, b[6] = {0}, total = 0.0;
    for (size_t i = 0; i < samples->count; i += stride)
    {
        rlv_vec3 at = rlv_pose_apply(pose, rlv_vec3_from(samples->position_mm + 3 * i));
        double distance = 0.0;
        const rlv_distance_field_cell* cell = cell_at(field, at, &distance);
        if (cell == NULL || cell->kind != RLV_FIELD_NEAR)
            continue;
        const double near = distance / reach_mm;
        if (!(near * near < 1.0))
            continue;
        rlv_vec3 own = rlv_mat3_apply(pose->rotation, rlv_vec3_from(samples->normal + 3 * i));
        rlv_vec3 n = cell_normal(cell);
        const double agree = (rlv_vec3_dot(own, n) - 0.6) / 0.4;
        if (!(agree > 0.0))
            continue;
        const double w = agree * (1.0 - near * near) * (1.0 - near * near);
        rlv_vec3 turn = rlv_vec3_cross(rlv_vec3_scale(rlv_vec3_sub(at, centre), 1.0 / radius), n);
        const double j[6] = {n.x, n.y, n.z, turn.x, turn.y, turn.z};
        for (int r = 0; r < 6; r++)
        {
            b[r] -= w * j[r] * distance;
            for (int c = 0; c <= r; c++)
                a[6 * r + c] += w * j[r] * j[c];
        }
        total += w;
    }
    if (!(total > 0.0))
        return false;
    for (int r = 0; r < 6; r++)
        a[7 * r] += 1e-3 * total;
    if (!solve6(a, b))
        return false;
    const double delta[7] = {b[0], b[1], b[2], b[3] / radius, b[4] / radius, b[5] / radius, 0.0};
    *pose = rlv_pose_nudge(pose, centre, delta);
    return true;
}

void rlv_distance_field_settle(const rlv_distance_field* field, const rlv_samples* samples, rlv_pose* pose,
                               double reach_mm, double last_mm, int rounds, size_t stride)
{
    const double factor = rounds > 1 ? pow(last_mm / reach_mm, 1.0 / (rounds - 1)) : 1.0;
    for (int k = 0; k < rounds; k++, reach_mm *= factor)
        if (!settle_once(field, samples, pose, reach_mm, stride))
            return;
}
