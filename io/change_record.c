#include "change_record.h"

#include "regions.h"

#include <math.h>

static void record_limits(json_t* object, const rlv_change* change)
{
    json_t* limits = record_list(object, "detection_limit");
    for (size_t i = 0; i < RLV_CHANGE_LIMITS; i++)
    {
        json_t* row = record_row(limits);
        record_real(row, "area_mm2", change->limit[i].area_mm2);
        record_real(row, "depth_mm", change->limit[i].depth_mm);
    }
}

void change_record_volumes(json_t* object, const rlv_change* change)
{
    record_volume(object, "removed", change != NULL ? &change->went.volume_mm3 : NULL);
    record_volume(object, "added", change != NULL ? &change->came.volume_mm3 : NULL);
    record_volume(object, "untold", change != NULL ? &change->untold_mm3 : NULL);
    if (change == NULL)
    {
        record_null(object, "removed_faint");
        record_null(object, "added_faint");
        record_null(object, "detection_limit");
        return;
    }
    record_flag(object, "removed_faint", change->went.faint);
    record_flag(object, "added_faint", change->came.faint);
    record_limits(object, change);
}

void change_record_field(json_t* object, const rlv_change* change)
{
    const double nothing = NAN;
    record_real(object, "noise_sd_mm", change != NULL ? change->noise_sd_mm : nothing);
    record_real(object, "noise_length_mm", change != NULL ? change->noise_length_mm : nothing);
    record_real(object, "chord_mm", change != NULL ? change->chord_mm : nothing);
    record_real(object, "warp_sd_mm", change != NULL ? change->warp_sd_mm : nothing);
    record_real(object, "warp_length_mm", change != NULL ? change->warp_length_mm : nothing);
    if (change != NULL)
        record_flag(object, "open", change->open);
    else
        record_null(object, "open");
    record_real(object, "left_out_mm2", change != NULL ? change->left_out_mm2 : nothing);
    record_real(object, "overlap_mm2", change != NULL ? change->overlap_mm2 : nothing);
    record_real(object, "axis_spread_mm3", change != NULL ? change->axis_spread_mm3 : nothing);
    record_real(object, "divergence_mm3", change != NULL ? change->divergence_mm3 : nothing);
}

void change_record_chosen(json_t* object, const rlv_change* change)
{
    record_real(object, "pitch_mm", change != NULL ? change->pitch_mm : (double)NAN);
    record_real(object, "seed_sd", change != NULL ? change->seed_sd : (double)NAN);
}

void change_record_thresholds(json_t* object)
{
    record_real(object, "region_seed_sd", RLV_REGION_SEED_SD);
    record_real(object, "region_chord_allowance", RLV_REGION_CHORD_ALLOWANCE);
    record_real(object, "faint_limits", RLV_CHANGE_FAINT);
    record_real(object, "least_stable_share", RLV_CHANGE_LEAST_STABLE);
    record_real(object, "chord_share", RLV_CHANGE_CHORD_SHARE);
    record_count(object, "cells_across", RLV_CHANGE_CELLS_ACROSS);
    record_count(object, "most_samples", RLV_CHANGE_MOST_SAMPLES);
    record_count(object, "patches", RLV_CHANGE_PATCHES);
    record_count(object, "most_settling", RLV_CHANGE_MOST_SETTLING);
}
