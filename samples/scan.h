/// A scan that never was: photogrammetry-like noise and slow warp on a true mesh, an arbitrary pose and scale, and the
/// truth of it.
///
/// Noise is a correlated random field along the normals; warp is a smooth random displacement in space (all three
/// components, Gaussian covariance), as doming is. All of it follows from the seed.

#ifndef RLV_SAMPLES_SCAN_H
#define RLV_SAMPLES_SCAN_H

#include "mesh.h"
#include "pose.h"

typedef struct scan_noise
{
    double noise_sd_mm;     ///< sd of the noise of a vertex along its normal
    double noise_length_mm; ///< its correlation length: covariance sd^2 exp(-d^2 / (2 length^2)); 0: white
    double warp_sd_mm;      ///< sd of each component of the warp
    double warp_length_mm;  ///< the same for the warp
    double scale_sd;        ///< sd of the log of the scale error
    bool any_pose;          ///< put the mesh in a random attitude and place (else it stays)
    double place_mm;        ///< half the width of the box that the random translation is drawn from
    uint64_t seed;
} scan_noise;

/// Turn a true mesh into a scan of it, in place. `truth` (may be NULL) is the motion that carries the scan back into
/// the true frame (rotation, translation and scale error undone).
rlv_status scan_mesh(rlv_mesh* mesh, const scan_noise* noise, rlv_pose* truth, rlv_error* error);

/// A small random generator with a fixed sequence on every machine (splitmix64), for tests and samples.
typedef struct scan_random
{
    uint64_t state;
} scan_random;
uint64_t scan_random_bits(scan_random* random);
double scan_random_unit(scan_random* random);       ///< 0 <= x < 1
double scan_random_normal(scan_random* random);     ///< mean 0, sd 1
rlv_mat3 scan_random_rotation(scan_random* random); ///< uniform over all attitudes (K. Shoemake, 1992)

#endif
