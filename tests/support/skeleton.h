/// Invented armoured fish with known truth, for the tests of articulation: a body along a random curve, rows of plates
/// on it, some of them missing, moved or turned, and measured with error.
///
/// Natural scatter and errors are independent and normal. Along the body a row's pitch falls smoothly and, where
/// `jitter` is set, each step is also off by that share, which adds up from step to step.

#ifndef RLV_TESTS_SKELETON_H
#define RLV_TESTS_SKELETON_H

#include "articulation.h"

typedef enum skeleton_shape
{
    SKELETON_STRAIGHT,
    SKELETON_CURLED,
    SKELETON_DIVING,
    SKELETON_SHAPES,
} skeleton_shape;

enum
{
    SKELETON_ROWS = 7,
    SKELETON_PLACES = 50,
    SKELETON_MOST = 500, ///< plates
};

/// A natural gap in the spacing, in pitches.
#define SKELETON_GAP 1.6

typedef struct skeleton_plan
{
    uint64_t seed;
    skeleton_shape shape;
    size_t rows;
    int places[SKELETON_ROWS];                                    ///< of each row
    double missing;                                               ///< share of places that no plate is known for
    double displaced;                                             ///< share of plates that moved or turned
    double scatter_mm, scatter_deg, point_sd_mm, attitude_sd_deg; ///< sds per axis
    double jitter;                                                ///< share of a pitch
    double part_known; ///< share of plates of which the attitude is known in part or not at all
    int patch;         ///< 0, or how many plates of one row slid together
    double patch_mm;
    uint64_t kind;  ///< 0: no other is of its kind; else animals of one kind have one build and one order of their rows
    double scale;   ///< with a kind: of its size
    double variety; ///< with a kind: by how much extent and taper of its rows are its own, sd as a share
    int gaps;       ///< 0, or 1: a row other than the first has a step of SKELETON_GAP pitches, well inside it
} skeleton_plan;

/// What is true of a plate.
typedef struct skeleton_truth
{
    rlv_vec3 life_mm;  ///< where it lay in life, its natural scatter included
    rlv_mat3 life;     ///< its attitude there
    rlv_vec3 shift_mm; ///< how it moved
    double uneven_mm;  ///< sd along the body of its place between its neighbours, where the pitch is uneven
    double shift_sds;  ///< in combined sds of each direction, the uneven pitch included along the body
    double rotation_deg;
    bool shifted, rotated, in_patch;
} skeleton_truth;

typedef struct skeleton
{
    skeleton_plan plan;
    size_t count;
    rlv_placed_element element[SKELETON_MOST];
    skeleton_truth truth[SKELETON_MOST];
    rlv_articulation_row row[SKELETON_ROWS];
    size_t missing_count;
    struct
    {
        size_t row;
        int place;
        rlv_vec3 life_mm;
    } missing[SKELETON_MOST];
    double combined_mm, combined_deg; ///< natural scatter and measuring error together, per axis
    double length_mm;
} skeleton;

/// A plan drawn from a seed: shape, 3 to 7 rows of `least` to 50 places, scatter of 0.5 to 1 mm and 5 degrees, point
/// error 0.3 mm and 2.5 degrees; nothing displaced, no jitter, all attitudes known.
skeleton_plan skeleton_draw(uint64_t seed, int least);

/// The animal of a plan. Free with free().
skeleton* skeleton_make(const skeleton_plan* plan);

#endif
