#include "told_skeleton.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static void name_rows(told_skeleton* t)
{
    // Angles from the back, in the order of skeleton.c: on the left where they are above zero.
    static const rlv_body_row row[SKELETON_ROWS] = {
        {"D", "Dorsal", RLV_BODY_MEDIAN},        {"L1", "Left upper", RLV_BODY_LEFT},
        {"R1", "Right upper", RLV_BODY_RIGHT},   {"L3", "Left ventral", RLV_BODY_LEFT},
        {"R3", "Right ventral", RLV_BODY_RIGHT}, {"L2", "Left lateral", RLV_BODY_LEFT},
        {"R2", "Right lateral", RLV_BODY_RIGHT}};
    for (size_t r = 0; r < t->made->plan.rows; r++)
        t->row[r] = row[r];
}

static void size_plates(told_skeleton* t)
{
    for (size_t i = 0; i < t->made->count; i++)
    {
        double pitch = t->told.row[t->made->element[i].row].pitch_mm, length = 0.7 * pitch, width = 1.2 * pitch;
        t->made->element[i].element.length_mm = (rlv_interval){length, length, length};
        t->made->element[i].element.width_mm = (rlv_interval){width, width, width};
    }
}

static void name_elements(told_skeleton* t)
{
    for (size_t i = 0; i < t->made->count; i++)
    {
        const rlv_articulated* one = &t->told.element[i];
        snprintf(t->id[i], sizeof t->id[i], "%s-%02d", t->row[t->made->element[i].row].id,
                 t->made->element[i].place_low);
        if (one->state == RLV_SHIFTED && one->group == 0)
            snprintf(t->amount[i], sizeof t->amount[i], "%.1f\xe2\x80\xafmm", one->motion.shift_mm.value);
        else if (one->state == RLV_ROTATED)
            snprintf(t->amount[i], sizeof t->amount[i], "%.0f\xc2\xb0", one->motion.rotation_deg.value);
        t->id_at[i] = t->id[i];
        t->amount_at[i] = t->amount[i][0] != '\0' ? t->amount[i] : NULL;
    }
    for (size_t g = 0; g < t->told.group_count && g < 16; g++)
    {
        const rlv_articulation_group* group = &t->told.group[g];
        snprintf(t->group_words[g], sizeof t->group_words[g], "%zu together, %.1f\xe2\x80\xafmm", group->count,
                 group->motion.shift_mm.value);
        t->group_at[g] = t->group_words[g];
    }
    snprintf(t->summary, sizeof t->summary, "%s: %.0f\xe2\x80\xaf%% in place", rlv_articulation_word_of(t->told.verdict.word),
             100.0 * t->told.verdict.share.value);
}

told_skeleton* told_skeleton_make(const skeleton_plan* plan)
{
    told_skeleton* t = calloc(1, sizeof *t);
    t->made = skeleton_make(plan);
    if (rlv_articulation_fit(&t->told, t->made->count, t->made->element, plan->rows, t->made->row, NULL) != RLV_DONE)
        abort();
    name_rows(t);
    size_plates(t);
    name_elements(t);
    t->of = (rlv_skeleton){.told = &t->told,
                           .element = t->made->element,
                           .id = t->id_at,
                           .amount = t->amount_at,
                           .group = t->group_at,
                           .summary = t->summary,
                           .row = t->row};
    return t;
}

void told_skeleton_free(told_skeleton* t)
{
    rlv_articulation_free(&t->told);
    free(t->made);
    free(t);
}
