/// A joint on paper: both of its faces laid open like a book, with the gap between them in colours, as found (or
/// as the piece went back) and closed.
///
/// The block's face is seen against its normal; the piece's, on the other side of a fold, as it comes to lie when the
/// piece is turned over about that fold. So what met lies at equal distances from the fold, and nothing is mirrored but
/// by turning. Beneath, the joint is cut along one line in both places: what lies in both solids is dotted.
/// Beside stands the whole block with the piece in its closed place. Bone on either face has an outline.

#ifndef RLV_JOINT_MAP_H
#define RLV_JOINT_MAP_H

#include "pose.h"
#include "sheets.h"

enum
{
    JOINT_TRIALS = 2
};

/// A place of the piece, with the gap that it leaves.
typedef struct rlv_joint_trial
{
    const char* name;      ///< "As found"
    rlv_pose place;        ///< carries the piece into the block's frame
    const float* block_mm; ///< one a vertex of the block: the gap's width there, positive where it is open; NaN off the
                           ///< joint
    const float* piece_mm; ///< the same of the piece
} rlv_joint_trial;

/// A place where the faces touch.
typedef struct rlv_joint_contact
{
    rlv_vec3 at_mm; ///< in the block's frame
    bool presses;   ///< beyond what noise explains
} rlv_joint_contact;

typedef struct rlv_joint_map
{
    rlv_title title;
    const rlv_mesh *block, *piece; ///< the piece in its own frame
    const rlv_tree *block_tree, *piece_tree;
    const uint8_t* block_bone;  ///< one a triangle of the block: 1 where it is bone; NULL: none is marked
    const uint8_t* piece_bone;  ///< the same of the piece
    rlv_vec3 middle_mm, normal; ///< of the joint; the normal out of the block
    rlv_vec3 up;                ///< rather up than down in the picture
    size_t trial_count;         ///< 1 or 2, the last of them closed
    rlv_joint_trial trial[JOINT_TRIALS];
    double touching_mm; ///< widths within this touch
    size_t contact_count;
    const rlv_joint_contact* contact; ///< in the last trial, hardest first: c1, c2 and so on
    rlv_vec3 slide; ///< how the piece slides along the joint from the first trial to the last; zero: it does not
    const char* slide_words; ///< what its arrow says, in the key: how far
    rlv_panel_surface whole; ///< block and piece together, closed
    rlv_camera_axes whole_axes;
    size_t direction_count; ///< of the cross of axes beside it
    const rlv_direction* direction;
    double scale; ///< of the faces, paper over thing; 0: the largest round one (marks.h) that the paper holds
    int paper;    ///< the least size of the A series
    rlv_sheet_table table;
    const char* table_caption;
} rlv_joint_map;

/// How the faces are seen: the picture's right is along the joint's longer side, its up across that.
rlv_camera_axes rlv_joint_axes(const rlv_joint_map* map);

/// Where a point of the block's frame falls on the two faces, in mm of the thing from the fold: to the right of it (the
/// piece's face stands there, the block's at negative x) and upwards.
void rlv_joint_place(const rlv_joint_map* map, bool on_piece, rlv_vec3 point_mm, double at[2]);

/// Draw a joint into a zeroed `sheet`. RLV_BAD_INPUT where there is no joint on the block. `left_out` (may be NULL):
/// labels that found no room. Free with rlv_sheet_free, which is safe after a failure.
rlv_status rlv_sheet_of_joint(rlv_sheet* sheet, const rlv_joint_map* map, size_t* left_out, rlv_error* error);

#endif
