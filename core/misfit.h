/// The misfit: what pose, scale, noise and slow warp did to the surface that held still, and so to the surface
/// that did not.
///
/// The depth between two stages, averaged over patches of the surface that held still, is modelled as
///     r = X b + w + e,
/// where X b is the motion seen along each normal (columns n, x cross n and, where scale is free, x . n, with scale's
/// prior), w a slow warp and e the scans' noise. Warp is a vector field with independent components of Gaussian
/// covariance s^2 exp(-d^2 / (2 l^2)), so that two patches with normals n and m have covariance s^2 (n . m) exp(…);
/// averaging over a patch widens and lowers it in closed form. Noise is short against a patch, but what neighbours
/// share of it along their common edge looks like a shorter warp where it is left out: intervals then came out a tenth
/// too narrow. The strength and range of the warp and the strength of the noise are estimated by restricted likelihood
/// (H. D. Patterson, R. Thompson, Biometrika 58, 1971) on a grid. Universal block kriging (N. Cressie, Statistics for
/// Spatial Data, 1993, section 3.4) then predicts the flux of the same error through a region, averaged over the grid
/// with the likelihood's weights (M. S. Handcock, M. L. Stein, Technometrics 35, 1993).
///
/// The two scans warp independently and alike: where a region's surface lay elsewhere before than after, half of the
/// covariance is that of the one surface and half that of the other.

#ifndef RLV_MISFIT_H
#define RLV_MISFIT_H

#include "error.h"
#include "vector.h"

#include <stdbool.h>
#include <stdint.h>

/// A patch of surface: averages over its area. Positions may be about any origin, the same for all.
typedef struct rlv_patch
{
    rlv_vec3 centre_mm;
    rlv_vec3 normal;   ///< mean of the unit normals; shorter than one where the patch is bent
    rlv_vec3 turn_mm;  ///< mean of x cross n
    double breadth_mm; ///< mean of x . n
    double area_mm2;
    double spread_mm2; ///< mean square distance from the centre along one direction in the patch
    double depth_mm;   ///< mean depth; not used where the patch is predicted
} rlv_patch;

/// Gather `count` points into patches of about `side_mm`: cells of a grid, faces of unlike direction apart. Points with
/// `skip` set (may be NULL), without depth (NaN) or without area are left out, and so are patches of less than `least`
/// of the mean area. `depth_mm` may be NULL. `*patch` is owned by the caller: free().
///
/// `noise_per_mm2` may be NULL; else `*noise_per_mm2`, also the caller's, gets patch_count * patch_count covariances of
/// the patches' means of a noise of Gaussian covariance, correlation length `noise_length_mm` and integral one. They
/// are summed over grains of two lengths.
rlv_status rlv_patches_gather(rlv_patch** patch, double** noise_per_mm2, size_t* patch_count, size_t count,
                              const float* position_mm, const float* normal, const float* area_mm2,
                              const float* depth_mm, const uint8_t* skip, double side_mm, double noise_length_mm,
                              double least, rlv_error* error);

/// The surface through which the flux of the error is asked for.
typedef struct rlv_flux
{
    const rlv_patch* before; ///< as it was before the change
    size_t before_count;
    const rlv_patch* after; ///< as it is after
    size_t after_count;
    bool blind; ///< do not look at the depths: the spread of the error itself, without pose and scale
} rlv_flux;

/// The error of a measured volume (measured minus true): its mean, sd and 2.5 % and 97.5 % quantiles.
typedef struct rlv_flux_error
{
    double mean_mm3, sd_mm3, low_mm3, high_mm3;
} rlv_flux_error;

typedef struct rlv_misfit rlv_misfit;

/// Fit the field to patches that held still (at least 20). `noise_per_mm2` as above; NULL where the noise of two
/// patches is independent and falls with their area. `scale_sd` > 0 frees the scale; the prior of the log of the scale
/// that is left is normal with `scale_mean` and `scale_sd`. RLV_IMPOSSIBLE with too few. What is given is copied. Free
/// with rlv_misfit_free.
rlv_status rlv_misfit_fit(rlv_misfit** field, const rlv_patch* patch, const double* noise_per_mm2, size_t count,
                          double scale_mean, double scale_sd, rlv_error* error);
void rlv_misfit_free(rlv_misfit* field);

/// Predict the error of `count` volumes.
rlv_status rlv_misfit_predict(const rlv_misfit* field, const rlv_flux* flux, size_t count, rlv_flux_error* flux_error,
                              rlv_error* error);

/// The covariance (7 x 7, as a pose's: translation, rotation vector, log scale, about `centre_mm`; the last row nothing
/// where scale is certain) of the motion that least squares over these patches' areas finds, under all that the field
/// holds and with scale's prior. Warp as long as the block is a motion to such a fit, and no residual tells.
rlv_status rlv_misfit_motion(double covariance[49], const rlv_misfit* field, rlv_vec3 centre_mm, rlv_error* error);

/// What the fit found, averaged over the grid with the likelihood's weights.
typedef struct rlv_misfit_summary
{
    double noise_mm4;      ///< integral of the noise's covariance over the surface: variance of a mean times its area
    double warp_sd_mm;     ///< sd of the warp along a normal
    double warp_length_mm; ///< l above; the range's geometric mean
    double no_warp;        ///< weight of a field without any warp, 0 to 1
} rlv_misfit_summary;
rlv_misfit_summary rlv_misfit_summarise(const rlv_misfit* field);

#endif
