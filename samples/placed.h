/// The points that a person would have placed on the demo's scans: ends of scale bars, outlines and landmarks of what
/// shows, outlines of what was worked on, marks, bedding and a joint; each in the coordinates of its scan, with noise.

#ifndef RLV_SAMPLES_PLACED_H
#define RLV_SAMPLES_PLACED_H

#include "demo_specimen.h"
#include "pose.h"

#define PLACED_BARS 3 ///< bars on the bench; two rods in the field

/// A bar beside the block.
typedef struct placed_bar
{
    const char* name;
    double true_mm;      ///< between its marks
    double certified_mm; ///< as its certificate says
    double sd_mm;        ///< of the certificate
    double point_sd_mm;  ///< of a mark's place on the mesh, each coordinate
} placed_bar;

typedef struct placed_point
{
    const char* stage;
    char object[32];
    char point[16];
    rlv_vec3 at_mm; ///< in the scan's coordinates
    double sd_mm;
} placed_point;

/// A bone that is written down.
typedef struct placed_element
{
    uint16_t owner; ///< see bones.h
    char id[8];
    double share[SPECIMEN_STAGES]; ///< how much of what can be seen of it from above shows
    int first;                     ///< the stage at which it first shows by a tenth; SPECIMEN_STAGES: never
} placed_element;

#define PLACED_ELEMENTS (FISH_SCUTES + 2) ///< scutes in the fish's order, the skull roof and the pectoral spine

typedef struct placed_points
{
    size_t count, room;
    placed_point* point;
    placed_bar bar[2][PLACED_BARS]; ///< of the field (two), of the bench (three)
    placed_element element[PLACED_ELEMENTS];
} placed_points;

/// Bars beside a stage, and how many.
size_t placed_bars(const placed_points* placed, int stage, const placed_bar** bar);

/// Place all points into a zeroed `placed`; `to_true` carries each stage's scan into the true frame. Free with
/// placed_free, which is safe after a failure.
rlv_status placed_make(placed_points* placed, const demo_specimen* specimen, const rlv_pose to_true[SPECIMEN_STAGES],
                       uint64_t seed, rlv_error* error);
void placed_free(placed_points* placed);

#endif
