/// A simulated skeleton (skeleton.h), fitted and named, as the pictures of one are given it.

#ifndef RLV_TESTS_TOLD_SKELETON_H
#define RLV_TESTS_TOLD_SKELETON_H

#include "body_plan.h"
#include "skeleton.h"

typedef struct told_skeleton
{
    skeleton* made;
    rlv_articulation told;
    char id[SKELETON_MOST][16];     ///< such as "L1-07"
    char amount[SKELETON_MOST][40]; ///< "6.2 mm", "118 deg", or empty
    char group_words[16][64];
    const char *id_at[SKELETON_MOST], *amount_at[SKELETON_MOST], *group_at[16];
    char summary[128];
    rlv_body_row row[SKELETON_ROWS];
    rlv_skeleton of;
} told_skeleton;

/// Make, fit and name the animal of a plan. Plates are 0.7 of their row's pitch long and 1.2 of it wide.
/// Free with told_skeleton_free.
told_skeleton* told_skeleton_make(const skeleton_plan* plan);
void told_skeleton_free(told_skeleton* told);

#endif
