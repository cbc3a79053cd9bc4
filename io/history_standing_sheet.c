#include "history_sheet_job.h"
#include "labels.h"
#include "report_words.h"
#include "standing.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// "Front: the left lateral side".
static void name_view(char* into, size_t size, const sheet_job* job, const rlv_standing* standing, int view)
{
    const rlv_vec3 towards = rlv_standing_axes(standing, view).towards;
    const char* side = view != RLV_STANDING_PLAN ? history_view_side(job->history, job->order.stage, towards) : NULL;
    static const char* const from[RLV_STANDING_VIEWS] = {"Front", "From the right", "From above"};
    snprintf(into, size, "%s%s%s", from[view], side != NULL ? ": " : "", side != NULL ? side : "");
}

/// North as it lay, in the frame of the stage.
static void find_north(rlv_standing* standing, const sheet_job* job)
{
    rlv_direction way[HISTORY_WAYS];
    const size_t count = history_view_ways(way, job->history, job->order.stage);
    for (size_t i = 0; i < count; i++)
        if (strcmp(way[i].name, "to the north") == 0)
        {
            standing->north_known = true;
            standing->north = way[i].way;
        }
}

void sheet_free_outlines(standing_outlines* t)
{
    for (size_t i = 0; t->ring_mm != NULL && i < t->count; i++)
        free(t->ring_mm[i]);
    free(t->ring_mm);
    free(t->outline);
    free(t->label);
}

/// An outline of points of a stage, in the frame of the last; nothing where there are too few.
static rlv_status add_outline(standing_outlines* t, const rlv_history* history, size_t stage, const char* points,
                              bool dashed, rlv_error* error)
{
    const size_t last = history->stage_count - 1;
    size_t count = 0;
    const size_t* index =
        rlv_specimen_points(history->specimen, history->stage[stage].record->id, "block", points, &count);
    if (index == NULL || count < 3 || (stage != last && !history->joined))
        return RLV_DONE;
    rlv_vec3* ring_mm = rlv_reserve(count, sizeof *ring_mm, error);
    if (ring_mm == NULL)
        return RLV_SYSTEM;
    const rlv_pose out = history_pose(history, stage), into = history_pose(history, last),
                   back = rlv_pose_inverse(&into);
    for (size_t i = 0; i < count; i++)
    {
        const double* at = history->specimen->point[index[i]].at;
        ring_mm[i] = rlv_vec3_scale(rlv_vec3_of(at[0], at[1], at[2]), history->stage[stage].mm_per_unit);
        if (stage != last)
            ring_mm[i] = rlv_pose_apply(&back, rlv_pose_apply(&out, ring_mm[i]));
    }
    t->outline[t->count] =
        (rlv_standing_outline){.ring_count = count, .ring_mm = ring_mm, .dashed = dashed, .label = t->label[t->count]};
    t->ring_mm[t->count++] = ring_mm;
    return RLV_DONE;
}

/// Of an earlier stage none is drawn: the block may have another surface there now.
static rlv_status add_touched(standing_outlines* t, const rlv_history* history, const char* name, bool may,
                              rlv_error* error)
{
    rlv_print(t->label[t->count], sizeof *t->label, "%s: %s", may ? "support may touch" : "nothing may touch",
              rlv_shorten_name(name, 40).text);
    return add_outline(t, history, history->stage_count - 1, name, may, error);
}

/// A piece that is back, by its outline on the stage at which it was put back.
static rlv_status add_back(standing_outlines* t, const rlv_history* history, const rlv_piece_record* piece,
                           rlv_error* error)
{
    const rlv_specimen* specimen = history->specimen;
    if (!rlv_specimen_is_back(specimen, piece, history->stage_count - 1))
        return RLV_DONE;
    for (size_t i = 0; i < specimen->mask_count; i++)
    {
        const rlv_mask_record* mask = &specimen->mask[i];
        if (mask->kind != RLV_MASK_PIECE || mask->outline == NULL || strcmp(mask->piece, piece->id) != 0 ||
            strcmp(mask->stage, piece->joined) != 0)
            continue;
        rlv_print(t->label[t->count], sizeof *t->label, "not to lift by: %s", rlv_shorten_name(piece->id, 40).text);
        return add_outline(t, history, rlv_specimen_stage_number(specimen, mask->stage), mask->outline, false, error);
    }
    return RLV_DONE;
}

rlv_status sheet_find_outlines(standing_outlines* t, const rlv_history* history, rlv_error* error)
{
    const rlv_display_record* display = history->standing.shown ? history->specimen->display : NULL;
    const size_t most = history->specimen->piece_count + (display != NULL ? display->untouchable_count : 0) + 1;
    t->outline = rlv_reserve(most, sizeof *t->outline, error);
    t->ring_mm = rlv_reserve(most, sizeof(rlv_vec3*), error);
    t->label = rlv_reserve(most, sizeof *t->label, error);
    rlv_status status = t->outline != NULL && t->ring_mm != NULL && t->label != NULL ? RLV_DONE : RLV_SYSTEM;
    if (status == RLV_DONE && display != NULL && display->rests_on != NULL)
        status = add_touched(t, history, display->rests_on, true, error);
    for (size_t i = 0; display != NULL && i < display->untouchable_count && status == RLV_DONE; i++)
        status = add_touched(t, history, display->untouchable[i], false, error);
    for (size_t i = 0; i < history->specimen->piece_count && status == RLV_DONE; i++)
        status = add_back(t, history, &history->specimen->piece[i], error);
    return status;
}

/// ", on the underside" of an outline that no view from above or from a side shows; nothing of one that is drawn, or of
/// which no points are recorded on this stage.
static const char* where_hidden(const rlv_standing* standing, const char* name)
{
    for (size_t i = 0; i < standing->outline_count; i++)
    {
        const rlv_standing_outline* outline = &standing->outline[i];
        const char* of = strchr(outline->label, ':');
        if (of == NULL || strcmp(of + 2, name) != 0)
            continue;
        for (int view = 0; view < RLV_STANDING_VIEWS; view++)
            if (rlv_standing_in_sight(standing, outline, rlv_standing_axes(standing, view).towards) >=
                RLV_STANDING_SIGHT)
                return "";
        return rlv_standing_in_sight(standing, outline, rlv_vec3_scale(standing->up, -1.0)) >= RLV_STANDING_SIGHT
                   ? ", on the underside"
                   : ", not seen from these sides";
    }
    return "";
}

static void add_untouchable(sheet_lines* lines, const rlv_standing* standing, const rlv_display_record* display)
{
    report_text names = {""};
    for (size_t i = 0; i < display->untouchable_count; i++)
        report_add(&names, "%s‘%.100s’%s", i > 0 ? ", " : "", display->untouchable[i],
                   where_hidden(standing, display->untouchable[i]));
    if (display->untouchable_count > 0)
        sheet_line(lines, "Nothing may touch the %s %s", display->untouchable_count > 1 ? "outlines" : "outline",
                   names.text);
}

/// What it stands on, and what the record says of touching it and of looking at it.
static void add_display(sheet_lines* lines, const rlv_history* history, const rlv_standing* standing)
{
    const rlv_display_record* display = history->specimen->display;
    if (display == NULL || !history->standing.shown)
        return;
    if (display->plinth_height_mm != NULL)
        sheet_line(
            lines, "Plinth: %s" RLV_THIN "mm high, with the block %s" RLV_THIN "mm",
            words_number(*display->plinth_height_mm, 0).text,
            words_number(nearbyint(*display->plinth_height_mm) + nearbyint(history->standing.box.height_mm), 0).text);
    if (display->rests_on != NULL)
        sheet_line(lines, "Its support may touch the outline ‘%.100s’%s", display->rests_on,
                   where_hidden(standing, display->rests_on));
    add_untouchable(lines, standing, display);
    if (display->note != NULL)
        sheet_line(lines, "Recorded of its display: %.140s", display->note);
}

/// The centre that is marked, first: its sign stands before these words.
static void add_centre(sheet_lines* lines, const history_standing* s, const rlv_standing* standing)
{
    double from_mm[3];
    if (!s->centre_known)
        return;
    rlv_standing_centre(standing, from_mm);
    sheet_line(lines,
               "Centre of volume: %s" RLV_THIN "mm from the left end of the front, %s" RLV_THIN
               "mm over the floor, %s" RLV_THIN "mm behind the front; centre of mass too where all is equally dense",
               words_number(from_mm[0], 0).text, words_number(from_mm[1], 0).text, words_number(from_mm[2], 0).text);
    if (isfinite(s->drawn_mm))
        sheet_line(lines,
                   "Its density is %s" RLV_THIN "g/cm³, by weight and volume; of the matrix %s: were all that differs "
                   "at one end, the centre of mass would lie up to %s" RLV_THIN "mm from it (95" RLV_THIN "%%)",
                   words_number(s->whole_g_cm3, 2).text, words_number(s->matrix_g_cm3, 2).text,
                   words_number(ceil(s->drawn_mm), 0).text);
    else
        sheet_line(lines, "How far the centre of mass lies from it is not known");
}

static report_text box_words(const history_standing* s)
{
    return report_say("The box that it stands in, the smallest about its plan: %s × %s × %s" RLV_THIN
                      "mm, length × width × height",
                      words_number(s->box.length_mm, 0).text, words_number(s->box.width_mm, 0).text,
                      words_number(s->box.height_mm, 0).text);
}

/// What must be known before it is lifted comes before sizes; each a line of its own, so that no long name pushes any
/// out.
static void add_lifting(sheet_lines* lines, const rlv_history* history)
{
    const report_text back = report_put_back(history);
    sheet_line(lines, "Lifting: %.180s", report_weight(history).text);
    if (back.text[0] != '\0')
        sheet_line(lines, "%s", back.text);
    sheet_line(lines, "A qualified person decides how it is lifted and held");
}

void sheet_standing_lines(sheet_lines* lines, const rlv_history* history, const rlv_standing* standing, bool north)
{
    const history_standing* s = &history->standing;
    add_centre(lines, s, standing);
    add_lifting(lines, history);
    sheet_line(lines, "%s", box_words(s).text);
    sheet_line(lines, "Its front is a long side of that box: no record says which side is to face the visitor");
    const report_text up = report_way_up(history);
    if (!s->shown)
        sheet_line(lines, "Up is what was up in the rock: how it will be shown is not recorded");
    else if (up.text[0] != '\0')
        sheet_line(lines, "Up is %.150s", up.text);
    if (s->case_known && !history_standing_fits(s))
        sheet_line(lines, "The case recorded does not hold it so");
    else if (s->case_known)
        sheet_line(lines,
                   "Room in the case: %s" RLV_THIN "mm along its length and %s along its width, both sides together; "
                   "%s above",
                   words_number(history_standing_room(s, 0), 0).text, words_number(history_standing_room(s, 1), 0).text,
                   words_number(history_standing_room(s, 2), 0).text);
    add_display(lines, history, standing);
    sheet_line(lines, "Sizes in mm%s", north ? "; N is north as it lay in the rock" : "");
}

static rlv_status draw_it(sheet_job* job, rlv_error* error)
{
    const rlv_history* history = job->history;
    const history_standing* s = &history->standing;
    const history_stage* stage = &history->stage[job->order.stage];
    char name[RLV_STANDING_VIEWS][96], words[256], caption[800], alt[sizeof(report_text) + 256];
    sheet_lines lines = {0};
    rlv_sheet sheet = {0};
    if (!s->known)
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "record up, or display: up",
                        "no way up is recorded that reaches the last stage");
    sheet_stage_words(words, sizeof words, stage->record);
    snprintf(job->subject, sizeof job->subject, "As it %s, at stage %s", s->shown ? "will stand" : "lay, standing",
             words);
    snprintf(job->frame, sizeof job->frame, "its own: up, and along the box that it stands in");
    sheet_add_stage(job, stage);
    rlv_standing standing = {.title = job->title,
                             .surface = {.mesh = &stage->given.mesh, .tree = stage->tree},
                             .box = s->box,
                             .up = s->up,
                             .centre_known = s->centre_known,
                             .centre_mm = s->centre_mm,
                             .in_case = s->shown && s->case_known,
                             .case_mm = {s->case_mm[0], s->case_mm[1], s->case_mm[2]},
                             .name = {name[0], name[1], name[2]},
                             .scale = job->order.scale,
                             .paper = job->order.scale > 0.0 ? SHEET_SMALL : SHEET_PAPER};
    double bearing_deg;
    standing_outlines touch = {0};
    rlv_status status = sheet_find_outlines(&touch, history, error);
    standing.outline_count = touch.count;
    standing.outline = touch.outline;
    find_north(&standing, job);
    sheet_standing_lines(&lines, history, &standing, rlv_standing_bearing(&standing, &bearing_deg));
    standing.line_count = lines.count;
    standing.line = lines.at;
    for (int view = 0; view < RLV_STANDING_VIEWS; view++)
        name_view(name[view], sizeof name[view], job, &standing, view);
    if (status == RLV_DONE)
        status = rlv_sheet_of_standing(&sheet, &standing, &job->order.scale, error);
    if (status == RLV_DONE)
    {
        snprintf(caption, sizeof caption, "The block as it %s, from the front, from the side and from above%s.",
                 s->shown ? "will stand" : "lay, standing", standing.in_case ? ", in its case" : "");
        snprintf(alt, sizeof alt, "Two elevations of the block on a floor line and its plan, with their sizes. %s.",
                 box_words(s).text);
        status = sheet_keep(job, &sheet, caption, alt, error);
    }
    rlv_sheet_free(&sheet);
    sheet_free_outlines(&touch);
    return status;
}

rlv_status sheet_of_standing(sheet_job job, rlv_error* error)
{
    rlv_status status = sheet_begin(&job, job.order.stage, error);
    if (status == RLV_DONE)
        status = draw_it(&job, error);
    free(job.title_stage);
    return status;
}
