/// What stands beside a region on the wall: its grams, what was weighed, the hours that went into it.
///
/// Hours and bags are recorded for an area of work, or for a whole step. All regions that lie in one area share what
/// was recorded for it; it is told once, at the largest of them. Hours are of work on matrix, and stand at regions of
/// matrix removed; spoil holds matrix and bone alike, and stands at the largest region of either. Where a step has work
/// with an area and work without one, what went into an area is not known, and no rate is told. Where a region runs
/// over several areas, all of the step is told together.

#ifndef RLV_REPORT_REGION_H
#define RLV_REPORT_REGION_H

#include "history.h"

/// How the work that led to a stage was recorded: for areas, for the whole step, or both; neither where none was.
typedef struct report_work_kinds
{
    bool by_area, whole;
} report_work_kinds;

report_work_kinds report_kinds_of_work(const rlv_stage_record* stage);

/// The work of a region's area. Empty, and NaN, where nothing was recorded or it is told at another region.
typedef struct report_work
{
    char tool[256];    ///< parted by commas
    double hours;      ///< NaN: none
    rlv_interval rate; ///< mm³ an hour, of all regions of the area together
} report_work;

report_work report_region_work(const rlv_history* history, const history_step* step, size_t region);

/// The recorded density of what a class is made of: bone, or matrix, which a piece is for the most part. NULL where it
/// is not recorded, or what came is neither.
const rlv_density_record* report_density_of(const rlv_specimen* specimen, rlv_change_class kind);

/// Volume times the recorded density of matrix or bone: a relative error each, in quadrature. NaN where that is not
/// recorded, or what came is neither.
rlv_interval report_region_grams(const rlv_specimen* specimen, const rlv_change_region* region);

/// Grams of the spoil of the region's area, or of the piece that went or came there; NaN where it was not weighed or is
/// told at another region.
double report_region_weighed_g(const rlv_history* history, const history_step* step, size_t region);

#endif
