#include "cast_parts.h"
#include "each_width.h"

#include <omp.h>
#include <stdlib.h>
#include <string.h>

typedef struct box
{
    rlv_vec3 low, high;
} box;

static box box_of(const rlv_mesh* mesh)
{
    float low[3] = {INFINITY, INFINITY, INFINITY}, high[3] = {-INFINITY, -INFINITY, -INFINITY};
#pragma omp parallel for schedule(static) reduction(min : low) reduction(max : high)
    for (size_t v = 0; v < mesh->vertex_count; v++)
        for (size_t k = 0; k < 3; k++)
        {
            float at = mesh->position_mm[3 * v + k];
            low[k] = at < low[k] ? at : low[k];
            high[k] = at > high[k] ? at : high[k];
        }
    return (box){rlv_vec3_from(low), rlv_vec3_from(high)};
}

rlv_ray rlv_cast_ray(const rlv_cast* cast, double x, double y)
{
    const double* m = cast->to_picture.m;
    double right = (x - cast->middle_px.x) * (double)cast->pixel_mm;
    double up = (cast->middle_px.y - y) * (double)cast->pixel_mm;
    rlv_vec3 at = cast->eye_mm;
    rlv_ray ray;
    ray.origin_mm[0] = (float)(at.x + right * m[0] + up * m[3]);
    ray.origin_mm[1] = (float)(at.y + right * m[1] + up * m[4]);
    ray.origin_mm[2] = (float)(at.z + right * m[2] + up * m[5]);
    for (int i = 0; i < 3; i++)
        ray.direction[i] = (float)-m[6 + i];
    ray.limit = (float)cast->reach_mm;
    return ray;
}

// The eye's plane, and the pixels that the mesh's box covers within the frame.
static void aim(rlv_cast* cast, size_t width, size_t height, rlv_frame frame, const rlv_mesh* mesh, box bounds,
                const rlv_camera* camera)
{
    rlv_camera_axes axes = rlv_camera_axes_of(camera);
    cast->to_picture = (rlv_mat3){{axes.right.x, axes.right.y, axes.right.z, axes.up.x, axes.up.y, axes.up.z,
                                   axes.towards.x, axes.towards.y, axes.towards.z}};
    double pixel_mm = camera->width_mm / (double)width;
    cast->pixel_mm = (float)pixel_mm;

    rlv_vec3 target = rlv_vec3_sub(camera->target_mm, mesh->origin_mm);
    rlv_vec3 middle = rlv_vec3_scale(rlv_vec3_add(bounds.low, bounds.high), 0.5);
    rlv_vec3 half = rlv_vec3_scale(rlv_vec3_sub(bounds.high, bounds.low), 0.5);
    rlv_mat3 spans = cast->to_picture;
    for (int i = 0; i < 9; i++)
        spans.m[i] = fabs(spans.m[i]);
    rlv_vec3 centre = rlv_mat3_apply(cast->to_picture, rlv_vec3_sub(middle, target));
    rlv_vec3 reach = rlv_mat3_apply(spans, half);

    // Rays start over the box's middle, so that their coordinates are no larger than they must be.
    double clear = reach.z + 0.01 * (reach.x + reach.y + reach.z) + pixel_mm;
    cast->eye_mm = rlv_vec3_along(middle, clear, axes.towards);
    cast->reach_mm = 2.0 * clear;
    cast->eye_height_mm = centre.z + clear;
    cast->middle_px =
        rlv_vec3_of(0.5 * (double)width + centre.x / pixel_mm, 0.5 * (double)height - centre.y / pixel_mm, 0.0);

    double left = fmax(fmax(frame.left, 0.0), cast->middle_px.x - reach.x / pixel_mm - 2.0);
    double right = fmin(fmin(frame.right, (double)width), cast->middle_px.x + reach.x / pixel_mm + 2.0);
    double top = fmax(fmax(frame.top, 0.0), cast->middle_px.y - reach.y / pixel_mm - 2.0);
    double bottom = fmin(fmin(frame.bottom, (double)height), cast->middle_px.y + reach.y / pixel_mm + 2.0);
    if (!(right - left >= 1.0) || !(bottom - top >= 1.0))
        return;
    cast->left = (size_t)left;
    cast->top = (size_t)top;
    cast->width = (size_t)right - cast->left;
    cast->height = (size_t)bottom - cast->top;
}

static bool reserve(rlv_cast* cast, const rlv_mesh* mesh, rlv_error* error)
{
    size_t count = cast->width * cast->height;
    return (cast->triangle = rlv_reserve(count, sizeof *cast->triangle, error)) != NULL &&
           (cast->weight = rlv_reserve(2 * count, sizeof *cast->weight, error)) != NULL &&
           (cast->height_mm = rlv_reserve(count, sizeof *cast->height_mm, error)) != NULL &&
           (cast->normal = rlv_reserve(3 * count, sizeof *cast->normal, error)) != NULL &&
           (cast->open = rlv_reserve(count, sizeof *cast->open, error)) != NULL &&
           (cast->lit = rlv_reserve(count, sizeof *cast->lit, error)) != NULL &&
           (cast->back = rlv_reserve(count, sizeof *cast->back, error)) != NULL &&
           (cast->corner_normal = rlv_reserve(3 * mesh->vertex_count, sizeof *cast->corner_normal, error)) != NULL;
}

void rlv_cast_free(rlv_cast* cast)
{
    free(cast->triangle);
    free(cast->weight);
    free(cast->height_mm);
    free(cast->normal);
    free(cast->open);
    free(cast->lit);
    free(cast->back);
    free(cast->corner_normal);
    memset(cast, 0, sizeof *cast);
}

// A corner whose mean differs from the triangle's own facing by more than a slope does lies on a crease, and the
// triangle keeps its own facing there: fully beyond 44 degrees, not at all below 32.
static float crease(float cosine)
{
    const float sharp = 0.7193f, smooth = 0.8480f;
    float share = fminf(fmaxf((smooth - cosine) / (smooth - sharp), 0.0f), 1.0f);
    return share * share * (3.0f - 2.0f * share);
}

void rlv_cast_facing(const rlv_cast* cast, const rlv_mesh* mesh, const rlv_hit* hit, float normal[3], bool* back)
{
    float face[3], mean[3] = {0.0f, 0.0f, 0.0f};
    face_of(mesh, hit->triangle, face);
    unit3(face);
    const float weight[3] = {1.0f - hit->u - hit->v, hit->u, hit->v};
    for (size_t k = 0; k < 3; k++)
    {
        const float* corner = cast->corner_normal + 3 * (size_t)mesh->corner[3 * (size_t)hit->triangle + k];
        float own = crease(dot3(corner, face));
        for (int i = 0; i < 3; i++)
            mean[i] += weight[k] * (corner[i] + own * (face[i] - corner[i]));
    }
    turn(&cast->to_picture, mean, normal);
    unit3(normal);
    *back = dot3(face, (float[3]){(float)cast->to_picture.m[6], (float)cast->to_picture.m[7],
                                  (float)cast->to_picture.m[8]}) < 0.0f;
    for (int i = 0; *back && i < 3; i++)
        normal[i] = -normal[i];
    // A smooth facing may turn from the eye just inside the outline; what is seen faces it.
    if (normal[2] < 0.02f)
    {
        normal[2] = 0.02f;
        unit3(normal);
    }
}

// Vectors by their parts, so that whole rows are worked at once; zero on the page.
typedef struct planes
{
    float *x, *y, *z;
} planes;

static planes planes_of(float* room, size_t count)
{
    return (planes){room, room + count, room + 2 * count};
}

static planes planes_from(planes of, size_t first)
{
    return (planes){of.x + first, of.y + first, of.z + first};
}

// The mean facing of the 3 by 3 pixels around each: what the filter is guided by. One stray pixel among nine is
// outvoted. `column` has room for a row's facings: the sums of each pixel's own and those above and beneath it.
static void guide_row(const rlv_cast* cast, size_t y, planes facing, planes guide, float* column)
{
    const size_t width = cast->width;
    const tile near = around(1, cast->height, 0, y, 1);
    memset(column, 0, 3 * width * sizeof *column);
    for (size_t j = near.top; j <= near.bottom; j++)
        for (size_t i = 0; i < 3 * width; i++)
            column[i] += cast->normal[3 * j * width + i]; // zero on the page
    for (size_t x = 0; x < width; x++)
    {
        const size_t p = y * width + x;
        facing.x[p] = cast->normal[3 * p];
        facing.y[p] = cast->normal[3 * p + 1];
        facing.z[p] = cast->normal[3 * p + 2];
        if (cast->triangle[p] == RLV_TREE_NONE)
            continue;
        float sum[3];
        for (size_t k = 0; k < 3; k++)
            sum[k] = column[3 * x + k] + (x > 0 ? column[3 * (x - 1) + k] : 0.0f) +
                     (x + 1 < width ? column[3 * (x + 1) + k] : 0.0f);
        unit3(sum);
        guide.x[p] = sum[0];
        guide.y[p] = sum[1];
        guide.z[p] = sum[2];
    }
}

#define NOISE_BINS 512

// The median distance of a pixel's facing from its neighbours' mean: what roughness of a pixel's size comes to.
static float roughness(const rlv_cast* cast, planes facing, planes guide)
{
    size_t bin[NOISE_BINS] = {0}, count = cast->width * cast->height, seen = 0;
#pragma omp parallel for schedule(static) reduction(+ : bin[:NOISE_BINS], seen)
    for (size_t p = 0; p < count; p++)
    {
        if (cast->triangle[p] == RLV_TREE_NONE)
            continue;
        float d[3] = {facing.x[p] - guide.x[p], facing.y[p] - guide.y[p], facing.z[p] - guide.z[p]};
        float far = fminf(sqrtf(dot3(d, d)) * (float)NOISE_BINS, (float)NOISE_BINS - 1.0f);
        bin[(size_t)far]++;
        seen++;
    }
    size_t below = 0, i = 0;
    while (i + 1 < NOISE_BINS && (below += bin[i]) < (seen + 1) / 2)
        i++;
    return ((float)i + 0.5f) / (float)NOISE_BINS;
}

#define CALM 3 // pixels to each side

// Add a run of neighbours to the sums of a run of pixels: the less, the more the guide turns between them.
EACH_WIDTH static void weigh_run(size_t count, planes own, planes other, planes facing, float bell, float factor,
                                 planes sum)
{
#pragma omp simd
    for (size_t i = 0; i < count; i++)
    {
        float a = own.x[i] - other.x[i], b = own.y[i] - other.y[i], c = own.z[i] - other.z[i];
        float near = 1.0f / (1.0f + factor * (a * a + b * b + c * c));
        float weight = bell * near * near * near;
        sum.x[i] += weight * facing.x[i];
        sum.y[i] += weight * facing.y[i];
        sum.z[i] += weight * facing.z[i];
    }
}

// A bilateral filter (C. Tomasi, R. Manduchi, ICCV 1998) on the facings, its range set by their own roughness: noise of
// a pixel's size is calmed, while whatever turns further than the noise does keeps its edge. `sum` has room for a row.
static void calm_row(rlv_cast* cast, size_t y, planes facing, planes guide, float range, planes sum)
{
    static const float bell[CALM + 1] = {1.0f, 0.7548f, 0.3247f, 0.0796f}; // exp(-d^2 / (2 * 1.333^2))
    float factor = 1.0f / (range * range);
    size_t width = cast->width, first = y * width, from = 0, to = width; // of what is seen in this row
    while (from < to && cast->triangle[first + from] == RLV_TREE_NONE)
        from++;
    while (from < to && cast->triangle[first + to - 1] == RLV_TREE_NONE)
        to--;
    tile near = around(1, cast->height, 0, y, CALM);
    memset(sum.x, 0, 3 * width * sizeof *sum.x);
    for (size_t j = near.top; j <= near.bottom; j++)
        for (size_t k = 0; k <= 2 * CALM; k++)
        {
            size_t before = k < CALM ? CALM - k : 0, beyond = k > CALM ? k - CALM : 0;
            size_t begin = from > before ? from : before, end = to + beyond < width ? to : width - beyond;
            if (width <= before + beyond || begin >= end)
                continue;
            size_t other = j * width + begin + beyond - before;
            weigh_run(end - begin, planes_from(guide, first + begin), planes_from(guide, other),
                      planes_from(facing, other), bell[before + beyond] * bell[j > y ? j - y : y - j], factor,
                      planes_from(sum, begin));
        }
    for (size_t x = from; x < to; x++)
    {
        float calm[3] = {sum.x[x], sum.y[x], sum.z[x]};
        if (cast->triangle[first + x] == RLV_TREE_NONE)
            continue;
        unit3(calm);
        memcpy(cast->normal + 3 * (first + x), calm, sizeof calm);
    }
}

// A thread's own room for a row, behind that for the whole picture.
static float* row_room(float* room, const rlv_cast* cast)
{
    return room + 6 * cast->width * cast->height + 3 * cast->width * (size_t)omp_get_thread_num();
}

static rlv_status calm_normals(rlv_cast* cast, rlv_error* error)
{
    size_t count = cast->width * cast->height, threads = (size_t)omp_get_max_threads();
    float* room = rlv_reserve(6 * count + 3 * threads * cast->width, sizeof *room, error);
    if (room == NULL)
        return RLV_SYSTEM;
    planes facing = planes_of(room, count), guide = planes_of(room + 3 * count, count);
#pragma omp parallel for schedule(dynamic, 8)
    for (size_t y = 0; y < cast->height; y++)
        guide_row(cast, y, facing, guide, row_room(room, cast));
    float range = fminf(fmaxf(3.0f * roughness(cast, facing, guide), 0.25f), 0.6f);
#pragma omp parallel for schedule(dynamic, 8)
    for (size_t y = 0; y < cast->height; y++)
        calm_row(cast, y, facing, guide, range, planes_of(row_room(room, cast), cast->width));
    free(room);
    return RLV_DONE;
}

rlv_status rlv_cast_make(rlv_cast* cast, size_t width, size_t height, rlv_frame frame, const rlv_mesh* mesh,
                         const rlv_tree* tree, const rlv_camera* camera, const rlv_cast_light* light, rlv_error* error)
{
    box bounds = box_of(mesh);
    aim(cast, width, height, frame, mesh, bounds, camera);
    if (cast->width == 0)
        return RLV_DONE;
    if (!reserve(cast, mesh, error))
        return RLV_SYSTEM;
    cast_sum_corner_normals(mesh, cast->corner_normal);
    rlv_status status = cast_see(cast, mesh, error);
    if (status == RLV_DONE)
        status = calm_normals(cast, error);
    double diagonal = rlv_vec3_length(rlv_vec3_sub(bounds.high, bounds.low));
    if (status == RLV_DONE && light->rays > 0)
        status = cast_look_around(cast, mesh, tree, light, diagonal, error);
    return status;
}
