/// A stage of preparation on an invented block, in all classes at once: matrix taken off around a bone, a chip out of
/// that bone, a film laid on elsewhere, and a corner that comes off as a piece.
///
/// The block is star-shaped. What went in a class is summed over the triangles of BEFORE that are of its part, as the
/// wedges between them and the same triangles on the surface after, before noise: so it holds for the very mask that is
/// given.

#ifndef RLV_TESTS_PREPARING_H
#define RLV_TESTS_PREPARING_H

#include "change.h"
#include "rock.h"
#include "scan.h"

typedef struct preparing_plan
{
    uint64_t seed;
    size_t triangles;
    double matrix_mm, chip_mm, film_mm, piece_mm; ///< greatest depths; 0: not done
    double matrix_share;                          ///< of the surface (of its directions)
    double chip_off;     ///< how far the chip's middle lies from the bone's, in the bone's half angles: near 1 it lies
                         ///< across the bone's edge
    double chip_mm_wide; ///< its radius
    scan_noise scan;     ///< of both; their seeds follow from the plan's
    bool back;           ///< the piece is joined instead: BEFORE is without it
} preparing_plan;

typedef struct preparing
{
    rlv_mesh before, after;
    uint8_t *before_part, *after_part; ///< one a triangle
    double truth_mm3[RLV_CHANGE_CLASSES];
} preparing;

/// A random plan: depths from 1 to 15 mm, 5 to 30 % of the surface, scanned on a bench (scene_draw_noise).
preparing_plan preparing_draw(uint64_t seed, size_t triangles);

/// Make what a plan says. Free with preparing_free.
preparing prepare(const preparing_plan* plan);
void preparing_free(preparing* p);

#endif
