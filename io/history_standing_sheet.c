#include "history_sheet_job.h"
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

/// What it stands on, and what the record says of looking at it.
static void add_display(sheet_lines* lines, const rlv_history* history)
{
    const rlv_display_record* display = history->specimen->display;
    if (display == NULL || !history->standing.shown)
        return;
    if (display->plinth_height_mm != NULL)
        sheet_line(lines, "Plinth: %s" RLV_THIN "mm high, with the block %s" RLV_THIN "mm",
                   words_number(*display->plinth_height_mm, 0).text,
                   words_number(*display->plinth_height_mm + history->standing.box.height_mm, 0).text);
    if (display->rests_on != NULL)
        sheet_line(lines, "Its support may touch the outline ‘%.80s’", display->rests_on);
    if (display->note != NULL)
        sheet_line(lines, "Recorded of its display: %.140s", display->note);
}

/// The middle that is marked, first: its sign stands before these words.
static void add_centre(sheet_lines* lines, const history_standing* s, const rlv_standing* standing)
{
    double from_mm[3];
    if (!s->centre_known)
        return;
    rlv_standing_centre(standing, from_mm);
    sheet_line(lines,
               "Middle of the volume: %s" RLV_THIN "mm from the left end of the front, %s" RLV_THIN
               "mm over the floor, %s" RLV_THIN "mm behind the front; of the mass too where all is equally dense",
               words_number(from_mm[0], 0).text, words_number(from_mm[1], 0).text, words_number(from_mm[2], 0).text);
    if (isfinite(s->drawn_mm))
        sheet_line(lines,
                   "It weighs %s" RLV_THIN "g/cm³, matrix %s: were all that differs at one end, the middle of the mass "
                   "would lie up to %s" RLV_THIN "mm from it (95" RLV_THIN "%%)",
                   words_number(s->whole_g_cm3, 2).text, words_number(s->matrix_g_cm3, 2).text,
                   words_number(ceil(s->drawn_mm), 0).text);
    else
        sheet_line(lines, "How far the middle of the mass lies from it is not known");
}

static void add_lines(sheet_lines* lines, const rlv_history* history, const rlv_standing* standing, bool north)
{
    const history_standing* s = &history->standing;
    add_centre(lines, s, standing);
    sheet_line(lines,
               "The box that it stands in, the smallest about its plan: %s × %s × %s" RLV_THIN "mm, length × width × "
               "height",
               words_number(s->box.length_mm, 0).text, words_number(s->box.width_mm, 0).text,
               words_number(s->box.height_mm, 0).text);
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
                   words_number(s->room_mm[0], 0).text, words_number(s->room_mm[1], 0).text,
                   words_number(s->room_mm[2], 0).text);
    add_display(lines, history);
    sheet_line(lines, "Lifting: %.180s", report_weight(history).text);
    if (history->specimen->advice == NULL || history->specimen->advice->lift_limit_kg == NULL)
        sheet_line(lines, "A qualified person decides how it is lifted and held");
    sheet_line(lines, "Sizes in mm%s", north ? "; N is north as it lay in the rock" : "");
}

static rlv_status draw_it(sheet_job* job, rlv_error* error)
{
    const rlv_history* history = job->history;
    const history_standing* s = &history->standing;
    const history_stage* stage = &history->stage[job->order.stage];
    char name[RLV_STANDING_VIEWS][96], words[256], caption[800], alt[1024];
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
    find_north(&standing, job);
    add_lines(&lines, history, &standing, rlv_standing_bearing(&standing, &bearing_deg));
    standing.line_count = lines.count;
    standing.line = lines.at;
    for (int view = 0; view < RLV_STANDING_VIEWS; view++)
        name_view(name[view], sizeof name[view], job, &standing, view);
    rlv_status status = rlv_sheet_of_standing(&sheet, &standing, &job->order.scale, error);
    if (status == RLV_DONE)
    {
        snprintf(caption, sizeof caption, "The block as it %s, from the front, from the side and from above%s.",
                 s->shown ? "will stand" : "lay, standing", standing.in_case ? ", in its case" : "");
        snprintf(alt, sizeof alt, "Two elevations of the block on a floor line and its plan, with their sizes. %s.",
                 lines.text[standing.centre_known ? 2 : 0]);
        status = sheet_keep(job, &sheet, caption, alt, error);
    }
    rlv_sheet_free(&sheet);
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
