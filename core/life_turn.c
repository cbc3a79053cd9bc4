#include "life.h"

#include "pose.h"

#include <stdlib.h>

/// The shortest rotation from one unit vector to another.
static rlv_vec3 shortest(rlv_vec3 from, rlv_vec3 to)
{
    const rlv_vec3 axis = rlv_vec3_cross(from, to);
    const double sine = rlv_vec3_length(axis), angle = atan2(sine, rlv_vec3_dot(from, to));
    if (sine > 1e-12)
        return rlv_vec3_scale(axis, angle / sine);
    // Against each other: about any axis square to both.
    const rlv_vec3 square = fabs(from.x) < 0.9 ? rlv_vec3_of(1, 0, 0) : rlv_vec3_of(0, 1, 0);
    return rlv_vec3_scale(rlv_vec3_unit(rlv_vec3_cross(from, square)), angle);
}

/// The frame with pole or long axis or both turned about.
static rlv_mat3 flipped(rlv_mat3 m, bool pole, bool front)
{
    const double p = pole ? -1.0 : 1.0, l = front ? -1.0 : 1.0;
    for (int k = 0; k < 3; k++)
    {
        m.m[3 * k] *= l;
        m.m[3 * k + 1] *= l * p;
        m.m[3 * k + 2] *= p;
    }
    return m;
}

rlv_vec3 rlv_life_turn(rlv_mat3 attitude, rlv_mat3 frame, unsigned known, bool told[3])
{
    const bool pole = known & RLV_ELEMENT_POLE, face = pole && (known & RLV_ELEMENT_FACE),
               line = known & RLV_ELEMENT_LONG, front = line && (known & RLV_ELEMENT_FRONT);
    told[0] = pole, told[1] = pole || line, told[2] = line;
    const rlv_mat3 off = rlv_mat3_multiply(rlv_mat3_transpose(attitude), frame);
    if (!pole && !line)
        return (rlv_vec3){0, 0, 0};
    if (pole && line)
    {
        rlv_vec3 best = {0, 0, 0};
        double least = INFINITY;
        for (int p = 0; p <= !face; p++)
            for (int l = 0; l <= !front; l++)
            {
                const rlv_vec3 turn = rlv_rotation_to_vector(flipped(off, p, l));
                const double angle = rlv_vec3_length(turn);
                if (angle < least)
                    least = angle, best = turn;
            }
        return best;
    }
    const rlv_vec3 rest = pole ? rlv_vec3_of(0, 0, 1) : rlv_vec3_of(1, 0, 0);
    rlv_vec3 now = rlv_mat3_column(off, pole ? 2 : 0);
    if (rlv_vec3_dot(now, rest) < 0.0 && !(pole ? face : front))
        now = rlv_vec3_scale(now, -1.0);
    return shortest(rest, now);
}

/// An element's attitude against the axis's frame at its slot.
static rlv_mat3 against_axis(const rlv_life* life, const rlv_life_element* e)
{
    const rlv_body_frame f = rlv_body_axis_at(&life->axis, life->value[0][e->slot]);
    const rlv_mat3 axes = rlv_mat3_of_columns(f.along, f.side, f.other);
    return rlv_mat3_multiply(rlv_mat3_transpose(axes), e->frame);
}

rlv_status rlv_life_base(rlv_life* life, rlv_error* error)
{
    rlv_mat3* own = rlv_reserve(life->count, sizeof *own, error);
    if (own == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < life->count; i++)
        own[i] = against_axis(life, &life->element[i]);
    for (size_t r = 0; r < life->rows; r++)
    {
        rlv_life_row* row = &life->row[r];
        double least = INFINITY;
        size_t whole = 0;
        row->base = rlv_mat3_identity();
        for (size_t i = row->begin; i < row->end; i++)
        {
            // The element whose attitude the others are nearest to, among those whose attitude is known best.
            const unsigned all = RLV_ELEMENT_POLE | RLV_ELEMENT_FACE | RLV_ELEMENT_LONG | RLV_ELEMENT_FRONT;
            double sum = 0.0;
            bool told[3];
            if ((life->element[i].measured->known & all) != all)
                continue;
            whole++;
            for (size_t j = row->begin; j < row->end; j++)
                sum += rlv_vec3_length(rlv_life_turn(own[i], own[j], life->element[j].measured->known, told));
            if (sum < least)
                least = sum, row->base = own[i];
        }
        row->turned = whole >= RLV_ARTICULATION_LEAST;
    }
    free(own);
    return RLV_DONE;
}
