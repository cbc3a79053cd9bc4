/// The demo specimen, LQ-0417: the upper surface of its block in the field and after each of five stages of
/// preparation, and the truth of what each stage took off and added, area by area.
///
/// The matrix is a height over the plan that only falls from stage to stage, the bones are another, and a stage shows
/// the higher of the two. All are bilinear on one grid (see relief.h), so that volumes between stages are exact sums. A
/// counterpart slab comes away with one stage and is back with the next (see slab.h): there alone the surface rises.

#ifndef RLV_SAMPLES_DEMO_SPECIMEN_H
#define RLV_SAMPLES_DEMO_SPECIMEN_H

#include "block.h"
#include "bones.h"
#include "fish.h"
#include "relief.h"
#include "slab.h"

#define SPECIMEN_STAGES 6        ///< the field block and five stages after it
#define SPECIMEN_AREAS 14        ///< areas that were worked on, over all stages
#define SPECIMEN_SLAB_OFF 3      ///< the stage at which the slab is off,
#define SPECIMEN_SLAB_BACK 4     ///< and the one at which it is back
#define SPECIMEN_BASE_SHARE 0.95 ///< how far out the base reaches under the outline

/// The stage whose dorsal scutes are painted in one exact colour on the mesh, as a mask by colour needs, and the
/// colour.
#define SPECIMEN_PAINTED_STAGE 4
#define SPECIMEN_PAINT_RED 196
#define SPECIMEN_PAINT_GREEN 64
#define SPECIMEN_PAINT_BLUE 48

/// What happened in an area.
typedef enum specimen_class
{
    SPECIMEN_MATRIX_REMOVED,
    SPECIMEN_BONE_LOST,
    SPECIMEN_PIECE_DETACHED,
    SPECIMEN_PIECE_JOINED,
    SPECIMEN_MATERIAL_ADDED,
    SPECIMEN_CLASSES,
} specimen_class;

/// An area worked on between the stage before `stage` and `stage`, and the truth of it. Areas of one stage do not
/// touch.
typedef struct specimen_area
{
    const char* name;
    int stage;
    specimen_class kind;
    double removed_mm3, added_mm3;
    double plan_area_mm2; ///< where the surface moved by more than 0.05 mm, in plan
    double area_mm2;      ///< the same on the surface before
    double greatest_mm;   ///< depth, or thickness where added, along the vertical of the block
    rlv_vec3 centroid_mm; ///< of that surface, on the stage before
} specimen_area;

/// What a stage's block is made of. The solid is what its closed surface holds: matrix + bone + added + gap.
///
/// Bone: in each column of the plan the uppermost bone, from its upper surface down by its thickness along the vertical
/// (a scute's own; a skull plate's, a ray's or a scale's as bones_thickness_mm tells), less the chip; and the three
/// scutes that went with the overburden, outline times thickness. What lies beneath the uppermost bone counts as
/// matrix. Matrix is the rest of the rock, without what was brushed on and without the open joint under the slab.
typedef struct specimen_content
{
    double solid_mm3, matrix_mm3, bone_mm3, added_mm3;
    double gap_mm3; ///< the open joint under the slab, since it is back
} specimen_content;

typedef struct demo_specimen
{
    demo_fish fish;
    demo_block block;
    demo_relief surface[SPECIMEN_STAGES];
    uint16_t* owner;                  ///< one a point of the surfaces: whose bone is uppermost there (see bones.h)
    uint8_t* shown;                   ///< one a point: bit k is set where that bone shows at stage k
    uint8_t* body;                    ///< one a point: 255 well inside the skin's outline, 0 outside
    uint8_t* worked[SPECIMEN_STAGES]; ///< one a point: 1 + the area in which it moved by over 0.05 mm since the stage
                                      ///< before, 0 where it did not; of the first stage there is none
    specimen_area area[SPECIMEN_AREAS];
    demo_slab slab;
    specimen_content content[SPECIMEN_STAGES];
    double spoil_bone_mm3; ///< of the scutes that went with the overburden
    double gap_mm3;        ///< between the faces of the joint, since the slab is back
    double least_gap_mm;   ///< along the vertical, where the slab now lies
} demo_specimen;

/// Make the specimen of a seed into a zeroed `specimen`. Free with specimen_free, which is safe after a failure.
rlv_status specimen_make(demo_specimen* specimen, uint64_t seed, rlv_error* error);
void specimen_free(demo_specimen* specimen);

/// Name of a stage and its id, and name of a class.
const char* specimen_stage_name(int stage);
const char* specimen_stage_id(int stage);
const char* specimen_class_name(specimen_class kind);

/// Volume between two stages where the surface fell and where it rose, as a whole.
void specimen_change(const demo_specimen* specimen, int before, int after, double* removed_mm3, double* added_mm3);

/// Whether a point of the plan is painted on a stage.
bool specimen_painted(const demo_specimen* specimen, int stage, size_t point);

/// What went or came between the stage before `stage` and it, by class. What crumbled out of the joint when the slab
/// came off is matrix removed; a piece counts with its own volume. So specimen_change's removed is matrix removed +
/// bone lost + piece detached, its added piece joined + material added, and where the slab went back the joint's gap.
/// Bone lost is of bone that showed; the scutes that went with the overburden unseen (spoil_bone_mm3) are in matrix
/// removed, since no mesh could tell them from it.
void specimen_classes(const demo_specimen* specimen, int stage, double volume_mm3[SPECIMEN_CLASSES]);

/// Plan area of each scute that shows at each stage, and that could show: FISH_SCUTES each.
void specimen_shown_mm2(const demo_specimen* specimen, double shown_mm2[FISH_SCUTES][SPECIMEN_STAGES],
                        double all_mm2[FISH_SCUTES]);

#endif
