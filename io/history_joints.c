#include "history_parts.h"

#include <math.h>

/// A piece's own volume: of the first of its meshes that is closed, as it came off, or of the last, as it went back.
/// NaN where there is none.
static rlv_interval own_volume(const rlv_history* history, const rlv_piece_record* piece, bool back)
{
    const history_piece* chosen = NULL;
    for (size_t i = 0; i < history->pieces.count; i++)
        if (history->pieces.one[i].piece == piece && history->pieces.one[i].given.health.closed &&
            (back || chosen == NULL))
            chosen = history->pieces.one + i;
    return chosen != NULL ? history_piece_volume(history, chosen)
                          : (rlv_interval){(double)NAN, (double)NAN, (double)NAN};
}

static bool is_masked(const history_step* step, size_t piece)
{
    for (size_t i = 0; i < step->piece_count; i++)
        if (step->piece[i] == piece)
            return true;
    return false;
}

/// The pieces that came off (or went back) at a step, by their own meshes: those that a mask tells of, or those of
/// which none does. NaN where one of them has no closed mesh; `*count` is how many there are.
static rlv_interval own_volumes(size_t* count, const rlv_history* history, const history_step* step, bool back,
                                bool masked)
{
    rlv_interval sum = {0.0, 0.0, 0.0};
    *count = 0;
    for (size_t i = 0; i < history->specimen->piece_count; i++)
    {
        const rlv_piece_record* piece = history->specimen->piece + i;
        if (is_masked(step, i) != masked || !rlv_specimen_piece_moves(history->specimen, piece, step->after, back))
            continue;
        sum = rlv_interval_add(sum, own_volume(history, piece, back));
        ++*count;
    }
    return sum;
}

/// What a piece that went back is told as, and one that came off.
static rlv_change_class class_of(bool back)
{
    return back ? RLV_CHANGE_JOINED : RLV_CHANGE_DETACHED;
}

/// The regions of a piece hold what its own mesh does, each its share of what the block's meshes saw of them.
static void part_regions(const rlv_history* history, history_step* step, bool back)
{
    const rlv_change_class kind = class_of(back);
    for (size_t p = 0; step->region != NULL && p < step->piece_count; p++)
    {
        const rlv_interval own = own_volume(history, history->specimen->piece + step->piece[p], back);
        double seen = 0.0;
        for (size_t r = 0; r < step->change.region_count; r++)
            if (step->change.region[r].kind == kind && step->region[r].piece == step->piece[p])
                seen += step->change.region[r].volume_mm3.value;
        for (size_t r = 0; r < step->change.region_count && seen > 0.0; r++)
        {
            rlv_change_region* region = step->change.region + r;
            if (region->kind != kind || step->region[r].piece != step->piece[p])
                continue;
            region->volume_mm3 = rlv_interval_times(own, region->volume_mm3.value / seen);
            region->mean_depth_mm = rlv_interval_times(region->mean_depth_mm, own.value / seen);
        }
    }
}

/// Matrix with what crumbled beside a piece, which is all that went less the piece's own volume. What a seam gives to
/// the one it takes from the other, so that matrix and hollow together do not hold it; both of their intervals do. It
/// is counted once, in the matrix's, as for matrix beside a piece without a mesh of its own. That is wider than need
/// be.
static void add_crumbs(rlv_change_total* matrix, rlv_interval own, rlv_interval crumbled)
{
    rlv_interval seen = matrix->volume_mm3;
    seen.high -= matrix->unseen_mm3;
    const rlv_interval rest = rlv_interval_less(seen, own);
    const double value = seen.value + crumbled.value;
    matrix->volume_mm3 =
        (rlv_interval){value, value - (rest.value - rest.low), value + (rest.high - rest.value) + matrix->unseen_mm3};
    matrix->regions += matrix->regions == 0; // that of the joint
}

/// What the block's mesh saw of pieces beyond their `own` volume, which becomes that of their class; NaN where there is
/// nothing to part.
static rlv_interval take_rest(history_step* step, rlv_interval own, rlv_change_class kind)
{
    rlv_change_total* total = &step->change.total[kind];
    if (total->regions == 0 || isnan(own.value))
        return (rlv_interval){(double)NAN, (double)NAN, (double)NAN};
    const rlv_interval rest = rlv_interval_less(total->volume_mm3, own);
    total->volume_mm3 = own;
    total->unseen_mm3 = 0.0;
    return rest;
}

/// Pieces that no mask tells of were seen as matrix, or as something added.
static void take_out(history_step* step, const rlv_history* history, bool back)
{
    size_t count;
    const rlv_interval own = own_volumes(&count, history, step, back, false);
    const rlv_change_class seen_as = back ? RLV_CHANGE_ADDED : RLV_CHANGE_REMOVED;
    rlv_change_total *from = &step->change.total[seen_as], *into = &step->change.total[class_of(back)];
    if (count == 0 || isnan(own.value) || from->regions == 0)
        return;
    from->volume_mm3 = rlv_interval_less(from->volume_mm3, own);
    step->seen_mm3[seen_as] = rlv_interval_less(step->seen_mm3[seen_as], own);
    into->volume_mm3 = into->known ? rlv_interval_add(into->volume_mm3, own) : own;
    into->known = true;
    into->regions += count;
}

static void warn_of_joint(rlv_answer* answer, const rlv_history* history, const history_step* step, rlv_interval rest)
{
    if (rest.high < 0.0)
        answer_warn(answer,
                    "%s: the pieces’ own meshes hold %s mL more than what their outlines on the block do: look at the "
                    "outlines, and at the scale of the pieces’ meshes",
                    history->stage[step->after].record->id, words_figures(-rest.value / 1000.0, 2).text);
}

/// A mesh of the block sees a piece and its joint as one; the piece's own mesh tells them apart.
static void part_joint(rlv_history* history, history_step* step, bool back, rlv_answer* answer)
{
    size_t count;
    const rlv_interval own = own_volumes(&count, history, step, back, true),
                       rest = take_rest(step, own, class_of(back));
    *(back ? &step->gap_mm3 : &step->crumbled_mm3) = rest;
    if (!isfinite(rest.value))
        return;
    part_regions(history, step, back);
    warn_of_joint(answer, history, step, rest);
    if (!back)
        add_crumbs(&step->change.total[RLV_CHANGE_REMOVED], own, rest);
}

void history_part_joints(rlv_history* history, rlv_answer* answer)
{
    for (size_t k = 0; k < history->step_count; k++)
    {
        history_step* step = history->step + k;
        if (!step->measured)
            continue;
        for (size_t c = 0; c < RLV_CHANGE_CLASSES; c++)
            step->seen_mm3[c] = step->change.total[c].volume_mm3;
        part_joint(history, step, false, answer);
        part_joint(history, step, true, answer);
        take_out(step, history, false);
        take_out(step, history, true);
    }
}
