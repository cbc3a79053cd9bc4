/// The animal of the demo: an invented, sturgeon-like armoured fish, curled on a bedding plane, and where each of its
/// scutes belongs and lies.
///
/// The body is a row of elliptic sections along a plane curve, rolled about it: the back is up along the trunk, and the
/// tail lies flat. Along = head to tail, across = to the animal's left, out = away from the body (so across = along x
/// out).

#ifndef RLV_SAMPLES_FISH_H
#define RLV_SAMPLES_FISH_H

#include "vector.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define FISH_LENGTH_MM 700
#define FISH_SCUTES 100 ///< life positions; two of them never were filled

typedef enum fish_row
{
    FISH_DORSAL,
    FISH_LATERAL_LEFT,
    FISH_LATERAL_RIGHT,
    FISH_VENTRAL_LEFT,
    FISH_VENTRAL_RIGHT,
    FISH_ROWS,
} fish_row;

/// What became of a scute.
typedef enum fish_fate
{
    FISH_IN_PLACE,
    FISH_SLID,     ///< with its neighbours, some millimetres
    FISH_CARRIED,  ///< by a current, onto the bedding
    FISH_INVERTED, ///< external face down
    FISH_OBLIQUE,  ///< steep in the bedding, at half a right angle and more
    FISH_IN_SPOIL, ///< above the body, gone with the overburden unseen
    FISH_ABSENT,   ///< never there
    FISH_FATES,
} fish_fate;

/// A plate's place and attitude. Three unit vectors, square to each other.
typedef struct fish_frame
{
    rlv_vec3 at_mm;
    rlv_vec3 along, across, out;
} fish_frame;

typedef struct fish_scute
{
    fish_row row;
    int place; ///< from 1, head to tail
    fish_fate fate;
    bool chipped;     ///< a corner of it is lost in preparation
    double length_mm; ///< along
    double width_mm;  ///< across
    double thickness_mm;
    double keel_mm;
    double bend_mm;   ///< radius of the body's curve across it
    fish_frame life;  ///< on the body
    fish_frame found; ///< in the rock; as `life` where in place
} fish_scute;

/// A section of the body.
typedef struct fish_section
{
    rlv_vec3 centre_mm;
    rlv_vec3 along; ///< head to tail, in the bedding
    rlv_vec3 left;  ///< to the animal's left, in the bedding
    rlv_vec3 up;    ///< square to the bedding
    double half_width_mm, half_height_mm;
    double roll_rad; ///< the back leans to the animal's right
} fish_section;

typedef struct demo_fish
{
    rlv_vec3 bedding_normal;
    double bedding_mm;                     ///< height of the bedding plane at the middle of the plan
    double plan_mm[FISH_LENGTH_MM + 1][2]; ///< the axis in plan, a point a millimetre
    double heading_rad[FISH_LENGTH_MM + 1];
    double current_rad; ///< where the current ran to, in plan
    fish_scute scute[FISH_SCUTES];
} demo_fish;

/// The animal of a seed (the fates of its scutes are the same for every seed).
demo_fish fish_make(uint64_t seed);

/// Height of the bedding that it lies on.
double fish_bedding_mm(const demo_fish* fish, double x_mm, double y_mm);

/// The section at a distance from the snout, 0 to FISH_LENGTH_MM.
fish_section fish_section_at(const demo_fish* fish, double along_mm);

/// The skin at a distance from the snout and an angle about the axis: 0 on the back, positive to the left.
rlv_vec3 fish_skin(const demo_fish* fish, double along_mm, double angle_rad);

/// Place and attitude of a plate on the skin.
fish_frame fish_skin_frame(const demo_fish* fish, double along_mm, double angle_rad);

/// Half the width of the body in plan, and the height of its upper half, were it not to sag, above the axis at
/// `left_mm` from it; outside the body it falls steeply.
double fish_half_width(const fish_section* section);
double fish_upper_half(const fish_section* section, double left_mm);

/// Name of a scute: "D05", "LL14"; of a row, and of a fate. `name` holds 8 bytes.
void fish_scute_name(const fish_scute* scute, char* name);
const char* fish_row_name(fish_row row);
const char* fish_fate_name(fish_fate fate);

#endif
