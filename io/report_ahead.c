#include "report_articulation_parts.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

#define COLUMNS(columns) sizeof(columns) / sizeof *(columns), columns

// --- the body ahead --------------------------------------------------------------------------------------------------

static const table_column ahead_columns[] = {
    {"ahead", "mm", "ahead", TABLE_NUMBER,
     "Distance along the body from the last element in place of all rows towards the tail."},
    {"position", "mm", "position", TABLE_PLACE, "Of the body’s axis there, in the block’s frame."},
    {"half", "mm", "± 95 %", TABLE_NUMBER, "Half of the 95 % interval of that, to each side of the axis."},
    {"trend", "deg", "trend", TABLE_INTERVAL,
     "Azimuth of the axis, head to tail, clockwise from true north; its interval may pass 0 or 360."},
    {"plunge", "deg", "plunge", TABLE_INTERVAL, "Of the axis below the horizon."},
    {"depth", "mm", "depth", TABLE_INTERVAL,
     "Distance from the axis to the nearest place of today’s surface: above zero beneath it."},
    {"where", NULL, "where", TABLE_TEXT,
     "in the rock; " ARTICULATION_WHERE_MEANING "; not collected: beyond the block, where the list ends."}};

rlv_table articulation_ahead_table(const history_articulation* a)
{
    rlv_table t = table_of("ahead", "The axis beyond the last element", COLUMNS(ahead_columns));
    const double quantile = a->ahead_count > 0 ? gsl_cdf_tdist_Pinv(0.975, a->fit.ahead.freedom) : 0.0;
    for (size_t i = 0; i < a->ahead_count; i++)
    {
        const rlv_body_station* station = &a->fit.ahead.station[i];
        const history_ahead* told = &a->ahead[i];
        table_recorded(&t, station->ahead_mm);
        table_place(&t, station->at_mm, station->across_sd_mm);
        table_figures(&t, quantile * station->across_sd_mm, 2);
        table_interval(&t, told->trend_deg);
        table_interval(&t, told->plunge_deg);
        table_interval(&t, told->depth_mm);
        table_text(&t, articulation_where_name(told->where));
    }
    return t;
}

report_text articulation_ahead_words(const history_articulation* a)
{
    report_text words = {""};
    if (a->ahead_count == 0)
        return words;
    const history_ahead* last = &a->ahead[a->ahead_count - 1];
    report_add(
        &words,
        "By the places that they have, the rows go on for %s mm (%s) beyond the last element of all. What bears none "
        "of "
        "them, a fin say, may go on farther. The axis there is the mean of their corridors, and is as wide as one of "
        "them; its depth is its own, not that of the body’s surface.",
        words_value(a->fit.ahead.length_mm, 1.0).text, words_ends(a->fit.ahead.length_mm, 1.0).text);
    if (last->where == HISTORY_NOT_COLLECTED)
        report_add(&words, " %.0f mm ahead it has left the block.", a->fit.ahead.station[a->ahead_count - 1].ahead_mm);
    return words;
}

// --- gaps ------------------------------------------------------------------------------------------------------------

static const table_column gap_columns[] = {
    {"row", NULL, "row", TABLE_TEXT, "Row of life positions."},
    {"after", NULL, "after place", TABLE_COUNT, "The step is from this place to the next."},
    {"more", "mm", "wider by", TABLE_INTERVAL, "Than the mean of the steps beside it; below zero: narrower."},
    {"more_pitches", NULL, "in pitches", TABLE_NUMBER, "The same over that mean."},
    {"p", NULL, "p", TABLE_NUMBER,
     "How seldom a row whose steps are uneven as this one’s are would have so uneven a step anywhere by chance: below "
     "0.01 it is told as a gap, and nothing is looked for in it."}};

rlv_table articulation_gaps_table(const history_articulation* a)
{
    rlv_table t = table_of("gaps", "Natural gaps in the spacing", COLUMNS(gap_columns));
    for (size_t i = 0; i < a->fit.gap_count; i++)
    {
        const rlv_spacing_gap* gap = &a->fit.gap[i];
        table_text(&t, articulation_specimen(a)->row[gap->row].id);
        table_count(&t, (size_t)gap->place);
        table_interval(&t, gap->more_mm);
        table_figures(&t, gap->pitches, 2);
        table_figures(&t, gap->p, 2);
    }
    return t;
}

// --- rows ------------------------------------------------------------------------------------------------------------

static void put_compared(report_text* words, const history_articulation* a, size_t row)
{
    const rlv_articulation_row_told* told = &a->fit.row[row];
    const char* table = articulation_specimen(a)->row[row].life_positions;
    if (told->compared)
        report_add(words, ". It has the spacing of %.100s (p = %.2g), at a scale of %.3g (%.3g to %.3g)", table,
                   told->compared_p, told->scale.value, told->scale.low, told->scale.high);
    else if (!isnan(told->compared_p))
        report_add(words, ". It does not have the spacing of %.100s (p = %.2g), and was fitted without", table,
                   told->compared_p);
}

/// Whether a step lies at a stretch that moved together, or no more than two places from it: the steps about a motion
/// are judged with it.
static bool is_beside_stretch(const history_articulation* a, const rlv_spacing_gap* gap)
{
    enum
    {
        NEAR = 2
    };
    for (size_t g = 0; g < a->fit.group_count; g++)
    {
        const rlv_articulation_group* group = &a->fit.group[g];
        if (group->row == gap->row && gap->place + 1 >= group->first - NEAR && gap->place <= group->last + NEAR)
            return true;
    }
    return false;
}

report_text articulation_row_words(const history_articulation* a, size_t row)
{
    report_text words = {""};
    const rlv_articulation_row_told* told = &a->fit.row[row];
    if (!told->used)
        return words;
    const rlv_interval* found = told->detectable_mm;
    if (isnan(found[0].value))
        report_add(&words, "none of its elements is tested");
    else
        report_add(&words,
                   "a shift of one of its elements would have been told in 80 %% of cases if it was of %.2g mm "
                   "(median of the row; %.2g to %.2g by each element’s own errors), in 90 %% if of %.2g mm (%.2g "
                   "to %.2g)",
                   found[0].value, found[0].low, found[0].high, found[1].value, found[1].low, found[1].high);
    for (size_t i = 0; i < a->fit.gap_count; i++)
    {
        const rlv_spacing_gap* gap = &a->fit.gap[i];
        const bool narrow = gap->more_mm.value < 0.0;
        const rlv_interval more =
            narrow ? (rlv_interval){-gap->more_mm.value, -gap->more_mm.high, -gap->more_mm.low} : gap->more_mm;
        if (gap->row == row)
            report_add(
                &words,
                ". There is a %s that no %s place explains%s. The step from place %d to %d is %s mm (%s) %s than "
                "those beside it, by "
                "%.2g of their mean (p %s: so seldom would chance make a step so uneven anywhere in the "
                "row). It holds no place of the count, so no element is looked for in it: were a place "
                "missed there, it would be %s by about one whole step",
                narrow ? "narrower step" : "wider gap", narrow ? "counted" : "missing",
                is_beside_stretch(a, gap) ? ", beside a stretch that moved" : "", gap->place, gap->place + 1,
                words_value(more, 1.0).text, words_ends(more, 1.0).text, narrow ? "narrower" : "wider",
                fabs(gap->pitches), report_p(gap->p).text, narrow ? "narrower" : "wider");
    }
    put_compared(&words, a, row);
    return words;
}
