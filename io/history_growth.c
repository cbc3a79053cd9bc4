#include "history_growth.h"

#include <math.h>
#include <string.h>

/// The most that a treatment can have left: its dry mass at the least density that its material may have, or all of
/// what was used of it.
static double most_left_mm3(const rlv_specimen* specimen, const rlv_treatment_record* treatment)
{
    const rlv_density_record* density = rlv_specimen_density(specimen, treatment->material);
    const double least = density != NULL ? density->g_cm3 - RLV_HALF_95 * density->sd_g_cm3 : 0.0;
    if (treatment->dry_g != NULL && least > 0.0)
        return 1000.0 * *treatment->dry_g / least;
    return treatment->volume_ml != NULL ? 1000.0 * *treatment->volume_ml : INFINITY;
}

/// Whether a piece went back that the change does not tell apart from what was added.
static bool has_untold_piece(const rlv_history* history, size_t step)
{
    const rlv_specimen* specimen = history->specimen;
    if (history->step[step].change.total[RLV_CHANGE_JOINED].known)
        return false;
    for (size_t i = 0; i < specimen->piece_count; i++)
        if (rlv_specimen_piece_moves(specimen, &specimen->piece[i], history->step[step].after, true))
            return true;
    return false;
}

double history_brought_mm3(const rlv_history* history, size_t step)
{
    const rlv_stage_record* after = history->stage[history->step[step].after].record;
    double sum = has_untold_piece(history, step) ? INFINITY : 0.0;
    for (size_t i = 0; i < after->treatment_count; i++)
        sum += most_left_mm3(history->specimen, &after->treatment[i]);
    return sum;
}

/// By how much the block grew at a step beyond what went, with its interval; pieces that went back are left out.
static rlv_interval growth_mm3(const rlv_history* history, size_t step)
{
    const rlv_change_total* total = history->step[step].change.total;
    rlv_interval grown = total[RLV_CHANGE_ADDED].volume_mm3;
    for (rlv_change_class kind = 0; rlv_change_went(kind); kind++)
        if (total[kind].known)
            grown = rlv_interval_less(grown, total[kind].volume_mm3);
    return grown;
}

/// Grams that the block lost on the scales at a step, less what they may be off by; NaN where it was not weighed twice.
static double surely_lost_g(const rlv_history* history, size_t step)
{
    const rlv_mass_record *before = history->stage[history->step[step].before].record->mass,
                          *after = history->stage[history->step[step].after].record->mass;
    return before != NULL && after != NULL
               ? before->grams - after->grams - RLV_HALF_95 * hypot(before->sd_g, after->sd_g)
               : (double)NAN;
}

static void warn_of_step(const rlv_history* history, size_t step, rlv_answer* answer)
{
    const rlv_interval grown = growth_mm3(history, step);
    const double brought = history_brought_mm3(history, step);
    const bool lighter = surely_lost_g(history, step) > 0.0;
    if (!history->step[step].measured || grown.low <= 0.0 || (grown.low <= brought && !lighter))
        return;
    const char *before = history->stage[history->step[step].before].record->id,
               *after = history->stage[history->step[step].after].record->id;
    answer_warn(answer,
                "from %s to %s the block grew by %s mL (%s mL), and %s: see that the meshes of the two stages do not "
                "stand in each other’s place",
                before, after, words_value(grown, 1000.0).text, words_ends(grown, 1000.0).text,
                lighter          ? "on the scales it became lighter"
                : brought == 0.0 ? "the record has nothing that was added to it"
                                 : "what the record says was added is less");
}

/// Dates of ISO 8601 sort as text, as far as both go.
static bool comes_before(const char* date, const char* other)
{
    const size_t length = strcspn(date, "/"), its = strcspn(other, "/");
    return strncmp(date, other, length < its ? length : its) < 0;
}

void history_warn_of_growth(const rlv_history* history, rlv_answer* answer)
{
    for (size_t i = 0; i < history->step_count; i++)
    {
        const rlv_stage_record *before = history->stage[i].record, *after = history->stage[i + 1].record;
        warn_of_step(history, i, answer);
        if (before->date != NULL && after->date != NULL && comes_before(after->date, before->date))
            answer_warn(answer,
                        "%s is dated %s, before the stage that it follows (%s, %s): the stages are taken in the "
                        "order of the record",
                        after->id, after->date, before->id, before->date);
    }
}
