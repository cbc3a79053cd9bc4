/// The counterpart slab: a part of the upper surface at a corner of the block that comes away along a rough, slightly
/// dipping joint, and goes back a little high and askew.
///
/// The joint is a height like everything here: a plane a few degrees off the bedding, with fractal relief and the
/// moulds of three drifted scutes in it, that turns up steeply to the surface along the slab's edge. Both of its faces
/// are eroded by half a millimetre to two along their normal, more along the rim, and not at all on three spots where
/// they still touched. The slab is what lies between the block's surface and its own eroded face.

#ifndef RLV_SAMPLES_SLAB_H
#define RLV_SAMPLES_SLAB_H

#include "block.h"
#include "mesh.h"
#include "pose.h"
#include "relief.h"

#define SLAB_HIGH_MM 0.15 ///< how much too high the slab went back, at its middle,
#define SLAB_TURN_DEG 0.1 ///< and how much it is turned, about a level axis through it

typedef struct demo_slab
{
    demo_relief upper;      ///< its outer surface where it was, on a part of the specimen's grid
    demo_relief lower;      ///< its face of the joint; above `upper` where there is no slab
    demo_relief face;       ///< the block's face of the joint, groove and crumbled edge included; else the surface
    double volume_mm3;      ///< of the solid between upper and lower
    double found_gap_mm3;   ///< between the faces of the joint where it was, under the slab
    double plan_area_mm2;   ///< of the slab
    double thickness_mm[2]; ///< mean, greatest
    rlv_vec3 centroid_mm;   ///< of the solid, where it was
    rlv_pose back;          ///< carries it from where it was to where it lies now
    double joint_normal[3]; ///< of the joint's plane
} demo_slab;

/// How far a place lies inside the slab's edge; negative outside. `inside_mm` is from the block's outline, `out_mm`
/// from the body, `along_mm` along the body.
double slab_edge_mm(const demo_block* block, double x_mm, double y_mm, double inside_mm, double out_mm,
                    double along_mm);

/// Make the slab of a surface, whose points lie `edge_mm` (one a point) inside its edge, into a zeroed `slab`. Free
/// with slab_free, which is safe after a failure.
rlv_status slab_make(demo_slab* slab, const demo_block* block, const demo_relief* surface, const float* edge_mm,
                     rlv_error* error);
void slab_free(demo_slab* slab);

/// Whether a place of the plan lies in the part of the grid that the slab and its rim fill.
bool slab_near(const demo_slab* slab, double x_mm, double y_mm);

/// How thick the slab was at a place; 0 or less where there was none.
double slab_thickness_mm(const demo_slab* slab, double x_mm, double y_mm);

/// The outer surface and the face of the slab as it lies now, over a place; false where it does not lie there.
bool slab_back_at(const demo_slab* slab, double x_mm, double y_mm, double* upper_mm, double* lower_mm);

/// Mesh the slab, where it was, into a zeroed `mesh` of about `triangles` triangles: one closed solid, both faces from
/// one shaken grid that `mesh_seed` shifts, joined along the edge where they meet. Object: `matrix`.
rlv_status slab_mesh(rlv_mesh* mesh, const demo_slab* slab, const demo_block* block, size_t triangles,
                     uint64_t mesh_seed, rlv_error* error);

#endif
