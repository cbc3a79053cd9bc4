#include "history_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const rlv_mass unweighed = {(double)NAN, (double)NAN};

static rlv_mass mass_of(const rlv_mass_record* record)
{
    return record != NULL ? (rlv_mass){record->grams, record->sd_g} : unweighed;
}

static bool is(const char* a, const char* b)
{
    return a != NULL && strcmp(a, b) == 0;
}

/// Whether the record masks bone on some stage: then a stage without such a mask shows none.
static bool masks_bone(const rlv_specimen* specimen)
{
    for (size_t i = 0; i < specimen->mask_count; i++)
        if (specimen->mask[i].kind == RLV_MASK_BONE && specimen->mask[i].piece == NULL)
            return true;
    return false;
}

static rlv_interval volume_of(double* unseen_mm3, const rlv_history* history, const history_step* step,
                              rlv_change_class kind)
{
    *unseen_mm3 = 0.0;
    if (!step->measured)
        return (rlv_interval){(double)NAN, (double)NAN, (double)NAN};
    if (step->change.total[kind].known)
        return history_class_volume(unseen_mm3, step, kind);
    return kind == RLV_CHANGE_BONE && !masks_bone(history->specimen)
               ? (rlv_interval){(double)NAN, (double)NAN, (double)NAN}
               : (rlv_interval){0.0, 0.0, 0.0};
}

/// Bags of a stage together; not weighed where there is none.
static rlv_mass spoil_of(const rlv_specimen* specimen, const char* stage, bool* damp)
{
    rlv_mass sum = {0.0, 0.0};
    bool any = false;
    for (size_t i = 0; i < specimen->spoil_count; i++)
    {
        const rlv_spoil_record* bag = specimen->spoil + i;
        if (!is(bag->stage, stage))
            continue;
        sum = any ? rlv_mass_add(sum, mass_of(bag->mass)) : mass_of(bag->mass);
        any = true;
        *damp = *damp || is(bag->state, "damp");
    }
    return any ? sum : unweighed;
}

/// Pieces that came off the block, or went back, at the step that leads to a stage.
static rlv_mass pieces_of(const rlv_specimen* specimen, size_t stage, bool back)
{
    rlv_mass sum = {0.0, 0.0};
    for (size_t i = 0; i < specimen->piece_count; i++)
    {
        const rlv_piece_record* piece = specimen->piece + i;
        if (rlv_specimen_piece_moves(specimen, piece, stage, back))
            sum = rlv_mass_add(sum, mass_of(piece->mass));
    }
    return sum;
}

/// What treatments left in the block when dry; not known where one does not say.
static rlv_mass resin_of(const rlv_stage_record* stage)
{
    rlv_mass sum = {0.0, 0.0};
    for (size_t i = 0; i < stage->treatment_count; i++)
        sum = rlv_mass_add(sum,
                           stage->treatment[i].dry_g != NULL ? (rlv_mass){*stage->treatment[i].dry_g, 0.0} : unweighed);
    return sum;
}

static rlv_ledger_step step_of(const rlv_history* history, size_t k)
{
    const rlv_specimen* specimen = history->specimen;
    const rlv_stage_record* after = history->stage[k + 1].record;
    rlv_ledger_step step = {.pieces_off = pieces_of(specimen, k + 1, false),
                            .pieces_back = pieces_of(specimen, k + 1, true),
                            .shared_scale_sd = history->stage[k].shared_scale_sd,
                            .drying = mass_of(after->drying),
                            .resin = resin_of(after)};
    for (int c = 0; c < RLV_CHANGE_CLASSES; c++)
        step.volume_mm3[c] = volume_of(&step.unseen_mm3[c], history, history->step + k, (rlv_change_class)c);
    step.spoil = spoil_of(specimen, after->id, &step.spoil_damp);
    return step;
}

static rlv_density density_of(const rlv_specimen* specimen, const char* material)
{
    const rlv_density_record* record = rlv_specimen_density(specimen, material);
    return record != NULL ? (rlv_density){record->g_cm3, record->sd_g_cm3} : (rlv_density){(double)NAN, (double)NAN};
}

static rlv_status sum_up(rlv_history* history, rlv_error* error)
{
    const size_t steps = history->step_count;
    rlv_ledger_step* step = rlv_reserve(steps, sizeof *step, error);
    rlv_mass* block = step != NULL ? rlv_reserve(steps + 1, sizeof *block, error) : NULL;
    rlv_status status = RLV_SYSTEM;
    if (block != NULL && (history->row = rlv_reserve(steps, sizeof *history->row, error)) != NULL &&
        (history->cumulative = rlv_reserve(steps, sizeof *history->cumulative, error)) != NULL)
    {
        for (size_t k = 0; k < steps; k++)
            step[k] = step_of(history, k);
        for (size_t k = 0; k <= steps; k++)
            block[k] = mass_of(history->stage[k].record->mass);
        // A piece is rock for the most part; of what was added nobody knows which material lies where.
        const rlv_density matrix = density_of(history->specimen, "matrix");
        const rlv_ledger_input input = {.step_count = steps,
                                        .step = step,
                                        .block = block,
                                        .density = {[RLV_CHANGE_REMOVED] = matrix,
                                                    [RLV_CHANGE_BONE] = density_of(history->specimen, "bone"),
                                                    [RLV_CHANGE_DETACHED] = matrix,
                                                    [RLV_CHANGE_JOINED] = matrix,
                                                    [RLV_CHANGE_ADDED] = {(double)NAN, (double)NAN}}};
        status = rlv_ledger_sum(history->row, history->cumulative, &input, error);
    }
    free(step);
    free(block);
    return status;
}

static size_t tool_number(const rlv_history* history, const char* tool)
{
    size_t i = 0;
    while (i < history->tool_count && strcmp(history->tool[i], tool) != 0)
        i++;
    return i;
}

static rlv_status list_tools(rlv_history* history, rlv_error* error)
{
    size_t most = 0;
    for (size_t k = 0; k < history->stage_count; k++)
        most += history->stage[k].record->work_count;
    if ((history->tool = rlv_reserve(most, sizeof *history->tool, error)) == NULL ||
        (history->rate = rlv_reserve(most, sizeof *history->rate, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t k = 0; k < history->stage_count; k++)
        for (size_t i = 0; i < history->stage[k].record->work_count; i++)
        {
            const char* tool = history->stage[k].record->work[i].tool;
            if (tool_number(history, tool) == history->tool_count)
                history->tool[history->tool_count++] = tool;
        }
    return RLV_DONE;
}

/// Rows of matrix taken and hours spent.
typedef struct rate_rows
{
    size_t count;
    rlv_interval* volume;
    double* hours;     ///< count * tools
    double* all_hours; ///< count
} rate_rows;

static void add_hours(rate_rows* rows, const rlv_history* history, const rlv_work_record* work)
{
    rows->hours[rows->count * history->tool_count + tool_number(history, work->tool)] += work->hours;
    rows->all_hours[rows->count] += work->hours;
}

/// Whether every work row of a step names an area and every region of matrix lies in one.
static bool has_areas(const history_step* step, const rlv_stage_record* after)
{
    bool all = after->work_count > 0;
    for (size_t i = 0; i < after->work_count; i++)
        all = all && after->work[i].area != NULL;
    for (size_t r = 0; all && r < step->change.region_count; r++)
        all = step->change.region[r].kind != RLV_CHANGE_REMOVED || step->region[r].area != NULL;
    return all;
}

static void add_rows(rate_rows* rows, const rlv_history* history, const history_step* step)
{
    const rlv_stage_record* after = history->stage[step->after].record;
    if (!step->measured || after->work_count == 0)
        return;
    if (!has_areas(step, after))
    {
        rows->volume[rows->count] = step->seen_mm3[RLV_CHANGE_REMOVED]; // a tool takes none of what crumbles
        for (size_t i = 0; i < after->work_count; i++)
            add_hours(rows, history, after->work + i);
        rows->count++;
        return;
    }
    for (size_t i = 0; i < after->work_count; i++)
    {
        bool first = true;
        for (size_t j = 0; j < i; j++)
            first = first && strcmp(after->work[j].area, after->work[i].area) != 0;
        if (!first)
            continue;
        for (size_t r = 0; r < step->change.region_count; r++)
            if (step->change.region[r].kind == RLV_CHANGE_REMOVED && is(step->region[r].area, after->work[i].area))
                rows->volume[rows->count] =
                    rlv_interval_add(rows->volume[rows->count], step->change.region[r].volume_mm3);
        for (size_t j = i; j < after->work_count; j++)
            if (is(after->work[j].area, after->work[i].area))
                add_hours(rows, history, after->work + j);
        rows->count++;
    }
}

static rlv_status find_rates(rlv_history* history, rlv_error* error)
{
    size_t most = 0;
    for (size_t k = 0; k < history->stage_count; k++)
        most += history->stage[k].record->work_count;
    rate_rows rows = {0};
    rlv_rates together;
    rlv_status status = list_tools(history, error);
    if (status == RLV_DONE)
        status =
            (rows.volume = rlv_reserve(most, sizeof *rows.volume, error)) != NULL &&
                    (rows.hours = rlv_reserve(most * (history->tool_count + 1), sizeof *rows.hours, error)) != NULL &&
                    (rows.all_hours = rlv_reserve(most, sizeof *rows.all_hours, error)) != NULL
                ? RLV_DONE
                : RLV_SYSTEM;
    for (size_t k = 0; status == RLV_DONE && k < history->step_count; k++)
        add_rows(&rows, history, history->step + k);
    if (status == RLV_DONE && history->tool_count > 0)
        status = rlv_ledger_rates(&history->rates, history->rate, rows.count, history->tool_count, rows.volume,
                                  rows.hours, error);
    if (status == RLV_DONE && history->tool_count > 0)
        status = rlv_ledger_rates(&together, &history->all_tools, rows.count, 1, rows.volume, rows.all_hours, error);
    free(rows.volume);
    free(rows.hours);
    free(rows.all_hours);
    return status;
}

rlv_status history_add_up(rlv_history* history, rlv_error* error)
{
    if (history->step_count == 0)
        return RLV_DONE;
    const rlv_status status = sum_up(history, error);
    return status == RLV_DONE ? find_rates(history, error) : status;
}
