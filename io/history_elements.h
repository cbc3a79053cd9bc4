/// The elements of a specimen as its stages show them, in the block's frame.
///
/// At each stage an element may be seen by its points (an outline, landmarks) or as a part of that stage's mesh (an
/// object or a colour). Each sighting is measured (element.h) and carried into the block's frame with the covariance of
/// the stage's pose. To that comes what a single place on a scan is off by beside the pose, noise and slow warp: the
/// residuals of the alignments tell it, the mean square of each shared out to its two stages by least squares.
/// Sightings of one element are fused, and what the work has disturbed is told as it lay before. Poses all look at the
/// stage of the frame and share its errors: fusing does not shrink what they are uncertain by. Last comes the scale of
/// the block frame itself, which moves every place about the block's middle and stretches every size.
///
/// What was found in the spoil has no place: its bag's stage and region are told.

#ifndef RLV_HISTORY_ELEMENTS_H
#define RLV_HISTORY_ELEMENTS_H

#include "directions.h"
#include "element.h"
#include "history.h"

/// An element at one stage.
typedef struct history_sighting
{
    size_t stage;
    const char* mesh; ///< `block` or a piece
    bool placed;      ///< in the block's frame: on the block, and at a stage that is joined. Else in its mesh's own
    bool partial;     ///< shows less of it than another does
    bool by_part;     ///< an object or a colour; else points
    double area_mm2;  ///< of that part, as the mesh has it; NaN: none
    double area_sd_mm2;
    rlv_element element;        ///< where placed without what the stage's pose is uncertain by
    rlv_element_errors of_pose; ///< that
    char refused[1120];         ///< why what was placed there could not be measured, and what would mend it; or empty
} history_sighting;

/// Which way the external face looks.
typedef enum history_face
{
    HISTORY_FACE_UNKNOWN,
    HISTORY_FACE_UP,
    HISTORY_FACE_DOWN,
    HISTORY_FACE_ON_EDGE, ///< it cannot be told apart from level
} history_face;

typedef struct history_element
{
    const rlv_element_record* record;
    const rlv_spoil_record* bag; ///< NULL: not from the spoil
    const rlv_piece_record* piece;
    size_t sighting_count;      ///< 0: it is seen nowhere
    history_sighting* sighting; ///< in the order of the stages
    bool placed;                ///< known in the block's frame
    rlv_element told;           ///< what is told of it: all sightings that count, with the frame's scale. Where not
                                ///< placed only its sizes mean anything
    rlv_element_fusion fusion;  ///< where placed, without the frame's scale, and widened in its row alone
    double covered_cov_mm2[9];  ///< by which `told` is widened more than that (articulation.h)
    size_t disturbed_from, disturbed_to; ///< stages, where fusion.disturbed
    rlv_interval trend_deg, plunge_deg;  ///< of the long axis: to the anterior where that is known, else downwards; NaN
    rlv_interval bedding_deg;            ///< between the plate and bedding, 0 to 90; NaN
    history_face face;
    rlv_element_covered covered; ///< by how large its nearest of its kind and row are; where placed
    char refused[1120]; ///< of one that is seen nowhere: why what was placed last could not be measured; or empty
} history_element;

typedef struct history_elements
{
    const rlv_history* history;
    size_t count;
    history_element* one; ///< as in elements.csv
    bool up_known, compass_known, bedding_known;
    rlv_vec3 up;         ///< in the block's frame
    rlv_compass compass; ///< where north is known too
    rlv_fitted_plane bedding;
    double* local_sd_mm; ///< one a stage, along each axis; NaN where there is no alignment to tell it
} history_elements;

/// Measure all elements (one at least) of a history whose poses are measured, into zeroed `elements`; warnings go to
/// the answer. RLV_BAD_INPUT, with file and line, where points or parts are refused (element.h), an outline has a gap
/// in its numbers, or no stage's mesh has the part; RLV_IMPOSSIBLE where none can be measured: then what is known is
/// there. Free with history_elements_free, also after a failure.
rlv_status history_elements_measure(history_elements* elements, const rlv_history* history, rlv_answer* answer,
                                    rlv_error* error);
void history_elements_free(history_elements* elements);

#endif
