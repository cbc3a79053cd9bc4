/// Label areas: the surface that the columns of a label run through.
///
/// Regions are told at samples, but volumes are summed between triangles, and a column between two labels is given to
/// the one that is some: so a region's columns reach half a triangle past its samples, and as far as it reaches on
/// either stage. An error that the field predicts for the samples alone is short by that strip, a tenth to a quarter of
/// a chip's. So each triangle's area is handed to the samples of its corners with its label, and then each sample takes
/// as much of a label as the other stage's sample at its foot has.

#ifndef RLV_LABEL_AREAS_H
#define RLV_LABEL_AREAS_H

#include "error.h"
#include "mesh.h"
#include "sampling.h"

/// Labels that meet at a sample: those with the most area there, of equal ones the lower number; what others have is
/// counted to the least of them. Nothing depends on the order of the triangles, or on which number a label has where
/// areas differ.
#define RLV_LABEL_AREAS_MOST 3

/// A sample's area by label, 0 being none; slots without area are not used.
typedef struct rlv_label_areas
{
    uint16_t label[RLV_LABEL_AREAS_MOST];
    float area_mm2[RLV_LABEL_AREAS_MOST];
} rlv_label_areas;

/// One stage's triangles with their labels, and its samples with their feet.
typedef struct rlv_labelled
{
    const rlv_mesh* mesh;
    const rlv_sampling* sampling;
    const uint16_t* label; ///< one a triangle
    const uint32_t* foot;  ///< one a sample: the other stage's sample at its nearest point
} rlv_labelled;

/// What labels cover at `side[0]`'s samples and at `side[1]`'s. Both arrays are the caller's: free().
rlv_status rlv_label_areas_take(rlv_label_areas* areas[2], const rlv_labelled side[2], rlv_error* error);

/// What of a sample's area is of the labels that `wanted` (one a label) is not 0 for.
double rlv_label_areas_sum(const rlv_label_areas* areas, const uint8_t* wanted);

#endif
