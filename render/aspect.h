/// Aspects: the sides that a specimen is looked at from, by their anatomical names, by how it lay, or by the compass.
///
/// Lateral views have the back up, and the head on the side that the animal looks to; views from above and below have
/// the head on the left, as long objects are printed (common practice, no source). Of the body only two directions are
/// asked for, since left follows from them.

#ifndef RLV_ASPECT_H
#define RLV_ASPECT_H

#include "camera.h"

#include <stdbool.h>

typedef enum rlv_aspect
{
    RLV_ASPECT_DORSAL,
    RLV_ASPECT_VENTRAL,
    RLV_ASPECT_LEFT_LATERAL,
    RLV_ASPECT_RIGHT_LATERAL,
    RLV_ASPECT_ANTERIOR,
    RLV_ASPECT_POSTERIOR,
    RLV_ASPECT_COUNT,
} rlv_aspect;

/// "dorsal", "left lateral" and so on; and back (a hyphen or an underscore serves as a space): false where no aspect
/// has the name.
const char* rlv_aspect_name(rlv_aspect aspect);
bool rlv_aspect_find(const char* name, rlv_aspect* aspect);

/// The picture's axes for an aspect of a body that runs `along` from head to tail and has its back `dorsal`wards (made
/// square to each other).
rlv_camera_axes rlv_aspect_of_body(rlv_aspect aspect, rlv_vec3 along, rlv_vec3 dorsal);

/// The side that was up in the rock, seen from above: north is up in the picture where it is known (not zero), else the
/// coordinate axis most square to `up`.
rlv_camera_axes rlv_aspect_of_upper_side(rlv_vec3 up, rlv_vec3 north);

/// Seen by somebody who stands in a direction, clockwise from north, at an elevation over the horizon (90: from above).
rlv_camera_axes rlv_aspect_from(rlv_vec3 up, rlv_vec3 north, double azimuth_deg, double elevation_deg);

#endif
