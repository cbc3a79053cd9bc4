#include "rejoin_pieces.h"

#include <stdlib.h>
#include <string.h>

void rejoin_pieces_free(rejoin_pieces* p)
{
    for (size_t k = 0; p->laid != NULL && k < p->count; k++)
        rlv_mesh_free(&p->laid[k]);
    free(p->laid);
    free(p->block);
    rlv_several_free(&p->of);
    *p = (rejoin_pieces){0};
}

// --- Names -----------------------------------------------------------------------------------------------------------

const rlv_rejoin* rejoin_pieces_joint(const rejoin_pieces* p, const rlv_several_joint* joint)
{
    return joint->carries ? &p->told[joint->from - 1]->of : &joint->of;
}

const char* rejoin_pieces_from(const rejoin_pieces* p, const rlv_several_joint* joint)
{
    return p->told[joint->from - 1]->piece.name;
}

const char* rejoin_pieces_into(const rejoin_pieces* p, const rlv_several_joint* joint)
{
    return joint->into == 0 ? p->block[joint->from - 1].name : p->told[joint->into - 1]->piece.name;
}

const char* rejoin_pieces_name(const rejoin_pieces* p, size_t body)
{
    return body == 0 ? p->block[0].name : p->told[body - 1]->piece.name;
}

bool rejoin_ring_closes(const rlv_several_ring* ring)
{
    return !(ring->p < RLV_SEVERAL_WRONG_P);
}

report_text rejoin_ring_name(const rejoin_pieces* p, const rlv_several_ring* ring)
{
    report_text name = {""};
    size_t put = 0;
    for (size_t n = 0; n <= ring->body_count && put + 110 < sizeof name.text; n++)
        put += rlv_print(name.text + put, sizeof name.text - put, "%s%.100s", n > 0 ? " \u2013 " : "",
                         rejoin_pieces_name(p, ring->body[n % ring->body_count]));
    return name;
}

report_text rejoin_ring_words(const rejoin_pieces* p, const rlv_several_ring* ring)
{
    report_text words;
    const rlv_several_joint* joint = &p->of.joint[ring->joint];
    rlv_print(
        words.text, sizeof words.text,
        "%s: at the joint of %.100s on %.100s it misses by %s mm and %s\u00b0, where %s mm and %s\u00b0 are to be "
        "expected (p %s)",
        rejoin_ring_closes(ring) ? "it closes" : "it does not close", rejoin_pieces_from(p, joint),
        rejoin_pieces_into(p, joint), words_figures(ring->miss_mm, 2).text, words_figures(ring->miss_deg, 2).text,
        words_figures(ring->expected_mm, 2).text, words_figures(ring->expected_deg, 2).text,
        ring->p < 1e-6 ? "below 0.000001" : words_figures(ring->p, 2).text);
    return words;
}

bool rejoin_rings_words(const rejoin_pieces* p, size_t* next, report_text* words)
{
    const size_t rings = p->of.ring_count, at = (*next)++;
    const struct
    {
        bool holds;
        const char* words;
    } rest[] = {
        {rings == 0, "no joint closes a ring: each piece lies as its own joint alone lays it"},
        {p->of.contradictory, "which of their joints is wrong cannot be told"},
        {p->of.inflated,
         "they miss by more than their joints let one expect: all uncertainties are widened by as much"},
    };
    if (at < rings)
    {
        const rlv_several_ring* ring = &p->of.ring[at];
        rlv_print(words->text, sizeof words->text, "%.500s: %.500s", rejoin_ring_name(p, ring).text,
                  rejoin_ring_words(p, ring).text);
        return true;
    }
    for (size_t k = at - rings; k < sizeof rest / sizeof *rest; k++, (*next)++)
        if (rest[k].holds)
        {
            snprintf(words->text, sizeof words->text, "%s", rest[k].words);
            return true;
        }
    return false;
}

// --- Measuring -------------------------------------------------------------------------------------------------------

/// What the library is asked.
static bool ask(rlv_several_piece* piece, const rejoin_pieces* p)
{
    bool placed = true;
    for (size_t k = 0; k < p->count; k++)
    {
        const rejoin_told* told = p->told[k];
        placed = placed && told->placed;
        piece[k] = (rlv_several_piece){.mesh = told->piece.mesh,
                                       .face = told->piece_face,
                                       .bone = told->piece_bone,
                                       .name = told->piece.name,
                                       .parent = p->parent != NULL ? p->parent[k] : RLV_SEVERAL_ANY,
                                       .block = told->block.mesh,
                                       .block_face = told->block_face,
                                       .block_bone = told->block_bone,
                                       .before = told->before.mesh,
                                       .after = told->after.mesh};
    }
    return placed;
}

/// Take over what a piece's own joint held; its block is what it went on, where that lies.
static rlv_status take_joint(rejoin_pieces* p, size_t k, rlv_answer* answer, rlv_error* error)
{
    const rlv_several_body* body = &p->of.body[k + 1];
    rlv_several_joint* joint = &p->of.joint[body->joint];
    rejoin_told* told = p->told[k];
    told->of = joint->of;
    joint->of = (rlv_rejoin){0};
    rlv_rejoin_close_at(&told->of, &body->pose);
    if (joint->into > 0)
    {
        rlv_mesh* laid = &p->laid[joint->into - 1];
        const rejoin_part* on = &p->told[joint->into - 1]->piece;
        if (laid->vertex_count == 0)
        {
            const rlv_status status = rlv_mesh_copy(laid, on->mesh, error);
            if (status != RLV_DONE)
                return status;
            rlv_pose_move_mesh(&p->of.body[joint->into].pose, laid);
        }
        told->block = *on;
        told->block.mesh = laid;
        told->block_face = NULL;
        told->block_bone = p->told[joint->into - 1]->piece_bone;
    }
    rejoin_told_finish(told, answer);
    return RLV_DONE;
}

static void take_refusal(rejoin_pieces* p, size_t k, rlv_answer* answer)
{
    rlv_several_body* body = &p->of.body[k + 1];
    rejoin_told* told = p->told[k];
    told->of = body->refused;
    body->refused = (rlv_rejoin){0};
    told->judged = told->of.reason[0] != '\0';
    snprintf(told->why, sizeof told->why, "%s", body->why);
    answer_warn(answer, "%s could not be placed: %s", told->piece.name, body->why);
}

static void warn(const rejoin_pieces* p, rlv_answer* answer)
{
    for (size_t j = 0; j < p->of.joint_count; j++)
    {
        const rlv_several_joint* joint = &p->of.joint[j];
        const char *from = rejoin_pieces_from(p, joint), *into = rejoin_pieces_into(p, joint);
        if (!joint->counted)
            answer_warn(answer, "%s and %s came to lie side by side, and %s: %s", from, into,
                        joint->of.verdict == RLV_REJOIN_NONE ? "do not belong together there"
                                                             : "whether they belong together there is not told",
                        joint->of.reason);
        if (joint->rejected)
            answer_warn(answer, "the joint of %s on %s contradicts the others, and was left out", from, into);
    }
    for (size_t r = 0; r < p->of.ring_count; r++)
        if (!rejoin_ring_closes(&p->of.ring[r]))
            answer_warn(answer,
                        "the ring %s: %s; a piece of it lies in the wrong place, or has not the shape that it broke in",
                        rejoin_ring_name(p, &p->of.ring[r]).text, rejoin_ring_words(p, &p->of.ring[r]).text);
}

/// Put what was measured where it is told from.
static rlv_status take_all(rejoin_pieces* p, rlv_answer* answer, rlv_error* error)
{
    rlv_status status = RLV_DONE;
    for (size_t k = 0; k < p->count && status == RLV_DONE; k++)
        if (p->of.body[k + 1].placed)
            status = take_joint(p, k, answer, error);
        else
            take_refusal(p, k, answer);
    if (status == RLV_DONE)
        warn(p, answer);
    return status;
}

rlv_status rejoin_pieces_measure(rejoin_pieces* p, rlv_answer* answer, rlv_error* error)
{
    const rlv_pose in_place = rlv_pose_identity();
    rlv_several_piece* piece = rlv_reserve(p->count, sizeof *piece, error);
    if (piece == NULL || (p->laid = rlv_reserve(p->count, sizeof *p->laid, error)) == NULL ||
        (p->block = rlv_reserve(p->count, sizeof *p->block, error)) == NULL)
    {
        free(piece);
        return RLV_SYSTEM;
    }
    for (size_t k = 0; k < p->count; k++)
        p->block[k] = p->told[k]->block;
    const bool placed = ask(piece, p);
    const rlv_several_input input = {.block = p->count > 0 ? piece[p->count - 1].block : NULL,
                                     .block_in_before = placed ? &in_place : NULL,
                                     .piece_count = p->count,
                                     .piece = piece,
                                     .progress = answer->progress};
    rlv_status status = rlv_rejoin_several(&p->of, &input, error);
    free(piece);
    if (status != RLV_DONE && status != RLV_IMPOSSIBLE)
        return status;
    const rlv_status taken = take_all(p, answer, error);
    return taken == RLV_DONE ? status : taken;
}
