#include "history_parts.h"

#include <math.h>

/// What a scan does to a volume of its own: noise and slow warp of one scan, each of a bell-shaped correlation.
typedef struct scan_field
{
    double noise_sd_mm, noise_length_mm, warp_sd_mm, warp_length_mm;
} scan_field;

/// The field of one of two scans whose difference was measured at a step: its sd is that over the root of two. The
/// greater of what the steps on both sides of a stage tell; all steps where `stage` is SIZE_MAX.
static scan_field field_of(const rlv_history* history, size_t stage)
{
    scan_field field = {0.0, 0.0, 0.0, 0.0};
    for (size_t k = 0; k < history->step_count; k++)
    {
        const history_step* step = history->step + k;
        if (!step->measured || (stage != SIZE_MAX && step->before != stage && step->after != stage))
            continue;
        field.noise_sd_mm = fmax(field.noise_sd_mm, step->change.noise_sd_mm * M_SQRT1_2);
        field.noise_length_mm = fmax(field.noise_length_mm, step->change.noise_length_mm);
        field.warp_sd_mm = fmax(field.warp_sd_mm, step->change.warp_sd_mm * M_SQRT1_2);
        field.warp_length_mm = fmax(field.warp_length_mm, step->change.warp_length_mm);
    }
    return field;
}

/// The sd of the volume under an area over which a displacement of an sd is correlated as a bell of a length, whose
/// integral is 2 pi l^2; of all of the area at once where that is more.
static double flux_sd(double sd_mm, double length_mm, double area_mm2)
{
    return sd_mm * sqrt(area_mm2 * fmin(2.0 * M_PI * length_mm * length_mm, area_mm2));
}

static rlv_interval around(double volume_mm3, double half)
{
    return (rlv_interval){volume_mm3, volume_mm3 - half, volume_mm3 + half};
}

rlv_interval history_stage_volume(const rlv_history* history, size_t stage)
{
    const history_stage* of = history->stage + stage;
    const double volume = of->given.measures.volume_mm3, area = of->given.measures.area_mm2;
    if (!of->given.health.closed)
        return around((double)NAN, (double)NAN);
    const scan_field field = field_of(history, stage);
    const double sd = hypot(3.0 * of->scale_sd * volume, hypot(flux_sd(field.noise_sd_mm, field.noise_length_mm, area),
                                                               flux_sd(field.warp_sd_mm, field.warp_length_mm, area)));
    return around(volume, 1.959964 * sd);
}

rlv_interval history_piece_volume(const rlv_history* history, const history_piece* piece)
{
    const double volume = piece->given.measures.volume_mm3, area = piece->given.measures.area_mm2;
    if (!piece->given.health.closed)
        return around((double)NAN, (double)NAN);
    const scan_field field = field_of(history, SIZE_MAX);
    // Bent, both of its faces move alike; what is left of slow warp is its slope, a strain that is as much in each of
    // three directions.
    const double strain = field.warp_length_mm > 0.0 ? field.warp_sd_mm / field.warp_length_mm : 0.0;
    const double sd = hypot(hypot(3.0 * piece->scale_sd, sqrt(3.0) * strain) * volume,
                            flux_sd(field.noise_sd_mm, field.noise_length_mm, area));
    return around(volume, hypot(1.959964 * sd, piece->chord_mm3));
}

rlv_interval history_class_volume(double* unseen_mm3, const history_step* step, rlv_change_class kind)
{
    const rlv_change_total* total = &step->change.total[kind];
    const rlv_detection_limit* smallest = step->change.limit;
    rlv_interval volume = total->volume_mm3;
    *unseen_mm3 = total->unseen_mm3;
    if (total->regions == 0)
        volume.high = *unseen_mm3 = fmax(volume.high, smallest->area_mm2 * smallest->depth_mm);
    return volume;
}
