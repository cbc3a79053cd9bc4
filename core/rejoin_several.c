#include "rejoin_several.h"

#include "grow.h"
#include "rejoin_several_parts.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void rlv_several_free(rlv_several* several)
{
    for (size_t k = 0; several->body != NULL && k < several->body_count; k++)
        rlv_rejoin_free(&several->body[k].refused);
    for (size_t j = 0; several->joint != NULL && j < several->joint_count; j++)
        rlv_rejoin_free(&several->joint[j].of);
    free(several->body);
    free(several->joint);
    free(several->ring);
    free(several->ring_body);
    memset(several, 0, sizeof *several);
}

const rlv_several_piece* rlv_placing_piece(const rlv_placing* w, size_t body)
{
    return w->input->piece + (body - 1);
}

rlv_status rlv_joint_list_add(rlv_joint_list* list, const rlv_several_joint* joint, rlv_error* error)
{
    if (!rlv_grow(&list->joint, &list->room, list->count + 1, sizeof *list->joint))
        return rlv_fail(error, RLV_SYSTEM, NULL, "close other programs, or put fewer pieces back at once",
                        "no memory for another joint");
    list->joint[list->count++] = *joint;
    return RLV_DONE;
}

static void free_list(rlv_joint_list* list)
{
    for (size_t j = 0; j < list->count; j++)
        rlv_rejoin_free(&list->joint[j].of);
    free(list->joint);
    *list = (rlv_joint_list){0};
}

// --- What is given ---------------------------------------------------------------------------------------------------

typedef struct body_name
{
    char text[128];
} body_name;

static body_name name_of(const rlv_several_input* input, size_t body)
{
    body_name name;
    if (body == 0)
        snprintf(name.text, sizeof name.text, "the block");
    else if (input->piece[body - 1].name != NULL)
        rlv_print(name.text, sizeof name.text, "'%.100s'", input->piece[body - 1].name);
    else
        snprintf(name.text, sizeof name.text, "piece %zu", body);
    return name;
}

static rlv_status check_piece(const rlv_several_input* input, size_t body, rlv_error* error)
{
    const rlv_several_piece* piece = input->piece + (body - 1);
    const body_name name = name_of(input, body);
    if (piece->mesh->triangle_count == 0)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give its mesh", "%s has no triangle", name.text);
    if (piece->mesh == input->block)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give the mesh of the piece", "%s is the block itself", name.text);
    for (size_t k = 1; k < body; k++)
        if (input->piece[k - 1].mesh == piece->mesh)
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "give each piece once", "%s and %s are one mesh",
                            name_of(input, k).text, name.text);
    size_t at = body, steps = 0;
    for (; at != 0 && at != RLV_SEVERAL_ANY && steps <= input->piece_count; steps++)
    {
        if (at > input->piece_count)
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "name the block or one of the pieces",
                            "%s is said to have come off body %zu, which is none", name.text, at);
        at = input->piece[at - 1].parent;
    }
    if (steps > input->piece_count)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "say of one of them that it came off the block",
                        "%s is said to have come off itself, by way of its parents", name.text);
    return RLV_DONE;
}

static rlv_status check_input(const rlv_several_input* input, rlv_error* error)
{
    if (input->piece_count == 0)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give one piece at least", "there is no piece");
    if (input->block->triangle_count == 0)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give its mesh", "the block has no triangle");
    rlv_status status = RLV_DONE;
    for (size_t body = 1; body <= input->piece_count && status == RLV_DONE; body++)
        status = check_piece(input, body, error);
    return status;
}

static rlv_status begin(rlv_placing* w, rlv_error* error)
{
    const size_t n = w->bodies = w->input->piece_count + 1;
    if ((w->moved = rlv_reserve(n, sizeof *w->moved, error)) == NULL ||
        (w->lying = rlv_reserve(n, sizeof *w->lying, error)) == NULL ||
        (w->tried = rlv_reserve(n * n, 1, error)) == NULL ||
        (w->order = rlv_reserve(n, sizeof *w->order, error)) == NULL ||
        (w->out->body = rlv_reserve(n, sizeof *w->out->body, error)) == NULL)
        return RLV_SYSTEM;
    w->out->body_count = n;
    for (size_t k = 0; k < n; k++)
        w->out->body[k].pose = w->out->body[k].in_turn = rlv_pose_identity();
    w->out->body[0].placed = true;
    w->placed = 1; // order[0] is the block
    return rlv_lying_make(&w->lying[0], w->input->block, error);
}

static void placing_free(rlv_placing* w)
{
    for (size_t k = 0; k < w->bodies; k++)
    {
        if (w->moved != NULL)
            rlv_mesh_free(&w->moved[k]);
        if (w->lying != NULL)
            rlv_lying_free(&w->lying[k]);
    }
    free(w->moved);
    free(w->lying);
    free(w->tried);
    free(w->order);
    free_list(&w->trial);
    free_list(&w->joint);
}

// --- One after the other ---------------------------------------------------------------------------------------------

rlv_status rlv_placing_measure(rlv_several_joint* joint, const rlv_placing* w, size_t into, size_t from,
                               const rlv_pose* start, bool bare, rlv_error* error)
{
    const rlv_several_piece* piece = rlv_placing_piece(w, from);
    const rlv_mesh* block = piece->block != NULL ? piece->block : w->input->block;
    rlv_rejoin_input input = {.block = into == 0 ? block : &w->moved[into],
                              .piece = piece->mesh,
                              .start = start,
                              .seed = w->input->seed,
                              .progress = w->input->progress};
    if (!bare)
    {
        input.before = piece->before;
        input.after = piece->after;
        input.block_in_before = w->input->block_in_before;
        input.block_face = into == 0 ? piece->block_face : NULL;
        input.piece_face = piece->face;
        input.piece_bone = piece->bone;
        input.block_bone = into == 0 ? piece->block_bone : rlv_placing_piece(w, into)->bone;
    }
    joint->into = into;
    joint->from = from;
    return rlv_rejoin_measure(&joint->of, &input, error);
}

bool rlv_several_joint_tells(const rlv_several_joint* joint)
{
    if (joint->of.verdict == RLV_REJOIN_NONE)
        return false;
    if (joint->of.found_known)
        return true;
    // Of faces without relief next to nothing may repeat next to nothing: they slide.
    const bool smooth = joint->of.relief_mm < RLV_REJOIN_LEAST_RELIEF_MM,
               held = rlv_pose_position_sd_mm(&joint->of.closed) < RLV_REJOIN_REACH_MM;
    return joint->of.fit > RLV_REJOIN_LEAST_FIT && (held || !smooth);
}

/// Keep why a piece did not go on a body, where that is the nearest it has come.
static void refuse(rlv_placing* w, rlv_several_joint* joint, const char* why)
{
    rlv_several_body* body = &w->out->body[joint->from];
    if (body->why[0] != '\0' && !(joint->of.fit > body->refused.fit))
    {
        rlv_rejoin_free(&joint->of);
        return;
    }
    rlv_rejoin_free(&body->refused);
    body->refused = joint->of;
    rlv_print(body->why, sizeof body->why, "on %.120s: %.260s", name_of(w->input, joint->into).text, why);
}

/// Try a piece on a body that is placed. What a person says came off there goes there if its face is too smooth to
/// tell.
static rlv_status try_pair(rlv_placing* w, size_t into, size_t from, rlv_error* error)
{
    const rlv_several_piece* piece = rlv_placing_piece(w, from);
    rlv_several_joint joint = {0};
    rlv_error own = {0};
    w->tried[into * w->bodies + from] = 1;
    const rlv_status status = rlv_placing_measure(&joint, w, into, from, piece->start, false, &own);
    if (status == RLV_DONE && (rlv_several_joint_tells(&joint) || piece->parent == into))
    {
        const rlv_status added = rlv_joint_list_add(&w->trial, &joint, error);
        if (added != RLV_DONE)
            rlv_rejoin_free(&joint.of);
        return added;
    }
    if (status == RLV_DONE || status == RLV_IMPOSSIBLE)
    {
        refuse(w, &joint, status == RLV_DONE ? joint.of.reason : own.what);
        return RLV_DONE;
    }
    rlv_rejoin_free(&joint.of);
    *error = own;
    return status;
}

/// Try all pieces that are not placed on all bodies that are: each on its parent only, unless `any`.
static rlv_status try_all(rlv_placing* w, bool any, rlv_error* error)
{
    rlv_status status = RLV_DONE;
    for (size_t from = 1; from < w->bodies; from++)
    {
        const size_t parent = rlv_placing_piece(w, from)->parent;
        for (size_t k = 0; k < w->placed && !w->out->body[from].placed && status == RLV_DONE; k++)
        {
            const size_t into = w->order[k];
            if (w->tried[into * w->bodies + from] == 0 && (any || parent == RLV_SEVERAL_ANY || parent == into))
                status = try_pair(w, into, from, error);
        }
    }
    return status;
}

/// Whether one joint is a better reason to place a piece than another: where a person says it came off, then by how
/// surely it fits, then by the area that fits.
static bool is_better(const rlv_placing* w, const rlv_several_joint* a, const rlv_several_joint* b)
{
    const bool said[2] = {rlv_placing_piece(w, a->from)->parent == a->into,
                          rlv_placing_piece(w, b->from)->parent == b->into},
               fits[2] = {a->of.verdict == RLV_REJOIN_FITS, b->of.verdict == RLV_REJOIN_FITS};
    if (said[0] != said[1])
        return said[0];
    if (fits[0] != fits[1])
        return fits[0];
    return a->of.fit * a->of.joint_mm2 > b->of.fit * b->of.joint_mm2;
}

/// The joint that places a piece best; SIZE_MAX where none does.
static size_t best_trial(const rlv_placing* w)
{
    size_t best = SIZE_MAX;
    for (size_t j = 0; j < w->trial.count; j++)
        if (!w->out->body[w->trial.joint[j].from].placed &&
            (best == SIZE_MAX || is_better(w, &w->trial.joint[j], &w->trial.joint[best])))
            best = j;
    return best;
}

static rlv_several_joint take_trial(rlv_joint_list* list, size_t at)
{
    const rlv_several_joint joint = list->joint[at];
    memmove(list->joint + at, list->joint + at + 1, (--list->count - at) * sizeof *list->joint);
    return joint;
}

/// The body, other than the one that it goes on, that a piece would come to lie in; SIZE_MAX where there is none. A
/// block as it was at another stage may hold the piece.
static rlv_status find_overlapped(size_t* overlapped, const rlv_placing* w, const rlv_several_joint* joint,
                                  rlv_error* error)
{
    const rlv_several_piece* piece = rlv_placing_piece(w, joint->from);
    rlv_status status = RLV_DONE;
    *overlapped = SIZE_MAX;
    for (size_t k = 0; k < w->placed && *overlapped == SIZE_MAX && status == RLV_DONE; k++)
    {
        const size_t other = w->order[k];
        double share[2] = {0};
        if (other == joint->into || (other == 0 && piece->block != NULL && piece->block != w->input->block))
            continue;
        status = rlv_lying_within(&share[0], &w->lying[joint->from], &w->lying[other], error);
        if (status == RLV_DONE)
            status = rlv_lying_within(&share[1], &w->lying[other], &w->lying[joint->from], error);
        if (fmax(share[0], share[1]) > RLV_SEVERAL_OVERLAP)
            *overlapped = other;
    }
    return status;
}

static rlv_status lay_down(rlv_placing* w, size_t body, const rlv_pose* pose, rlv_error* error)
{
    const rlv_status status = rlv_mesh_copy(&w->moved[body], rlv_placing_piece(w, body)->mesh, error);
    if (status != RLV_DONE)
        return status;
    rlv_pose_move_mesh(pose, &w->moved[body]);
    return rlv_lying_make(&w->lying[body], &w->moved[body], error);
}

static void pick_up(rlv_placing* w, size_t body)
{
    rlv_lying_free(&w->lying[body]);
    rlv_mesh_free(&w->moved[body]);
}

/// Place a piece by a joint, unless another lies there already. `joint` is taken over.
static rlv_status place(rlv_placing* w, rlv_several_joint* joint, rlv_error* error)
{
    size_t overlapped = SIZE_MAX;
    rlv_several_body* body = &w->out->body[joint->from];
    rlv_status status = lay_down(w, joint->from, &joint->of.closed, error);
    if (status == RLV_DONE)
        status = find_overlapped(&overlapped, w, joint, error);
    if (status == RLV_DONE && overlapped == SIZE_MAX)
    {
        joint->carries = joint->counted = true;
        body->placed = true;
        body->joint = w->joint.count;
        body->in_turn = joint->of.closed;
        w->order[w->placed++] = joint->from;
        rlv_rejoin_free(&body->refused);
        body->why[0] = '\0';
        status = rlv_joint_list_add(&w->joint, joint, error);
        if (status != RLV_DONE)
            rlv_rejoin_free(&joint->of);
        return status;
    }
    pick_up(w, joint->from);
    if (status == RLV_DONE)
    {
        char why[300];
        rlv_print(why, sizeof why, "it would come to lie where %.120s lies", name_of(w->input, overlapped).text);
        refuse(w, joint, why);
    }
    else
        rlv_rejoin_free(&joint->of);
    return status;
}

/// Place all that can be, the surest first.
static rlv_status place_all(rlv_placing* w, rlv_error* error)
{
    bool any = false;
    for (;;)
    {
        rlv_status status = try_all(w, any, error);
        const size_t best = status == RLV_DONE ? best_trial(w) : SIZE_MAX;
        if (best != SIZE_MAX)
        {
            rlv_several_joint joint = take_trial(&w->trial, best);
            status = place(w, &joint, error);
        }
        if (status != RLV_DONE || (best == SIZE_MAX && any))
            return status;
        any = any || best == SIZE_MAX;
    }
}

// --- The whole -------------------------------------------------------------------------------------------------------

/// Hand over what is told.
static void hand_over(rlv_placing* w)
{
    w->out->joint = w->joint.joint;
    w->out->joint_count = w->joint.count;
    w->joint = (rlv_joint_list){0};
}

static rlv_status tell_left_over(const rlv_placing* w, rlv_error* error)
{
    size_t first = 0, count = 0;
    for (size_t k = 1; k < w->bodies; k++)
        if (!w->out->body[k].placed)
        {
            first = first == 0 ? k : first;
            count++;
        }
    if (count == 0)
        return RLV_DONE;
    return rlv_fail(error, RLV_IMPOSSIBLE, NULL,
                    "check that it is of this block and in its right unit; outline its face where that is small or "
                    "worn, or leave it out",
                    "%s could not be placed: %.250s%s", name_of(w->input, first).text, w->out->body[first].why,
                    count > 1 ? "; nor could others" : "");
}

rlv_status rlv_rejoin_several(rlv_several* several, const rlv_several_input* input, rlv_error* error)
{
    *several = (rlv_several){0};
    rlv_placing w = {.input = input, .out = several};
    rlv_status status = check_input(input, error);
    if (status == RLV_DONE)
        status = begin(&w, error);
    if (status == RLV_DONE)
        status = place_all(&w, error);
    if (status == RLV_DONE)
        status = rlv_placing_close(&w, error);
    hand_over(&w);
    if (status == RLV_DONE)
        status = rlv_placing_solve(&w, error);
    if (status == RLV_DONE)
        status = tell_left_over(&w, error);
    placing_free(&w);
    return status;
}
