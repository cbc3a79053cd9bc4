/// What regions are made of. Private to the files of `regions`.

#ifndef RLV_REGIONS_PARTS_H
#define RLV_REGIONS_PARTS_H

#include "cubes.h"
#include "regions.h"

/// One stage's samples as these files work on them.
typedef struct regions_side
{
    const rlv_depths* depths;
    const rlv_sampling* sampling;
    uint8_t* tag; ///< which way a sample faces, and its part: averages mix neither the two faces of a thin slab nor
                  ///< bone and rock
    int8_t* seed; ///< sign of a seed, or 0
    rlv_bulk bulk;
} regions_side;

/// Seeds of both sides in one list.
typedef struct regions_seeds
{
    size_t count, before_count;
    uint32_t* sample; ///< BEFORE's first, then AFTER's
    uint32_t* parent; ///< union-find
    float* position_mm;
    uint8_t* kind;       ///< twice the part, and 1 where negative: only seeds of one kind are joined
    uint32_t* of_before; ///< one a sample: its seed, or RLV_CUBES_NONE
    uint32_t* of_after;
} regions_seeds;

/// Square of the distance between two places.
double regions_apart2(const float* a, const float* b);

uint32_t regions_root(uint32_t* parent, uint32_t i);
void regions_join(uint32_t* parent, uint32_t a, uint32_t b);

double regions_seed_area(const regions_seeds* list, size_t i, const regions_side* before, const regions_side* after);

/// Whether one stage shows a region over more than one of the noise's own spots, 2 pi l^2. The length is never below
/// the samples' spacing over the whole mesh; where triangles are larger than elsewhere, one sample may have the area of
/// a spot, so that the same is asked of the number of samples.
bool regions_is_shown(double area_mm2, size_t samples, double length_mm);

/// Join seeds of one kind under `parent` that lie within two cells of `reach_mm`, and a seed with the seed at its foot;
/// only those that count, where `counts` is not NULL.
rlv_status regions_link(uint32_t* parent, const regions_seeds* list, const regions_side* before,
                        const regions_side* after, const uint8_t* counts, double reach_mm, rlv_error* error);

/// Part what was joined only across surface that all but held still: two cuts with a wall between them, say.
///
/// Seeds whose own depth passes the noise of one spot, and an eighth of their region's mean depth (but no more than
/// half of it), are linked where they touch. What hangs together so, is shown by both stages over four spots, and makes
/// a fortieth of its region's area times depth is a core. A region of several cores falls into as many, and its other
/// seeds go with the core that lies nearest. What is known to have come off or gone back as a whole stays whole.
rlv_status regions_split(regions_seeds* list, const regions_side* before, const regions_side* after,
                         const rlv_depth_noise* noise, rlv_error* error);

#endif
