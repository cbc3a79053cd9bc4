/// What the sheets of a step are drawn from: both stages in one frame, the depth between them, and what is outlined.
///
/// All is in BEFORE's frame, as its change was measured, so that depths and sections are those of the tables. Classes
/// are told apart by lines and words: bone by a line, bone lost by a heavy one with its words in white on black, a
/// piece by a dashed one, which runs from point to point of the piece's recorded outline where there is one.

#ifndef RLV_HISTORY_SCENE_H
#define RLV_HISTORY_SCENE_H

#include "depth_overlay.h"
#include "history.h"
#include "panel.h"

enum
{
    SCENE_LINES = 5 + RLV_PART_COUNT, ///< outlines on one mesh, at most: kinds, and pieces
};

typedef struct history_scene
{
    const history_step* step;
    const history_stage *before, *after;
    rlv_mesh moved; ///< AFTER's mesh, in BEFORE's frame
    rlv_tree* after_tree;
    depth_overlay depth;
    size_t before_lines, after_lines;
    rlv_panel_outline before_line[SCENE_LINES], after_line[SCENE_LINES];
    bool former;        ///< the first of AFTER's lines is round bone as it showed before
    uint8_t* bone;      ///< one a triangle of AFTER: bone as its own mask has it, else as it showed before
    bool* came;         ///< one a region: whether material came there
    rlv_panel_tag* tag; ///< one a region: words where its class is another than what was removed
    rlv_vec3* place;    ///< one a region: the place that it is told by, in BEFORE's frame
    uint16_t* tagged;   ///< one a triangle of AFTER: its region, where that has a tag; else 0
    size_t set_count;
    uint8_t* set[2 * SCENE_LINES]; ///< what the outlines are round
    size_t ring_count;
    rlv_vec3* ring[2 * RLV_PART_COUNT]; ///< recorded outlines of pieces on both stages, in BEFORE's frame
    char colour_words[128];             ///< how the colours compare with those of the specimen's other steps
} history_scene;

/// Make the scene of a measured step, into a zeroed `scene`. Free with history_scene_free, also after a failure.
rlv_status history_scene_make(history_scene* scene, const rlv_history* history, const history_step* step,
                              rlv_error* error);
void history_scene_free(history_scene* scene);

/// The surface of BEFORE, of AFTER, or of AFTER with its depth (`overlay` is filled for it, and must stay).
rlv_panel_surface history_scene_before(const history_scene* scene);
rlv_panel_surface history_scene_after(const history_scene* scene);
rlv_panel_surface history_scene_depth(const history_scene* scene, rlv_overlay* overlay);

/// How the colours of a step compare with those of others. They end at a round depth that nearly all of what changed at
/// the step itself does not pass (depth_overlay.h): a thin layer would be of one colour on the range of a deep cut.
void history_scene_range_words(char* words, size_t size, const rlv_history* history, const history_step* step);

/// The deepest place of the change, on AFTER; the middle of its surface where nothing changed.
rlv_vec3 history_scene_deepest(const history_scene* scene);

/// What a class is called on a picture: "removed" where nothing is known of bone, since it may be of either.
const char* history_scene_class(const rlv_change* change, rlv_change_class kind);

#endif
