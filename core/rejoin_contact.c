#include "rejoin_gap.h"

#include <math.h>
#include <stdlib.h>

/// A sample by its width.
typedef struct low_place
{
    float width_mm;
    uint32_t index;
} low_place;

static int lower(const void* a, const void* b)
{
    const low_place *x = a, *y = b;
    if (x->width_mm != y->width_mm)
        return x->width_mm < y->width_mm ? -1 : 1;
    return (x->index > y->index) - (x->index < y->index);
}

rlv_gap_shares rlv_gap_shares_of(const rlv_gap_widths* widths, const rlv_gap_part* block, double noise_mm)
{
    const double told_mm = rlv_gap_touching_mm(noise_mm),
                 deep_mm = RLV_FIT_PENETRATION_SDS * RLV_GAP_SPOT_SHARE * noise_mm;
    double all = 0.0, touching = 0.0, open = 0.0, pressed = 0.0, deep = 0.0, meeting = 0.0;
    for (size_t i = 0; i < block->count; i++)
    {
        const double w = (double)widths->spot[0][i], area = (double)block->area_mm2[i];
        if (isnan(w))
            continue;
        all += area;
        touching += fabs(w) <= told_mm ? area : 0.0;
        open += w > told_mm ? area : 0.0;
        pressed += w < -told_mm ? area : 0.0;
        deep += w < -deep_mm ? area : 0.0;
        meeting += w < 0.0 ? area : 0.0;
    }
    return all > 0.0 ? (rlv_gap_shares){touching / all, open / all, pressed / all, deep / all, meeting / all}
                     : (rlv_gap_shares){0};
}

/// The contact that a place lies in, hardest first; NULL: none.
static rlv_rejoin_contact* contact_near(rlv_rejoin* rejoin, rlv_vec3 at)
{
    const double apart_mm = 4.0 * RLV_REJOIN_SPOT_MM;
    for (size_t k = 0; k < rejoin->contact_count; k++)
        if (rlv_vec3_length(rlv_vec3_sub(at, rejoin->contact[k].at_mm)) <= apart_mm)
            return &rejoin->contact[k];
    return NULL;
}

/// Contacts that the piece's bone lies in, as its own side of the joint tells.
static void mark_bone_of_piece(rlv_rejoin* rejoin, const rlv_gap_widths* widths, const rlv_gap_part* piece,
                               const rlv_pose* to_block, double touching_mm)
{
    for (size_t i = 0; i < piece->count; i++)
    {
        const double w = (double)widths->spot[1][i];
        if (isnan(w) || w > touching_mm || !rlv_gap_is_bone(piece, i))
            continue;
        rlv_rejoin_contact* near = contact_near(rejoin, rlv_pose_apply(to_block, rlv_vec3_from(piece->at + 3 * i)));
        if (near != NULL)
            near->bone |= RLV_REJOIN_BONE_PIECE;
    }
}

rlv_status rlv_gap_contacts(rlv_rejoin* rejoin, const rlv_gap_widths* widths, const rlv_gap_part part[2],
                            const rlv_pose* to_block, double noise_mm, rlv_error* error)
{
    const double told_mm = rlv_gap_touching_mm(noise_mm);
    const rlv_gap_part* block = part;
    low_place* list = rlv_reserve(block->count, sizeof *list, error);
    if (list == NULL)
        return RLV_SYSTEM;
    size_t count = 0;
    for (size_t i = 0; i < block->count; i++)
    {
        const double w = (double)widths->spot[0][i], area = (double)block->area_mm2[i];
        if (isnan(w) || w > told_mm)
            continue;
        list[count++] = (low_place){widths->spot[0][i], (uint32_t)i};
        if (w < -told_mm)
            rejoin->relieve_mm3 -= (w + told_mm / 3.0) * area;
    }
    const rlv_gap_shares shares = rlv_gap_shares_of(widths, block, noise_mm);
    rejoin->touching_mm = told_mm;
    rejoin->touching = shares.touching;
    rejoin->worn = shares.open;
    qsort(list, count, sizeof *list, lower);
    for (size_t i = 0; i < count; i++)
    {
        const rlv_vec3 at = rlv_vec3_from(block->at + 3 * (size_t)list[i].index);
        const double area = (double)block->area_mm2[list[i].index];
        const unsigned bone = rlv_gap_is_bone(block, list[i].index) ? RLV_REJOIN_BONE_BLOCK : 0;
        rlv_rejoin_contact* near = contact_near(rejoin, at);
        if (near != NULL)
        {
            near->area_mm2 += area;
            near->bone |= bone;
        }
        else if (rejoin->contact_count < RLV_REJOIN_CONTACTS)
            rejoin->contact[rejoin->contact_count++] =
                (rlv_rejoin_contact){at, fmax(0.0, -(double)list[i].width_mm - told_mm), area, bone};
    }
    mark_bone_of_piece(rejoin, widths, &part[1], to_block, told_mm);
    for (size_t k = 0; k < rejoin->contact_count; k++)
        rejoin->contact[k].at_mm = rlv_vec3_add(rejoin->contact[k].at_mm, block->mesh->origin_mm);
    free(list);
    return RLV_DONE;
}
