#include "cast.h"

#include <math.h>
#include <omp.h>
#include <stdlib.h>
#include <string.h>

#define TILE 16  // a tile of TILE * TILE pixels is one piece of work
#define DEAL 4   // directions are dealt over DEAL * DEAL pixels
#define CHUNK 16 // rays a pixel that are cast together
#define TILE_PIXELS (TILE * TILE)

static inline float dot3(const float a[3], const float b[3])
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

static inline void unit3(float a[3])
{
    float length = sqrtf(dot3(a, a));
    float factor = length > 0.0f ? 1.0f / length : 0.0f;
    for (int i = 0; i < 3; i++)
        a[i] *= factor;
}

static inline void face_of(const rlv_mesh* mesh, size_t triangle, float face[3])
{
    const uint32_t* corner = mesh->corner + 3 * triangle;
    const float* a = mesh->position_mm + 3 * (size_t)corner[0];
    const float* b = mesh->position_mm + 3 * (size_t)corner[1];
    const float* c = mesh->position_mm + 3 * (size_t)corner[2];
    float p[3] = {b[0] - a[0], b[1] - a[1], b[2] - a[2]};
    float q[3] = {c[0] - a[0], c[1] - a[1], c[2] - a[2]};
    face[0] = p[1] * q[2] - p[2] * q[1];
    face[1] = p[2] * q[0] - p[0] * q[2];
    face[2] = p[0] * q[1] - p[1] * q[0];
}

// Arc cosine to 7e-5 (M. Abramowitz, I. Stegun, Handbook of Mathematical Functions, 4.4.45).
static inline float angle_of(float cosine)
{
    float x = fminf(fabsf(cosine), 1.0f);
    float angle = sqrtf(1.0f - x) * (1.5707288f + x * (-0.2121144f + x * (0.0742610f - 0.0187293f * x)));
    return cosine < 0.0f ? 3.1415927f - angle : angle;
}

// The facing of a triangle, of length one, and its three angles.
static inline void angles_of(const rlv_mesh* mesh, size_t triangle, float face[3], float angle[3])
{
    const uint32_t* corner = mesh->corner + 3 * triangle;
    float edge[3][3];
    for (size_t k = 0; k < 3; k++)
    {
        const float* from = mesh->position_mm + 3 * (size_t)corner[k];
        const float* to = mesh->position_mm + 3 * (size_t)corner[k < 2 ? k + 1 : 0];
        for (size_t i = 0; i < 3; i++)
            edge[k][i] = to[i] - from[i];
        unit3(edge[k]);
    }
    face[0] = edge[0][1] * edge[1][2] - edge[0][2] * edge[1][1];
    face[1] = edge[0][2] * edge[1][0] - edge[0][0] * edge[1][2];
    face[2] = edge[0][0] * edge[1][1] - edge[0][1] * edge[1][0];
    unit3(face);
    angle[0] = angle_of(-dot3(edge[2], edge[0]));
    angle[1] = angle_of(-dot3(edge[0], edge[1]));
    angle[2] = angle_of(-dot3(edge[1], edge[2]));
}

// A vertex's facing: the mean of its triangles, weighted by their angle there, so that it does not hang on how a face
// was cut into triangles (G. Thuermer, C. Wuethrich, Journal of Graphics Tools 3(1), 1998).
// Each thread sums for its own stretch of vertices, over all triangles in order: the sums are the same for any count.
static void sum_corner_normals(const rlv_mesh* mesh, float* normal)
{
#pragma omp parallel
    {
        size_t threads = (size_t)omp_get_num_threads(), thread = (size_t)omp_get_thread_num();
        size_t from = mesh->vertex_count * thread / threads, to = mesh->vertex_count * (thread + 1) / threads;
        for (size_t t = 0; t < mesh->triangle_count; t++)
        {
            const uint32_t* corner = mesh->corner + 3 * t;
            bool mine[3];
            for (int k = 0; k < 3; k++)
                mine[k] = corner[k] >= from && corner[k] < to;
            if (!mine[0] && !mine[1] && !mine[2])
                continue;
            float face[3], angle[3];
            angles_of(mesh, t, face, angle);
            for (size_t k = 0; k < 3; k++)
                for (size_t i = 0; mine[k] && i < 3; i++)
                    normal[3 * (size_t)corner[k] + i] += angle[k] * face[i];
        }
#pragma omp barrier
        for (size_t v = from; v < to; v++)
            unit3(normal + 3 * v);
    }
}

typedef struct box
{
    rlv_vec3 low, high;
} box;

static box box_of(const rlv_mesh* mesh)
{
    float low[3] = {INFINITY, INFINITY, INFINITY}, high[3] = {-INFINITY, -INFINITY, -INFINITY};
    for (size_t i = 0; i < 3 * mesh->vertex_count; i += 3)
        for (size_t k = 0; k < 3; k++)
        {
            low[k] = fminf(low[k], mesh->position_mm[i + k]);
            high[k] = fmaxf(high[k], mesh->position_mm[i + k]);
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
    free(cast->back);
    free(cast->corner_normal);
    memset(cast, 0, sizeof *cast);
}

static inline void turn(const rlv_mat3* to, const float from[3], float into[3])
{
    for (int i = 0; i < 3; i++)
        into[i] = (float)to->m[3 * i] * from[0] + (float)to->m[3 * i + 1] * from[1] + (float)to->m[3 * i + 2] * from[2];
}

static inline void turn_back(const rlv_mat3* to, const float from[3], float into[3])
{
    for (int i = 0; i < 3; i++)
        into[i] = (float)to->m[i] * from[0] + (float)to->m[3 + i] * from[1] + (float)to->m[6 + i] * from[2];
}

// A corner whose mean differs from the triangle's own facing by more than a slope does lies on a crease, and the
// triangle keeps its own facing there: fully beyond 40 degrees, not at all below 25.
static float crease(float cosine)
{
    const float sharp = 0.7660f, smooth = 0.9063f;
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

typedef struct tile
{
    size_t left, top, right, bottom; // within the cast's rectangle
} tile;

static size_t tile_count(const rlv_cast* cast)
{
    return ((cast->width + TILE - 1) / TILE) * ((cast->height + TILE - 1) / TILE);
}

static tile tile_of(const rlv_cast* cast, size_t index)
{
    size_t across = (cast->width + TILE - 1) / TILE;
    size_t left = (index % across) * TILE, top = (index / across) * TILE;
    size_t right = left + TILE < cast->width ? left + TILE : cast->width;
    size_t bottom = top + TILE < cast->height ? top + TILE : cast->height;
    return (tile){left, top, right, bottom};
}

static void see_tile(rlv_cast* cast, const rlv_mesh* mesh, const rlv_tree* tree, tile at)
{
    rlv_ray ray[TILE_PIXELS] = {0};
    rlv_hit hit[TILE_PIXELS];
    size_t count = 0;
    for (size_t y = at.top; y < at.bottom; y++)
        for (size_t x = at.left; x < at.right; x++)
            ray[count++] = rlv_cast_ray(cast, (double)(cast->left + x) + 0.5, (double)(cast->top + y) + 0.5);
    rlv_tree_rays(tree, count, ray, hit);
    count = 0;
    for (size_t y = at.top; y < at.bottom; y++)
        for (size_t x = at.left; x < at.right; x++, count++)
        {
            size_t p = y * cast->width + x;
            cast->triangle[p] = hit[count].triangle;
            cast->open[p] = 1.0f;
            cast->height_mm[p] = -INFINITY;
            if (hit[count].triangle == RLV_TREE_NONE)
                continue;
            bool back;
            rlv_cast_facing(cast, mesh, &hit[count], cast->normal + 3 * p, &back);
            cast->back[p] = back;
            cast->weight[2 * p] = hit[count].u;
            cast->weight[2 * p + 1] = hit[count].v;
            cast->height_mm[p] = (float)(cast->eye_height_mm - (double)hit[count].distance);
        }
}

// Distance of pixel q from the tangent plane at pixel p, in pixels.
static inline float off_plane(const rlv_cast* cast, size_t p, const float* normal, float right, float up, size_t q)
{
    float rise = (cast->height_mm[q] - cast->height_mm[p]) / cast->pixel_mm;
    return fabsf(normal[0] * right + normal[1] * up + normal[2] * rise);
}

// The mean facing of the 3 by 3 pixels around each on one surface: what the filter is guided by.
static void guide_row(const rlv_cast* cast, size_t y, float* guide)
{
    for (size_t x = 0; x < cast->width; x++)
    {
        size_t p = y * cast->width + x;
        if (cast->triangle[p] == RLV_TREE_NONE)
            continue;
        const float* own = cast->normal + 3 * p;
        float sum[3] = {0.0f, 0.0f, 0.0f};
        size_t x0 = x > 0 ? x - 1 : 0, x1 = x + 1 < cast->width ? x + 1 : x;
        size_t y0 = y > 0 ? y - 1 : 0, y1 = y + 1 < cast->height ? y + 1 : y;
        for (size_t j = y0; j <= y1; j++)
            for (size_t i = x0; i <= x1; i++)
            {
                size_t q = j * cast->width + i;
                const float* other = cast->normal + 3 * q;
                if (cast->triangle[q] == RLV_TREE_NONE || dot3(own, other) < 0.5f)
                    continue;
                for (int k = 0; k < 3; k++)
                    sum[k] += other[k];
            }
        unit3(sum);
        memcpy(guide + 3 * p, sum, sizeof sum);
    }
}

#define NOISE_BINS 512

// The median distance of a pixel's facing from its neighbours' mean: what roughness of a pixel's size comes to.
static float roughness(const rlv_cast* cast, const float* guide)
{
    size_t bin[NOISE_BINS] = {0}, count = cast->width * cast->height, seen = 0;
#pragma omp parallel for schedule(static) reduction(+ : bin[:NOISE_BINS], seen)
    for (size_t p = 0; p < count; p++)
    {
        if (cast->triangle[p] == RLV_TREE_NONE)
            continue;
        const float *a = cast->normal + 3 * p, *b = guide + 3 * p;
        float d[3] = {a[0] - b[0], a[1] - b[1], a[2] - b[2]};
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

// A bilateral filter (C. Tomasi, R. Manduchi, ICCV 1998) on the facings, its range set by their own roughness: noise of
// a pixel's size is calmed, while whatever turns further than the noise does keeps its edge.
static void calm_row(const rlv_cast* cast, size_t y, const float* guide, float range, float* calm)
{
    static const float bell[CALM + 1] = {1.0f, 0.7548f, 0.3247f, 0.0796f}; // exp(-d^2 / (2 * 1.333^2))
    float factor = 1.0f / (range * range);
    for (size_t x = 0; x < cast->width; x++)
    {
        size_t p = y * cast->width + x;
        if (cast->triangle[p] == RLV_TREE_NONE)
            continue;
        float sum[3] = {0.0f, 0.0f, 0.0f};
        const float* own = guide + 3 * p;
        size_t x0 = x > CALM ? x - CALM : 0, x1 = x + CALM < cast->width ? x + CALM : cast->width - 1;
        size_t y0 = y > CALM ? y - CALM : 0, y1 = y + CALM < cast->height ? y + CALM : cast->height - 1;
        for (size_t j = y0; j <= y1; j++)
            for (size_t i = x0; i <= x1; i++)
            {
                size_t q = j * cast->width + i;
                if (cast->triangle[q] == RLV_TREE_NONE)
                    continue;
                const float *other = guide + 3 * q, *facing = cast->normal + 3 * q;
                float d[3] = {own[0] - other[0], own[1] - other[1], own[2] - other[2]};
                float near = 1.0f / (1.0f + factor * dot3(d, d));
                float weight = bell[i > x ? i - x : x - i] * bell[j > y ? j - y : y - j] * near * near * near;
                for (int k = 0; k < 3; k++)
                    sum[k] += weight * facing[k];
            }
        unit3(sum);
        memcpy(calm + 3 * p, sum, sizeof sum);
    }
}

static rlv_status calm_normals(rlv_cast* cast, rlv_error* error)
{
    size_t count = cast->width * cast->height;
    float* guide = rlv_reserve(3 * count, sizeof *guide, error);
    float* calm = guide != NULL ? rlv_reserve(3 * count, sizeof *calm, error) : NULL;
    if (calm == NULL)
    {
        free(guide);
        return RLV_SYSTEM;
    }
#pragma omp parallel for schedule(dynamic, 8)
    for (size_t y = 0; y < cast->height; y++)
        guide_row(cast, y, guide);
    float range = fminf(fmaxf(3.0f * roughness(cast, guide), 0.03f), 0.6f);
#pragma omp parallel for schedule(dynamic, 8)
    for (size_t y = 0; y < cast->height; y++)
        calm_row(cast, y, guide, range, calm);
    free(guide);
    free(cast->normal);
    cast->normal = calm;
    return RLV_DONE;
}

// A direction over the plane (third component along the normal) and how far it looks, as a share of the reach.
typedef struct look
{
    float right, up, out, share;
} look;

static float radical_inverse(size_t n, size_t base)
{
    double value = 0.0, part = 1.0;
    for (; n > 0; n /= base)
    {
        part /= (double)base;
        value += part * (double)(n % base);
    }
    return (float)value;
}

// Cosine-weighted directions: a point of the unit disc, lifted to the half sphere (Malley). A look that reaches a share
// `s` with s even over 0 to 1 is stopped by an obstacle at a share d in 1 - d of the cases: the linear fall of its
// weight.
static look* make_looks(size_t rays, rlv_error* error)
{
    size_t count = rays * DEAL * DEAL;
    look* looks = rlv_reserve(count, sizeof *looks, error);
    for (size_t n = 0; looks != NULL && n < count; n++)
    {
        // Halton's sequence starts at a corner of the cube; half a step puts its points within.
        float half = 0.5f / (float)count, square = fminf(radical_inverse(n, 2) + half, 0.999f);
        float radius = sqrtf(square), angle = 6.2831853f * radical_inverse(n, 3);
        looks[n] =
            (look){radius * cosf(angle), radius * sinf(angle), sqrtf(1.0f - square), radical_inverse(n, 5) + half};
    }
    return looks;
}

// Two vectors square to a normal (T. Duff et al., Building an orthonormal basis, revisited, JCGT 6(1), 2017).
static void frame_on(const float n[3], float a[3], float b[3])
{
    float sign = copysignf(1.0f, n[2]);
    float c = -1.0f / (sign + n[2]), d = n[0] * n[1] * c;
    a[0] = 1.0f + sign * n[0] * n[0] * c;
    a[1] = sign * d;
    a[2] = -sign * n[0];
    b[0] = d;
    b[1] = sign + n[1] * n[1] * c;
    b[2] = -n[1];
}

// Which share of the dealt directions a pixel has: neighbours in a 4 by 4 are far apart in the sequence (B. Bayer,
// 1973).
static const uint8_t deal[DEAL][DEAL] = {{0, 8, 2, 10}, {12, 4, 14, 6}, {3, 11, 1, 9}, {15, 7, 13, 5}};

// A place on the mesh, from where it is seen.
typedef struct place
{
    size_t pixel;
    const look* looks;
    float at[3], normal[3], a[3], b[3], face[3];
} place;

static void place_on(place* here, const rlv_cast* cast, const rlv_mesh* mesh, size_t p, const look* looks)
{
    here->pixel = p;
    here->looks = looks;
    size_t t = cast->triangle[p];
    const uint32_t* corner = mesh->corner + 3 * t;
    float u = cast->weight[2 * p], v = cast->weight[2 * p + 1], away = cast->back[p] != 0 ? -1.0f : 1.0f;
    face_of(mesh, t, here->face);
    unit3(here->face);
    for (size_t i = 0; i < 3; i++)
        here->face[i] *= away;
    turn_back(&cast->to_picture, cast->normal + 3 * p, here->normal);
    frame_on(here->normal, here->a, here->b);
    // Half a pixel off the surface: what is smaller than a pixel shuts nothing in.
    for (size_t i = 0; i < 3; i++)
        here->at[i] = (1.0f - u - v) * mesh->position_mm[3 * (size_t)corner[0] + i] +
                      u * mesh->position_mm[3 * (size_t)corner[1] + i] +
                      v * mesh->position_mm[3 * (size_t)corner[2] + i] + 0.5f * cast->pixel_mm * here->face[i];
}

static rlv_ray look_from(const place* here, const look* towards, float reach_mm)
{
    rlv_ray ray;
    for (int i = 0; i < 3; i++)
    {
        ray.origin_mm[i] = here->at[i];
        ray.direction[i] = towards->right * here->a[i] + towards->up * here->b[i] + towards->out * here->normal[i];
    }
    // Where the smooth facing leans over a flat triangle, looks into the triangle are mirrored out of it.
    float into = dot3(ray.direction, here->face);
    for (int i = 0; into < 0.0f && i < 3; i++)
        ray.direction[i] -= 2.0f * into * here->face[i];
    ray.limit = towards->share * reach_mm;
    return ray;
}

static void look_around_tile(rlv_cast* cast, const rlv_mesh* mesh, const rlv_tree* tree, tile at, const look* looks,
                             size_t rays, float reach_mm)
{
    place here[TILE_PIXELS];
    rlv_ray ray[TILE_PIXELS * CHUNK];
    bool blocked[TILE_PIXELS * CHUNK];
    size_t count = 0;
    for (size_t y = at.top; y < at.bottom; y++)
        for (size_t x = at.left; x < at.right; x++)
        {
            size_t p = y * cast->width + x;
            if (cast->triangle[p] != RLV_TREE_NONE)
                place_on(&here[count++], cast, mesh, p, looks + rays * deal[y % DEAL][x % DEAL]);
        }
    unsigned stopped[TILE_PIXELS] = {0};
    for (size_t first = 0; first < rays; first += CHUNK)
    {
        size_t many = rays - first < CHUNK ? rays - first : CHUNK;
        for (size_t i = 0; i < count; i++)
            for (size_t k = 0; k < many; k++)
                ray[i * many + k] = look_from(&here[i], &here[i].looks[first + k], reach_mm);
        rlv_tree_blocked(tree, count * many, ray, blocked);
        for (size_t i = 0; i < count * many; i++)
            stopped[i / many] += blocked[i];
    }
    for (size_t i = 0; i < count; i++)
        cast->open[here[i].pixel] = 1.0f - (float)stopped[i] / (float)rays;
}

// Gather the dealt directions: a window of 5 by 5 with its outer rim at half weight holds each place of the 4 by 4
// once.
static void gather_row(const rlv_cast* cast, size_t y, float* gathered)
{
    static const float share[3] = {1.0f, 1.0f, 0.5f};
    for (size_t x = 0; x < cast->width; x++)
    {
        size_t p = y * cast->width + x;
        gathered[p] = cast->open[p];
        if (cast->triangle[p] == RLV_TREE_NONE)
            continue;
        const float* own = cast->normal + 3 * p;
        float sum = 0.0f, weights = 0.0f;
        size_t x0 = x > 2 ? x - 2 : 0, x1 = x + 2 < cast->width ? x + 2 : cast->width - 1;
        size_t y0 = y > 2 ? y - 2 : 0, y1 = y + 2 < cast->height ? y + 2 : cast->height - 1;
        for (size_t j = y0; j <= y1; j++)
            for (size_t i = x0; i <= x1; i++)
            {
                size_t q = j * cast->width + i;
                float right = (float)i - (float)x, up = (float)y - (float)j;
                if (cast->triangle[q] == RLV_TREE_NONE || off_plane(cast, p, own, right, up, q) > 2.0f)
                    continue;
                float weight = share[i > x ? i - x : x - i] * share[j > y ? j - y : y - j];
                sum += weight * cast->open[q];
                weights += weight;
            }
        gathered[p] = sum / weights;
    }
}

static rlv_status look_around(rlv_cast* cast, const rlv_mesh* mesh, const rlv_tree* tree, size_t rays, float reach_mm,
                              rlv_error* error)
{
    look* looks = make_looks(rays, error);
    float* gathered = looks != NULL ? rlv_reserve(cast->width * cast->height, sizeof *gathered, error) : NULL;
    if (gathered == NULL)
    {
        free(looks);
        return RLV_SYSTEM;
    }
    size_t tiles = tile_count(cast);
#pragma omp parallel for schedule(dynamic, 4)
    for (size_t i = 0; i < tiles; i++)
        look_around_tile(cast, mesh, tree, tile_of(cast, i), looks, rays, reach_mm);
#pragma omp parallel for schedule(dynamic, 8)
    for (size_t y = 0; y < cast->height; y++)
        gather_row(cast, y, gathered);
    free(looks);
    free(cast->open);
    cast->open = gathered;
    return RLV_DONE;
}

rlv_status rlv_cast_make(rlv_cast* cast, size_t width, size_t height, rlv_frame frame, const rlv_mesh* mesh,
                         const rlv_tree* tree, const rlv_camera* camera, int occlusion_rays, rlv_error* error)
{
    box bounds = box_of(mesh);
    aim(cast, width, height, frame, mesh, bounds, camera);
    if (cast->width == 0)
        return RLV_DONE;
    if (!reserve(cast, mesh, error))
        return RLV_SYSTEM;
    sum_corner_normals(mesh, cast->corner_normal);
    size_t tiles = tile_count(cast);
#pragma omp parallel for schedule(dynamic, 4)
    for (size_t i = 0; i < tiles; i++)
        see_tile(cast, mesh, tree, tile_of(cast, i));
    rlv_status status = calm_normals(cast, error);
    double diagonal = rlv_vec3_length(rlv_vec3_sub(bounds.high, bounds.low));
    if (status == RLV_DONE && occlusion_rays > 0)
        status = look_around(cast, mesh, tree, (size_t)occlusion_rays, (float)(RLV_CAST_REACH * diagonal), error);
    return status;
}
