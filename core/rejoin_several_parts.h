/// What the two rooms of rejoin_several share: placing bodies one after the other, and solving them together. Internal
/// to rejoin_several.

#ifndef RLV_REJOIN_SEVERAL_PARTS_H
#define RLV_REJOIN_SEVERAL_PARTS_H

#include "rejoin_overlap.h"
#include "rejoin_several.h"

/// A list of joints that grows.
typedef struct rlv_joint_list
{
    rlv_several_joint* joint;
    size_t count, room;
} rlv_joint_list;

/// All that one solution holds on the way. Meshes of bodies that are placed lie in the block's frame.
typedef struct rlv_placing
{
    const rlv_several_input* input;
    rlv_several* out;
    size_t bodies;
    rlv_mesh* moved;      ///< one a body: its mesh as it lies in turn; the block's is empty
    rlv_lying* lying;     ///< one a body that is placed
    uint8_t* tried;       ///< bodies * bodies: [into, from], from any attitude or from the start given
    size_t* order;        ///< bodies in the order in which they were placed
    size_t placed;        ///< how many
    rlv_joint_list trial; ///< joints that fit and are not in use
    rlv_joint_list joint; ///< those in use
} rlv_placing;

/// The piece of a body; bodies are one more than pieces.
const rlv_several_piece* rlv_placing_piece(const rlv_placing* w, size_t body);

/// Append a joint, which then is the list's.
rlv_status rlv_joint_list_add(rlv_joint_list* list, const rlv_several_joint* joint, rlv_error* error);

/// Measure the joint of two bodies, `into` placed, into a zeroed `joint`, from a start (NULL: any attitude), with the
/// stages from before and after and outlined faces or, where `bare`, by all their faces alone. RLV_IMPOSSIBLE as
/// rlv_rejoin_measure.
rlv_status rlv_placing_measure(rlv_several_joint* joint, const rlv_placing* w, size_t into, size_t from,
                               const rlv_pose* start, bool bare, rlv_error* error);

/// Whether a joint that was measured tells by itself that its two faces belong together: by the stage from before, or
/// by relief that they repeat. Faces that are too smooth to tell do where they hold the piece all the same, as a
/// dome in its hollow does.
bool rlv_several_joint_tells(const rlv_several_joint* joint);

/// With all bodies placed: find the joints that close rings.
rlv_status rlv_placing_close(rlv_placing* w, rlv_error* error);

/// Solve all poses together, from `out`'s joints, into `out`.
rlv_status rlv_placing_solve(rlv_placing* w, rlv_error* error);

#endif
