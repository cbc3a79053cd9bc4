/// The pictures of a change: both stages and the depth between them, all through one camera.

#ifndef RLV_DEPTH_PICTURES_H
#define RLV_DEPTH_PICTURES_H

#include "change.h"
#include "given_mesh.h"

/// Draw `before.png`, `after.png` and `depth.png`, seen from the side where most went, into the answer's folder; where
/// much of the change faces away from there, `depth-2.png` and so on up to 4 from the sides that show it. AFTER is in
/// BEFORE's frame already.
rlv_status depth_pictures_keep(const rlv_change* change, const given_mesh* before, const given_mesh* after,
                               rlv_answer* answer, rlv_error* error);

#endif
