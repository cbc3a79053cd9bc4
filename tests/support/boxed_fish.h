/// The specimen `fish` of one stage: an invented skeleton of three rows in a box of rock, written as a folder that the
/// program reads.

#ifndef RLV_TEST_BOXED_FISH_H
#define RLV_TEST_BOXED_FISH_H

#include "skeleton.h"

enum
{
    BOXED_ROWS = 3, ///< D, L and R
    BOXED_PLACES = 18,
    BOXED_WITHOUT = 8, ///< place of the first row that has no element
};

/// The specimen as it is about to be written; change it before that.
typedef struct boxed_fish
{
    skeleton* bones;
    bool places;        ///< written down, and known to be counted from the head; else only the first row's first
    rlv_vec3 low, high; ///< corners of the rock: 30 mm about the skeleton
    const char* more;   ///< lines of elements.csv
    const char* points; ///< of points.csv
    int last_of_right;  ///< elements of the third row beyond that place are left out
} boxed_fish;

/// Nothing is missing but one, and nothing has moved.
boxed_fish boxed_fish_make(void);

/// The element at a place of a row; aborts where there is none.
rlv_placed_element* boxed_fish_bone(const boxed_fish* fish, size_t row, int place);

/// Write a box of rock as a mesh.
void boxed_fish_rock(const char* path, rlv_vec3 low, rlv_vec3 high);

/// Write the folder `fish`, and let the bones go.
void boxed_fish_write(boxed_fish* fish);

#endif
