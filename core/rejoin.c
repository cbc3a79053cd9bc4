#include "rejoin.h"

#include "rejoin_parts.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum
{
    PLACES = 12, // without a stage from before, that are tried with care
};

static const size_t most_samples = 60000; ///< of either part
static const double open_mm = 2.0;        ///< misfit of faces that stood open in the rock, about
static const double far_more = 1.5;       ///< times what they touch over elsewhere
static const double other_bench = 1.5;    ///< times the faces' sd: scans of one bench are not so unlike
/// Faces that press over a greater share of the joint have fallen into one another. By chance a width lies so low in
/// one of 740 places, and stuck grains add to that: simulated breaks press over 0.3 % at most; a slab that is worn all
/// over, closed by its faces alone, over 4 %.
static const double most_pressed = 0.01;
/// A place where the faces repeat each other's relief and touch over so much, as the product of both shares, needs no
/// other beside it. In three searches for the place of half a scan of many folds the right one had 0.67 to 0.71, any of
/// 31 wrong ones 0.34 at most. The search's own ranking had it fifth or sixth: solid that lies off the block is no loss
/// there, and folds nest in folds.
static const double sure_place = 0.5;
static const double meeting_least = 0.005; ///< share of the joint that spots which were not worn meet over, about

void rlv_rejoin_free(rlv_rejoin* rejoin)
{
    free(rejoin->block_before_mm);
    free(rejoin->block_after_mm);
    free(rejoin->piece_before_mm);
    free(rejoin->piece_after_mm);
    free(rejoin->block_back_mm);
    free(rejoin->piece_back_mm);
    memset(rejoin, 0, sizeof *rejoin);
}

static void joining_free(rlv_joining* w)
{
    for (int k = 0; k < 3; k++)
    {
        rlv_tree_free(w->tree[k]);
        rlv_sampling_free(&w->sampling[k]);
        free(w->given[k]);
        free(w->bone[k]);
        free(w->sample_face[k]);
        free(w->sample_rim[k]);
        free(w->face[k]);
        free(w->outline[k]);
        free(w->beyond[k]);
        rlv_samples_free(&w->face_samples[k]);
        rlv_samples_free(&w->outer_samples[k]);
    }
    rlv_gap_part_free(&w->part[0]);
    rlv_gap_part_free(&w->part[1]);
}

rlv_pose rlv_joining_local(const rlv_pose* global, rlv_vec3 from_origin, rlv_vec3 to_origin)
{
    rlv_pose local = *global;
    local.translation_mm = rlv_vec3_sub(rlv_pose_apply(global, from_origin), to_origin);
    local.centre_mm = rlv_vec3_sub(global->centre_mm, to_origin);
    return local;
}

rlv_pose rlv_joining_global(const rlv_pose* local, rlv_vec3 from_origin, rlv_vec3 to_origin)
{
    rlv_pose global = *local;
    const rlv_vec3 turned = rlv_vec3_scale(rlv_mat3_apply(local->rotation, from_origin), local->scale);
    global.translation_mm = rlv_vec3_add(rlv_vec3_sub(local->translation_mm, turned), to_origin);
    global.centre_mm = rlv_vec3_add(local->centre_mm, to_origin);
    return global;
}

static rlv_pose global_of(const rlv_joining* w, const rlv_pose* local)
{
    return rlv_joining_global(local, w->mesh[RLV_JOIN_PIECE]->origin_mm, w->mesh[RLV_JOIN_BLOCK]->origin_mm);
}

static double radius_of(const rlv_sampling* sampling)
{
    rlv_vec3 middle = {0, 0, 0};
    double greatest = 0.0;
    for (size_t i = 0; i < sampling->count; i++)
        middle = rlv_vec3_along(middle, 1.0 / (double)sampling->count, rlv_vec3_from(sampling->position_mm + 3 * i));
    for (size_t i = 0; i < sampling->count; i++)
        greatest = fmax(greatest, rlv_vec3_length(rlv_vec3_sub(rlv_vec3_from(sampling->position_mm + 3 * i), middle)));
    return greatest;
}

static rlv_status begin_part(rlv_joining* w, int own, const uint8_t* given, const uint8_t* bone, rlv_error* error)
{
    const rlv_mesh* mesh = w->mesh[own];
    rlv_status status = rlv_sampling_take(&w->sampling[own], mesh, NULL, most_samples, error);
    if (status == RLV_DONE)
        w->sampling_radius_mm[own] = radius_of(&w->sampling[own]);
    if (status == RLV_DONE)
        status = rlv_joining_given(&w->given[own], mesh, &w->sampling[own], given, error);
    if (status == RLV_DONE)
        status = rlv_joining_given(&w->bone[own], mesh, &w->sampling[own], bone, error);
    if (status == RLV_DONE && ((w->face[own] = rlv_reserve(mesh->triangle_count, 1, error)) == NULL ||
                               (w->outline[own] = rlv_reserve(mesh->triangle_count, 1, error)) == NULL ||
                               (w->beyond[own] = rlv_reserve(mesh->triangle_count, 1, error)) == NULL ||
                               (w->sample_face[own] = rlv_reserve(w->sampling[own].count, 1, error)) == NULL ||
                               (w->sample_rim[own] = rlv_reserve(w->sampling[own].count, 1, error)) == NULL))
        status = RLV_SYSTEM;
    return status;
}

static rlv_status begin(rlv_joining* w, const rlv_rejoin_input* input, rlv_error* error)
{
    w->input = input;
    w->mesh[RLV_JOIN_BEFORE] = input->before;
    w->mesh[RLV_JOIN_BLOCK] = input->block;
    w->mesh[RLV_JOIN_PIECE] = input->piece;
    w->noise_mm = RLV_JOIN_NOISE_MM;
    const uint8_t *given[3] = {NULL, input->block_face, input->piece_face},
                  *bone[3] = {NULL, input->block_bone, input->piece_bone};
    rlv_status status = RLV_DONE;
    for (int k = 0; k < 3 && status == RLV_DONE; k++)
    {
        w->in_before[k] = rlv_pose_identity();
        if (w->mesh[k] == NULL)
            continue;
        rlv_tell(&input->progress, "indexing", k / 3.0);
        status = rlv_tree_build_for(&w->tree[k], w->mesh[k], RLV_JOIN_QUERIES, error);
        if (status == RLV_DONE && k != RLV_JOIN_BEFORE)
            status = begin_part(w, k, given[k], bone[k], error);
    }
    return status;
}

// Where it was found

/// The problem of closing, or of finding again where it was: with faces, with outer surfaces, or with both.
static rlv_status pose_problem(rlv_fit_problem* p, const rlv_joining* w, bool faces, bool outer, rlv_error* error)
{
    const bool before = outer && w->in_stage;
    *p = (rlv_fit_problem){.parameters = before ? 12 : 6, .offset_sd_mm = RLV_REJOIN_OFFSET_MM};
    for (int k = before ? 0 : 1; k < 3; k++)
        p->body[k] = (rlv_fit_body){w->mesh[k], w->tree[k], before ? w->in_before[k] : rlv_pose_identity(), -1};
    if (before)
        p->body[RLV_JOIN_BLOCK].parameter = 6;
    p->body[RLV_JOIN_PIECE].parameter = 0;
    p->body[RLV_JOIN_PIECE].pose = rlv_pose_compose(&p->body[RLV_JOIN_BLOCK].pose, &w->found);
    p->offset_mm[0] = before ? 0.0 : w->apart_mm;
    p->centre_mm = rlv_pose_apply(&p->body[RLV_JOIN_BLOCK].pose, w->joint_mm);
    p->radius_mm = w->face_samples[RLV_JOIN_BLOCK].radius_mm;
    const rlv_vec3 normal = rlv_mat3_apply(p->body[RLV_JOIN_BLOCK].pose.rotation, w->joint_normal),
                   some = fabs(normal.x) < 0.6 ? rlv_vec3_of(1, 0, 0) : rlv_vec3_of(0, 1, 0);
    p->along[0] = rlv_vec3_unit(rlv_vec3_cross(normal, some));
    p->along[1] = rlv_vec3_cross(normal, p->along[0]);
    rlv_status status = RLV_DONE;
    for (int own = RLV_JOIN_BLOCK; own <= RLV_JOIN_PIECE && status == RLV_DONE; own++)
    {
        const int other = own == RLV_JOIN_BLOCK ? RLV_JOIN_PIECE : RLV_JOIN_BLOCK;
        if (faces)
            status = rlv_fit_add(p,
                                 &(rlv_fit_pair){.samples = &w->face_samples[own],
                                                 .own = own,
                                                 .other = other,
                                                 .foot = w->face[other],
                                                 .face = true,
                                                 .sd_mm = w->noise_mm},
                                 error);
        if (before && status == RLV_DONE)
            status = rlv_fit_add(
                p,
                &(rlv_fit_pair){
                    .samples = &w->outer_samples[own], .own = own, .other = RLV_JOIN_BEFORE, .sd_mm = w->noise_mm},
                error);
    }
    return status;
}

/// The piece's place in the block that a problem came to, with its covariance.
static rlv_pose place_of(const rlv_fit_problem* p, rlv_error* error)
{
    const rlv_pose back = rlv_pose_inverse(&p->body[RLV_JOIN_BLOCK].pose);
    rlv_pose place = rlv_pose_compose(&back, &p->body[RLV_JOIN_PIECE].pose);
    double covariance[RLV_FIT_PARAMETERS * RLV_FIT_PARAMETERS] = {0}, world[36] = {0};
    const int n = p->parameters;
    if (!rlv_fit_covariance(p, covariance, error))
        for (int i = 0; i < n; i++)
            covariance[i * n + i] = i % 6 < 3 ? 1e4 : 1.0; // nothing is held
    // The piece's small motion less the block's, then turned into the block's axes.
    for (int i = 0; i < 6; i++)
        for (int j = 0; j < 6; j++)
            world[6 * i + j] =
                covariance[i * n + j] +
                (n > 6 ? covariance[(i + 6) * n + j + 6] - covariance[i * n + j + 6] - covariance[(i + 6) * n + j]
                       : 0.0);
    for (int i = 0; i < 6; i++)
        for (int j = 0; j < 6; j++)
            for (int k = 0; k < 3; k++)
                for (int l = 0; l < 3; l++)
                    place.covariance[7 * i + j] += back.rotation.m[3 * (i % 3) + k] * back.rotation.m[3 * (j % 3) + l] *
                                                   world[6 * (i / 3 * 3 + k) + j / 3 * 3 + l];
    place.centre_mm = rlv_pose_apply(&back, p->centre_mm);
    return place;
}

/// The sd of a residual between two scans of the parts, from how each lies on the stage from before.
static double noise_of(const rlv_fit_problem* p)
{
    double square = 0.0, count = 0.0;
    for (size_t k = 0; k < p->pair_count; k++)
        if (!p->pair[k].face)
            square += p->pair[k].sd_mm * p->pair[k].sd_mm, count += 1.0;
    return count > 0.0 ? sqrt(square / count) : RLV_JOIN_NOISE_MM;
}

/// Where both parts lay before they were apart, from where each lies in the stage from before.
static rlv_status find_from_stage(rlv_joining* w, rlv_error* error)
{
    const rlv_pose back = rlv_pose_inverse(&w->in_before[RLV_JOIN_BLOCK]);
    w->found = rlv_pose_compose(&back, &w->in_before[RLV_JOIN_PIECE]);
    w->in_stage = true;
    w->noise_mm = RLV_JOIN_NOISE_MM;
    rlv_fit_problem p = {0};
    rlv_status status = rlv_joining_faces(w, error);
    if (status == RLV_DONE)
        status = pose_problem(&p, w, false, true, error);
    if (status == RLV_DONE)
        status = rlv_fit_close(&p, RLV_JOIN_START_MM, error);
    if (status == RLV_DONE)
    {
        w->in_before[RLV_JOIN_BLOCK] = p.body[RLV_JOIN_BLOCK].pose;
        w->in_before[RLV_JOIN_PIECE] = p.body[RLV_JOIN_PIECE].pose;
        w->found = place_of(&p, error);
        w->noise_mm = noise_of(&p);
    }
    rlv_fit_free(&p);
    return status;
}

static rlv_status find_again(rlv_rejoin* rejoin, rlv_joining* w, rlv_error* error)
{
    rlv_status status = rlv_joining_align(w, &rejoin->found_known, error);
    return status == RLV_DONE && rejoin->found_known ? find_from_stage(w, error) : status;
}

// Closing

/// Close the gap from where the piece is found, by its faces and, where `outer`, by the outer surfaces. `touching` is
/// the share of the faces that holds it, `noise_mm` the sd of a residual between them (may be NULL).
static rlv_status close_gap(rlv_joining* w, bool outer, double from_mm, double* touching, double* noise_mm,
                            rlv_error* error)
{
    rlv_fit_problem p = {0};
    rlv_status status = pose_problem(&p, w, true, outer, error);
    if (status == RLV_DONE)
        status = rlv_fit_close(&p, from_mm, error);
    if (status == RLV_DONE)
    {
        w->closed = place_of(&p, error);
        *touching = rlv_fit_share(&p.pair[0]);
    }
    if (status == RLV_DONE && noise_mm != NULL)
        status = rlv_fit_noise(noise_mm, &p, error);
    rlv_fit_free(&p);
    return status;
}

/// How well the two faces fit where the gap is closed, and over what shares of the joint they touch.
typedef struct closeness
{
    double fit;
    rlv_gap_shares over;
} closeness;

static rlv_status closeness_of(closeness* close, rlv_joining* w, rlv_error* error)
{
    rlv_gap_widths widths = {0};
    rlv_status status = rlv_gap_measure(&widths, w->part, &w->closed, w->joint_normal, error);
    if (status == RLV_DONE)
        status = rlv_gap_fit(&close->fit, &w->relief_mm, &widths, &w->part[0], w->joint_normal, error);
    if (status == RLV_DONE)
        close->over = rlv_gap_shares_of(&widths, &w->part[0], w->noise_mm);
    rlv_gap_widths_free(&widths);
    return status;
}

/// What closing came to: with the outer surfaces, and by the faces alone.
typedef struct closing
{
    rlv_pose together, alone;
    double held, touching; ///< shares of the faces that hold it
    closeness close, close_alone;
    double alone_noise_mm; ///< the sd of a residual between the faces alone
} closing;

static rlv_status close_both_ways(closing* c, rlv_joining* w, rlv_error* error)
{
    rlv_status status = close_gap(w, true, RLV_JOIN_START_MM, &c->held, NULL, error);
    if (status == RLV_DONE)
        status = closeness_of(&c->close, w, error);
    c->together = w->closed;
    if (status == RLV_DONE)
        status = close_gap(w, false, open_mm, &c->touching, &c->alone_noise_mm, error);
    if (status == RLV_DONE)
        status = closeness_of(&c->close_alone, w, error);
    c->alone = w->closed;
    return status;
}

/// Whether a joint holds the piece in a place, or is loose.
static bool is_held(const rlv_pose* place)
{
    return rlv_pose_position_sd_mm(place) <= RLV_REJOIN_LOOSE_MM &&
           rlv_pose_rotation_sd_deg(place) <= RLV_REJOIN_LOOSE_DEG;
}

/// How far two places of the piece are apart at the joint.
static double apart_mm(const rlv_joining* w, const rlv_pose* a, const rlv_pose* b)
{
    const rlv_pose back = rlv_pose_inverse(a);
    return rlv_vec3_length(rlv_vec3_sub(rlv_pose_apply(b, rlv_pose_apply(&back, w->joint_mm)), w->joint_mm));
}

/// Close one place of the piece; again and again, each time as closely as the last time told how noisy the faces are.
static rlv_status try_place(closeness* close, rlv_joining* w, int rounds, rlv_error* error)
{
    double touching = 0.0;
    w->noise_mm = RLV_JOIN_NOISE_MM;
    rlv_status status = rlv_joining_faces(w, error);
    for (int round = 0; round < rounds && status == RLV_DONE; round++)
    {
        status = close_gap(w, false, round == 0 ? 2.0 * RLV_JOIN_START_MM : 2.0 * w->noise_mm, &touching, &w->noise_mm,
                           error);
        w->found = w->closed;
    }
    return status == RLV_DONE ? closeness_of(close, w, error) : status;
}

/// Close the gap from where the piece was found. A joint that stood open in the rock is closed by its faces alone: they
/// then touch over far more than where the outer surfaces hold them apart. Faces that hardly hold the piece do not
/// overrule the stage from before, nor do such that lie in one another: worn all over, they fall together.
static rlv_status close_found(rlv_rejoin* rejoin, rlv_joining* w, rlv_error* error)
{
    closing c = {0};
    bool moved = false;
    rlv_status status = close_both_ways(&c, w, error);
    if (status == RLV_DONE && c.close_alone.fit > RLV_REJOIN_LEAST_FIT &&
        apart_mm(w, &w->found, &c.alone) > RLV_JOIN_START_MM)
        status = rlv_joining_doubt(w, &c.alone, &moved, error);
    if (status == RLV_DONE && moved)
        status = find_from_stage(w, error);
    if (status == RLV_DONE && moved)
        status = close_both_ways(&c, w, error);
    if (status != RLV_DONE)
        return status;
    // The faces fit elsewhere, and what is left of the outer surfaces lies on that stage far less closely than they on
    // one another: it is some other surface there, as the floor of what was carved evenly off a part.
    if (apart_mm(w, &w->found, &c.alone) > RLV_JOIN_START_MM && w->noise_mm > other_bench * c.alone_noise_mm &&
        c.close_alone.fit > RLV_REJOIN_LEAST_FIT && is_held(&c.alone) && c.close_alone.over.pressed <= most_pressed)
    {
        rejoin->found_known = w->in_stage = false;
        w->found = c.alone;
        status = try_place(&c.close, w, 2, error);
        rejoin->fit = c.close.fit;
        return status;
    }
    rejoin->stood_open = c.touching > far_more * c.held + 0.05 &&
                         c.close_alone.fit > fmax(c.close.fit, RLV_REJOIN_LEAST_FIT) && is_held(&c.alone) &&
                         c.close_alone.over.pressed <= most_pressed;
    rejoin->fit = rejoin->stood_open ? c.close_alone.fit : c.close.fit;
    w->closed = rejoin->stood_open ? c.alone : c.together;
    return RLV_DONE;
}

/// The best of some places that a search proposed: where the two faces fit and touch over the greatest area.
/// RLV_IMPOSSIBLE where they face one another in none.
static rlv_status choose_place(rlv_joining* w, const rlv_pose* pose, size_t count, rlv_error* error)
{
    double best = -1.0;
    rlv_pose chosen = rlv_pose_identity();
    rlv_error none = {0};
    bool sure = false;
    for (size_t k = 0; k < count && !sure; k++)
    {
        closeness close = {0};
        w->found = pose[k];
        w->beaten_mm2 = best;
        rlv_tell(&w->input->progress, "closing", (double)k / (double)count);
        const rlv_status tried = try_place(&close, w, 1, &none);
        if (tried != RLV_DONE && tried != RLV_IMPOSSIBLE)
            return rlv_first_failure(1, &tried, &none, error);
        const double holds = close.fit * close.over.touching;
        if (tried != RLV_DONE || !(holds * w->face_mm2[RLV_JOIN_BLOCK] > best))
            continue;
        best = holds * w->face_mm2[RLV_JOIN_BLOCK];
        chosen = w->closed;
        sure = holds > sure_place;
    }
    w->beaten_mm2 = 0.0;
    if (best < 0.0)
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL, count > 0 ? none.mend : "outline the two faces, or give a start",
                        "%s", count > 0 ? none.what : "no place of the piece on the block is worth trying");
    w->found = chosen;
    return RLV_DONE;
}

/// Faces that were worn nearly all over fit best where they have fallen into one another. Rock does not go into rock:
/// hold them so far apart that only so much of them meets as spots that were not worn would. What presses by no more
/// than the fit itself takes for a grain is none of it: of coarse scans of a sound break 1.2 % did by over 3 sds of a
/// spot, 0.1 % by over 4.
static rlv_status hold_apart(closeness* close, rlv_joining* w, rlv_error* error)
{
    double touching = 0.0;
    const double step = w->noise_mm;
    if (close->fit <= RLV_REJOIN_LEAST_FIT || close->over.deep <= most_pressed)
        return RLV_DONE;
    rlv_status status = RLV_DONE;
    while (status == RLV_DONE && close->over.meeting > meeting_least && w->apart_mm < RLV_REJOIN_REACH_MM)
    {
        w->apart_mm += step;
        status = close_gap(w, false, 2.0 * step, &touching, &w->noise_mm, error);
        w->found = w->closed;
        if (status == RLV_DONE)
            status = closeness_of(close, w, error);
    }
    return status;
}

/// Without a stage from before: try the piece from any attitude, and keep the place that fits best.
static rlv_status try_places(rlv_rejoin* rejoin, rlv_joining* w, rlv_error* error)
{
    rlv_pose pose[PLACES];
    size_t count = 1;
    rlv_status status = RLV_DONE;
    if (w->input->start != NULL)
        w->found =
            rlv_joining_local(w->input->start, w->mesh[RLV_JOIN_PIECE]->origin_mm, w->mesh[RLV_JOIN_BLOCK]->origin_mm);
    else
    {
        status = rlv_joining_search(pose, PLACES, &count, w, error);
        if (status == RLV_DONE)
            status = choose_place(w, pose, count, error);
    }
    closeness close = {0};
    if (status == RLV_DONE)
        status = try_place(&close, w, 2, error);
    if (status == RLV_DONE)
        status = hold_apart(&close, w, error);
    rejoin->fit = close.fit;
    return status;
}

// Telling

static rlv_status tell_gap(rlv_rejoin_gap* gap, float** block_map, float** piece_map, rlv_rejoin* touching,
                           const rlv_joining* w, const rlv_pose* place, rlv_error* error)
{
    rlv_gap_widths widths = {0};
    rlv_status status = rlv_gap_measure(&widths, w->part, place, w->joint_normal, error);
    if (status == RLV_DONE)
        status = rlv_gap_tell(gap, &widths, w->part, place, w->joint_normal, w->noise_mm, true, error);
    if (status == RLV_DONE)
        status = rlv_gap_map(block_map, &w->part[0], widths.spot[0], error);
    if (status == RLV_DONE)
        status = rlv_gap_map(piece_map, &w->part[1], widths.spot[1], error);
    if (status == RLV_DONE && touching != NULL)
        status = rlv_gap_contacts(touching, &widths, w->part, place, w->noise_mm, error);
    if (status == RLV_DONE && touching != NULL)
        touching->bone_touch = rlv_gap_bone_touch(gap, &widths, w->part);
    rlv_gap_widths_free(&widths);
    return status;
}

/// The interval of a length whose vector is uncertain: its size along itself, never below zero.
static rlv_interval length_of(rlv_vec3 v, const double covariance[9], double unit)
{
    const double size = rlv_vec3_length(v);
    const rlv_vec3 u = size > 0.0 ? rlv_vec3_scale(v, 1.0 / size) : rlv_vec3_of(0, 0, 1);
    const double along[3] = {u.x, u.y, u.z};
    double variance = 0.0;
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            variance += along[i] * along[j] * covariance[3 * i + j];
    const double half = RLV_HALF_95 * sqrt(fmax(variance, 0.0));
    return (rlv_interval){unit * size, unit * fmax(0.0, size - half), unit * (size + half)};
}

void rlv_rejoin_close_at(rlv_rejoin* rejoin, const rlv_pose* closed)
{
    const rlv_pose *found = &rejoin->found, back = rlv_pose_inverse(found);
    rejoin->closed = *closed;
    if (!rejoin->found_known)
        return;
    const rlv_vec3 middle = rejoin->joint_mm, from = rlv_pose_apply(&back, middle);
    rejoin->closing_mm = rlv_vec3_sub(rlv_pose_apply(closed, from), middle);
    const rlv_vec3 turn = rlv_rotation_to_vector(rlv_mat3_multiply(closed->rotation, back.rotation));
    double shift[9], angle[9], other[9];
    rlv_pose_covariance_at(found, middle, shift);
    rlv_pose_covariance_at(closed, middle, other);
    for (int i = 0; i < 9; i++)
    {
        const int at = 7 * (3 + i / 3) + 3 + i % 3;
        shift[i] += other[i];
        angle[i] = found->covariance[at] + closed->covariance[at];
    }
    rejoin->closing_length_mm = length_of(rejoin->closing_mm, shift, 1.0);
    rejoin->closing_axis = rlv_vec3_unit(turn);
    rejoin->closing_turn_deg = length_of(turn, angle, 180.0 / M_PI);
}

static rlv_status tell_all(rlv_rejoin* rejoin, const rlv_joining* w, rlv_error* error)
{
    rlv_joining_describe(rejoin, w);
    rejoin->noise_mm = w->noise_mm;
    rejoin->relief_mm = w->relief_mm;
    rejoin->held_apart_mm = w->apart_mm;
    if (rejoin->found_known)
        rejoin->found = global_of(w, &w->found);
    const rlv_pose closed = global_of(w, &w->closed);
    rlv_rejoin_close_at(rejoin, &closed);
    rlv_status status = RLV_DONE;
    if (rejoin->found_known)
        status = tell_gap(&rejoin->gap_before, &rejoin->block_before_mm, &rejoin->piece_before_mm, NULL, w, &w->found,
                          error);
    if (status == RLV_DONE)
        status = tell_gap(&rejoin->gap_after, &rejoin->block_after_mm, &rejoin->piece_after_mm, rejoin, w, &w->closed,
                          error);
    if (status == RLV_DONE)
        status = rlv_joining_steps(rejoin, w, error);
    if (status == RLV_DONE)
        status = rlv_joining_approach(rejoin, w, error);
    return status;
}

// The verdict

/// Whether the faces belong together, and whether they hold. Where the piece lay is known, a worn joint is no refusal.
static rlv_status judge(rlv_rejoin* rejoin, rlv_error* error)
{
    const double position = rlv_pose_position_sd_mm(&rejoin->closed), turn = rlv_pose_rotation_sd_deg(&rejoin->closed);
    const bool repeats = rejoin->fit > RLV_REJOIN_LEAST_FIT, smooth = rejoin->relief_mm < RLV_REJOIN_LEAST_RELIEF_MM;
    rejoin->verdict = RLV_REJOIN_FITS;
    if (!repeats && !smooth && !rejoin->found_known)
    {
        rejoin->verdict = RLV_REJOIN_NONE;
        snprintf(
            rejoin->reason, sizeof rejoin->reason,
            "the two faces repeat %.0f %% of each other's relief; of faces that belong together it is %.0f %% or more",
            100.0 * rejoin->fit, 100.0 * RLV_REJOIN_LEAST_FIT);
        return rlv_fail(
            error, RLV_IMPOSSIBLE, NULL,
            "check that both parts are of one break; outline the faces where they are small or worn, or give "
            "the stage from before",
            "%s", rejoin->reason);
    }
    if (rejoin->held_apart_mm > 0.0)
    {
        rejoin->verdict = RLV_REJOIN_LOOSE;
        snprintf(rejoin->reason, sizeof rejoin->reason,
                 "the faces were worn nearly all over: they fit %.2g mm deeper than the few spots that touch let them, "
                 "and where the piece lay is told by these alone",
                 rejoin->held_apart_mm);
    }
    else if (!is_held(&rejoin->closed))
    {
        rejoin->verdict = RLV_REJOIN_LOOSE;
        snprintf(rejoin->reason, sizeof rejoin->reason,
                 "the joint hardly holds the piece: its place is uncertain by %.2g mm and %.2g degrees (sd)", position,
                 turn);
    }
    else if (!repeats && smooth)
    {
        rejoin->verdict = RLV_REJOIN_LOOSE;
        snprintf(rejoin->reason, sizeof rejoin->reason,
                 "the joint is too smooth to tell: its relief is %.2g mm over a stretch of 16 mm", rejoin->relief_mm);
    }
    else if (!repeats)
    {
        rejoin->verdict = RLV_REJOIN_LOOSE;
        snprintf(
            rejoin->reason, sizeof rejoin->reason,
            "the two faces repeat only %.0f %% of each other's relief: the stage from before holds the piece, not they",
            100.0 * rejoin->fit);
    }
    return RLV_DONE;
}

rlv_status rlv_rejoin_measure(rlv_rejoin* rejoin, const rlv_rejoin_input* input, rlv_error* error)
{
    *rejoin = (rlv_rejoin){.partner = {NAN, NAN}};
    rlv_joining w = {0};
    rlv_status status = begin(&w, input, error);
    if (status == RLV_DONE && input->before != NULL)
        status = find_again(rejoin, &w, error);
    if (status == RLV_DONE && rejoin->found_known)
    {
        rlv_tell(&input->progress, "closing", 0.0);
        status = close_found(rejoin, &w, error);
    }
    else if (status == RLV_DONE)
        status = try_places(rejoin, &w, error);
    rlv_tell(&input->progress, "measuring", 0.0);
    if (status == RLV_DONE)
        status = tell_all(rejoin, &w, error);
    if (status == RLV_DONE)
        status = judge(rejoin, error);
    if (status == RLV_DONE && input->after != NULL)
        status = rlv_joining_back(rejoin, &w, error);
    rlv_tell(&input->progress, "measuring", 1.0);
    joining_free(&w);
    return status;
}

rlv_status rlv_joining_gap(rlv_rejoin_gap* gap, const rlv_joining* w, const rlv_pose* place, bool measured,
                           rlv_error* error)
{
    rlv_gap_widths widths = {0};
    const rlv_pose local =
        rlv_joining_local(place, w->mesh[RLV_JOIN_PIECE]->origin_mm, w->mesh[RLV_JOIN_BLOCK]->origin_mm);
    rlv_status status = rlv_gap_measure(&widths, w->part, &local, w->joint_normal, error);
    if (status == RLV_DONE)
        status = rlv_gap_tell(gap, &widths, w->part, &local, w->joint_normal, w->noise_mm, measured, error);
    rlv_gap_widths_free(&widths);
    return status;
}

rlv_status rlv_joining_gap_maps(rlv_rejoin_gap* gap, float* map[2], const rlv_joining* w, const rlv_pose* place,
                                rlv_error* error)
{
    const rlv_pose local =
        rlv_joining_local(place, w->mesh[RLV_JOIN_PIECE]->origin_mm, w->mesh[RLV_JOIN_BLOCK]->origin_mm);
    return tell_gap(gap, &map[0], &map[1], NULL, w, &local, error);
}

rlv_status rlv_rejoin_gap_at(rlv_rejoin_gap* gap, const rlv_rejoin_input* input, const rlv_pose* place,
                             rlv_error* error)
{
    rlv_rejoin_input parts = *input;
    if (input->block_in_before == NULL)
        parts.before = NULL;
    *gap = (rlv_rejoin_gap){0};
    rlv_joining w = {0};
    rlv_status status = begin(&w, &parts, error);
    if (status == RLV_DONE && parts.before != NULL)
    {
        w.in_before[RLV_JOIN_BLOCK] =
            rlv_joining_local(input->block_in_before, input->block->origin_mm, input->before->origin_mm);
        w.in_stage = true;
    }
    w.found = rlv_joining_local(place, input->piece->origin_mm, input->block->origin_mm);
    if (w.in_stage)
        w.in_before[RLV_JOIN_PIECE] = rlv_pose_compose(&w.in_before[RLV_JOIN_BLOCK], &w.found);
    if (status == RLV_DONE)
        status = rlv_joining_faces(&w, error);
    if (status == RLV_DONE)
        status = rlv_joining_gap(gap, &w, place, false, error);
    joining_free(&w);
    return status;
}
