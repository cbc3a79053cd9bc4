/// Descriptors of a surface around key points: what a place looks like, whichever way it is turned.
///
/// Around a key point the height of the surface over its mean plane is read by rays on rings, and each ring is kept as
/// a short Fourier series over the angle. The moduli do not change when the surface is turned about its normal (they
/// choose partners); the phases give the turn between two partners, and the exact distance of their height maps at the
/// best turn, by correlation. No direction in the plane has to be repeatable, so that smooth places serve too. After
/// the idea of ring spectra in M. Kazhdan, T. Funkhouser, S. Rusinkiewicz, Rotation invariant spherical harmonic
/// representation, SGP 2003.

#ifndef RLV_ALIGN_DESCRIBE_H
#define RLV_ALIGN_DESCRIBE_H

#include "align_samples.h"
#include "error.h"
#include "tree.h"

#define RLV_RINGS 5                                  ///< rings of a height map
#define RLV_WAVES 6                                  ///< highest frequency over the angle
#define RLV_SERIES (RLV_RINGS * (2 * RLV_WAVES + 1)) ///< numbers of a descriptor
#define RLV_MODULI 36                                ///< RLV_RINGS * (RLV_WAVES + 1), and one of padding

/// A key point with its frame and its descriptor.
typedef struct rlv_place
{
    rlv_vec3 at_mm;
    rlv_vec3 normal, side;    ///< of length one, at right angles; `side` is where the angle is 0
    float series[RLV_SERIES]; ///< per ring: the mean, then cosine and sine of each frequency; in mm, weighted so that
                              ///< the sum of squares is the mean square height
    float moduli[RLV_MODULI];
} rlv_place;

typedef struct rlv_places
{
    size_t count;
    rlv_place* place;
} rlv_places;

/// Describe about one key point per `spacing_mm`^2 (at most `limit`), each over `radius_mm` around it, into a zeroed
/// `places`. Key points too close to a border to be described are dropped. Free with rlv_places_free.
rlv_status rlv_places_describe(rlv_places* places, const rlv_samples* samples, const rlv_tree* tree, double radius_mm,
                               double spacing_mm, size_t limit, rlv_error* error);
void rlv_places_free(rlv_places* places);

#define RLV_TURNS 32

/// Waves at the turns that are tried, so that a comparison calls no trigonometry.
typedef struct rlv_turns
{
    float cosine[RLV_WAVES][RLV_TURNS], sine[RLV_WAVES][RLV_TURNS];
} rlv_turns;
rlv_turns rlv_turns_table(void);

/// The mean square difference in mm^2 of two height maps at the best turn, and that turn: by how many radians `a` must
/// be turned about its normal, counter-clockwise seen from outside, to look like `b`.
double rlv_places_compare(const rlv_place* a, const rlv_place* b, const rlv_turns* turns, double* turn_rad);

#endif
