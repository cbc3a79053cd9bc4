#include "rejoin_several_parts.h"
#include "stages.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// A smaller area than one stretch over which relief is told is no joint.
static const double least_across_mm2 = 16.0 * 16.0;

// --- Joints that close rings -----------------------------------------------------------------------------------------

static bool are_joined(const rlv_placing* w, size_t a, size_t b)
{
    for (size_t j = 0; j < w->joint.count; j++)
        if ((w->joint.joint[j].into == a && w->joint.joint[j].from == b) ||
            (w->joint.joint[j].into == b && w->joint.joint[j].from == a))
            return true;
    return false;
}

/// Whether a body looks across at others that are placed: one a body in the order of placing.
static rlv_status look_round(bool* close, const rlv_placing* w, size_t from, rlv_error* error)
{
    const rlv_lying** other = rlv_reserve(w->placed, sizeof *other, error);
    size_t* which = rlv_reserve(w->placed, sizeof *which, error);
    double* across_mm2 = rlv_reserve(w->placed, sizeof *across_mm2, error);
    rlv_status status = other != NULL && which != NULL && across_mm2 != NULL ? RLV_DONE : RLV_SYSTEM;
    size_t count = 0;
    for (size_t k = 0; k < w->placed && status == RLV_DONE; k++)
        if (w->order[k] != from)
        {
            which[count] = k;
            other[count++] = &w->lying[w->order[k]];
        }
    if (status == RLV_DONE)
        status = rlv_lying_across(across_mm2, &w->lying[from], count, other, RLV_REJOIN_REACH_MM, error);
    for (size_t k = 0; k < count && status == RLV_DONE; k++)
        close[which[k]] = across_mm2[k] > least_across_mm2;
    free(across_mm2);
    free(which);
    free(other);
    return status;
}

/// A joint of two bodies that fit elsewhere than where they lie: what was found when they were tried, or is found now.
/// False where there is none.
static rlv_status find_elsewhere(bool* found, rlv_several_joint* joint, rlv_placing* w, size_t into, size_t from,
                                 rlv_error* error)
{
    rlv_error own = {0};
    *found = false;
    for (size_t j = 0; j < w->trial.count; j++)
        if (w->trial.joint[j].into == into && w->trial.joint[j].from == from)
        {
            *joint = w->trial.joint[j];
            w->trial.joint[j].of = (rlv_rejoin){0}; // which is the joint's now
            w->trial.joint[j].from = 0;
            *found = true;
            return RLV_DONE;
        }
    if (w->tried[into * w->bodies + from] != 0)
        return RLV_DONE;
    w->tried[into * w->bodies + from] = 1;
    const rlv_status status = rlv_placing_measure(joint, w, into, from, NULL, true, &own);
    *found = status == RLV_DONE && joint->of.verdict == RLV_REJOIN_FITS;
    if (!*found)
        rlv_rejoin_free(&joint->of);
    if (status != RLV_DONE && status != RLV_IMPOSSIBLE)
        return rlv_first_failure(1, &status, &own, error);
    return RLV_DONE;
}

/// Whether a joint elsewhere may be the one of two bodies that lie close and do not fit there: no farther off than
/// faces are looked for, and over no less of them.
static bool is_theirs(const rlv_several_joint* elsewhere, const rlv_several_joint* here, const rlv_pose* in_turn)
{
    const rlv_pose back = rlv_pose_inverse(&elsewhere->of.closed);
    const rlv_vec3 middle = elsewhere->of.joint_mm, lies = rlv_pose_apply(in_turn, rlv_pose_apply(&back, middle));
    return rlv_vec3_length(rlv_vec3_sub(lies, middle)) < RLV_REJOIN_REACH_MM &&
           elsewhere->of.joint_mm2 >= here->of.joint_mm2;
}

/// Measure two bodies that lie close from where they lie. Where they do not fit there they may elsewhere: a ring that
/// misses by more than a start may be off.
static rlv_status close_pair(rlv_placing* w, size_t into, size_t from, rlv_error* error)
{
    rlv_several_joint joint = {0}, elsewhere = {0};
    rlv_error own = {0};
    bool found = false;
    rlv_status status = rlv_placing_measure(&joint, w, into, from, &w->out->body[from].in_turn, true, &own);
    if (status != RLV_DONE && status != RLV_IMPOSSIBLE)
    {
        rlv_rejoin_free(&joint.of);
        return rlv_first_failure(1, &status, &own, error);
    }
    const bool judged = status == RLV_DONE || joint.of.reason[0] != '\0';
    if (!judged || !(joint.of.relief_mm > 0.0)) // too little of it lies in one stretch
    {
        rlv_rejoin_free(&joint.of);
        return RLV_DONE;
    }
    if (joint.of.verdict == RLV_REJOIN_NONE)
        status = find_elsewhere(&found, &elsewhere, w, into, from, error);
    else
        status = RLV_DONE;
    if (found && is_theirs(&elsewhere, &joint, &w->out->body[from].in_turn))
    {
        rlv_rejoin_free(&joint.of);
        joint = elsewhere;
    }
    else
        rlv_rejoin_free(&elsewhere.of);
    joint.counted = rlv_several_joint_tells(&joint) && !(joint.of.held_apart_mm > 0.0) &&
                    rlv_pose_position_sd_mm(&joint.of.closed) < RLV_REJOIN_REACH_MM;
    if (status == RLV_DONE)
        status = rlv_joint_list_add(&w->joint, &joint, error);
    if (status != RLV_DONE)
        rlv_rejoin_free(&joint.of);
    return status;
}

rlv_status rlv_placing_close(rlv_placing* w, rlv_error* error)
{
    bool* close = rlv_reserve(w->placed, sizeof *close, error);
    rlv_status status = close != NULL ? RLV_DONE : RLV_SYSTEM;
    for (size_t b = 1; b < w->placed && status == RLV_DONE; b++)
    {
        memset(close, 0, w->placed * sizeof *close);
        status = look_round(close, w, w->order[b], error);
        for (size_t a = 0; a < b && status == RLV_DONE; a++)
            if (close[a] && !are_joined(w, w->order[a], w->order[b]))
                status = close_pair(w, w->order[a], w->order[b], error);
    }
    free(close);
    return status;
}

// --- All together ----------------------------------------------------------------------------------------------------

/// The graph of the bodies that are placed. Bodies are perturbed where they lie in turn, so that every pose in it is
/// nearly none, and an edge's covariance is that of its joint.
typedef struct together
{
    size_t edges;
    rlv_stage_edge* edge;
    size_t* joint; ///< one an edge
    size_t* stage; ///< one a body: its number among those placed
    rlv_stages solved;
} together;

static void together_free(together* t)
{
    free(t->edge);
    free(t->joint);
    free(t->stage);
    rlv_stages_free(&t->solved);
}

static rlv_status lay_edges(together* t, const rlv_placing* w, rlv_error* error)
{
    const rlv_several* out = w->out;
    if ((t->edge = rlv_reserve(out->joint_count, sizeof *t->edge, error)) == NULL ||
        (t->joint = rlv_reserve(out->joint_count, sizeof *t->joint, error)) == NULL ||
        (t->stage = rlv_reserve(w->bodies, sizeof *t->stage, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t k = 0; k < w->placed; k++)
        t->stage[w->order[k]] = k;
    for (size_t j = 0; j < out->joint_count; j++)
    {
        const rlv_several_joint* joint = &out->joint[j];
        if (!joint->counted)
            continue;
        const rlv_pose back = rlv_pose_inverse(&out->body[joint->from].in_turn);
        rlv_pose pose = rlv_pose_compose(&joint->of.closed, &back);
        pose.centre_mm = joint->of.closed.centre_mm;
        // One piece alone is told as rlv_rejoin_measure tells it.
        const double scatter = joint->of.found_known || w->bodies == 2 ? 1.0 : RLV_SEVERAL_SCATTER;
        for (int i = 0; i < 49; i++)
            pose.covariance[i] = scatter * joint->of.closed.covariance[i];
        t->joint[t->edges] = j;
        t->edge[t->edges++] =
            (rlv_stage_edge){.into = t->stage[joint->into], .from = t->stage[joint->from], .pose = pose};
    }
    return RLV_DONE;
}

/// Half the length of the block, or of the piece where that is the larger.
static double reach_of(const rlv_placing* w)
{
    double reach = 0.0;
    for (size_t k = 0; k < w->bodies; k++)
    {
        const rlv_mesh* mesh = k == 0 ? w->input->block : rlv_placing_piece(w, k)->mesh;
        const rlv_mesh_measures m = rlv_mesh_measure(mesh);
        const rlv_vec3 size = rlv_vec3_sub(m.high_mm, m.low_mm);
        reach = fmax(reach, 0.5 * fmax(size.x, fmax(size.y, size.z)));
    }
    return reach;
}

static rlv_status solve_edges(together* t, const rlv_placing* w, rlv_error* error)
{
    bool found = false;
    for (size_t e = 0; e < t->edges; e++)
        found = found || w->out->joint[t->joint[e]].of.found_known;
    const rlv_stages_options options = {.stage_count = w->placed, .reach_mm = reach_of(w), .nothing_shared = !found};
    return rlv_stages_join(&t->solved, t->edges, t->edge, &options, error);
}

static void tell_bodies(rlv_placing* w, const together* t)
{
    rlv_several* out = w->out;
    out->contradictory = t->solved.contradictory;
    out->inflated = t->solved.inflated;
    for (size_t e = 0; e < t->edges; e++)
    {
        out->joint[t->joint[e]].rejected = t->solved.edge[e].rejected;
        out->joint[t->joint[e]].suspect = t->solved.edge[e].suspect;
    }
    for (size_t k = 1; k < w->placed; k++)
    {
        rlv_several_body* body = &out->body[w->order[k]];
        const rlv_pose at_joint = rlv_pose_centred(&t->solved.pose[k], out->joint[body->joint].of.joint_mm);
        body->pose = rlv_pose_compose(&at_joint, &body->in_turn);
        body->pose.centre_mm = at_joint.centre_mm;
        memcpy(body->pose.covariance, at_joint.covariance, sizeof at_joint.covariance);
    }
}

/// The edge between two stages that a solution stands on.
static const rlv_stage_edge* edge_between(const together* t, size_t a, size_t b)
{
    for (size_t e = 0; e < t->edges; e++)
        if (!t->solved.edge[e].rejected &&
            ((t->edge[e].into == a && t->edge[e].from == b) || (t->edge[e].into == b && t->edge[e].from == a)))
            return &t->edge[e];
    return NULL;
}

/// What a ring's joints, each as uncertain as it is, let one expect at the joint that closes it.
static void tell_expected(rlv_several_ring* ring, const together* t, const rlv_loop_closure* loop)
{
    const rlv_stage_edge* closing = &t->edge[loop->edge];
    double square[2] = {0};
    for (size_t n = 0; n < loop->stage_count; n++)
    {
        const rlv_stage_edge* edge = n == 0 ? closing : edge_between(t, loop->stage[n - 1], loop->stage[n]);
        if (edge == NULL)
            continue;
        const rlv_pose there = rlv_pose_centred(&edge->pose, closing->pose.centre_mm);
        square[0] += pow(rlv_pose_position_sd_mm(&there), 2);
        square[1] += pow(rlv_pose_rotation_sd_deg(&there), 2);
    }
    ring->expected_mm = sqrt(square[0]);
    ring->expected_deg = sqrt(square[1]);
}

static rlv_status tell_rings(rlv_placing* w, const together* t, rlv_error* error)
{
    rlv_several* out = w->out;
    const size_t count = t->solved.loop_count;
    if ((out->ring = rlv_reserve(count, sizeof *out->ring, error)) == NULL ||
        (out->ring_body = rlv_reserve(count * w->placed, sizeof *out->ring_body, error)) == NULL)
        return RLV_SYSTEM;
    out->ring_count = count;
    for (size_t r = 0; r < count; r++)
    {
        const rlv_loop_closure* loop = &t->solved.loop[r];
        size_t* body = out->ring_body + r * w->placed;
        for (size_t n = 0; n < loop->stage_count; n++)
            body[n] = w->order[loop->stage[n]];
        out->ring[r] = (rlv_several_ring){.joint = t->joint[loop->edge],
                                          .body_count = loop->stage_count,
                                          .body = body,
                                          .miss_mm = loop->closure.shift_mm,
                                          .miss_deg = loop->closure.turn_deg,
                                          .p = loop->closure.p};
        tell_expected(&out->ring[r], t, loop);
    }
    return RLV_DONE;
}

/// The gaps as they are with all bodies where they were solved together: the place is as uncertain as by the joint
/// alone, or less. Without a ring it is that place.
static rlv_status tell_gaps(rlv_placing* w, rlv_error* error)
{
    rlv_status status = RLV_DONE;
    for (size_t j = 0; j < w->out->joint_count && status == RLV_DONE; j++)
    {
        rlv_several_joint* joint = &w->out->joint[j];
        const rlv_several_body* into = &w->out->body[joint->into];
        const rlv_several_piece* piece = rlv_placing_piece(w, joint->from);
        const rlv_mesh* block = piece->block != NULL ? piece->block : w->input->block;
        if (!joint->counted)
            continue;
        if (w->out->ring_count == 0)
        {
            joint->together = joint->of.gap_after;
            joint->together_known = true;
            continue;
        }
        // As `into` lies in turn: where the joint was measured.
        const rlv_pose away = rlv_pose_inverse(&into->pose), shift = rlv_pose_compose(&into->in_turn, &away);
        rlv_pose place = rlv_pose_compose(&shift, &w->out->body[joint->from].pose);
        place.centre_mm = joint->of.closed.centre_mm;
        memcpy(place.covariance, joint->of.closed.covariance, sizeof place.covariance);
        const rlv_rejoin_input input = {.block = joint->into == 0 ? block : &w->moved[joint->into],
                                        .piece = piece->mesh};
        rlv_error own = {0};
        status = rlv_rejoin_gap_at(&joint->together, &input, &place, &own);
        joint->together_known = status == RLV_DONE;
        if (status == RLV_IMPOSSIBLE)
            status = RLV_DONE;
        else if (status != RLV_DONE)
            *error = own;
    }
    return status;
}

rlv_status rlv_placing_solve(rlv_placing* w, rlv_error* error)
{
    together t = {0};
    if (w->placed < 2)
        return RLV_DONE;
    rlv_tell(&w->input->progress, "solving together", 0.0);
    rlv_status status = lay_edges(&t, w, error);
    if (status == RLV_DONE)
        status = solve_edges(&t, w, error);
    if (status == RLV_DONE)
    {
        tell_bodies(w, &t);
        status = tell_rings(w, &t, error);
    }
    if (status == RLV_DONE)
        status = tell_gaps(w, error);
    together_free(&t);
    return status;
}
