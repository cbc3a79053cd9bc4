/// One cut into an invented block, scanned before and after, with the volume that went known.

#ifndef RLV_TESTS_CARVING_H
#define RLV_TESTS_CARVING_H

#include "rock.h"
#include "scan.h"

typedef struct carving_plan
{
    uint64_t seed;
    size_t triangles; ///< of each mesh
    double depth_mm;  ///< of the skin that goes; 0: nothing goes
    double share;     ///< of the surface (of its directions)
    bool up;          ///< the cut is on the block's upper side, else anywhere
    bool smooth;      ///< no relief and no facets
    bool same_mesh;   ///< the uncut part is the same mesh in both; else the block is meshed anew
    scan_noise scan;  ///< of both; their seeds follow from the plan's
    bool any_pose;    ///< AFTER lies in any attitude
} carving_plan;

typedef struct carving
{
    rlv_mesh before, after;
    double removed_mm3; ///< truth: the noise-free meshes' volumes, by the divergence theorem
    rock_cut cut;       ///< what was taken off
    rlv_pose truth;     ///< carries AFTER into BEFORE's frame
} carving;

/// Make what a plan says. Free with carving_free.
carving carve(const carving_plan* plan);
void carving_free(carving* c);

/// A random plan: 10 to 50 % of the surface, `shallowest_mm` to 40 mm deep (even in its log), scanned on a bench
/// (scene_draw_noise).
carving_plan carving_draw(uint64_t seed, double shallowest_mm, size_t triangles);

/// Keep only the triangles whose corners all lie above `z_mm`: an open scan.
void carving_open(rlv_mesh* mesh, double z_mm);

#endif
