/// Directions: where a set of them points, how closely, how surely, and whether it points anywhere at all.
///
/// Directions in space (unit vectors) are R. A. Fisher's (Dispersion on a sphere, Proc. R. Soc. A 217, 1953): the
/// resultant of n unit vectors has length R; the precision is k = (n - 1) / (n - R), and the true mean lies within
/// a cone about the resultant whose half angle a has cos a = 1 - (n - R) / R * ((1 / 0.05)^(1 / (n - 1)) - 1). That
/// takes them to scatter alike all around it. Directions that lie close to a plane do not, and of them the cone leaves
/// the mean out too often: in 10 of 100 samples of five. So the mean's interval along the way in which they scatter
/// most is told beside it: Student's, from the scatter of what lies square to the mean. The wider of the two leaves it
/// out in 3 to 6 of 100 samples of five to thirty, however they scatter (tests).
/// Whether they may be uniform is Lord Rayleigh's test: the sum's component along a line is a sum of n numbers even in
/// -1 to 1 (Archimedes), of density g and upper tail G, whence P(R > r) = 2 (r g(r) + G(r)), exactly (the null
/// distribution of G. S. Watson, A test for randomness of directions, Geophys. Suppl. Mon. Not. R. Astron. Soc. 7,
/// 1956). Above 20 directions, where that sum cancels, 3 R^2 / n is taken as chi-square with three degrees of freedom
/// and its first correction (K. V. Mardia, P. E. Jupp, Directional Statistics, 2000; formula from memory, and held
/// against the exact one in tests).
///
/// Axes (lines without a sense) have the orientation tensor, the mean of v vT: its eigenvalues S1 >= S2 >= S3 add to
/// one, K = ln(S1 / S2) / ln(S2 / S3) tells clusters (K > 1) from girdles (K < 1), C = ln(S1 / S3) how strong either
/// is (N. H. Woodcock, Specification of fabric shapes using an eigenvalue method, Geol. Soc. Am. Bull. 88, 1977).
/// Uniformity is C. Bingham's test: 15 n / 2 * sum((S - 1/3)^2) is about chi-square with five degrees of freedom (Ann.
/// Stat. 2, 1974; from memory).
///
/// Azimuths in a plane are von Mises'. Rayleigh's p is exact for any number of them: the chance that a walk of steps
/// of given lengths, each any way, ends farther out than r (J. C. Kluyver, A local probability problem, Proc. K. Akad.
/// Wet. Amsterdam 8, 1906). His integral is taken as a Fourier-Bessel series over the disc that the walk cannot leave,
/// P(R > r) = 1 - 2 r / L * sum over k of J1(j r / L) * product of J0(j w / L) / (j J1(j)^2), where L is the sum of the
/// lengths w and j the k-th zero of J0. An azimuth that is uncertain is a shorter step: with a weight w, the mean
/// cosine of its error, the weighted resultant is the most powerful test against slight concentration (the score of a
/// von Mises density that such errors have blurred). The interval of the mean is that of G. S. Watson and E. J.
/// Williams (On the construction of significance tests on the circle and the sphere, Biometrika 43, 1956) with the
/// factor 1 + 3 / (8 kappa) where azimuths are close (a mean resultant length above 0.75), and G. J. G. Upton's from
/// the likelihood ratio where they are not (Approximate confidence intervals for the mean direction of a von Mises
/// distribution, Biometrika 73, 1986); both from memory, and shown by simulation in tests. Weighted azimuths count
/// there for as many as would have the same variance of their sum, (sum of w)^2 / (sum of w^2).
///
/// An azimuth is clockwise from true north, seen from above; a plunge is positive down; a strike has its plane dip to
/// the right.

#ifndef RLV_DIRECTIONS_H
#define RLV_DIRECTIONS_H

#include "error.h"
#include "vector.h"

#include <stdbool.h>

/// North, east and up, unit vectors at right angles, in the frame at hand.
typedef struct rlv_compass
{
    rlv_vec3 north, east, up;
} rlv_compass;

/// A line, or which way one points.
typedef struct rlv_trend
{
    double trend_deg;  ///< azimuth, from 0 up to 360; 0 for a vertical
    double plunge_deg; ///< below the horizon, -90 to 90
} rlv_trend;

/// A plane.
typedef struct rlv_strike
{
    double strike_deg; ///< azimuth, from 0 up to 360, with the dip to its right; 0 for a level plane
    double dip_deg;    ///< 0 to 90
} rlv_strike;

/// From `up` and `north`, of any length. Up stays; what of north lies along it goes. RLV_BAD_INPUT where one is not
/// finite or zero, or the two lie within a degree of one line.
rlv_status rlv_compass_of(rlv_compass* compass, rlv_vec3 up, rlv_vec3 north, rlv_error* error);

/// Where `direction` (any length) points, and back as a unit vector.
rlv_trend rlv_trend_of(const rlv_compass* compass, rlv_vec3 direction);
rlv_vec3 rlv_trend_vector(const rlv_compass* compass, rlv_trend trend);

/// The plane across `pole` (any length, either sense), and back as its unit pole, which does not point down.
rlv_strike rlv_strike_of(const rlv_compass* compass, rlv_vec3 pole);
rlv_vec3 rlv_strike_pole(const rlv_compass* compass, rlv_strike strike);

/// Directions in space.
typedef struct rlv_sphere_mean
{
    size_t count;
    rlv_vec3 mean;          ///< a unit vector; zero where the resultant is
    double resultant;       ///< R, 0 to count
    double resultant_share; ///< R over the count
    double kappa;           ///< (count - 1) / (count - R); infinite where all are one; NaN for a single direction
    double cone_deg;        ///< half angle of the 95 % cone; 180: anywhere; NaN for a single direction
    double
        widest_deg;   ///< half of the 95 % interval along the widest scatter; 180: anywhere; NaN for a single direction
    double uniform_p; ///< of as long a resultant, were they uniform; NaN for a single direction
} rlv_sphere_mean;

/// The mean of `count` directions (any length above zero). RLV_BAD_INPUT where there is none, or one is not finite or
/// zero; the error names it by its place, from 1.
rlv_status rlv_sphere_mean_of(rlv_sphere_mean* mean, size_t count, const rlv_vec3* direction, rlv_error* error);

/// P(R > r) of `count` uniform directions.
double rlv_sphere_uniform_p(size_t count, double resultant);

/// Axes in space.
typedef struct rlv_orientation
{
    size_t count;
    double eigenvalue[3]; ///< S1 >= S2 >= S3, adding to one
    rlv_vec3 axis[3];     ///< unit eigenvectors of them, right-handed; of either sense a person may call them by
    double shape;         ///< K; NaN where S2 = S3 and S1 = S2, infinite where S2 = S3 alone
    double strength;      ///< C; infinite where all lie in a plane
    double uniform_p;     ///< of Bingham's test
} rlv_orientation;

/// The orientation tensor of `count` axes (any length above zero). Fails as rlv_sphere_mean_of.
rlv_status rlv_orientation_of(rlv_orientation* orientation, size_t count, const rlv_vec3* axis, rlv_error* error);

/// Azimuths.
typedef struct rlv_circle_mean
{
    size_t count;
    double mean_deg;        ///< from 0 up to 360
    double resultant_share; ///< mean resultant length, 0 to 1; weighted
    double kappa;           ///< of most likelihood: I1(kappa) / I0(kappa) is the mean resultant length
    double sd_deg;          ///< circular: sqrt(-2 ln of the mean resultant length)
    double mean_sd_deg;     ///< of the mean, for many: 1 / sqrt(count * kappa * mean resultant length)
    double half_deg;        ///< the 95 % interval of the mean reaches so far to either side; 180: anywhere
    double uniform_p;       ///< Rayleigh's; NaN for a single azimuth
} rlv_circle_mean;

/// The mean of `count` azimuths, each with a weight above zero (`weight` NULL: all alike). RLV_BAD_INPUT where there is
/// none, or one or its weight is not finite.
rlv_status rlv_circle_mean_of(rlv_circle_mean* mean, size_t count, const double* azimuth_deg, const double* weight,
                              rlv_error* error);

/// P(R > r) of a walk of `count` steps of uniform azimuth, each as long as it is said (`length` NULL: one); to 1e-5 for
/// three or four steps, to 1e-8 from five on. NaN for a single step.
double rlv_circle_uniform_p(size_t count, const double* length, double resultant);

/// The mean cosine between the true direction in a plane and one that lies `far_sd` sds from nothing, each way as
/// uncertain: the mean resultant length of a projected normal distribution (K. V. Mardia, P. E. Jupp, 2000; D. G.
/// Kendall, J. R. Stat. Soc. B 36, 1974; from memory, and shown by simulation in tests). 0 at 0, towards 1 far out.
double rlv_circle_trust(double far_sd);

/// Eigenvalues, falling, and unit eigenvectors, right-handed, of a symmetric 3 x 3 matrix (row-major).
rlv_status rlv_principal_axes(double value[3], rlv_vec3 axis[3], const double matrix[9], rlv_error* error);

#endif
