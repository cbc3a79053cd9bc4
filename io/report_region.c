#include "report_region.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static bool same_area(const char* a, const char* b)
{
    return a == NULL || b == NULL ? a == b : strcmp(a, b) == 0;
}

static const rlv_stage_record* after_of(const rlv_history* history, const history_step* step)
{
    return history->stage[step->after].record;
}

static bool is_spoil(rlv_change_class kind)
{
    return kind == RLV_CHANGE_REMOVED || kind == RLV_CHANGE_BONE;
}

/// Whether no region of matrix removed, or with `bone_too` of bone lost, comes before `region` (they come by falling
/// volume) in its area.
static bool is_first_of_area(const history_step* step, size_t region, const char* area, bool whole_step, bool bone_too)
{
    for (size_t i = 0; i < region; i++)
    {
        rlv_change_class kind = step->change.region[i].kind;
        bool counts = kind == RLV_CHANGE_REMOVED || (bone_too && kind == RLV_CHANGE_BONE);
        if (counts && (whole_step || same_area(step->region[i].area, area)))
            return false;
    }
    return true;
}

// --- Work ------------------------------------------------------------------------------------------------------------

report_work_kinds report_kinds_of_work(const rlv_stage_record* stage)
{
    report_work_kinds kinds = {false, false};
    for (size_t i = 0; i < stage->work_count; i++)
        *(stage->work[i].area != NULL ? &kinds.by_area : &kinds.whole) = true;
    return kinds;
}

static void add_tool(char* tools, size_t size, const char* tool)
{
    size_t length = strlen(tools);
    const char* found = strstr(tools, tool);
    size_t end = found != NULL ? (size_t)(found - tools) + strlen(tool) : 0;
    bool there = found != NULL && (found == tools || found[-1] == ' ') && (tools[end] == '\0' || tools[end] == ',');
    if (!there)
        rlv_print(tools + length, size - length, "%s%.100s", length > 0 ? ", " : "", tool);
}

/// Volume of the matrix removed in an area.
static rlv_interval volume_of_area(const history_step* step, const char* area, bool whole_step)
{
    rlv_interval sum = {0};
    for (size_t i = 0; i < step->change.region_count; i++)
    {
        const rlv_change_region* region = &step->change.region[i];
        if (region->kind == RLV_CHANGE_REMOVED && (whole_step || same_area(step->region[i].area, area)))
            sum = rlv_interval_add(sum, region->volume_mm3);
    }
    return sum;
}

report_work report_region_work(const rlv_history* history, const history_step* step, size_t region)
{
    report_work work = {.hours = NAN, .rate = {NAN, NAN, NAN}};
    const rlv_stage_record* stage = after_of(history, step);
    const char* area = step->region[region].area;
    const report_work_kinds kinds = report_kinds_of_work(stage);
    const bool whole_step = !kinds.by_area || step->areas_mixed;
    if (step->change.region[region].kind != RLV_CHANGE_REMOVED)
        return work;
    double hours = 0.0;
    for (size_t i = 0; i < stage->work_count; i++)
        if (whole_step || same_area(stage->work[i].area, area))
        {
            add_tool(work.tool, sizeof work.tool, stage->work[i].tool);
            hours += stage->work[i].hours;
        }
    if (hours > 0.0 && is_first_of_area(step, region, area, whole_step, false))
    {
        const rlv_interval volume = volume_of_area(step, area, whole_step);
        work.hours = hours;
        if (whole_step || !(kinds.by_area && kinds.whole))
            work.rate = (rlv_interval){volume.value / hours, volume.low / hours, volume.high / hours};
    }
    return work;
}

// --- Grams -----------------------------------------------------------------------------------------------------------

const rlv_density_record* report_density_of(const rlv_specimen* specimen, rlv_change_class kind)
{
    return kind == RLV_CHANGE_ADDED ? NULL
                                    : rlv_specimen_density(specimen, kind == RLV_CHANGE_BONE ? "bone" : "matrix");
}

rlv_interval report_region_grams(const rlv_specimen* specimen, const rlv_change_region* region)
{
    const rlv_density_record* density = report_density_of(specimen, region->kind);
    if (density == NULL)
        return (rlv_interval){NAN, NAN, NAN};
    double ml = region->volume_mm3.value / 1000.0, grams = ml * density->g_cm3;
    double of_density = RLV_HALF_95 * density->sd_g_cm3 * ml;
    double low = hypot((ml - region->volume_mm3.low / 1000.0) * density->g_cm3, of_density);
    double high = hypot((region->volume_mm3.high / 1000.0 - ml) * density->g_cm3, of_density);
    return (rlv_interval){grams, fmax(grams - low, 0.0), grams + high};
}

static double spoil_of_area_g(const rlv_history* history, const history_step* step, size_t region)
{
    const rlv_specimen* specimen = history->specimen;
    const char *id = after_of(history, step)->id, *area = step->region[region].area;
    bool with_area = false, weighed = false;
    double grams = 0.0;
    for (size_t i = 0; i < specimen->spoil_count; i++)
        with_area = with_area || (strcmp(specimen->spoil[i].stage, id) == 0 && specimen->spoil[i].area != NULL);
    with_area = with_area && !step->areas_mixed;
    if (!is_first_of_area(step, region, area, !with_area, true))
        return (double)NAN;
    for (size_t i = 0; i < specimen->spoil_count; i++)
    {
        const rlv_spoil_record* bag = &specimen->spoil[i];
        if (strcmp(bag->stage, id) != 0 || (with_area && !same_area(bag->area, area)))
            continue;
        if (bag->mass == NULL)
            return (double)NAN;
        grams += bag->mass->grams;
        weighed = true;
    }
    return weighed ? grams : (double)NAN;
}

double report_region_weighed_g(const rlv_history* history, const history_step* step, size_t region)
{
    rlv_change_class kind = step->change.region[region].kind;
    size_t piece = step->region[region].piece;
    if (is_spoil(kind))
        return spoil_of_area_g(history, step, region);
    for (size_t i = 0; i < region; i++)
        if (step->change.region[i].kind == kind && step->region[i].piece == piece)
            return (double)NAN;
    if (piece == SIZE_MAX || kind == RLV_CHANGE_ADDED)
        return (double)NAN;
    const rlv_mass_record* mass = history->specimen->piece[piece].mass;
    return mass != NULL ? mass->grams : (double)NAN;
}
