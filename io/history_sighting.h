/// One element at one stage, as its points or its part of the mesh show it there. Internal to history_elements.

#ifndef RLV_HISTORY_SIGHTING_H
#define RLV_HISTORY_SIGHTING_H

#include "history_elements.h"

/// Where an element may be seen.
typedef struct sighting_place
{
    const rlv_history* history;
    size_t stage;
    const char* mesh;   ///< `block` or a piece
    double mm_per_unit; ///< of points.csv
    double local_sd_mm; ///< of a place on that scan; NaN where not known
    rlv_vec3 middle_mm; ///< of that mesh's surface, in its own frame
} sighting_place;

/// Measure an element there, in the stage's own frame. `*seen` is false where nothing shows of it, or too little to
/// tell a place (a warning says so).
rlv_status sighting_measure(history_sighting* sighting, bool* seen, const sighting_place* place,
                            const rlv_element_record* record, rlv_answer* answer, rlv_error* error);

/// A point of points.csv, in the frame of its mesh.
rlv_placed_point sighting_point(const rlv_point_record* point, double mm_per_unit);

/// The piece that a sighting's place belongs to by the stage's masks; NULL: none.
const rlv_piece_record* sighting_piece(const sighting_place* place, const history_sighting* sighting);

#endif
