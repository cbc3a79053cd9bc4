/// Ways in which loose elements may have been carried: what `articulation` weighs their candidates by. Internal to it.
///
/// Whether a current carried them is not known, nor where to or how far: all of that is summed over (T. Bayes), on a
/// grid. *No current*: a motion is normal about none, alike every way, with an sd per axis of half a pitch to sixteen
/// (each as likely by its log). *A current*, as likely before anything is known: of what moved, four in five went like
/// the others, normal about one motion in the level of any azimuth, and the rest anyhow, as without one. What went like
/// the others scatters in the level by 0.3 or by half of that motion per axis (a current that scatters by 25 degrees,
/// over lengths of one to four, gives 0.35); along up, and in all for what went anyhow, as far as the motions are long
/// on the root mean square. Without a level the common motion may be any way in space. Motions that are told, of
/// elements and stretches that kept their places, say by their azimuths alone which ways were likely: they went less
/// far than what lost its place.

#ifndef RLV_ARTICULATION_CARRIED_H
#define RLV_ARTICULATION_CARRIED_H

#include "articulation.h"

enum
{
    RLV_CARRIED_FAR = 11,        ///< lengths of motions, in steps of the root of 2
    RLV_CARRIED_AZIMUTHS = 18,   ///< of a common motion in the level
    RLV_CARRIED_DIRECTIONS = 42, ///< of one in space, where the level is not known
    RLV_CARRIED_SPREADS = 2,
    RLV_CARRIED_WAYS = RLV_CARRIED_FAR * (1 + RLV_CARRIED_DIRECTIONS * RLV_CARRIED_SPREADS), ///< at the most
};

/// Share of what moved that went like the others where there was a current. From memory, no source.
#define RLV_CARRIED_ALIKE 0.8

/// One of the ways.
typedef struct rlv_carried_way
{
    double far_mm2;          ///< variance per axis of a motion that went anyhow
    rlv_vec3 motion_mm;      ///< of what went like the others; zero: nothing did
    double alike_cov_mm2[9]; ///< of that about it
    double log_prior;        ///< of the way, with what told motions say of it
} rlv_carried_way;

/// Lay the ways into `way`, which has room for RLV_CARRIED_WAYS; returns how many. `pitch_mm` is the widest of the
/// rows'. `told` may be NULL: nothing is known.
size_t rlv_carried_ways(rlv_carried_way* way, double pitch_mm, const rlv_told_motions* told);

#endif
