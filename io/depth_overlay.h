/// The depth of a change as pictures paint it on AFTER, and the sides that it is seen from.
///
/// Depth is the distance from a vertex of AFTER to BEFORE's surface. What lies below the detection limit is hatched and
/// not coloured: there a region is no deeper than noise alone can look. So are patches that are smaller than the least
/// that the detection limit is known for, but for a region's largest.
///
/// A change tells regions where it can follow AFTER's normal to BEFORE. At the bottom of a deep and narrow cut it may
/// meet none, or a wall across the cut, so that the region has a hole there. The distance to BEFORE can be measured all
/// the same: what hangs together with a region and lies beyond the detection limit on the side that the region went (or
/// came) to belongs to it on a picture.

#ifndef RLV_DEPTH_OVERLAY_H
#define RLV_DEPTH_OVERLAY_H

#include "change.h"
#include "tree.h"

#define DEPTH_OVERLAY_SHARE 0.98

typedef struct depth_overlay
{
    float* depth_mm; ///< one a vertex of AFTER: positive where material went, 0 where nothing changed; of what came, no
                     ///< less than a picture can show
    uint8_t* shown;  ///< one a triangle of AFTER: 0 unchanged, 1 coloured, 2 hatched
    uint16_t* label; ///< one a triangle of AFTER: as the change has it, with the holes of regions filled
    double deepest_mm;
    double end_mm;   ///< of the colours: a round depth that DEPTH_OVERLAY_SHARE of the coloured area does not pass
    double limit_mm; ///< detection limit of the smallest patch; 0: not known
} depth_overlay;

/// Measure it, into a zeroed `overlay`; AFTER is in BEFORE's frame already, and the tree is BEFORE's.
/// Free with depth_overlay_free, which is safe after a failure.
rlv_status depth_overlay_make(depth_overlay* overlay, const rlv_change* change, const rlv_mesh* before,
                              const rlv_tree* before_tree, const rlv_mesh* after, rlv_error* error);
void depth_overlay_free(depth_overlay* overlay);

/// Where what changed on BEFORE faces, of what faces none of `count` directions yet: the sum of its outward areas, each
/// times how deep it went (a volume, in mm3), of what was removed; where nothing was, of what was added; nothing where
/// nothing is left. `unseen` (may be NULL) is its share of the changed area. Sums run in the order of the triangles, on
/// one thread.
rlv_vec3 depth_side(const rlv_change* change, const rlv_mesh* before, size_t count, const rlv_vec3* towards,
                    double* unseen);

#endif
