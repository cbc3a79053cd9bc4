/// What the rooms of rejoin share: the two parts and the stage from before, and the joint between them. Internal to
/// rejoin.

#ifndef RLV_REJOIN_PARTS_H
#define RLV_REJOIN_PARTS_H

#include "rejoin.h"
#include "rejoin_fit.h"
#include "rejoin_gap.h"
#include "tree.h"

enum
{
    RLV_JOIN_BEFORE,
    RLV_JOIN_BLOCK,
    RLV_JOIN_PIECE,
};

#define RLV_JOIN_START_MM 0.6    ///< misfit of two surfaces that were aligned, at most
#define RLV_JOIN_NOISE_MM 0.2    ///< sd of a residual to begin with
#define RLV_JOIN_QUERIES 2000000 ///< of an index, about: some tens for each sample

/// All that one measurement holds on the way. Poses are from local to local coordinates.
typedef struct rlv_joining
{
    const rlv_rejoin_input* input;
    const rlv_mesh* mesh[3];
    rlv_tree* tree[3];
    rlv_pose in_before[3]; ///< where there is a stage from before
    double evidence[3];    ///< that a part lies there
    rlv_pose found;        ///< piece into block, as found or as searched for
    rlv_pose closed;
    bool in_stage; ///< both parts' places in the stage from before are known: in_before
    rlv_sampling sampling[3];
    double sampling_radius_mm[3]; ///< greatest distance of a sample from the samples' middle
    uint8_t* given[3];            ///< one a sample: on the face that a person outlined; NULL where none was
    uint8_t* bone[3];             ///< one a sample: of bone; NULL where none is marked
    uint8_t* sample_face[3];      ///< one a sample
    uint8_t* sample_rim[3];       ///< one a sample: beside the face, and bounds the gap all the same
    uint8_t* face[3];             ///< one a triangle
    uint8_t* outline[3];          ///< one a triangle: what bounds the gap, and a row beyond
    uint8_t* beyond[3];           ///< the same turned round: what is no face
    double face_mm2[3], outer_mm2[3];
    double beaten_mm2; ///< a place of no larger a face cannot be better than one that was tried; 0: none was
    rlv_samples face_samples[3], outer_samples[3];
    rlv_gap_part part[2];
    rlv_vec3 joint_normal; ///< in the block's local coordinates, as is
    rlv_vec3 joint_mm;
    double noise_mm;  ///< sd of a residual between the two faces
    double apart_mm;  ///< how far apart faces that were worn nearly all over are held; else 0
    double relief_mm; ///< sd of the block's relief, as the fit saw it
} rlv_joining;

/// A pose that acts on the meshes' own frames, from one between local coordinates, and back.
rlv_pose rlv_joining_global(const rlv_pose* local, rlv_vec3 from_origin, rlv_vec3 to_origin);
rlv_pose rlv_joining_local(const rlv_pose* global, rlv_vec3 from_origin, rlv_vec3 to_origin);

/// Where each part lies in the stage from before, as in_before: each by itself, and one that is in doubt from where the
/// two faces fit. `known` tells whether both may be believed.
rlv_status rlv_joining_align(rlv_joining* w, bool* known, rlv_error* error);

/// The faces fit elsewhere than the stage from before puts the two: align each part to that stage again from there, and
/// keep what clearly has more behind it. Two thirds of a small piece's outer surface may be gone, and what is left
/// then lies well enough in more than one place. `moved` tells whether any did.
rlv_status rlv_joining_doubt(rlv_joining* w, const rlv_pose* fit, bool* moved, rlv_error* error);

/// The samples of triangles that a person outlined, into a block that the caller frees; NULL where there are none.
rlv_status rlv_joining_given(uint8_t** given, const rlv_mesh* mesh, const rlv_sampling* sampling,
                             const uint8_t* triangle, rlv_error* error);

/// Find the faces and sample them, with the piece where `found` says. RLV_IMPOSSIBLE where the two do not face one
/// another.
rlv_status rlv_joining_faces(rlv_joining* w, rlv_error* error);

/// Where the joint lies, how wide and how rough it is.
void rlv_joining_describe(rlv_rejoin* rejoin, const rlv_joining* w);

/// Candidate places of the piece without a stage from before, best first, into `pose` (room for `most`).
rlv_status rlv_joining_search(rlv_pose* pose, size_t most, size_t* count, const rlv_joining* w, rlv_error* error);

/// Steps of the outer surface along the joint's edge, and the directions that the piece can come in from; with the
/// piece where `closed` says.
rlv_status rlv_joining_steps(rlv_rejoin* rejoin, const rlv_joining* w, rlv_error* error);
rlv_status rlv_joining_approach(rlv_rejoin* rejoin, const rlv_joining* w, rlv_error* error);

/// The gap between the faces that were found, with the piece in a place of the meshes' own frames.
rlv_status rlv_joining_gap(rlv_rejoin_gap* gap, const rlv_joining* w, const rlv_pose* place, bool measured,
                           rlv_error* error);

/// The same as measured, and its width at each vertex of the block and of the piece, which the caller frees.
rlv_status rlv_joining_gap_maps(rlv_rejoin_gap* gap, float* map[2], const rlv_joining* w, const rlv_pose* place,
                                rlv_error* error);

/// Where the piece lies since it is back, and the gap there between the faces as they were closed; not known where it
/// is not found. The joint that was closed is told by then.
rlv_status rlv_joining_back(rlv_rejoin* rejoin, const rlv_joining* w, rlv_error* error);

#endif
