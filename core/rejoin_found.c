#include "align.h"
#include "rejoin_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const size_t settling_samples = 20000;
static const double settling_mm = 3.0;    ///< misfit of a part that an alignment is not sure of
static const double least_evidence = 0.3; ///< as an alignment is believed (align.c)
static const double other_bench = 1.5;    ///< times the other part's sd: two scans of one bench are not so unlike

static const double clearly_more = 1.1; ///< times the evidence: two fits of one place differ by a few hundredths

/// A part's place in the stage from before.
typedef struct part_place
{
    rlv_pose pose;   ///< local to local
    double evidence; ///< as an alignment's (align_refine.h): what share lies on that stage, and how closely
    double sd_mm;
    bool sure;
} part_place;

/// Evidence of a share that lies within an sd, beside an even spread over a twentieth of the part's radius either way.
static double evidence_of(double share, double sd_mm, double radius_mm)
{
    return share * (log(2.0 * radius_mm / (20.0 * 2.5066282746310002 * sd_mm)) - 0.5);
}

/// Find the place of a part again with a loss that lets go of what was taken off it: an even skin off most of it looks
/// like a wide noise about a place that is wrong.
static rlv_status settle_part(part_place* place, const rlv_joining* w, int own, double from_mm, rlv_error* error)
{
    rlv_samples samples = {0};
    rlv_fit_problem p = {.parameters = 6, .offset_sd_mm = RLV_REJOIN_OFFSET_MM};
    const uint8_t* face = own == RLV_JOIN_BLOCK ? w->input->block_face : w->input->piece_face;
    rlv_status status = rlv_samples_take(&samples, w->mesh[own], face, settling_samples, w->input->seed, error);
    p.body[RLV_JOIN_BEFORE] =
        (rlv_fit_body){w->mesh[RLV_JOIN_BEFORE], w->tree[RLV_JOIN_BEFORE], rlv_pose_identity(), -1};
    p.body[own] = (rlv_fit_body){w->mesh[own], w->tree[own], place->pose, 0};
    p.centre_mm = rlv_pose_apply(&place->pose, samples.centre_mm);
    p.radius_mm = samples.radius_mm;
    if (status == RLV_DONE)
        status = rlv_fit_add(&p, &(rlv_fit_pair){.samples = &samples, .own = own, .sd_mm = RLV_JOIN_NOISE_MM}, error);
    if (status == RLV_DONE)
        status = rlv_fit_close(&p, from_mm, error);
    const bool peaks = p.pair[0].sd_mm < 0.99 * RLV_FIT_WIDEST_SDS * RLV_JOIN_NOISE_MM;
    const double evidence =
        status == RLV_DONE && peaks ? evidence_of(rlv_fit_share(&p.pair[0]), p.pair[0].sd_mm, samples.radius_mm) : 0.0;
    if (evidence > fmax(least_evidence, place->evidence))
        *place = (part_place){p.body[own].pose, evidence, p.pair[0].sd_mm, true};
    rlv_fit_free(&p);
    rlv_samples_free(&samples);
    return status;
}

/// Align a part to the stage from before.
static rlv_status align_part(part_place* place, const rlv_joining* w, int own, const rlv_pose* start, rlv_error* error)
{
    const rlv_rejoin_input* input = w->input;
    const rlv_align_options options = {
        .start = start,
        .before_left_out = input->before_left_out,
        .after_left_out = own == RLV_JOIN_BLOCK ? input->block_face : input->piece_face,
        .seed = input->seed + (uint64_t)own,
        .progress = input->progress,
    };
    rlv_alignment alignment;
    rlv_error own_error = {0}; // of an alignment that is not to be had, which is no failure here
    rlv_status status =
        rlv_align(&alignment, input->before, w->tree[RLV_JOIN_BEFORE], w->mesh[own], &options, &own_error);
    if (status != RLV_DONE && status != RLV_IMPOSSIBLE)
        return rlv_first_failure(1, &status, &own_error, error);
    *place = (part_place){.pose = rlv_joining_local(&alignment.pose, w->mesh[own]->origin_mm, input->before->origin_mm),
                          .sd_mm = alignment.rms_mm,
                          .sure = status == RLV_DONE && !alignment.ambiguous};
    if (place->sure)
        place->evidence = evidence_of(alignment.stable_fraction, alignment.rms_mm, w->sampling_radius_mm[own]);
    return settle_part(place, w, own, settling_mm, error);
}

/// One mesh of both parts, the piece where `place` puts it, in the block's coordinates.
static rlv_status put_together(rlv_mesh* both, const rlv_joining* w, const rlv_pose* place, rlv_error* error)
{
    const rlv_mesh *block = w->mesh[RLV_JOIN_BLOCK], *piece = w->mesh[RLV_JOIN_PIECE];
    rlv_status status = rlv_mesh_reserve(both, block->vertex_count + piece->vertex_count,
                                         block->triangle_count + piece->triangle_count, false, false, error);
    if (status != RLV_DONE)
        return status;
    both->origin_mm = block->origin_mm;
    memcpy(both->position_mm, block->position_mm, 3 * block->vertex_count * sizeof(float));
    memcpy(both->corner, block->corner, 3 * block->triangle_count * sizeof(uint32_t));
    for (size_t v = 0; v < piece->vertex_count; v++)
    {
        const rlv_vec3 at = rlv_pose_apply(place, rlv_vec3_from(piece->position_mm + 3 * v));
        float* to = both->position_mm + 3 * (block->vertex_count + v);
        to[0] = (float)at.x, to[1] = (float)at.y, to[2] = (float)at.z;
    }
    for (size_t c = 0; c < 3 * piece->triangle_count; c++)
        both->corner[3 * block->triangle_count + c] = piece->corner[c] + (uint32_t)block->vertex_count;
    return RLV_DONE;
}

/// Where neither part finds its place by itself, both together may: the block's place.
static rlv_status align_together(part_place* place, const rlv_joining* w, const rlv_pose* fit, rlv_error* error)
{
    rlv_mesh both = {0};
    rlv_status status = put_together(&both, w, fit, error);
    const rlv_align_options options = {
        .before_left_out = w->input->before_left_out, .seed = w->input->seed, .progress = w->input->progress};
    rlv_alignment alignment;
    if (status == RLV_DONE)
        status = rlv_align(&alignment, w->input->before, w->tree[RLV_JOIN_BEFORE], &both, &options, error);
    rlv_mesh_free(&both);
    if (status == RLV_DONE)
        return align_part(place, w, RLV_JOIN_BLOCK, &alignment.pose, error);
    return status == RLV_IMPOSSIBLE ? RLV_DONE : status;
}

/// Align one part again from where the two faces fit, and keep the better of its places. `fit` carries the piece into
/// the block.
static rlv_status align_from_other(part_place place[3], const rlv_joining* w, int own, const rlv_pose* fit,
                                   rlv_error* error)
{
    const int other = own == RLV_JOIN_PIECE ? RLV_JOIN_BLOCK : RLV_JOIN_PIECE;
    const rlv_pose step = own == RLV_JOIN_PIECE ? *fit : rlv_pose_inverse(fit);
    part_place again = {.pose = rlv_pose_compose(&place[other].pose, &step)};
    rlv_status status = settle_part(&again, w, own, RLV_JOIN_START_MM, error);
    if (status == RLV_DONE && again.sure && (!place[own].sure || again.evidence > place[own].evidence))
        place[own] = again;
    return status;
}

/// Whether a part's place is not to be trusted beside the other's: both are scans of one bench.
static bool in_doubt(const part_place* own, const part_place* other)
{
    return !own->sure || (other->sure && own->sd_mm > other_bench * other->sd_mm);
}

rlv_status rlv_joining_align(rlv_joining* w, bool* known, rlv_error* error)
{
    const rlv_rejoin_input* input = w->input;
    const rlv_pose* start[3] = {NULL, input->block_in_before, input->piece_in_before};
    part_place place[3] = {0};
    rlv_status status = RLV_DONE;
    for (int own = RLV_JOIN_BLOCK; own <= RLV_JOIN_PIECE && status == RLV_DONE; own++)
        status = align_part(&place[own], w, own, start[own], error);
    part_place *block = &place[RLV_JOIN_BLOCK], *piece = &place[RLV_JOIN_PIECE];
    if (status == RLV_DONE && (in_doubt(block, piece) || in_doubt(piece, block)))
    {
        rlv_pose fit;
        size_t count = 0;
        status = rlv_joining_search(&fit, 1, &count, w, error);
        if (status == RLV_DONE && count > 0 && !block->sure && !piece->sure)
            status = align_together(block, w, &fit, error);
        if (status == RLV_DONE && count > 0 && block->sure && in_doubt(piece, block))
            status = align_from_other(place, w, RLV_JOIN_PIECE, &fit, error);
        if (status == RLV_DONE && count > 0 && piece->sure && in_doubt(block, piece))
            status = align_from_other(place, w, RLV_JOIN_BLOCK, &fit, error);
    }
    for (int own = RLV_JOIN_BLOCK; own <= RLV_JOIN_PIECE; own++)
    {
        w->in_before[own] = place[own].pose;
        w->evidence[own] = place[own].evidence;
    }
    *known = block->sure && piece->sure;
    return status;
}

rlv_status rlv_joining_doubt(rlv_joining* w, const rlv_pose* fit, bool* moved, rlv_error* error)
{
    *moved = false;
    part_place place[3] = {0}, kept[3];
    for (int own = RLV_JOIN_BLOCK; own <= RLV_JOIN_PIECE; own++)
        place[own] = (part_place){.pose = w->in_before[own], .evidence = w->evidence[own], .sure = true};
    memcpy(kept, place, sizeof kept);
    rlv_status status = RLV_DONE;
    for (int own = RLV_JOIN_BLOCK; own <= RLV_JOIN_PIECE && status == RLV_DONE; own++)
    {
        part_place tried[3];
        memcpy(tried, kept, sizeof tried);
        status = align_from_other(tried, w, own, fit, error);
        place[own] = tried[own];
    }
    for (int own = RLV_JOIN_BLOCK; own <= RLV_JOIN_PIECE && status == RLV_DONE; own++)
        if (place[own].evidence > clearly_more * kept[own].evidence)
        {
            w->in_before[own] = place[own].pose;
            w->evidence[own] = place[own].evidence;
            *moved = true;
        }
    return status;
}
