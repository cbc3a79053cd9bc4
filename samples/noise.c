#include "noise.h"

#include "scan.h"

#include <math.h>

uint64_t noise_hash(uint64_t seed, uint64_t index)
{
    scan_random random = {seed ^ (index * 0xD1342543DE82EF95u + 0x2545F4914F6CDD1Du)};
    return scan_random_bits(&random);
}

static double byte_sum(uint32_t bits)
{
    // Four bytes, each of variance (256^2 - 1) / 12.
    double sum = (double)((bits & 255u) + ((bits >> 8) & 255u) + ((bits >> 16) & 255u) + (bits >> 24)) - 510.0;
    return sum * (1.0 / 147.79941361140732);
}

double noise_white(uint64_t seed, uint64_t index)
{
    return byte_sum((uint32_t)(noise_hash(seed, index) >> 32));
}

static rlv_vec3 even_direction(scan_random* random)
{
    double z = 2.0 * scan_random_unit(random) - 1.0, turn = 2.0 * M_PI * scan_random_unit(random);
    double ring = sqrt(1.0 - z * z);
    return rlv_vec3_of(ring * cos(turn), ring * sin(turn), z);
}

static void set_wave(noise_waves* waves, size_t i, rlv_vec3 turns_a_mm, double phase, double strength)
{
    waves->x[i] = turns_a_mm.x;
    waves->y[i] = turns_a_mm.y;
    waves->z[i] = turns_a_mm.z;
    waves->phase[i] = phase;
    waves->strength[i] = strength;
}

noise_waves noise_waves_gaussian(double sd, double length_mm, uint64_t seed)
{
    // The spectral density of a Gaussian covariance of length L is a normal density of sd 1 / L (in radians a mm).
    noise_waves waves = {.count = NOISE_WAVES};
    scan_random random = {seed};
    for (size_t i = 0; i < waves.count; i++)
    {
        rlv_vec3 k = {scan_random_normal(&random), scan_random_normal(&random), scan_random_normal(&random)};
        set_wave(&waves, i, rlv_vec3_scale(k, 1.0 / (2.0 * M_PI * length_mm)), scan_random_unit(&random),
                 sd * sqrt(2.0 / NOISE_WAVES));
    }
    return waves;
}

noise_waves noise_waves_fractal(double sd, double longest_mm, int octaves, double falling, uint64_t seed)
{
    enum
    {
        EACH = 12
    };
    noise_waves waves = {.count = (size_t)octaves * EACH};
    scan_random random = {seed};
    double power = 0.0, strength = 1.0, wavelength = longest_mm;
    for (size_t i = 0; i < waves.count; i++)
    {
        double share = exp2(-(double)(i % EACH) / EACH); // wavelengths fill the octave
        rlv_vec3 k = rlv_vec3_scale(even_direction(&random), 1.0 / (wavelength * share));
        double own = strength * pow(falling, (double)(i % EACH) / EACH);
        set_wave(&waves, i, k, scan_random_unit(&random), own);
        power += own * own / 2.0;
        if (i % EACH == EACH - 1)
            wavelength /= 2.0, strength *= falling;
    }
    for (size_t i = 0; i < waves.count; i++)
        waves.strength[i] *= sd / sqrt(power);
    return waves;
}

/// cos(2 pi t) by its Taylor series about the nearest half turn, to 2e-9: plain arithmetic, so that loops over waves
/// vectorise.
static inline double cosine_of_turns(double t)
{
    const double round_to_whole = 6755399441055744.0; // 1.5 * 2^52: adding it drops the fraction
    double whole = (t + round_to_whole) - round_to_whole;
    double x = (t - whole) * M_PI, s = x * x; // half the angle, |x| <= pi / 2
    double sine =
        x * (1.0 + s * (-1.0 / 6 +
                        s * (1.0 / 120 + s * (-1.0 / 5040 +
                                              s * (1.0 / 362880 + s * (-1.0 / 39916800 + s * (1.0 / 6227020800.0)))))));
    return 1.0 - 2.0 * sine * sine;
}

double noise_waves_at(const noise_waves* waves, rlv_vec3 point_mm)
{
    double sum = 0.0;
#pragma omp simd reduction(+ : sum)
    for (size_t i = 0; i < waves->count; i++)
        sum += waves->strength[i] * cosine_of_turns(waves->x[i] * point_mm.x + waves->y[i] * point_mm.y +
                                                    waves->z[i] * point_mm.z + waves->phase[i]);
    return sum;
}

#define TAPS 5 ///< lattice points a direction under the kernel
#define KERNEL_SD                                                                                                      \
    0.8 ///< of the kernel, in lattice spacings: the sum of its squares ripples by 0.4 %, which the norm takes out

/// Weights of the kernel about the lattice point nearest to `x` (in spacings), of unit sum of squares. exp(-(j - d)^2 /
/// (2 s^2)) is factored into exp(-j^2 / (2 s^2)) and a power of exp(d / s^2).
static int64_t kernel_weights(double x, double weight[TAPS])
{
    static const double fixed[3] = {1.0, 0.45783336177161427, 0.043936933623407420}; // exp(-j^2 / 1.28)
    double middle = floor(x + 0.5), d = x - middle;
    double q = exp(d / (KERNEL_SD * KERNEL_SD)), r = 1.0 / q;
    weight[0] = fixed[2] * r * r;
    weight[1] = fixed[1] * r;
    weight[2] = 1.0;
    weight[3] = fixed[1] * q;
    weight[4] = fixed[2] * q * q;
    double power = 0.0;
    for (int j = 0; j < TAPS; j++)
        power += weight[j] * weight[j];
    double norm = 1.0 / sqrt(power);
    for (int j = 0; j < TAPS; j++)
        weight[j] *= norm;
    return (int64_t)middle - TAPS / 2;
}

static inline double lattice_noise(uint32_t bits)
{
    bits ^= bits >> 16;
    bits *= 0x7FEB352Du;
    bits ^= bits >> 15;
    bits *= 0x846CA68Bu;
    bits ^= bits >> 16;
    return byte_sum(bits);
}

double noise_smooth_at(uint64_t seed, double length_mm, rlv_vec3 point_mm)
{
    double spacing = length_mm / (M_SQRT2 * KERNEL_SD); // kernel of length / sqrt(2)
    double wx[TAPS], wy[TAPS], wz[TAPS];
    uint32_t x0 = (uint32_t)kernel_weights(point_mm.x / spacing, wx);
    uint32_t y0 = (uint32_t)kernel_weights(point_mm.y / spacing, wy);
    uint32_t z0 = (uint32_t)kernel_weights(point_mm.z / spacing, wz);
    uint32_t start = (uint32_t)(seed ^ (seed >> 32));
    double sum = 0.0;
    for (uint32_t i = 0; i < TAPS; i++)
        for (uint32_t j = 0; j < TAPS; j++)
        {
            uint32_t row = start + (x0 + i) * 0x8DA6B343u + (y0 + j) * 0xD8163841u;
            double along = 0.0;
            for (uint32_t k = 0; k < TAPS; k++)
                along += wz[k] * lattice_noise(row + (z0 + k) * 0xCB1AB31Fu);
            sum += wx[i] * wy[j] * along;
        }
    return sum;
}
