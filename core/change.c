#include "change.h"

#include "columns.h"
#include "cubes.h"
#include "depths.h"
#include "extents.h"
#include "label_areas.h"
#include "misfit.h"
#include "regions.h"
#include "sampling.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum
{
    FITTING = 3,   // gatherings until the patches are as many as wanted
    ALIGNING = 30, // times the samples that an index is asked for where stages are aligned, about
};

_Static_assert(RLV_PART_BONE == RLV_DEPTHS_STAYS && RLV_PART_PIECE == RLV_DEPTHS_WHOLE &&
                   RLV_PART_COUNT == RLV_DEPTHS_UNSURE,
               "parts as depths knows them");

/// All that a measurement holds on the way; every part is freed in one place.
typedef struct work
{
    const rlv_mesh *before, *after;
    const rlv_change_options* options;
    rlv_tree* own_tree[2]; ///< of both, where none was lent
    const rlv_tree *before_tree, *after_tree;
    rlv_sampling before_sampling, after_sampling;
    rlv_nearest* known[2]; ///< one a sample of either: its nearest point on the other, as it was found last
    rlv_depths before_depths, after_depths;
    rlv_regions regions;
    rlv_pose pose;
    rlv_mesh moved; ///< AFTER in BEFORE's frame
    rlv_misfit* field;
    double chord_mm;     ///< how far the vertices lie outside the other stage's triangles, mean of both stages
    rlv_patch* still;    ///< patches of the surface that held still
    double* still_noise; ///< and what they share of the noise
    size_t still_count;
    double patch_side_mm;
    rlv_label_areas* areas[2]; ///< one a sample of either: the surface that each label's columns run through
    double* seed_mm2;          ///< one a region: the area of its seeds, on BEFORE or, where that has none, on AFTER
} work;

static void free_work(work* w)
{
    rlv_tree_free(w->own_tree[0]);
    rlv_tree_free(w->own_tree[1]);
    rlv_sampling_free(&w->before_sampling);
    rlv_sampling_free(&w->after_sampling);
    free(w->known[0]);
    free(w->known[1]);
    rlv_depths_free(&w->before_depths);
    rlv_depths_free(&w->after_depths);
    rlv_regions_free(&w->regions);
    rlv_mesh_free(&w->moved);
    rlv_misfit_free(w->field);
    free(w->still);
    free(w->still_noise);
    free(w->areas[0]);
    free(w->areas[1]);
    free(w->seed_mm2);
}

void rlv_change_free(rlv_change* change)
{
    free(change->region);
    free(change->before_label);
    free(change->after_label);
    memset(change, 0, sizeof *change);
}

static double relative_scale_sd(const rlv_change_options* options)
{
    return hypot(options->before_scale_sd, options->after_scale_sd);
}

// Finding

/// The label of a triangle: the first of its corners' that is not 0; of a region on its own part, where there is one.
static uint16_t label_of(const uint32_t* corner, const rlv_sampling* sampling, const uint16_t* of_sample,
                         const uint8_t* of_region, int part)
{
    uint16_t first = 0;
    for (int k = 0; k < 3; k++)
    {
        const uint32_t sample = sampling->of_vertex[corner[k]];
        const uint16_t label = sample != RLV_CUBES_NONE ? of_sample[sample] : 0;
        if (label != 0 && (part < 0 || of_region[label - 1] == part))
            return label;
        first = first != 0 ? first : label;
    }
    return first;
}

static uint8_t* mark_triangles(const rlv_mesh* mesh, const rlv_sampling* sampling, const uint8_t* of_sample,
                               rlv_error* error)
{
    uint8_t* mark = rlv_reserve(mesh->triangle_count, 1, error);
    if (mark == NULL)
        return NULL;
#pragma omp parallel for schedule(static)
    for (size_t t = 0; t < mesh->triangle_count; t++)
        for (int k = 0; k < 3; k++)
        {
            const uint32_t sample = sampling->of_vertex[mesh->corner[3 * t + (size_t)k]];
            mark[t] |= sample != RLV_CUBES_NONE && of_sample[sample];
        }
    return mark;
}

static rlv_status find_regions(work* w, rlv_error* error)
{
    rlv_depths_free(&w->before_depths);
    rlv_depths_free(&w->after_depths);
    rlv_regions_free(&w->regions);
    const rlv_stage before = {w->before, w->before_tree, &w->before_sampling, w->known[0]},
                    after = {w->after, w->after_tree, &w->after_sampling, w->known[1]};
    rlv_status status = rlv_depths_measure(&w->before_depths, &w->after_depths, before, after, &w->pose, error);
    if (status == RLV_DONE)
        status = rlv_regions_find(&w->regions, &w->before_depths, &w->before_sampling, &w->after_depths,
                                  &w->after_sampling, error);
    return status;
}

/// Align, and refuse what is ambiguous. A pose that is only weakly held is the misfit's to widen for.
static rlv_status align_with(work* w, rlv_alignment* alignment, const rlv_align_options* options, rlv_error* error)
{
    rlv_status status = rlv_align(alignment, w->before, w->before_tree, w->after, options, error);
    w->pose = alignment->pose;
    if (status == RLV_DONE && alignment->ambiguous && !alignment->loose)
        status = rlv_fail(error, RLV_IMPOSSIBLE, NULL, "put marks on the rim that both stages show, or give tie points",
                          "the alignment is ambiguous: %s", alignment->reason);
    return status;
}

/// Align again with what changed, and a margin, left out.
static rlv_status align_again(work* w, rlv_alignment* alignment, rlv_error* error)
{
    uint8_t* before = mark_triangles(w->before, &w->before_sampling, w->regions.before_near, error);
    uint8_t* after = before != NULL ? mark_triangles(w->after, &w->after_sampling, w->regions.after_near, error) : NULL;
    rlv_status status = RLV_SYSTEM;
    if (after != NULL)
    {
        const rlv_align_options options = {.scale_sd = relative_scale_sd(w->options),
                                           .start = &w->pose,
                                           .before_left_out = before,
                                           .after_left_out = after,
                                           .after_tree = w->after_tree,
                                           .seed = w->options->seed};
        status = align_with(w, alignment, &options, error);
    }
    free(before);
    free(after);
    return status;
}

static rlv_status align_first(work* w, rlv_alignment* alignment, rlv_error* error)
{
    const rlv_align_options options = {.scale_sd = relative_scale_sd(w->options),
                                       .start = w->options->start,
                                       .after_tree = w->after_tree,
                                       .seed = w->options->seed,
                                       .progress = w->options->progress};
    return align_with(w, alignment, &options, error);
}

/// The greatest distance that two poses put between the same samples of AFTER, a few hundred of them.
static double moved_mm(const work* w, const rlv_pose* a, const rlv_pose* b)
{
    double most = 0.0;
    const size_t stride = w->after_sampling.count / 300 + 1;
    for (size_t i = 0; i < w->after_sampling.count; i += stride)
    {
        const rlv_vec3 x = rlv_vec3_add(w->after->origin_mm, rlv_vec3_from(w->after_sampling.position_mm + 3 * i));
        most = fmax(most, rlv_vec3_length(rlv_vec3_sub(rlv_pose_apply(a, x), rlv_pose_apply(b, x))));
    }
    return most;
}

/// The diagonal of the box that holds the samples of BEFORE.
static double diagonal_mm(const work* w)
{
    const rlv_depths* depths = &w->before_depths;
    double low[3] = {INFINITY, INFINITY, INFINITY}, high[3] = {-INFINITY, -INFINITY, -INFINITY};
    for (size_t i = 0; i < 3 * depths->count; i++)
    {
        low[i % 3] = fmin(low[i % 3], (double)depths->position_mm[i]);
        high[i % 3] = fmax(high[i % 3], (double)depths->position_mm[i]);
    }
    return sqrt(pow(high[0] - low[0], 2) + pow(high[1] - low[1], 2) + pow(high[2] - low[2], 2));
}

/// The side of a column: as asked for, or a share of the block.
static double pitch_of(const work* w)
{
    return w->options->pitch_mm > 0.0 ? w->options->pitch_mm : diagonal_mm(w) / RLV_CHANGE_CELLS_ACROSS;
}

/// Noise that hides a twentieth of the block is no noise: the meshes do not lie on each other.
static rlv_status need_contact(const work* w, rlv_error* error)
{
    const rlv_depth_noise* noise = &w->regions.noise;
    const double limit = noise->threshold * noise->scale_sd_mm[RLV_REGION_SCALES - 1];
    const double size = diagonal_mm(w);
    if (limit < 0.05 * size)
        return RLV_DONE;
    return rlv_fail(error, RLV_IMPOSSIBLE, NULL,
                    w->options->aligned ? "leave out --aligned" : "look whether both meshes are of one block",
                    "the two meshes do not lie on each other: %.0f mm apart on the whole, on a block of %.0f mm",
                    noise->scale_sd_mm[RLV_REGION_SCALES - 1], size);
}

/// Find what changed and align again without it, until that moves the pose by no more than a quarter of its sd: regions
/// that come and go at the threshold move it by a fifth without end, and what is left is in the field's trend. The pose
/// that stands is the one that the regions were found with.
static rlv_status settle(work* w, rlv_alignment* alignment, rlv_error* error)
{
    rlv_tell(&w->options->progress, "depths", 0.0);
    rlv_status status = find_regions(w, error);
    for (int pass = 0; pass < RLV_CHANGE_MOST_SETTLING && !w->options->aligned && status == RLV_DONE; pass++)
    {
        const rlv_alignment last = *alignment;
        rlv_tell(&w->options->progress, "depths", (pass + 1.0) / (RLV_CHANGE_MOST_SETTLING + 1.0));
        status = align_again(w, alignment, error);
        if (status == RLV_DONE && pass > 0 &&
            moved_mm(w, &last.pose, &w->pose) < RLV_CHANGE_STANDS_SD * alignment->position_sd_mm)
        {
            *alignment = last;
            w->pose = last.pose;
            break;
        }
        if (status == RLV_DONE)
            status = find_regions(w, error);
    }
    return status;
}

static rlv_status index_stage(work* w, int k, rlv_error* error)
{
    const rlv_mesh* mesh = k == 0 ? w->before : w->after;
    const rlv_tree* lent = k == 0 ? w->options->before_tree : w->options->after_tree;
    rlv_sampling* sampling = k == 0 ? &w->before_sampling : &w->after_sampling;
    const size_t queries = (size_t)RLV_CHANGE_MOST_SAMPLES * (size_t)(w->options->aligned ? 1 : ALIGNING);
    rlv_status status = lent == NULL ? rlv_tree_build_for(&w->own_tree[k], mesh, queries, error) : RLV_DONE;
    *(k == 0 ? &w->before_tree : &w->after_tree) = lent != NULL ? lent : w->own_tree[k];
    if (status == RLV_DONE)
        status = rlv_sampling_take(sampling, mesh, k == 0 ? w->options->before_part : w->options->after_part,
                                   RLV_CHANGE_MOST_SAMPLES, error);
    if (status == RLV_DONE && (w->known[k] = rlv_nearest_reserve(sampling->count, error)) == NULL)
        status = RLV_SYSTEM;
    return status;
}

/// Both stages side by side: half of an index is built on one thread whatever is done.
static rlv_status index_stages(work* w, rlv_error* error)
{
    rlv_error own[2] = {0};
    rlv_status status[2];
    rlv_tell(&w->options->progress, "index", 0.0);
#pragma omp parallel for schedule(static, 1)
    for (int k = 0; k < 2; k++)
        status[k] = index_stage(w, k, own + k);
    return rlv_first_failure(2, status, own, error);
}

// The field

/// The samples of both stages that held still, as one list in BEFORE's local coordinates, each with half of its area. A
/// vertex of one stage lies outside the other's chords on the whole; over both stages that cancels.
typedef struct still
{
    size_t count;
    float *position_mm, *normal, *area_mm2, *depth_mm;
} still;

static void free_still(still* s)
{
    free(s->position_mm);
    free(s->normal);
    free(s->area_mm2);
    free(s->depth_mm);
}

static void add_still(still* s, const rlv_depths* depths, const rlv_sampling* sampling, const uint8_t* near)
{
    for (size_t i = 0; i < depths->count; i++)
    {
        if (near[i] || isnan(depths->depth_mm[i]))
            continue;
        memcpy(s->position_mm + 3 * s->count, depths->position_mm + 3 * i, 3 * sizeof(float));
        memcpy(s->normal + 3 * s->count, depths->normal + 3 * i, 3 * sizeof(float));
        s->area_mm2[s->count] = 0.5f * sampling->area_mm2[i];
        s->depth_mm[s->count] = depths->depth_mm[i];
        s->count++;
    }
}

static rlv_status list_still(still* s, const work* w, rlv_error* error)
{
    const size_t most = w->before_depths.count + w->after_depths.count;
    if ((s->position_mm = rlv_reserve(3 * most, sizeof(float), error)) == NULL ||
        (s->normal = rlv_reserve(3 * most, sizeof(float), error)) == NULL ||
        (s->area_mm2 = rlv_reserve(most, sizeof(float), error)) == NULL ||
        (s->depth_mm = rlv_reserve(most, sizeof(float), error)) == NULL)
        return RLV_SYSTEM;
    add_still(s, &w->before_depths, &w->before_sampling, w->regions.before_near);
    add_still(s, &w->after_depths, &w->after_sampling, w->regions.after_near);
    return RLV_DONE;
}

static double sum_of(size_t count, const float* value)
{
    double sum = 0.0;
    for (size_t i = 0; i < count; i++)
        sum += (double)value[i];
    return sum;
}

/// Half the difference between the mean depths at BEFORE's samples and at AFTER's: the mean height of vertices over
/// chords.
static double mean_chord(const work* w)
{
    const rlv_depths* depths[2] = {&w->before_depths, &w->after_depths};
    const rlv_sampling* sampling[2] = {&w->before_sampling, &w->after_sampling};
    const uint8_t* near[2] = {w->regions.before_near, w->regions.after_near};
    double mean[2];
    for (int k = 0; k < 2; k++)
    {
        double sum = 0.0, area = 0.0;
        for (size_t i = 0; i < depths[k]->count; i++)
            if (!near[k][i] && !isnan(depths[k]->depth_mm[i]))
            {
                sum += (double)sampling[k]->area_mm2[i] * (double)depths[k]->depth_mm[i];
                area += (double)sampling[k]->area_mm2[i];
            }
        mean[k] = area > 0.0 ? sum / area : 0.0;
    }
    return 0.5 * fabs(mean[0] - mean[1]);
}

/// Patches of the surface that held still, about RLV_CHANGE_PATCHES of them.
static rlv_status gather_still(work* w, rlv_error* error)
{
    still s = {0};
    rlv_status status = list_still(&s, w, error);
    const double area = status == RLV_DONE ? sum_of(s.count, s.area_mm2) : 0.0;
    const double whole = sum_of(w->before_sampling.count, w->before_sampling.area_mm2);
    if (status == RLV_DONE && area < RLV_CHANGE_LEAST_STABLE * whole)
        status = rlv_fail(error, RLV_IMPOSSIBLE, NULL,
                          "scan more of the surface that did not change, or put marks on the rim",
                          "only %.1f %% of the surface before held still", 100.0 * area / whole);
    w->patch_side_mm = fmax(sqrt(1.5 * area / RLV_CHANGE_PATCHES), 2.0 * w->regions.noise.length_mm);
    for (int pass = 0; pass < FITTING && status == RLV_DONE; pass++)
    {
        double** noise = pass == FITTING - 1 ? &w->still_noise : NULL; // of the patches that stay
        if (pass > 0)
            w->patch_side_mm *= sqrt((double)w->still_count / RLV_CHANGE_PATCHES);
        free(w->still);
        status = rlv_patches_gather(&w->still, noise, &w->still_count, s.count, s.position_mm, s.normal, s.area_mm2,
                                    s.depth_mm, NULL, w->patch_side_mm, w->regions.noise.length_mm, 0.15, error);
    }
    free_still(&s);
    w->chord_mm = mean_chord(w);
    return status;
}

/// Fit the field, and take the pose's covariance from it: unlike the alignment's own it holds warp as long as the
/// block.
static rlv_status fit_field(work* w, rlv_alignment* alignment, rlv_error* error)
{
    rlv_status status = gather_still(w, error);
    rlv_tell(&w->options->progress, "field", 0.0);
    if (status == RLV_DONE)
        status = rlv_misfit_fit(&w->field, w->still, w->still_noise, w->still_count, -log(w->pose.scale),
                                relative_scale_sd(w->options), error);
    if (status != RLV_DONE || w->options->aligned)
        return status;
    rlv_pose* pose = &alignment->pose;
    status = rlv_misfit_motion(pose->covariance, w->field, rlv_vec3_sub(pose->centre_mm, w->before->origin_mm), error);
    alignment->position_sd_mm = rlv_pose_position_sd_mm(pose);
    alignment->rotation_sd_deg = rlv_pose_rotation_sd_deg(pose);
    return status;
}

/// The surface of one region, before and after, in patches.
typedef struct region_patches
{
    rlv_patch *before, *after;
    size_t before_count, after_count;
} region_patches;

/// How much of a sample of BEFORE (`side` 0) or AFTER is asked for, mm².
typedef double sample_area(const work* w, int side, size_t sample, const void* asked);

/// Patches of all that is asked for.
static rlv_status gather_samples(const work* w, sample_area* area_of, const void* asked, region_patches* patches,
                                 rlv_error* error)
{
    const rlv_depths* depths[2] = {&w->before_depths, &w->after_depths};
    rlv_patch** patch[2] = {&patches->before, &patches->after};
    size_t* count[2] = {&patches->before_count, &patches->after_count};
    rlv_status status = RLV_DONE;
    for (int k = 0; k < 2 && status == RLV_DONE; k++)
    {
        float* area = rlv_reserve(depths[k]->count, sizeof *area, error);
        if (area == NULL)
            return RLV_SYSTEM;
        for (size_t i = 0; i < depths[k]->count; i++)
            area[i] = (float)area_of(w, k, i, asked);
        status = rlv_patches_gather(patch[k], NULL, count[k], depths[k]->count, depths[k]->position_mm,
                                    depths[k]->normal, area, NULL, NULL, w->patch_side_mm, 0.0, 0.0, error);
        free(area);
    }
    return status;
}

static uint16_t label_at(const work* w, int side, size_t sample)
{
    return (side == 0 ? w->regions.before : w->regions.after)[sample];
}

/// `asked`: one a label.
static double wanted_mm2(const work* w, int side, size_t sample, const void* asked)
{
    return rlv_label_areas_sum(w->areas[side] + sample, asked);
}

// Summing

/// What the columns say of a label, as the mean of the axes.
typedef struct column_sum
{
    double signed_mm3;
} column_sum;

static void label_triangles(const rlv_mesh* mesh, const rlv_sampling* sampling, const uint16_t* of_sample,
                            const uint8_t* of_region, const uint8_t* part, uint16_t* label)
{
#pragma omp parallel for schedule(static)
    for (size_t t = 0; t < mesh->triangle_count; t++)
        label[t] = label_of(mesh->corner + 3 * t, sampling, of_sample, of_region, part != NULL ? part[t] : -1);
}

/// What a surface adds up to.
typedef struct balance
{
    rlv_vec3 vector_area_mm2; ///< nothing where the surface is closed; else minus where it opens
    double area_mm2, volume_mm3;
} balance;

enum
{
    STRIPS = 64, // sums over a fixed number of strips do not depend on the thread count
};

static void add_balance(balance* sum, const rlv_mesh* mesh, size_t first, size_t end)
{
    // About a corner of the mesh, which keeps the tetrahedra small.
    const rlv_vec3 reference = rlv_vec3_from(mesh->position_mm + 3 * (size_t)mesh->corner[0]);
    rlv_vec3 vectors = {0, 0, 0};
    double areas = 0.0, volumes = 0.0;
    for (size_t t = first; t < end; t++)
    {
        const uint32_t* corner = mesh->corner + 3 * t;
        const rlv_vec3 a = rlv_vec3_sub(rlv_vec3_from(mesh->position_mm + 3 * (size_t)corner[0]), reference);
        const rlv_vec3 b = rlv_vec3_sub(rlv_vec3_from(mesh->position_mm + 3 * (size_t)corner[1]), reference);
        const rlv_vec3 c = rlv_vec3_sub(rlv_vec3_from(mesh->position_mm + 3 * (size_t)corner[2]), reference);
        const rlv_vec3 n = rlv_vec3_cross(rlv_vec3_sub(b, a), rlv_vec3_sub(c, a));
        vectors = rlv_vec3_along(vectors, 0.5, n);
        areas += 0.5 * rlv_vec3_length(n);
        volumes += rlv_vec3_dot(a, n) / 6.0;
    }
    *sum = (balance){vectors, areas, volumes};
}

static balance balance_of(const rlv_mesh* mesh)
{
    balance strip[STRIPS], sum = {0};
#pragma omp parallel for schedule(dynamic, 1)
    for (size_t i = 0; i < STRIPS; i++)
        add_balance(strip + i, mesh, mesh->triangle_count * i / STRIPS, mesh->triangle_count * (i + 1) / STRIPS);
    for (size_t i = 0; i < STRIPS; i++)
    {
        sum.vector_area_mm2 = rlv_vec3_add(sum.vector_area_mm2, strip[i].vector_area_mm2);
        sum.area_mm2 += strip[i].area_mm2;
        sum.volume_mm3 += strip[i].volume_mm3;
    }
    return sum;
}

static bool is_open(const balance* b)
{
    return rlv_vec3_length(b->vector_area_mm2) > 1e-9 * b->area_mm2;
}

/// A rotation that carries `direction` onto minus z.
static rlv_mat3 turn_down(rlv_vec3 direction)
{
    const rlv_vec3 from = rlv_vec3_unit(direction), down = {0, 0, -1};
    const rlv_vec3 axis = rlv_vec3_cross(from, down);
    const double sine = rlv_vec3_length(axis), cosine = rlv_vec3_dot(from, down);
    if (sine < 1e-9)
        return cosine > 0.0 ? rlv_mat3_identity() : rlv_rotation_from_vector(rlv_vec3_of(M_PI, 0, 0));
    return rlv_rotation_from_vector(rlv_vec3_scale(axis, atan2(sine, cosine) / sine));
}

/// Sum the columns of one axis into `sum` (one a label), times `share`.
static rlv_status sum_axis(rlv_change* change, column_sum* sum, size_t labels, const rlv_mesh* before,
                           const rlv_mesh* after, rlv_axis axis, double pitch, double share, double* total,
                           rlv_error* error)
{
    rlv_columns_difference difference = {0};
    const rlv_solid first = {before, change->before_label}, second = {after, change->after_label};
    rlv_status status = rlv_columns_compare(&difference, &first, &second, labels, axis, pitch, error);
    if (status == RLV_DONE)
    {
        for (size_t l = 0; l < labels; l++)
            sum[l].signed_mm3 += share * difference.label[l].signed_mm3;
        change->left_out_mm2 += share * difference.left_out_mm2;
        change->overlap_mm2 = fmax(change->overlap_mm2, difference.overlap_mm2);
        *total = difference.signed_mm3;
    }
    rlv_columns_difference_free(&difference);
    return status;
}

static rlv_status sum_closed(rlv_change* change, column_sum* sum, size_t labels, const work* w, double pitch,
                             rlv_error* error)
{
    double total[3];
    for (int axis = 0; axis < 3; axis++)
    {
        rlv_tell(&w->options->progress, "columns", axis / 3.0);
        rlv_status status =
            sum_axis(change, sum, labels, w->before, &w->moved, (rlv_axis)axis, pitch, 1.0 / 3.0, total + axis, error);
        if (status != RLV_DONE)
            return status;
    }
    change->axis_spread_mm3 = fmax(fmax(total[0], total[1]), total[2]) - fmin(fmin(total[0], total[1]), total[2]);
    return RLV_DONE;
}

/// Sum along any one direction.
static rlv_status sum_towards(rlv_change* change, column_sum* sum, size_t labels, const work* w, rlv_vec3 towards,
                              double pitch, rlv_error* error)
{
    rlv_mesh before = {0}, after = {0};
    rlv_pose turn = rlv_pose_identity();
    turn.rotation = turn_down(towards);
    double total;
    rlv_status status = rlv_mesh_copy(&before, w->before, error);
    if (status == RLV_DONE)
        status = rlv_mesh_copy(&after, &w->moved, error);
    if (status == RLV_DONE)
    {
        rlv_pose_move_mesh(&turn, &before);
        rlv_pose_move_mesh(&turn, &after);
        status = sum_axis(change, sum, labels, &before, &after, RLV_AXIS_Z, pitch, 1.0, &total, error);
    }
    rlv_mesh_free(&before);
    rlv_mesh_free(&after);
    return status;
}

/// Open scans are summed along the one direction in which they open, against a common base.
static rlv_status sum_open(rlv_change* change, column_sum* sum, size_t labels, const work* w, rlv_vec3 towards,
                           double pitch, rlv_error* error)
{
    change->axis_spread_mm3 = NAN;
    return sum_towards(change, sum, labels, w, towards, pitch, error);
}

static rlv_status sum_columns(rlv_change* change, column_sum* sum, size_t labels, work* w, rlv_error* error)
{
    change->before_label = rlv_reserve(w->before->triangle_count, sizeof *change->before_label, error);
    change->after_label = rlv_reserve(w->after->triangle_count, sizeof *change->after_label, error);
    if (change->before_label == NULL || change->after_label == NULL)
        return RLV_SYSTEM;
    label_triangles(w->before, &w->before_sampling, w->regions.before, w->regions.part, w->options->before_part,
                    change->before_label);
    label_triangles(w->after, &w->after_sampling, w->regions.after, w->regions.part, w->options->after_part,
                    change->after_label);
    rlv_status status = rlv_mesh_copy(&w->moved, w->after, error);
    if (status != RLV_DONE)
        return status;
    rlv_pose_move_mesh(&w->pose, &w->moved);
    const balance before = balance_of(w->before), after = balance_of(&w->moved);
    change->open = is_open(&before) || is_open(&after);
    change->divergence_mm3 = change->open ? NAN : before.volume_mm3 - after.volume_mm3;
    const rlv_vec3 opens = rlv_vec3_scale(rlv_vec3_add(before.vector_area_mm2, after.vector_area_mm2), -1.0);
    return change->open ? sum_open(change, sum, labels, w, opens, pitch_of(w), error)
                        : sum_closed(change, sum, labels, w, pitch_of(w), error);
}

// Telling

/// A measured volume with the predicted error taken off, and its 95 % interval with `more_sd` beside the field's.
static rlv_interval interval_of(double measured, const rlv_flux_error* flux, double more_sd)
{
    const double value = measured - flux->mean_mm3, more = RLV_HALF_95 * more_sd;
    return (rlv_interval){value, value - hypot(flux->high_mm3 - flux->mean_mm3, more),
                          value + hypot(flux->mean_mm3 - flux->low_mm3, more)};
}

/// A signed volume as one that counts what went (`sign` 1) or what came.
static rlv_interval toward(rlv_interval volume, int sign)
{
    return sign > 0 ? volume : (rlv_interval){-volume.value, -volume.high, -volume.low};
}

/// The magnitude of what went (`sign` 1) or came: the truth of it is not below nothing, whatever noise says.
static rlv_interval magnitude(rlv_interval signed_interval, int sign)
{
    const rlv_interval size = toward(signed_interval, sign);
    return (rlv_interval){fmax(size.value, 0.0), fmax(size.low, 0.0), fmax(size.high, 0.0)};
}

/// Area and centroid of the seeds of each region on BEFORE (on AFTER where BEFORE has none).
static rlv_status place_regions(rlv_change* change, work* w, rlv_error* error)
{
    if ((w->seed_mm2 = rlv_reserve(change->region_count, sizeof *w->seed_mm2, error)) == NULL)
        return RLV_SYSTEM;
    for (int side = 0; side < 2; side++)
    {
        const rlv_sampling* sampling = side == 0 ? &w->before_sampling : &w->after_sampling;
        const rlv_depths* depths = side == 0 ? &w->before_depths : &w->after_depths;
        const uint8_t* seed = side == 0 ? w->regions.before_seed : w->regions.after_seed;
        uint8_t* done = rlv_reserve(change->region_count + 1, 1, error);
        if (done == NULL)
            return RLV_SYSTEM;
        for (size_t r = 0; r < change->region_count; r++)
            done[r + 1] = w->seed_mm2[r] > 0.0;
        for (size_t i = 0; i < depths->count; i++)
        {
            const uint16_t label = label_at(w, side, i);
            if (!seed[i] || done[label])
                continue;
            rlv_change_region* region = change->region + label - 1;
            const double area = (double)sampling->area_mm2[i];
            w->seed_mm2[label - 1] += area;
            region->centroid_mm = rlv_vec3_along(region->centroid_mm, area, rlv_vec3_from(depths->position_mm + 3 * i));
        }
        for (size_t r = 0; r < change->region_count; r++)
            if (!done[r + 1] && w->seed_mm2[r] > 0.0)
                change->region[r].centroid_mm =
                    rlv_vec3_along(w->before->origin_mm, 1.0 / w->seed_mm2[r], change->region[r].centroid_mm);
        free(done);
    }
    return RLV_DONE;
}

/// Beside the misfit: BEFORE's scale, and the chords. Triangles hold less than the surface that their vertices lie on;
/// under a region that cancels between the stages but for a quarter of it (from the same rocks meshed anew).
static double more_sd(const work* w, const region_patches* p, double measured_mm3)
{
    double area = 0.0;
    for (size_t i = 0; i < p->before_count; i++)
        area += 0.5 * p->before[i].area_mm2;
    for (size_t i = 0; i < p->after_count; i++)
        area += 0.5 * p->after[i].area_mm2;
    return hypot(3.0 * w->options->before_scale_sd * measured_mm3, RLV_CHANGE_CHORD_SHARE * w->chord_mm * area);
}

/// A patch three cells of a scale wide is seen at that scale: by its depth, or, from twice a step's scale on, by its
/// rim.
static void tell_limits(rlv_change* change, const work* w)
{
    const rlv_depth_noise* noise = &w->regions.noise;
    double best = INFINITY;
    for (int k = 0; k < RLV_REGION_SCALES; k++)
    {
        best = fmin(best, noise->threshold * noise->scale_sd_mm[k]);
        change->limit[k] = (rlv_detection_limit){9.0 * noise->scale_mm[k] * noise->scale_mm[k], best};
    }
    for (int k = 0; k < RLV_REGION_STEPS; k++)
    {
        best = fmin(best, noise->step_mm[k]);
        change->limit[RLV_REGION_SCALES + k] =
            (rlv_detection_limit){36.0 * noise->step_scale_mm[k] * noise->step_scale_mm[k], best};
    }
}

/// The sums over regions: all that went, all that came, the rest, and, where parts are known, each class.
enum
{
    WENT,
    CAME,
    REST,
    FIRST_CLASS,
};

/// The volumes whose errors are predicted: each region, and then the sums.
typedef struct volumes
{
    size_t count;
    region_patches* patches;
    rlv_flux* flux;
    rlv_flux_error* error;
    uint8_t* wanted;
} volumes;

static void free_volumes(volumes* v)
{
    for (size_t i = 0; v->patches != NULL && i < v->count; i++)
    {
        free(v->patches[i].before);
        free(v->patches[i].after);
    }
    free(v->patches);
    free(v->flux);
    free(v->error);
    free(v->wanted);
}

static rlv_change_class class_of(const rlv_regions* regions, size_t region)
{
    const uint8_t part = regions->part[region];
    if (regions->sign[region] < 0)
        return part < RLV_PART_PIECE ? RLV_CHANGE_ADDED : RLV_CHANGE_JOINED;
    return part == RLV_PART_NONE ? RLV_CHANGE_REMOVED : part == RLV_PART_BONE ? RLV_CHANGE_BONE : RLV_CHANGE_DETACHED;
}

/// Whether a sum is of what went; else it is of what came.
static bool sum_went(size_t sum)
{
    return sum < FIRST_CLASS ? sum == WENT : rlv_change_went((rlv_change_class)(sum - FIRST_CLASS));
}

/// Whether a label belongs to a sum.
static bool in_sum(const rlv_regions* regions, size_t sum, size_t label)
{
    if (label == 0 || sum == REST)
        return label == 0 && sum == REST;
    const rlv_change_class kind = class_of(regions, label - 1);
    return sum == WENT   ? rlv_change_went(kind)
           : sum == CAME ? !rlv_change_went(kind)
                         : (size_t)kind == sum - FIRST_CLASS;
}

/// Whether a label belongs to a volume.
static bool belongs(const rlv_regions* regions, size_t volume, size_t label)
{
    return volume < regions->count ? label == volume + 1 : in_sum(regions, volume - regions->count, label);
}

static bool knows_parts(const work* w)
{
    return w->options->before_part != NULL || w->options->after_part != NULL;
}

static rlv_status predict_errors(volumes* v, const work* w, rlv_error* error)
{
    const size_t labels = w->regions.count + 1;
    v->count = w->regions.count + FIRST_CLASS + (knows_parts(w) ? RLV_CHANGE_CLASSES : 0);
    if ((v->patches = rlv_reserve(v->count, sizeof *v->patches, error)) == NULL ||
        (v->flux = rlv_reserve(v->count, sizeof *v->flux, error)) == NULL ||
        (v->error = rlv_reserve(v->count, sizeof *v->error, error)) == NULL ||
        (v->wanted = rlv_reserve(labels, 1, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < v->count; i++)
    {
        for (size_t l = 0; l < labels; l++)
            v->wanted[l] = belongs(&w->regions, i, l);
        rlv_status status = gather_samples(w, wanted_mm2, v->wanted, v->patches + i, error);
        if (status != RLV_DONE)
            return status;
        const region_patches* p = v->patches + i;
        v->flux[i] = (rlv_flux){p->before, p->before_count, p->after, p->after_count, i == w->regions.count + REST};
    }
    return rlv_misfit_predict(w->field, v->flux, v->count, v->error, error);
}

static int by_volume(const void* a, const void* b)
{
    const double x = ((const rlv_change_region*)a)->volume_mm3.value,
                 y = ((const rlv_change_region*)b)->volume_mm3.value;
    return (x < y) - (x > y);
}

/// Put the regions in the order of their volumes, and the labels of the triangles with them.
static rlv_status sort_regions(rlv_change* change, const work* w, rlv_error* error)
{
    uint16_t* now = rlv_reserve(change->region_count + 1, sizeof *now, error);
    rlv_change_region* old = rlv_reserve(change->region_count, sizeof *old, error);
    if (now != NULL && old != NULL)
    {
        memcpy(old, change->region, change->region_count * sizeof *old);
        qsort(change->region, change->region_count, sizeof *change->region, by_volume);
        for (size_t r = 0; r < change->region_count; r++)
            for (size_t n = 0; n < change->region_count; n++)
                if (memcmp(old + r, change->region + n, sizeof *old) == 0)
                    now[r + 1] = (uint16_t)(n + 1);
        for (size_t t = 0; t < w->before->triangle_count; t++)
            change->before_label[t] = now[change->before_label[t]];
        for (size_t t = 0; t < w->after->triangle_count; t++)
            change->after_label[t] = now[change->after_label[t]];
    }
    const rlv_status status = now != NULL && old != NULL ? RLV_DONE : RLV_SYSTEM;
    free(now);
    free(old);
    return status;
}

/// What may lie under the detection limit about the regions of a sum. Where depths between one limit and two cover
/// an area, a change that fades at an even slope covers as much again below the limit, at half the limit on the mean.
static double faded_mm3(const work* w, size_t sum, double limit_mm)
{
    const rlv_depths* depths[2] = {&w->before_depths, &w->after_depths};
    const rlv_sampling* sampling[2] = {&w->before_sampling, &w->after_sampling};
    const uint16_t* label[2] = {w->regions.before, w->regions.after};
    double area = 0.0;
    for (int side = 0; side < 2; side++)
        for (size_t i = 0; i < depths[side]->count; i++)
        {
            const double depth = fabs((double)depths[side]->depth_mm[i]);
            if (in_sum(&w->regions, sum, label[side][i]) &&
                (double)depths[side]->depth_mm[i] * w->regions.sign[label[side][i] - 1] > 0.0 && depth >= limit_mm &&
                depth < 2.0 * limit_mm)
                area += 0.5 * (double)sampling[side]->area_mm2[i];
        }
    return 0.5 * limit_mm * area;
}

/// The area that seemed to hold still and that a sum might have changed unseen: all of it, or, for a class that one
/// part alone can have, that part's.
static double quiet_mm2(const work* w, size_t sum)
{
    double quiet = 0.0;
    if (sum < FIRST_CLASS || sum - FIRST_CLASS == RLV_CHANGE_ADDED || !knows_parts(w))
    {
        for (size_t i = 0; i < w->still_count; i++)
            quiet += w->still[i].area_mm2;
        return quiet;
    }
    const rlv_depths* depths[2] = {&w->before_depths, &w->after_depths};
    const rlv_sampling* sampling[2] = {&w->before_sampling, &w->after_sampling};
    const uint8_t* near[2] = {w->regions.before_near, w->regions.after_near};
    const rlv_change_class kind = (rlv_change_class)(sum - FIRST_CLASS);
    for (int side = 0; side < 2; side++)
        for (size_t i = 0; i < depths[side]->count; i++)
        {
            const uint8_t part = depths[side]->part[i];
            const bool may = kind == RLV_CHANGE_REMOVED ? part == RLV_PART_NONE
                             : kind == RLV_CHANGE_BONE  ? part == RLV_PART_BONE
                                                        : part >= RLV_PART_PIECE;
            if (may && !near[side][i] && !isnan(depths[side]->depth_mm[i]))
                quiet += 0.5 * (double)sampling[side]->area_mm2[i];
        }
    return quiet;
}

/// Halves of a 95 % interval to a chance of one in a thousand: a balance that misses some in one step of forty by
/// chance alone would widen what is sound. Where more is missing than was found, that one in forty is enough.
static const double SURELY = 3.29 / 1.96;

/// What was not told apart may belong to a sum too. Where nothing of it was found, or what was found is shallow: up to
/// the detection limit of the widest patch over all that seemed to hold still. Where it is deep but fades out: twice an
/// even fade, and what the balance of the untold leaves room for, because the alignment took what faded for still; none
/// of that room where the fade is half of the interval or less, all of it where it is as much, and never more than in
/// the first case. The same room is left where the balance itself says that some is missing, however deep the rest: an
/// even shallow cut can be taken for warp as a whole, while a scrap of it is found.
static void bound_unseen(rlv_change_total* total, const rlv_change* change, const work* w, size_t sum)
{
    const double limit = change->limit[RLV_CHANGE_LIMITS - 1].depth_mm;
    const rlv_interval untold = toward(change->untold_mm3, sum_went(sum) ? 1 : -1);
    const double most = limit * quiet_mm2(w, sum);
    const double faded = faded_mm3(w, sum, limit);
    const double half = total->volume_mm3.high - total->volume_mm3.value;
    double volume = 0.0, area = 0.0;
    for (size_t r = 0; r < change->region_count; r++)
        if (in_sum(&w->regions, sum, r + 1))
        {
            total->regions++;
            volume += change->region[r].volume_mm3.value;
            area += w->seed_mm2[r];
        }
    const bool missing = untold.value > (untold.value > volume ? 1.0 : SURELY) * (untold.value - untold.low);
    const bool shallow = volume < RLV_CHANGE_FAINT * limit * area;
    const double share = missing ? 1.0 : fmin(fmax(2.0 * faded / half - 1.0, 0.0), 1.0);
    if (area == 0.0)
    {
        total->unseen_mm3 = most;
        total->volume_mm3 = (rlv_interval){0.0, 0.0, most};
    }
    else if (shallow || share > 0.0)
    {
        total->faint = true;
        total->unseen_mm3 = shallow ? most : fmin(most, fmax(share * untold.high, 2.0 * faded));
        total->volume_mm3.high += total->unseen_mm3;
    }
    else if (sum >= FIRST_CLASS) // a chip is small enough for the fade at its rim to tell
        total->volume_mm3.high = total->volume_mm3.value + hypot(half, 2.0 * faded);
}

/// Whether some triangle of a stage is of a part from `low` to `high`.
static bool has_part(const uint8_t* part, size_t count, uint8_t low, uint8_t high)
{
    for (size_t t = 0; part != NULL && t < count; t++)
        if (part[t] >= low && part[t] <= high)
            return true;
    return false;
}

/// How a bone's side may dip below its edge, where nobody saw it: any way within half a right angle, as sd of a slope.
static const double SEAM_SLOPE = 0.58;

/// A triangle of BEFORE across a seam: where a change runs on from one part to another.
typedef struct seam
{
    uint16_t label[2];
    double area_mm2, length_mm; ///< of the triangle, and of the seam through it: its area over its width
    double depth_mm;
    rlv_vec3 normal; ///< outward, of length one
} seam;

static bool find_seam(seam* s, const work* w, size_t triangle)
{
    *s = (seam){0};
    for (size_t k = 0; k < 3; k++)
    {
        const uint32_t vertex = w->before->corner[3 * triangle + k], sample = w->before_sampling.of_vertex[vertex];
        const uint16_t label = w->regions.before[sample];
        if (k == 0)
            s->label[0] = label;
        else if (label != s->label[0])
            s->label[1] = label;
        s->depth_mm += fabs((double)w->before_depths.depth_mm[sample]) / 3.0;
    }
    const size_t a = s->label[0], b = s->label[1];
    if (a == 0 || b == 0 || isnan(s->depth_mm) || w->regions.sign[a - 1] != w->regions.sign[b - 1] ||
        w->regions.part[a - 1] == w->regions.part[b - 1])
        return false;
    const rlv_vec3 twice = rlv_mesh_twice_area(w->before, triangle);
    s->area_mm2 = 0.5 * rlv_vec3_length(twice);
    s->length_mm = sqrt(0.5 * s->area_mm2);
    s->normal = rlv_vec3_unit(twice);
    return s->area_mm2 > 0.0;
}

/// All seams, in the order of their triangles. `list->seam` is the caller's: free().
typedef struct seam_list
{
    size_t count;
    seam* seam;
} seam_list;

static rlv_status list_seams(seam_list* list, const work* w, rlv_error* error)
{
    seam s;
    size_t most = 0;
    for (size_t t = 0; t < w->before->triangle_count; t++)
        most += find_seam(&s, w, t);
    if ((list->seam = rlv_reserve(most, sizeof *list->seam, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t t = 0; list->count < most; t++)
        if (find_seam(&s, w, t))
            list->seam[list->count++] = s;
    return RLV_DONE;
}

/// Which part's label a seam's split is read from: the one with more to say.
static int owner_of(const seam* s, const work* w)
{
    return w->regions.part[s->label[0] - 1] > w->regions.part[s->label[1] - 1] ? 0 : 1;
}

/// Of all seams of one owner: its labels' mean normal there, and how much there is to split.
typedef struct owner
{
    rlv_vec3 normal;
    double weight;
} owner;

static double seam_weight(const seam* s)
{
    return s->length_mm * s->depth_mm * s->depth_mm;
}

enum
{
    SPLIT_MOST = 8, // owners that are summed again, the deepest seams first
};

/// The owner with the deepest seams that has not been dealt with; 0: none.
static size_t next_owner(const owner* list, size_t labels)
{
    size_t best = 0;
    for (size_t l = 1; l < labels; l++)
        if (list[l].weight > (best != 0 ? list[best].weight : 0.0))
            best = l;
    return best;
}

/// Columns that lean on the surface give what lies below a seam to the part that they enter by; it belongs to the part
/// that it lies under along the normal. So the labels that own a seam are summed once more, along the normal there, and
/// what that changes comes from their neighbours: the sum of all stays.
static rlv_status straighten_seams(rlv_change* change, column_sum* sum, size_t labels, const seam_list* seams,
                                   const work* w, rlv_error* error)
{
    rlv_status status = RLV_SYSTEM;
    column_sum* own = NULL;
    owner* list = rlv_reserve(labels, sizeof *list, error);
    if (list == NULL || (own = rlv_reserve(labels, sizeof *own, error)) == NULL)
        goto end;
    for (size_t i = 0; i < seams->count; i++)
    {
        const seam* s = seams->seam + i;
        owner* of = list + s->label[owner_of(s, w)];
        of->normal = rlv_vec3_along(of->normal, seam_weight(s), s->normal);
        of->weight += seam_weight(s);
    }
    status = RLV_DONE;
    rlv_change aside = *change; // columns note alarms of their own there
    for (int n = 0; n < SPLIT_MOST && status == RLV_DONE; n++)
    {
        const size_t label = next_owner(list, labels);
        if (label == 0)
            break;
        memset(own, 0, labels * sizeof *own);
        status = sum_towards(&aside, own, labels, w, list[label].normal, pitch_of(w), error);
        const double more = own[label].signed_mm3 - sum[label].signed_mm3, whole = list[label].weight;
        list[label].weight = 0.0;
        for (size_t i = 0; i < seams->count && status == RLV_DONE; i++)
        {
            const seam* s = seams->seam + i;
            if (s->label[owner_of(s, w)] == label)
                sum[s->label[1 - owner_of(s, w)]].signed_mm3 -= more * seam_weight(s) / whole;
        }
        sum[label].signed_mm3 += more;
    }
end:
    free(list);
    free(own);
    return status;
}

/// What lies below a seam may belong to either part: for the side below an edge dips unseen, and the edge itself is
/// drawn to a triangle. The sds of all volumes, in the order of `v`.
static rlv_status measure_seams(double* sd_mm3, const volumes* v, const seam_list* seams, const work* w,
                                rlv_error* error)
{
    double* drawn2 = rlv_reserve(v->count, sizeof *drawn2, error);
    if (drawn2 == NULL)
        return RLV_SYSTEM;
    for (size_t k = 0; k < seams->count; k++)
    {
        const seam* s = seams->seam + k;
        for (size_t i = 0; i < v->count; i++)
            if (belongs(&w->regions, i, s->label[0]) != belongs(&w->regions, i, s->label[1]))
            {
                sd_mm3[i] += SEAM_SLOPE * s->length_mm * s->depth_mm * s->depth_mm / 2.0;
                drawn2[i] += pow(s->area_mm2 * s->depth_mm, 2) / 12.0;
            }
    }
    for (size_t i = 0; i < v->count; i++)
        sd_mm3[i] = hypot(sd_mm3[i], sqrt(drawn2[i]));
    free(drawn2);
    return RLV_DONE;
}

/// Split what changed at seams between its parts, and tell by how much that widens each volume.
static rlv_status split_seams(double* sd_mm3, rlv_change* change, column_sum* sum, const volumes* v, const work* w,
                              rlv_error* error)
{
    seam_list seams = {0};
    rlv_status status = list_seams(&seams, w, error);
    if (status == RLV_DONE)
        status = measure_seams(sd_mm3, v, &seams, w, error);
    if (status == RLV_DONE && !change->open) // an open scan has columns along one axis only
        status = straighten_seams(change, sum, w->regions.count + 1, &seams, w, error);
    free(seams.seam);
    return status;
}

/// What a growth of AFTER by a relative length of one would add over the rest of the surface: the flux of x - centre
/// through it, three times the volume where all is rest.
static double growth_mm3(const region_patches* rest, rlv_vec3 centre_mm)
{
    const rlv_patch* patch[2] = {rest->before, rest->after};
    const size_t count[2] = {rest->before_count, rest->after_count};
    double sum = 0.0;
    for (int side = 0; side < 2; side++)
        for (size_t i = 0; i < count[side]; i++)
        {
            const rlv_patch* p = patch[side] + i;
            sum += 0.5 * p->area_mm2 * (p->breadth_mm - rlv_vec3_dot(p->normal, centre_mm));
        }
    return sum;
}

/// An even change of all that seemed to hold still looks like a change of scale. Where the alignment was free to take
/// it for one, all of the scale that it found may be such a change; and by bars alone the scale is known to its sd. So
/// the interval of what was not told reaches to both, and holds that sd.
static void widen_untold(rlv_change* change, const region_patches* rest, const work* w)
{
    rlv_interval* untold = &change->untold_mm3;
    const rlv_vec3 centre = rlv_vec3_sub(w->pose.centre_mm, w->before->origin_mm);
    const double growth = growth_mm3(rest, centre), taken = growth * log(w->pose.scale),
                 half = hypot(untold->high - untold->value, RLV_HALF_95 * growth * relative_scale_sd(w->options));
    untold->low = untold->value + fmin(taken, 0.0) - half;
    untold->high = untold->value + fmax(taken, 0.0) + half;
}

static void tell_totals(rlv_change* change, const double* measured, const double* seams, const volumes* v,
                        const work* w)
{
    const size_t regions = w->regions.count;
    for (size_t sum = 0; regions + sum < v->count; sum++)
    {
        if (sum == REST)
            continue;
        rlv_change_total* total = sum == WENT   ? &change->went
                                  : sum == CAME ? &change->came
                                                : change->total + sum - FIRST_CLASS;
        const size_t i = regions + sum;
        const double more = hypot(more_sd(w, v->patches + i, measured[sum]), seams[i]);
        total->volume_mm3 = magnitude(interval_of(measured[sum], v->error + i, more), sum_went(sum) ? 1 : -1);
        total->known = true;
        bound_unseen(total, change, w, sum);
    }
    if (!knows_parts(w))
    {
        change->total[RLV_CHANGE_REMOVED] = change->went;
        change->total[RLV_CHANGE_ADDED] = change->came;
        return;
    }
    const uint8_t *before = w->options->before_part, *after = w->options->after_part;
    const size_t nb = w->before->triangle_count, na = w->after->triangle_count;
    change->total[RLV_CHANGE_BONE].known = has_part(before, nb, RLV_PART_BONE, RLV_PART_BONE);
    change->total[RLV_CHANGE_DETACHED].known = has_part(before, nb, RLV_PART_PIECE, RLV_PART_COUNT - 1);
    change->total[RLV_CHANGE_JOINED].known = has_part(after, na, RLV_PART_PIECE, RLV_PART_COUNT - 1);
}

// Extents

/// Where the field is asked about: along a region's rim, between its seeds and what held still, or about a place of it.
typedef struct spot
{
    uint16_t label;
    bool about;
    float place_mm[3];
    double chord_mm; ///< what triangles add to the depths there
} spot;

static bool is_in_spot(const work* w, int side, size_t sample, const void* asked)
{
    const spot* s = asked;
    if (!s->about)
        return label_at(w, side, sample) == s->label &&
               !(side == 0 ? w->regions.before_seed : w->regions.after_seed)[sample];
    if (side == 0 || label_at(w, side, sample) != s->label)
        return false;
    const rlv_vec3 apart =
        rlv_vec3_sub(rlv_vec3_from(w->after_depths.position_mm + 3 * sample), rlv_vec3_from(s->place_mm));
    return rlv_vec3_length(apart) < 1.5 * w->regions.noise.scale_mm[0];
}

/// What the field adds to the depth there, on the mean: measured less true.
typedef struct misfit_there
{
    double mean_mm, sd_mm;
} misfit_there;

static double spot_mm2(const work* w, int side, size_t sample, const void* asked)
{
    const rlv_sampling* sampling = side == 0 ? &w->before_sampling : &w->after_sampling;
    return is_in_spot(w, side, sample, asked) ? (double)sampling->area_mm2[sample] : 0.0;
}

static rlv_status predict_spots(misfit_there* misfit, const spot* asked, size_t count, const work* w, rlv_error* error)
{
    volumes v = {.count = count};
    rlv_status status = RLV_SYSTEM;
    if ((v.patches = rlv_reserve(count, sizeof *v.patches, error)) == NULL ||
        (v.flux = rlv_reserve(count, sizeof *v.flux, error)) == NULL ||
        (v.error = rlv_reserve(count, sizeof *v.error, error)) == NULL)
        goto end;
    status = RLV_DONE;
    for (size_t i = 0; i < count && status == RLV_DONE; i++)
    {
        status = gather_samples(w, spot_mm2, asked + i, v.patches + i, error);
        const region_patches* p = v.patches + i;
        const rlv_patch* before = p->before_count > 0 ? p->before : p->after; // the mean of both is over one of them
        const rlv_patch* after = p->after_count > 0 ? p->after : p->before;
        v.flux[i] = (rlv_flux){before, before == p->before ? p->before_count : p->after_count, after,
                               after == p->after ? p->after_count : p->before_count, false};
    }
    if (status == RLV_DONE)
        status = rlv_misfit_predict(w->field, v.flux, count, v.error, error);
    for (size_t i = 0; i < count && status == RLV_DONE; i++)
    {
        double area = 0.0;
        for (size_t k = 0; k < v.flux[i].before_count; k++)
            area += 0.5 * v.flux[i].before[k].area_mm2;
        for (size_t k = 0; k < v.flux[i].after_count; k++)
            area += 0.5 * v.flux[i].after[k].area_mm2;
        if (area > 0.0)
            misfit[i] = (misfit_there){v.error[i].mean_mm3 / area, v.error[i].sd_mm3 / area};
    }
end:
    free_volumes(&v);
    return status;
}

/// Vertices lie outside the other stage's triangles: depths at BEFORE's samples are too great by that, and at AFTER's
/// too small. The mean of all that held still stands for a region's, which may be twice as bent, or flat.
static const double CHORD_DOUBT = 0.5;

static bool is_whole(const work* w, size_t region)
{
    return w->regions.part[region] >= RLV_PART_PIECE;
}

/// The areas, on BEFORE or, where that shows none of a region, on AFTER.
static rlv_status tell_areas(rlv_change* change, const work* w, rlv_error* error)
{
    const size_t count = change->region_count;
    const rlv_stage before = {w->before, w->before_tree, &w->before_sampling, NULL},
                    after = {w->after, w->after_tree, &w->after_sampling, NULL};
    spot* along = rlv_reserve(count, sizeof *along, error);
    misfit_there* misfit = rlv_reserve(count, sizeof *misfit, error);
    rlv_rim* rim = rlv_reserve(count, sizeof *rim, error);
    rlv_interval *on_before = rlv_reserve(count, sizeof *on_before, error),
                 *on_after = rlv_reserve(count, sizeof *on_after, error);
    rlv_status status = RLV_SYSTEM;
    if (along == NULL || misfit == NULL || rim == NULL || on_before == NULL || on_after == NULL)
        goto end;
    for (size_t r = 0; r < count; r++)
        along[r].label = (uint16_t)(r + 1);
    status = predict_spots(misfit, along, count, w, error);
    for (size_t r = 0; r < count && status == RLV_DONE; r++)
    {
        const double depth = change->region[r].volume_mm3.value / w->seed_mm2[r];
        rim[r] = (rlv_rim){misfit[r].mean_mm, hypot(misfit[r].sd_mm, CHORD_DOUBT * w->chord_mm),
                           fmin(change->limit[0].depth_mm, 0.5 * depth), depth};
        change->region[r].area_from_mm = is_whole(w, r) ? 0.0 : rim[r].from_mm;
        rim[r].misfit_mm += w->chord_mm; // at BEFORE's samples
    }
    if (status == RLV_DONE)
        status = rlv_extents_area(on_before, &w->regions, before, &w->before_depths, w->regions.before,
                                  w->regions.before_seed, rim, error);
    for (size_t r = 0; r < count; r++)
        rim[r].misfit_mm -= 2.0 * w->chord_mm;
    if (status == RLV_DONE)
        status = rlv_extents_area(on_after, &w->regions, after, &w->after_depths, w->regions.after,
                                  w->regions.after_seed, rim, error);
    for (size_t r = 0; r < count && status == RLV_DONE; r++)
    {
        const rlv_interval area = isnan(on_before[r].value) ? on_after[r] : on_before[r];
        const double scaled = RLV_HALF_95 * 2.0 * w->options->before_scale_sd * area.value;
        change->region[r].area_mm2 =
            (rlv_interval){area.value, fmax(area.value - hypot(area.value - area.low, scaled), 0.0),
                           area.value + hypot(area.high - area.value, scaled)};
    }
end:
    free(along);
    free(misfit);
    free(rim);
    free(on_before);
    free(on_after);
    return status;
}

/// The greatest depths. Taken on AFTER, where a depth is the distance to the surface that was; on BEFORE where AFTER
/// has none of a region.
static rlv_status tell_greatest(rlv_change* change, const work* w, rlv_error* error)
{
    const size_t count = change->region_count;
    rlv_deepest *deepest = rlv_reserve(count, sizeof *deepest, error),
                *on_before = rlv_reserve(count, sizeof *on_before, error);
    spot* about = rlv_reserve(count, sizeof *about, error);
    misfit_there* misfit = rlv_reserve(count, sizeof *misfit, error);
    rlv_status status = RLV_SYSTEM;
    if (deepest == NULL || on_before == NULL || about == NULL || misfit == NULL)
        goto end;
    status =
        rlv_extents_deepest(deepest, &w->regions, &w->after_depths, w->regions.after, w->regions.after_seed, error);
    if (status == RLV_DONE)
        status = rlv_extents_deepest(on_before, &w->regions, &w->before_depths, w->regions.before,
                                     w->regions.before_seed, error);
    for (size_t r = 0; r < count && status == RLV_DONE; r++)
    {
        const bool after = !isnan(deepest[r].depth_mm.value);
        deepest[r] = after ? deepest[r] : on_before[r];
        about[r] = (spot){.label = (uint16_t)(r + 1), .about = true, .chord_mm = after ? -w->chord_mm : w->chord_mm};
        memcpy(about[r].place_mm, deepest[r].place_mm, sizeof about[r].place_mm);
    }
    if (status == RLV_DONE)
        status = predict_spots(misfit, about, count, w, error);
    for (size_t r = 0; r < count && status == RLV_DONE; r++)
    {
        const rlv_interval depth = deepest[r].depth_mm;
        const double off = w->regions.sign[r] * (misfit[r].mean_mm + about[r].chord_mm),
                     own_sd = hypot(misfit[r].sd_mm, CHORD_DOUBT * w->chord_mm),
                     field = RLV_HALF_95 * hypot(own_sd, w->options->before_scale_sd * depth.value),
                     value = fmax(depth.value - off, 0.0);
        change->region[r].max_depth_mm = (rlv_interval){value, fmax(value - hypot(depth.value - depth.low, field), 0.0),
                                                        value + hypot(depth.high - depth.value, field)};
    }
end:
    free(deepest);
    free(on_before);
    free(about);
    free(misfit);
    return status;
}

/// Half of the interval of a quotient, from how far its two move towards one end.
static double quotient_half(double value, double over, double over_half, double under, double under_half)
{
    return value * hypot(over_half / over, under_half / under);
}

/// Volume over area. It is no depth where it passes the greatest, or where no area is sure.
static rlv_interval mean_depth(const rlv_change_region* region)
{
    const rlv_interval v = region->volume_mm3, a = region->area_mm2;
    const double depth = v.value / a.value;
    if (!(a.low > 0.0) || !(v.value > 0.0) || depth > region->max_depth_mm.high)
        return (rlv_interval){NAN, NAN, NAN};
    return (rlv_interval){depth,
                          fmax(depth - quotient_half(depth, v.value, v.value - v.low, a.value, a.high - a.value), 0.0),
                          depth + quotient_half(depth, v.value, v.high - v.value, a.value, a.value - a.low)};
}

static rlv_status tell_extents(rlv_change* change, const work* w, rlv_error* error)
{
    rlv_status status = tell_areas(change, w, error);
    if (status == RLV_DONE)
        status = tell_greatest(change, w, error);
    for (size_t r = 0; r < change->region_count; r++)
    {
        rlv_change_region* region = change->region + r;
        region->mean_depth_mm = mean_depth(region);
        // Both are told by themselves, of cells a correlation length wide: in a small region the mean may come out
        // more.
        region->max_depth_mm.value = fmax(region->max_depth_mm.value, region->mean_depth_mm.value);
        region->max_depth_mm.high = fmax(region->max_depth_mm.high, region->max_depth_mm.value);
    }
    return status;
}

static rlv_status tell_volumes(rlv_change* change, column_sum* sum, work* w, rlv_error* error)
{
    volumes v = {0};
    const size_t count = w->regions.count;
    const rlv_labelled side[2] = {
        {w->before, &w->before_sampling, change->before_label, w->before_depths.foot},
        {w->after, &w->after_sampling, change->after_label, w->after_depths.foot},
    };
    rlv_status status = rlv_label_areas_take(w->areas, side, error);
    if (status == RLV_DONE)
        status = predict_errors(&v, w, error);
    double* seams = status == RLV_DONE ? rlv_reserve(v.count, sizeof *seams, error) : NULL;
    if (status == RLV_DONE &&
        (seams == NULL || (change->region = rlv_reserve(count, sizeof *change->region, error)) == NULL))
        status = RLV_SYSTEM;
    if (status == RLV_DONE && knows_parts(w))
        status = split_seams(seams, change, sum, &v, w, error);
    if (status == RLV_DONE)
    {
        double measured[FIRST_CLASS + RLV_CHANGE_CLASSES] = {0};
        change->region_count = count;
        for (size_t r = 0; r < count; r++)
        {
            const double own = sum[r + 1].signed_mm3;
            for (size_t total = 0; count + total < v.count; total++)
                measured[total] += in_sum(&w->regions, total, r + 1) ? own : 0.0;
            change->region[r].kind = class_of(&w->regions, r);
            change->region[r].part = w->regions.part[r];
            change->region[r].volume_mm3 = magnitude(
                interval_of(own, v.error + r, hypot(more_sd(w, v.patches + r, own), seams[r])), w->regions.sign[r]);
        }
        // What was taken off as the field's error stays in the balance: it is what nobody can tell.
        const rlv_flux_error *went = v.error + count + WENT, *came = v.error + count + CAME;
        const double rest = sum[0].signed_mm3 + went->mean_mm3 + came->mean_mm3;
        const double half = RLV_HALF_95 * hypot(v.error[count + REST].sd_mm3, hypot(went->sd_mm3, came->sd_mm3));
        change->untold_mm3 = (rlv_interval){rest, rest - half, rest + half};
        status = place_regions(change, w, error);
        if (status == RLV_DONE)
        {
            tell_totals(change, measured, seams, &v, w);
            widen_untold(change, v.patches + count + REST, w);
        }
        if (status == RLV_DONE)
            status = tell_extents(change, w, error);
    }
    if (status == RLV_DONE)
        status = sort_regions(change, w, error);
    free_volumes(&v);
    free(seams);
    return status;
}

static void tell_noise(rlv_change* change, const work* w)
{
    change->pitch_mm = pitch_of(w);
    change->seed_sd = w->regions.noise.threshold;
    const rlv_misfit_summary field = rlv_misfit_summarise(w->field);
    change->chord_mm = w->chord_mm;
    change->noise_sd_mm = w->regions.noise.sd_mm;
    change->noise_length_mm = w->regions.noise.length_mm;
    change->warp_sd_mm = field.warp_sd_mm;
    change->warp_length_mm = field.warp_length_mm;
}

static rlv_status measure(rlv_change* change, work* w, rlv_error* error)
{
    rlv_status status = index_stages(w, error);
    if (status == RLV_DONE && !w->options->aligned)
        status = align_first(w, &change->alignment, error);
    if (status == RLV_DONE)
        status = settle(w, &change->alignment, error);
    if (status == RLV_DONE)
        status = need_contact(w, error);
    if (status == RLV_DONE)
        status = fit_field(w, &change->alignment, error);
    if (status != RLV_DONE)
        return status;
    const size_t labels = w->regions.count + 1;
    column_sum* sum = rlv_reserve(labels, sizeof *sum, error);
    status = sum != NULL ? sum_columns(change, sum, labels, w, error) : RLV_SYSTEM;
    tell_limits(change, w);
    tell_noise(change, w);
    if (status == RLV_DONE)
        status = tell_volumes(change, sum, w, error);
    free(sum);
    return status;
}

rlv_status rlv_change_measure(rlv_change* change, const rlv_mesh* before, const rlv_mesh* after,
                              const rlv_change_options* options, rlv_error* error)
{
    work w = {.before = before, .after = after, .options = options, .pose = rlv_pose_identity()};
    *change = (rlv_change){.alignment.pose = rlv_pose_identity()};
    rlv_status status = measure(change, &w, error);
    free_work(&w);
    if (status != RLV_DONE)
    {
        const rlv_alignment known = change->alignment;
        rlv_change_free(change);
        change->alignment = known;
    }
    return status;
}

rlv_status rlv_change_align(rlv_alignment* alignment, const rlv_mesh* before, const rlv_mesh* after,
                            const rlv_change_options* options, rlv_error* error)
{
    work w = {.before = before, .after = after, .options = options, .pose = rlv_pose_identity()};
    *alignment = (rlv_alignment){.pose = rlv_pose_identity()};
    rlv_status status = index_stages(&w, error);
    if (status == RLV_DONE)
        status = align_first(&w, alignment, error);
    if (status == RLV_DONE)
        status = settle(&w, alignment, error);
    // Where too little held still for the field, the alignment's own covariance stays.
    rlv_error unfit = {0};
    rlv_status fit = status == RLV_DONE ? fit_field(&w, alignment, &unfit) : RLV_DONE;
    if (fit != RLV_DONE && fit != RLV_IMPOSSIBLE)
        status = rlv_first_failure(1, &fit, &unfit, error);
    free_work(&w);
    return status;
}
