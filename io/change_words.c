#include "change_words.h"

#include <math.h>
#include <stdio.h>

double change_sum_of_parts_mm3(const rlv_change* change)
{
    return change->went.volume_mm3.value - change->came.volume_mm3.value + change->untold_mm3.value;
}

double change_allowed_mm3(const rlv_change* change)
{
    return (change->untold_mm3.high - change->untold_mm3.low) / 2.0;
}

/// Whether what is doubly filled, as deep as the deepest change, could outweigh the intervals.
static bool overlap_matters(const rlv_change* change)
{
    double deepest_mm = 0.0;
    for (size_t i = 0; i < change->region_count; i++)
        deepest_mm = fmax(deepest_mm, change->region[i].max_depth_mm.value);
    return change->overlap_mm2 * deepest_mm > change_allowed_mm3(change);
}

void change_warn(rlv_answer* answer, const char* step, const rlv_change* change)
{
    const char *lead = step != NULL ? step : "", *colon = step != NULL ? ": " : "";
    double allowed = change_allowed_mm3(change);
    if (change->left_out_mm2 > 0.0)
        answer_warn(answer, "%s%s%s cm² that only one stage saw are left out of the volumes", lead, colon,
                    words_figures(change->left_out_mm2 / 100.0, 2).text);
    if (change->overlap_mm2 > 0.0 && (step == NULL || overlap_matters(change)))
        answer_warn(answer, "%s%sa mesh crosses itself over about %s cm²; what is doubly filled counts once", lead,
                    colon, words_figures(change->overlap_mm2 / 100.0, 2).text);
    if (change->axis_spread_mm3 > allowed)
        answer_warn(
            answer,
            "%s%sthe volumes measured along three axes differ by %s mL, more than the intervals allow: look for holes "
            "and folds in the meshes",
            lead, colon, words_figures(change->axis_spread_mm3 / 1000.0, 2).text);
    if (isfinite(change->divergence_mm3) && fabs(change->divergence_mm3 - change_sum_of_parts_mm3(change)) > allowed)
        answer_warn(answer,
                    "%s%sthe parts and the volumes of the two meshes differ by more than the intervals allow: look for "
                    "folds and shells inside one another",
                    lead, colon);
    if (change->went.faint || change->came.faint)
        answer_warn(answer,
                    "%s%sa layer thinner than the scans can tell from noise (%s) may have %s besides the regions that "
                    "are told: "
                    "the figure of what %s holds the regions alone, and its upper end leaves room for such a layer",
                    lead, colon, change_limit_words(&change->limit[0]).text,
                    change->went.faint && change->came.faint ? "gone, or come,"
                    : change->went.faint                     ? "gone"
                                                             : "come",
                    change->went.faint ? "went" : "came");
    if (change->warp_sd_mm > 3.0 * change->noise_sd_mm)
        answer_warn(answer,
                    "%s%sthe two scans are bent against each other by %s mm (sd), slowly over %s mm: the intervals "
                    "allow for it",
                    lead, colon, words_figures(change->warp_sd_mm, 2).text,
                    words_figures(change->warp_length_mm, 2).text);
}

rlv_words change_limit_words(const rlv_detection_limit* limit)
{
    rlv_words words;
    rlv_print(words.text, sizeof words.text, "%.24s mm over %.24s cm²", words_figures(limit->depth_mm, 2).text,
              words_figures(limit->area_mm2 / 100.0, 2).text);
    return words;
}

void change_tell_limits(FILE* text, const rlv_change* change)
{
    fputs("\ndetection limit: how deep a change must be to be told from noise\n  ", text);
    for (size_t i = 0; i < RLV_CHANGE_LIMITS; i++)
        fprintf(text, "%s%s", i > 0 ? "; " : "", change_limit_words(&change->limit[i]).text);
    fprintf(text, "\n  noise %s mm (sd) over %s mm; slow warp between the scans %s mm (sd) over %s mm\n",
            words_figures(change->noise_sd_mm, 2).text, words_figures(change->noise_length_mm, 2).text,
            words_figures(change->warp_sd_mm, 2).text, words_figures(change->warp_length_mm, 2).text);
    fprintf(
        text,
        "  triangles cut corners, each mesh’s in their own way: by %s mm on the mean where nothing changed; at sharp "
        "edges by\n  more, and there the limit is higher than told\n",
        words_figures(change->chord_mm, 2).text);
}

void change_tell_check(FILE* text, const rlv_change* change)
{
    double sd = words_sd(change->untold_mm3) / 1000.0;
    int decimals = words_decimals(sd) < 6 ? words_decimals(sd) : 6;
    if (isfinite(change->divergence_mm3))
        fprintf(text,
                "\ncheck: removed " WORDS_MINUS " added + not told apart = %s mL; volume before " WORDS_MINUS
                " volume after = %s mL\n"
                "  (each mesh’s own, by the divergence theorem); they differ by %s mL\n",
                words_number(change_sum_of_parts_mm3(change) / 1000.0, decimals).text,
                words_number(change->divergence_mm3 / 1000.0, decimals).text,
                words_number((change_sum_of_parts_mm3(change) - change->divergence_mm3) / 1000.0, decimals + 1).text);
    else
        fputs("\ncheck: none, since a mesh is open; volumes are against a common base below both\n", text);
}
