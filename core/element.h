/// An element: where it lies and how it is turned, as its points or its part of a mesh say.

#ifndef RLV_ELEMENT_H
#define RLV_ELEMENT_H

#include "change.h"

/// What of an attitude is known, or'ed.
typedef enum rlv_element_known
{
    RLV_ELEMENT_POLE = 1,  ///< the line across the plate (its pole) is known
    RLV_ELEMENT_FACE = 2,  ///< which end of the pole is the external face is known too
    RLV_ELEMENT_LONG = 4,  ///< the line of the long axis is known
    RLV_ELEMENT_FRONT = 8, ///< which end of the long axis is anterior is known too
} rlv_element_known;

typedef struct rlv_element
{
    double position_mm[3];
    double position_cov_mm2[9];  ///< 3 by 3, row-major
    double frame[9];             ///< row-major; its columns: long axis (anterior), width (left), pole (external face);
                                 ///< right-handed
    double attitude_cov_rad2[9]; ///< of a small rotation vector applied on the left, in the block's axes
    unsigned known; ///< rlv_element_known, or'ed; axes that are not known are filled in but carry no information
    rlv_interval length_mm, width_mm, thickness_mm; ///< NaN where not measured
} rlv_element;

#endif
