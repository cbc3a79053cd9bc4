#include "pose_words.h"

#include <math.h>

void pose_record(json_t* object, const rlv_alignment* alignment, bool known)
{
    double matrix[16];
    rlv_pose_matrix(&alignment->pose, matrix);
    if (known)
        record_reals(object, "transform", 16, matrix);
    else
        record_null(object, "transform");
    record_real(object, "rms_mm", alignment->rms_mm);
    record_real(object, "stable_fraction", alignment->stable_fraction);
    record_real(object, "position_sd_mm", known ? alignment->position_sd_mm : (double)NAN);
    record_real(object, "rotation_sd_deg", known ? alignment->rotation_sd_deg : (double)NAN);
    record_flag(object, "ambiguous", alignment->ambiguous);
    record_count(object, "slippable", (size_t)(alignment->slippable > 0 ? alignment->slippable : 0));
    record_text(object, "reason", alignment->reason[0] != '\0' ? alignment->reason : NULL);
    if (!known)
        return;
    record_real(object, "scale", alignment->pose.scale);
    record_place(object, "centre_mm", alignment->pose.centre_mm);
    record_reals(object, "covariance", 49, alignment->pose.covariance);
}

static int decimals_between(int decimals, int least, int most)
{
    return decimals < least ? least : decimals > most ? most : decimals;
}

/// The matrix, each number with the figures that its uncertainty allows.
static void tell_matrix(FILE* text, const rlv_alignment* alignment, double size_mm)
{
    double matrix[16];
    rlv_pose_matrix(&alignment->pose, matrix);
    // One figure more than the sd asks for, so that a point moved by the printed matrix lands where the motion says. A
    // turn's figures are those that move a point at the far side of the block by the sd of its place.
    double turn_sd = fmin(alignment->rotation_sd_deg * (3.14159265358979323846 / 180.0),
                          alignment->position_sd_mm / fmax(size_mm, 1.0));
    int place_decimals = decimals_between(words_decimals(alignment->position_sd_mm) + 1, 0, 9);
    int turn_decimals = decimals_between(words_decimals(turn_sd) + 1, 3, 12);
    fputs("  the motion, on column vectors in mm\n", text);
    for (size_t row = 0; row < 3; row++)
    {
        fputs("   ", text);
        for (size_t column = 0; column < 3; column++)
            fprintf(text, " %s",
                    words_right(words_number(matrix[4 * row + column], turn_decimals), (size_t)turn_decimals + 3).text);
        fprintf(text, "  %s\n", words_right(words_number(matrix[4 * row + 3], place_decimals), 14).text);
    }
}

void pose_tell(FILE* text, const rlv_alignment* alignment, double size_mm)
{
    fprintf(text, "  held still  %s of AFTER's surface, to %s mm (root mean square)\n",
            words_share(alignment->stable_fraction).text, words_figures(alignment->rms_mm, 2).text);
    fprintf(text, "  place       sd %s mm; attitude sd %s degrees\n", words_figures(alignment->position_sd_mm, 2).text,
            words_figures(alignment->rotation_sd_deg, 2).text);
    double scale_sd = sqrt(alignment->pose.covariance[48]);
    if (scale_sd > 0.0)
        fprintf(text, "  scale       %s of AFTER's (sd %s)\n",
                words_number(alignment->pose.scale, words_decimals(scale_sd)).text, words_figures(scale_sd, 2).text);
    tell_matrix(text, alignment, size_mm);
}

void pose_warn(rlv_answer* answer, const rlv_alignment* alignment)
{
    if (alignment->stable_fraction < 0.5)
        answer_warn(answer, "only %s of AFTER's surface held still: see that the two are stages of one block",
                    words_share(alignment->stable_fraction).text);
    if (alignment->slippable > 0)
        answer_warn(answer, "the surface does not resist %s: it slides along itself",
                    words_count((size_t)alignment->slippable, "motion").text);
}
