/// The demo specimen, LQ-0417: the upper surface of its block in the field and after each of five stages of
/// preparation, and the truth of what each stage took off and added, area by area.
///
/// The matrix is a height over the plan that only falls from stage to stage, the bones are another, and a stage shows
/// the higher of the two. All are bilinear on one grid (see relief.h), so that volumes between stages are exact sums.

#ifndef RLV_SAMPLES_SPECIMEN_H
#define RLV_SAMPLES_SPECIMEN_H

#include "block.h"
#include "bones.h"
#include "fish.h"
#include "relief.h"

#define SPECIMEN_STAGES 6 ///< the field block and five stages after it
#define SPECIMEN_AREAS 12 ///< areas that were worked on, over all stages

/// What happened in an area.
typedef enum specimen_class
{
    SPECIMEN_MATRIX_REMOVED,
    SPECIMEN_BONE_LOST,
    SPECIMEN_MATERIAL_ADDED,
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

typedef struct demo_specimen
{
    demo_fish fish;
    demo_block block;
    demo_relief surface[SPECIMEN_STAGES];
    uint16_t* owner; ///< one a point of the surfaces: whose bone is uppermost there (see bones.h)
    uint8_t* shown;  ///< one a point: bit k is set where that bone shows at stage k
    uint8_t* body;   ///< one a point: 255 well inside the skin's outline, 0 outside
    specimen_area area[SPECIMEN_AREAS];
} demo_specimen;

/// Make the specimen of a seed into a zeroed `specimen`. Free with specimen_free, which is safe after a failure.
rlv_status specimen_make(demo_specimen* specimen, uint64_t seed, rlv_error* error);
void specimen_free(demo_specimen* specimen);

/// Name of a stage, and of a class.
const char* specimen_stage_name(int stage);
const char* specimen_class_name(specimen_class kind);

/// Volume between two stages where the surface fell and where it rose, as a whole.
void specimen_change(const demo_specimen* specimen, int before, int after, double* removed_mm3, double* added_mm3);

/// Plan area of each scute that shows at each stage, and that could show: FISH_SCUTES each.
void specimen_shown_mm2(const demo_specimen* specimen, double shown_mm2[FISH_SCUTES][SPECIMEN_STAGES],
                        double all_mm2[FISH_SCUTES]);

#endif
