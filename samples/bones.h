/// The bones of the demo's fish as seen from above: scutes with keels and ornament, skull roof, pectoral spine, fins,
/// tail scales and the small granules of the skin, drawn onto a relief.

#ifndef RLV_SAMPLES_BONES_H
#define RLV_SAMPLES_BONES_H

#include "fish.h"
#include "relief.h"

/// What owns a point of the relief. Scute i of the fish is BONES_SCUTE + i.
enum
{
    BONES_NONE = 0,
    BONES_SCUTE = 1,
    BONES_SKULL = BONES_SCUTE + FISH_SCUTES,
    BONES_SPINE,
    BONES_FIN,
    BONES_SCALES,
    BONES_GRANULE,
};

/// How thick the bones of an owner are.
double bones_thickness_mm(const demo_fish* fish, uint16_t owner);

/// Area of a scute's outline.
double bones_scute_area_mm2(const fish_scute* scute);

/// A place on a scute: `turn` about it (0 at the middle of its rear edge, growing to the animal's left) and `rim`, 0 at
/// the middle and 1 at the edge; as shares of half its length, along, and half its width, across.
void bones_scute_place(const fish_scute* scute, double turn, double rim, double* along, double* across);

/// Draw the skin of the body; `owner` is set to 1 where it is uppermost.
rlv_status bones_draw_skin(demo_relief* skin, uint16_t* owner, const demo_fish* fish, rlv_error* error);

/// Draw all bones but those that went with the spoil: `bone` goes up to them, and `owner` (one a point) says whose it
/// is. Where none is, the relief stays as it was.
rlv_status bones_draw(demo_relief* bone, uint16_t* owner, const demo_fish* fish, uint64_t seed, rlv_error* error);

/// The outer surface of a scute above its frame's plane, at `x_mm` along and `y_mm` across; `rim` is 0 at the middle
/// and 1 at the edge of its outline.
double bones_scute_height(const fish_scute* scute, double x_mm, double y_mm, double rim);

#endif
