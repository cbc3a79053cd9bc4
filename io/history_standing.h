/// How a block stands at its last stage: as it will be shown where that is recorded, else as it lay in the rock.
///
/// The box that it stands in is core's footprint; the room in its case is what is left of the case that is recorded,
/// the longer side of the plan along the case's longer. Found once, with the history.

#ifndef RLV_HISTORY_STANDING_H
#define RLV_HISTORY_STANDING_H

#include "footprint.h"

struct rlv_history;

typedef struct history_standing
{
    bool known;         ///< a way up is recorded, and reaches the last stage; else nothing below but the case is
    bool shown;         ///< `up` is the recorded one of the display; else that in the rock
    rlv_vec3 up;        ///< in the frame of the last stage's mesh
    rlv_footprint box;  ///< of that mesh
    double turn_deg;    ///< from what was up in the rock to `up`; NaN where not both are known
    bool centre_known;  ///< the mesh is closed, so that it has a volume
    rlv_vec3 centre_mm; ///< the centre of volume, in the frame of the last stage's mesh
    double whole_g_cm3; ///< what it weighed over its volume, and the recorded density of matrix; NaN where not known
    double matrix_g_cm3;
    double drawn_mm;   ///< how far at the most the centre of mass lies from that of volume, by what these two
                       ///< differ by with 95 % confidence, were all that is denser or lighter at the farthest place;
                       ///< NaN where not known
    bool case_known;   ///< the inside of a case is recorded
    double case_mm[3]; ///< its longer and its shorter side, and its height
    double room_mm[3]; ///< of that what the box leaves, both sides together; below zero: it does not fit in so
} history_standing;

history_standing history_standing_of(const struct rlv_history* history);

/// `room_mm` in whole mm, as it is told: what is left between the sizes of the case and of the box as they are told.
double history_standing_room(const history_standing* standing, int way);

/// Whether a block that stands as it will be shown goes into its case so; false too where either is not known.
bool history_standing_fits(const history_standing* standing);

#endif
