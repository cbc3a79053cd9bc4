#include "align.h"
#include "rejoin_parts.h"

#include <math.h>
#include <stdlib.h>

/// Of the piece only what is not its face lies open where it is back.
static uint8_t* face_of(const rlv_rejoin* rejoin, const rlv_mesh* piece, rlv_error* error)
{
    uint8_t* face = rlv_reserve(piece->triangle_count, sizeof *face, error);
    for (size_t t = 0; face != NULL && t < piece->triangle_count; t++)
        for (size_t k = 0; k < 3; k++)
            face[t] = face[t] || !isnan(rejoin->piece_after_mm[piece->corner[3 * t + k]]);
    return face;
}

rlv_status rlv_joining_back(rlv_rejoin* rejoin, const rlv_joining* w, rlv_error* error)
{
    const rlv_rejoin_input* input = w->input;
    rlv_tree* tree = NULL;
    rlv_alignment alignment;
    rlv_error own = {0};
    uint8_t* face = face_of(rejoin, input->piece, error);
    rlv_status status = face != NULL ? rlv_tree_build_for(&tree, input->after, RLV_JOIN_QUERIES, error) : RLV_SYSTEM;
    if (status == RLV_DONE)
    {
        const rlv_align_options how = {.start = &rejoin->closed, .after_left_out = face, .progress = input->progress};
        status = rlv_align(&alignment, input->after, tree, input->piece, &how, &own);
        if (status == RLV_DONE && (!alignment.ambiguous || alignment.loose))
        {
            rejoin->back = alignment.pose;
            float* map[2] = {NULL, NULL};
            status = rlv_joining_gap_maps(&rejoin->gap_back, map, w, &rejoin->back, &own);
            rejoin->block_back_mm = map[0];
            rejoin->piece_back_mm = map[1];
            rejoin->back_known = status == RLV_DONE && rejoin->gap_back.area_mm2 > 0.0; // they face one another there
        }
        if (status == RLV_IMPOSSIBLE)
            status = RLV_DONE;
        else if (status != RLV_DONE)
            *error = own;
    }
    rlv_tree_free(tree);
    free(face);
    return status;
}
