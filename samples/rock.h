/// Invented rocks: star-shaped blocks with relief, and cuts into them, meshed at any size, with exactly known volumes.
///
/// A rock is a radius over directions: a base shape with fractal relief. A cut is a plane that takes off what lies
/// beyond it (with its own roughness), or a pit of some depth. Because a rock is star-shaped about its centre, a cut
/// one is too, its volume is an integral of r^3 / 3 over directions, and it can be meshed anew, from another seed of
/// vertices, as a second scan would be.

#ifndef RLV_SAMPLES_ROCK_H
#define RLV_SAMPLES_ROCK_H

#include "mesh.h"

/// A cut into a rock.
typedef struct rock_cut
{
    bool plane; ///< true: all beyond a plane goes (a tenth as rough as the rock's relief); false: a skin of even depth
                ///< goes inside a cone
    rlv_vec3 direction;    ///< outward normal of the plane, or axis of the cone
    double distance_mm;    ///< of the plane from the centre; above 0
    double depth_mm;       ///< of the skin, along the radius; below 0: it comes
    double half_angle_rad; ///< of the cone
    double soft_mm;        ///< width over which the skin's depth rises from 0 at its rim; 0: a step
    rlv_vec3 spared;       ///< axis of a cone within which nothing of the skin goes: a bone that is worked around
    double spared_rad;     ///< its half angle; 0: none. The skin's depth rises from its rim as from its own
} rock_cut;

typedef struct rock
{
    rlv_vec3 half_axes_mm;   ///< of the ellipsoid it starts from
    double relief_mm;        ///< sd of the relief
    double relief_length_mm; ///< its longest wavelength; shorter ones follow with falling strength
    double facets;           ///< 0: smooth; up to 1: flattened by a few random planes, as a quarried block is
    uint64_t seed;
    size_t cut_count;
    rock_cut cut[16];
} rock;

/// Radius along a direction of length one, all cuts applied. Each call draws the relief anew from the seed (some
/// microseconds).
double rock_radius(const rock* rock, rlv_vec3 direction);

/// A rock whose relief is drawn once, to be asked for many radii; the rock must outlive it. NULL where memory is short;
/// the caller frees it.
typedef struct ready_rock ready_rock;
ready_rock* rock_make_ready(const rock* rock);
double rock_ready_radius(const ready_rock* ready, rlv_vec3 direction);

/// Volume of the true solid, by adaptive quadrature over directions. To a part in 10^7 of it where the rock is smooth
/// and along the creases of plane cuts; the rim of a stepped pit (soft_mm 0) is followed to about 0.01 mm, which leaves
/// a part in 10^6 of the pit. The volume of one mesh of the rock differs from it as its triangles cut corners: that one
/// is rlv_mesh_measure's.
double rock_volume(const rock* rock);

/// Mesh a rock into a zeroed `mesh` with about `triangles` triangles. Vertices lie on the true surface; `mesh_seed`
/// turns and shakes the tessellation, so that two stages share no vertex (0: the plain tessellation).
rlv_status rock_mesh(rlv_mesh* mesh, const rock* rock, size_t triangles, uint64_t mesh_seed, rlv_error* error);

#endif
