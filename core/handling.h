/// A small motion in the terms of two hands that hold a piece to its joint: pressed home, slid along, twisted, rocked.
///
/// All is told at the joint's middle. Along the joint's normal the piece is pressed towards the block or lifted off it;
/// the rest of the shift slides along the joint. A turn about the normal twists the piece; a turn about a line in the
/// joint rocks it, and brings one of its sides nearer to the block.

#ifndef RLV_HANDLING_H
#define RLV_HANDLING_H

#include "interval.h"
#include "pose.h"

typedef struct rlv_handling
{
    rlv_interval press_mm;  ///< towards the block; below zero: off it
    rlv_interval slide_mm;  ///< along the joint, never below zero
    rlv_vec3 slide;         ///< that way, of length one; nothing where the length is 0
    rlv_interval twist_deg; ///< clockwise as one looks at the block's face; below zero: the other way round
    rlv_interval rock_deg;  ///< never below zero
    rlv_vec3 rock;          ///< towards the side of the joint that goes in, of length one; nothing where the angle is 0
} rlv_handling;

/// The motion from one pose of a piece to another, both into the block's frame, at a joint's middle with its normal (of
/// length one, out of the block). Intervals of 95 % hold the covariances of both poses, taken as independent.
rlv_handling rlv_handling_of(const rlv_pose* from, const rlv_pose* to, rlv_vec3 joint_mm, rlv_vec3 normal);

#endif
