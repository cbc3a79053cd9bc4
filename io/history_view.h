/// The side that a specimen is looked at from, by name, in the frame of any of its stages.
///
/// Directions are recorded on a stage (north, up; the body by landmarks) and carried to where they are needed: by the
/// stages' poses where they are joined, else along the steps between. A direction that does not reach is not guessed.
///
/// The body's directions come from four landmarks of one object, `body`, on the block at one stage: `head` and `tail`
/// say where it runs, `belly` and `back` which way its back is.

#ifndef RLV_HISTORY_VIEW_H
#define RLV_HISTORY_VIEW_H

#include "aspect.h"
#include "history.h"
#include "marks.h"

typedef struct history_view
{
    rlv_camera_axes axes;
    char key[48];    ///< for names of files: "upper", "left-lateral", "az045-el30"
    char words[128]; ///< "seen from the side that was up in the rock"
    bool north_up;   ///< north is at the top of it, known
    size_t direction_count;
    rlv_direction direction[4]; ///< the block frame's x, y and z, and north where it is known and not one of them
} history_view;

/// Whether `name` is one of a view: "upper", an aspect (aspect.h) or "AZIMUTH,ELEVATION" in degrees.
bool history_view_known(const char* name);

/// Whether all that a view needs is recorded, before anything is measured; `name` NULL needs nothing. RLV_BAD_INPUT
/// where it is not: the error says how to record it.
rlv_status history_view_check(const rlv_specimen* specimen, const char* name, rlv_error* error);

/// Find a view in the frame of `stage`, as it was measured. `name` NULL is the specimen's usual one, the same at every
/// stage: the side that was up in the rock where that is recorded, else the side where most went, else the block
/// frame's z towards the reader. As history_view_check; and RLV_IMPOSSIBLE where one is recorded on a stage that is not
/// joined to this one.
rlv_status history_view_find(history_view* view, const rlv_history* history, size_t stage, const char* name,
                             rlv_error* error);

/// The way that is up, in the frame of `stage`: for the block as it will be `shown`, else as it lay in the rock. False
/// where that is not recorded, or does not reach that stage.
bool history_view_up(rlv_vec3* up, const rlv_history* history, size_t stage, bool shown);

/// The side of the block that a direction, in the frame of a stage, looks out of: "the left lateral side", by the view
/// of the body that shows it best; where the body is not known "the north side"; NULL where neither is.
const char* history_view_side(const rlv_history* history, size_t stage, rlv_vec3 outwards);

enum
{
    HISTORY_WAYS = 10
};

/// The directions that the record names, as a sentence says them ("to the north", "towards the head"), in the frame of
/// a stage, as far as they reach it; the body's before the compass's. How many.
size_t history_view_ways(rlv_direction way[HISTORY_WAYS], const rlv_history* history, size_t stage);

#endif
