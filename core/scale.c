#include "scale.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/// A fit of those bars that are not laid aside.
typedef struct fit
{
    size_t count;
    double units_per_mm;
    double information; ///< sum of w L^2: one over the relative variance
    double chi_square;
} fit;

static fit fit_bars(size_t count, const rlv_scale_bar* bar, const rlv_scale_residual* own, const bool* aside)
{
    fit f = {0};
    double product = 0.0;
    for (size_t i = 0; i < count; i++)
    {
        if (aside[i])
            continue;
        const double in_sds = bar[i].certified_mm / own[i].sd_mm;
        f.information += in_sds * in_sds;
        product += in_sds * (bar[i].measured_units / own[i].sd_mm);
        f.count++;
    }
    f.units_per_mm = product / f.information;
    for (size_t i = 0; i < count; i++)
    {
        const double off = (bar[i].measured_units / f.units_per_mm - bar[i].certified_mm) / own[i].sd_mm;
        f.chi_square += aside[i] ? 0.0 : off * off;
    }
    return f;
}

/// A bar's residual over its sd: its leverage on the fit makes that smaller than the bar's own.
static double residual_in_sds(const fit* f, const rlv_scale_bar* bar, double sd_mm)
{
    const double in_sds = bar->certified_mm / sd_mm, leverage = in_sds * in_sds / f->information;
    return (bar->measured_units / f->units_per_mm - bar->certified_mm) / (sd_mm * sqrt(1.0 - leverage));
}

/// What the certificates' own errors do to the scale: k is off by sum(w L c) / sum(w L^2).
static double certificate_sd(const fit* f, size_t count, const rlv_scale_bar* bar, const rlv_scale_residual* own)
{
    double variance = 0.0;
    for (size_t i = 0; i < count; i++)
        variance += pow(bar[i].certified_mm * bar[i].certified_sd_mm / (own[i].sd_mm * own[i].sd_mm), 2);
    return sqrt(variance) / f->information;
}

static double birge_ratio(const fit* f)
{
    return f->count > 1 ? sqrt(f->chi_square / (double)(f->count - 1)) : NAN;
}

static double p_of(const fit* f)
{
    return f->count > 1 ? gsl_cdf_chisq_Q(f->chi_square, (double)(f->count - 1)) : NAN;
}

/// The relative sd that a fit tells.
static double told_sd(const fit* f)
{
    return (p_of(f) < RLV_SCALE_LEVEL ? birge_ratio(f) : 1.0) / sqrt(f->information);
}

/// Lay aside bars that do not fit the others, the farthest first.
static void find_alarms(size_t count, const rlv_scale_bar* bar, rlv_scale_residual* own, bool* aside)
{
    for (size_t left = count; left >= 2; left--)
    {
        const fit f = fit_bars(count, bar, own, aside);
        size_t farthest = count;
        const double tests = left == 2 ? 1.0 : (double)left; // two bars lie equally far from each other
        double most = gsl_cdf_ugaussian_Qinv(RLV_SCALE_LEVEL / (2.0 * tests));
        for (size_t i = 0; i < count; i++)
        {
            const double sds = aside[i] ? 0.0 : fabs(residual_in_sds(&f, bar + i, own[i].sd_mm));
            if (sds > most)
                most = sds, farthest = i;
        }
        if (farthest == count)
            return;
        for (size_t i = 0; i < count; i++)
            if (!aside[i] && (i == farthest || left == 2))
                own[i].alarm = aside[i] = true;
    }
}

static rlv_status check_bar(const rlv_scale_bar* bar, size_t place, rlv_scale_residual* own, rlv_error* error)
{
    const char* lengths = "give the length between its two points and its certified length, both above 0";
    if (!(isfinite(bar->measured_units) && bar->measured_units > 0.0))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, lengths, "scale bar %zu measures %g units", place,
                        bar->measured_units);
    if (!(isfinite(bar->certified_mm) && bar->certified_mm > 0.0))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, lengths, "scale bar %zu is certified as %g mm", place,
                        bar->certified_mm);
    double variance = bar->certified_sd_mm * bar->certified_sd_mm;
    bool negative = bar->certified_sd_mm < 0.0;
    own->default_sd = false;
    for (int end = 0; end < 2; end++)
    {
        const bool given = !isnan(bar->point_sd_mm[end]);
        const double sd = given ? bar->point_sd_mm[end] : RLV_SCALE_POINT_SD_MM;
        own->default_sd |= !given;
        negative |= sd < 0.0;
        variance += sd * sd;
    }
    if (negative || !isfinite(variance) || !(variance > 0.0))
        return rlv_fail(error, RLV_BAD_INPUT, NULL,
                        "give the sds of its points and of its length in mm, not negative and not all 0",
                        "scale bar %zu has no usable sd", place);
    own->sd_mm = sqrt(variance);
    return RLV_DONE;
}

rlv_status rlv_scale_from_bars(rlv_scale* scale, rlv_scale_residual* residual, size_t count, const rlv_scale_bar* bar,
                               rlv_error* error)
{
    memset(scale, 0, sizeof *scale);
    if (count == 0)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give one scale bar at least, or the mesh's unit",
                        "there is no scale bar");
    memset(residual, 0, count * sizeof *residual);
    for (size_t i = 0; i < count; i++)
        if (check_bar(bar + i, i + 1, residual + i, error) != RLV_DONE)
            return RLV_BAD_INPUT;
    bool* aside = rlv_reserve(count, sizeof *aside, error);
    if (aside == NULL)
        return RLV_SYSTEM;
    const fit all = fit_bars(count, bar, residual, aside);
    find_alarms(count, bar, residual, aside);
    const fit rest = fit_bars(count, bar, residual, aside);
    for (size_t i = 0; i < count; i++)
    {
        residual[i].residual_mm = bar[i].measured_units / all.units_per_mm - bar[i].certified_mm;
        residual[i].sds = count > 1 ? residual_in_sds(&all, bar + i, residual[i].sd_mm) : NAN;
        scale->alarms += residual[i].alarm;
    }
    scale->mm_per_unit = 1.0 / all.units_per_mm;
    scale->chi_square = count > 1 ? all.chi_square : NAN;
    scale->p = p_of(&all);
    scale->birge_ratio = birge_ratio(&all);
    scale->inflated = scale->p < RLV_SCALE_LEVEL;
    scale->relative_sd = told_sd(&all);
    scale->certificate_sd = certificate_sd(&all, count, bar, residual);
    scale->mm_per_unit_without = rest.count > 0 ? 1.0 / rest.units_per_mm : NAN;
    scale->relative_sd_without = rest.count > 0 ? told_sd(&rest) : NAN;
    free(aside);
    return RLV_DONE;
}
