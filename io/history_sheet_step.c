#include "history_sheet_job.h"

#include "change_words.h"
#include "report_words.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum
{
    ROWS = 40,   ///< regions that a map of depth lists and numbers; regions beyond are in the tables
    COLUMNS = 9, ///< of that list
    TOOLS = 4,   ///< that are told, of one line
};

/// The hours of each tool between a stage and the one before, in one line.
static void add_work(sheet_lines* lines, const rlv_stage_record* record)
{
    const char* tool[TOOLS];
    double hours[TOOLS], rest = 0.0, all = 0.0;
    size_t count = 0;
    for (size_t i = 0; i < record->work_count; i++)
    {
        size_t k = 0;
        while (k < count && strcmp(tool[k], record->work[i].tool) != 0)
            k++;
        if (k == count && count < TOOLS)
        {
            tool[count] = record->work[i].tool;
            hours[count++] = 0.0;
        }
        *(k < count ? &hours[k] : &rest) += record->work[i].hours;
        all += record->work[i].hours;
    }
    if (count + (rest > 0.0 ? 1 : 0) > 3)
    {
        sheet_line(lines, "%s and other tools %.6g" RLV_THIN "h", tool[0], all);
        return;
    }
    char words[240] = "";
    for (size_t k = 0; k < count; k++)
        rlv_print(words + strlen(words), sizeof words - strlen(words), "%s%.60s %.6g" RLV_THIN "h", k > 0 ? ", " : "",
                  tool[k], hours[k]);
    if (count > 0)
        sheet_line(lines, "%s", words);
}

/// The classes of a step, with what bounds them where no interval of a region does, and what the record alone tells.
static void add_classes(sheet_lines* lines, const rlv_history* history, const history_step* step)
{
    const rlv_change* change = &step->change;
    for (int kind = 0; kind < RLV_CHANGE_CLASSES; kind++)
    {
        const rlv_change_total* total = &change->total[kind];
        if (total->regions > 0)
            sheet_line(lines, "%s %s" RLV_THIN "mL (%s)", history_scene_class(change, (rlv_change_class)kind),
                       words_value(total->volume_mm3, 1000.0).text, words_ends(total->volume_mm3, 1000.0).text);
    }
    if (lines->count > 0 && (change->went.faint || change->came.faint))
        sheet_line(lines, "the upper end leaves room for a layer too thin to tell");
    if (lines->count == 0)
        sheet_line(lines, "nothing told apart from noise");
    if (change->total[RLV_CHANGE_BONE].known && change->total[RLV_CHANGE_BONE].regions == 0)
        sheet_line(lines, "no loss of bone that showed could be told apart from noise");
    const report_text named = report_named(history, (size_t)(step - history->step));
    if (named.text[0] != '\0')
        sheet_line(lines, "recorded, in no figure: the note at ‘%.60s’ names %.120s",
                   history->stage[step->after].record->id, named.text);
}

/// The same in one line of running text.
static void sentence_of(char* into, size_t size, const rlv_history* history, const history_step* step)
{
    sheet_lines lines = {0};
    size_t put = 0;
    add_classes(&lines, history, step);
    into[0] = '\0';
    for (size_t i = 0; i < lines.count && put < size; i++)
        put += (size_t)snprintf(into + put, size - put, "%s%s", i > 0 ? "; " : "", lines.text[i]);
}

static void tell_limit(sheet_job* job, const history_scene* scene)
{
    const rlv_detection_limit* limit = scene->step->change.limit;
    if (!isfinite(limit[0].depth_mm))
        return;
    const rlv_detection_limit* wide = &limit[RLV_CHANGE_LIMITS / 2];
    snprintf(job->limit, sizeof job->limit,
             "%s" RLV_THIN "mm over %s" RLV_THIN "cm\xc2\xb2, %s" RLV_THIN "mm over %s" RLV_THIN "cm\xc2\xb2",
             words_figures(limit[0].depth_mm, 2).text, words_figures(limit[0].area_mm2 / 100.0, 2).text,
             words_figures(wide->depth_mm, 2).text, words_figures(wide->area_mm2 / 100.0, 2).text);
    snprintf(job->hatched, sizeof job->hatched, "less than %s" RLV_THIN "mm",
             words_figures(scene->depth.limit_mm, 2).text);
    job->title.detection_limit = job->limit;
}

// --- Sheets of a step ------------------------------------------------------------------------------------------------

static void begin_step(sheet_job* job, const history_scene* scene)
{
    sheet_add_stage(job, scene->before);
    sheet_add_stage(job, scene->after);
    tell_limit(job, scene);
}

/// "From 2031-05-12, field block (field), to 2031-06-02, overburden off (overburden): …"
static void name_step(sheet_job* job, const history_scene* scene, const char* what)
{
    char stages[544];
    sheet_from_to(stages, sizeof stages, scene->before->record, scene->after->record);
    snprintf(job->subject, sizeof job->subject, "From %s: %s", stages, what);
}

/// The step of lines of equal depth of which a scene's colours hold about so many; 0: it has no colours.
static double isolines_of(const history_scene* scene, int about)
{
    return scene->depth.end_mm > 0.0 ? rlv_round_step(scene->depth.end_mm, about) : 0.0;
}

static rlv_status draw_comparison(sheet_job* job, const history_scene* scene, rlv_error* error)
{
    const rlv_stage_record *before = scene->before->record, *after = scene->after->record;
    sheet_lines lines[3] = {0};
    rlv_overlay overlay;
    rlv_sheet sheet = {0};
    char name[2][160], date[2][200], told[1024], caption[1600], alt[2048];
    name_step(job, scene, "before, after, and the depth between them");
    snprintf(name[0], sizeof name[0], "Before: %.140s", sheet_stage_title(before));
    snprintf(name[1], sizeof name[1], "After: %.140s", sheet_stage_title(after));
    sheet_stage_date(date[0], sizeof date[0], before);
    sheet_stage_date(date[1], sizeof date[1], after);
    add_work(&lines[1], after);
    add_classes(&lines[2], job->history, scene->step);
    rlv_sheet_view view[3] = {{.surface = history_scene_before(scene), .name = name[0], .date = date[0]},
                              {.surface = history_scene_after(scene), .name = name[1], .date = date[1]},
                              {.surface = history_scene_depth(scene, &overlay), .name = "Depth of change"}};
    // At a fitted scale only what is not plain removal bears its class; numbers are those of the map of depth's table.
    view[2].surface.region = scene->tagged;
    view[2].surface.unnumbered = true;
    view[2].surface.isoline_mm = isolines_of(scene, 4);
    // Bone of before is outlined in the first view: the first of AFTER's lines is left out.
    for (size_t i = 1; i < 3; i++)
        if (scene->former)
        {
            view[i].surface.outline++;
            view[i].surface.outline_count--;
        }
    for (size_t i = 0; i < 3; i++)
    {
        view[i].line_count = lines[i].count;
        view[i].line = lines[i].at;
    }
    const rlv_gallery gallery = {.title = job->title,
                                 .axes = job->view.axes,
                                 .view_count = 3,
                                 .view = view,
                                 .scale = job->order.scale,
                                 .paper = job->order.scale > 0.0 ? SHEET_SMALL : SHEET_PAPER,
                                 .direction_count = job->view.direction_count,
                                 .direction = job->view.direction,
                                 .limit_words = job->hatched[0] != '\0' ? job->hatched : NULL,
                                 .feature = true};
    rlv_status status = rlv_sheet_of_gallery(&sheet, &gallery, &job->left_out, error);
    if (status == RLV_DONE)
    {
        sentence_of(told, sizeof told, job->history, scene->step);
        snprintf(caption, sizeof caption, "From %s to %s: %s. Before, after, and the depth of what changed, %s.",
                 before->id, after->id, told, job->view.words);
        snprintf(alt, sizeof alt,
                 "Three views of the block from one side: stage %s, stage %s, and on the latter the "
                 "depth of what changed between them, up to %s mm. %s.",
                 before->id, after->id, words_figures(scene->depth.deepest_mm, 2).text, told);
        status = sheet_keep(job, &sheet, caption, alt, error);
    }
    rlv_sheet_free(&sheet);
    return status;
}

/// The regions as a map of depth lists them.
typedef struct region_list
{
    size_t rows, unlisted;
    char text[ROWS][COLUMNS][80];
    const char* cell[ROWS * COLUMNS];
    char caption[200];
} region_list;

static const char* const list_head[COLUMNS] = {"no.",        "class",         "square",
                                               "volume, mL", "95 % interval", "area, cm\xc2\xb2",
                                               "mean, mm",   "greatest, mm",  "nearest bone, mm"};
static const bool list_right[COLUMNS] = {true, false, false, true, true, true, true, true, true};

static void put_cell(region_list* list, size_t row, size_t column, const char* text)
{
    sheet_letters(list->text[row][column], sizeof list->text[row][column], text);
    list->cell[row * COLUMNS + column] = list->text[row][column];
}

static const char* shown(double value, const rlv_words* words)
{
    return isfinite(value) ? words->text : "\xe2\x80\x93";
}

static history_square square_of(const history_grid* grid, const history_region* region)
{
    return history_grid_square(grid, region->place_mm);
}

static void list_regions(region_list* list, const history_grid* grid, const history_step* step)
{
    const rlv_change* change = &step->change;
    list->rows = change->region_count < ROWS ? change->region_count : ROWS;
    list->unlisted = change->region_count - list->rows;
    for (size_t i = 0; i < list->rows; i++)
    {
        const rlv_change_region* region = &change->region[i];
        const rlv_words mean = words_value(region->mean_depth_mm, 1.0),
                        greatest = words_value(region->max_depth_mm, 1.0);
        const double bone_mm = step->region != NULL ? step->region[i].nearest_bone_mm : (double)NAN;
        const rlv_words bone = words_known(bone_mm, change->noise_sd_mm);
        put_cell(list, i, 0, words_number((double)(i + 1), 0).text);
        put_cell(list, i, 1, history_scene_class(change, region->kind));
        put_cell(list, i, 2, step->region != NULL ? square_of(grid, &step->region[i]).name : "");
        const int decimals = words_found_decimals(region->volume_mm3, 1000.0);
        put_cell(list, i, 3, words_number(region->volume_mm3.value / 1000.0, decimals).text);
        put_cell(list, i, 4, words_ends_to(region->volume_mm3, 1000.0, decimals).text);
        put_cell(list, i, 5,
                 words_number(region->area_mm2.value / 100.0, words_found_decimals(region->area_mm2, 100.0)).text);
        put_cell(list, i, 6, shown(region->mean_depth_mm.value, &mean));
        put_cell(list, i, 7, shown(region->max_depth_mm.value, &greatest));
        put_cell(list, i, 8, shown(bone_mm, &bone));
    }
    if (list->unlisted > 0)
        snprintf(list->caption, sizeof list->caption, "The %zu largest regions; %s beside them", list->rows,
                 words_count(list->unlisted, "smaller one").text);
    else
        snprintf(list->caption, sizeof list->caption, "Regions, by falling volume");
    // What crumbled out of a joint is in no region: the lines' sum of matrix has it.
    size_t put = strlen(list->caption);
    const rlv_interval crumbled = step->crumbled_mm3;
    if (isfinite(crumbled.value))
        snprintf(list->caption + put, sizeof list->caption - put,
                 "; round the piece, in its joint, %s" RLV_THIN "mL more of matrix",
                 words_value(crumbled, 1000.0).text);
}

/// The scale that a map of depth begins with: what was asked for, 1 : 1, or the largest round one at which the plan
/// and the depth of the block beside and beneath it can fit the least paper.
static double first_scale(const sheet_job* job, const rlv_depth_map* map)
{
    if (job->order.scale > 0.0)
        return job->order.scale;
    if (!job->order.fit)
        return 1.0;
    const rlv_mesh* mesh[2] = {map->before.mesh, map->surface.mesh};
    const rlv_camera_axes beside = {map->axes.towards, map->axes.up, rlv_vec3_scale(map->axes.right, -1.0)};
    rlv_panel_view plan = rlv_panel_view_of(2, mesh, &map->axes, 1.0), side = rlv_panel_view_of(2, mesh, &beside, 1.0);
    rlv_paper paper = rlv_paper_holding(2.0, 1.0, SHEET_PAPER);
    return rlv_round_scale(fmin(paper.width_mm / (plan.span_mm[0] + side.span_mm[0]),
                                paper.height_mm / (plan.span_mm[1] + side.span_mm[0])));
}

/// Draw the map, at a scale that is asked for, or at the largest round one that the least paper holds.
static rlv_status draw_map(rlv_sheet* sheet, sheet_job* job, rlv_depth_map* map, const history_scene* scene,
                           rlv_error* error)
{
    char words[48], what[80];
    map->scale = first_scale(job, map);
    rlv_status status = job->order.fit && job->order.scale <= 0.0 ? rlv_depth_map_fit(map, error) : RLV_DONE;
    if (status != RLV_DONE)
        return status;
    job->order.scale = map->scale;
    rlv_scale_words(words, sizeof words, map->scale);
    snprintf(what, sizeof what, "map of depth at %s", words);
    name_step(job, scene, what);
    return rlv_sheet_of_depth(sheet, map, &job->left_out, error);
}

static rlv_status keep_map(sheet_job* job, const rlv_sheet* sheet, const history_scene* scene, size_t regions,
                           rlv_error* error)
{
    const rlv_stage_record *before = scene->before->record, *after = scene->after->record;
    char told[1024], caption[1600], alt[2048];
    sentence_of(told, sizeof told, job->history, scene->step);
    snprintf(caption, sizeof caption,
             "From %s to %s: depth of what changed, %s, with two sections through the deepest place; %s.", before->id,
             after->id, job->view.words, told);
    snprintf(alt, sizeof alt,
             "Stage %s from one side, coloured by the depth of what changed since %s, up to %s mm, with %s numbered as "
             "in the table beside it and two sections through the deepest place; %s.",
             after->id, before->id, words_figures(scene->depth.deepest_mm, 2).text, words_count(regions, "region").text,
             told);
    return sheet_keep(job, sheet, caption, alt, error);
}

/// The pieces that were put back and are in the block at a stage, as what a section shows no joint of; false: none.
static bool name_joined(char* into, size_t size, const rlv_history* history, size_t stage)
{
    const rlv_specimen* specimen = history->specimen;
    const char* first = NULL;
    size_t count = 0;
    for (size_t i = 0; i < specimen->piece_count; i++)
    {
        const rlv_piece_record* piece = &specimen->piece[i];
        if (!rlv_specimen_is_back(specimen, piece, stage))
            continue;
        first = first != NULL ? first : piece->id;
        count++;
    }
    if (count == 1)
        rlv_print(into, size, "%.24s is in it, its joint is not seen", first);
    else
        snprintf(into, size, "%zu pieces are in it, no joint is seen", count);
    return count > 0;
}

static rlv_status draw_depth(sheet_job* job, const history_scene* scene, rlv_error* error)
{
    static const char* const note[] = {
        "On a section a ruler reads depth along the view. The table, the colours and the report tell it square to the "
        "surface as it was before, which beneath a slope is less."};
    region_list* list = rlv_reserve(1, sizeof *list, error);
    const char** room = NULL;
    char within[64];
    rlv_overlay overlay;
    rlv_panel_grid grid;
    rlv_sheet sheet = {0};
    if (list == NULL)
        return RLV_SYSTEM;
    const rlv_title title = rlv_title_noted(&job->title, 1, note, &room, error);
    if (room == NULL)
    {
        free(list);
        return RLV_SYSTEM;
    }
    list_regions(list, &job->history->grid, scene->step);
    rlv_depth_map map = {.title = title,
                         .axes = job->view.axes,
                         .surface = history_scene_depth(scene, &overlay),
                         .before = {&scene->before->given.mesh, NULL, scene->step->change.before_label, scene->came,
                                    scene->depth.limit_mm},
                         .bone = scene->bone,
                         .cross_mm = history_scene_deepest(scene),
                         .paper = job->order.scale > 0.0 ? SHEET_SMALL : SHEET_PAPER,
                         .table_caption = list->caption,
                         .limit_words = job->hatched[0] != '\0' ? job->hatched : NULL};
    if (list->rows > 0)
        map.table = (rlv_sheet_table){COLUMNS, list->rows, list_head, list->cell, list_right};
    map.surface.region_count = list->rows;
    map.surface.region_mm = scene->place;
    map.surface.isoline_mm = isolines_of(scene, 8);
    map.marks.direction_count = job->view.direction_count;
    map.marks.direction = job->view.direction;
    if (history_grid_on(&grid, job->history, scene->step->before, &job->view.axes))
        map.marks.grid = &grid;
    if (name_joined(within, sizeof within, job->history, scene->step->after))
        map.within = within;
    rlv_status status = draw_map(&sheet, job, &map, scene, error);
    if (status == RLV_DONE)
        status = keep_map(job, &sheet, scene, list->rows, error);
    rlv_sheet_free(&sheet);
    free(room);
    free(list);
    return status;
}

rlv_status sheet_of_step(sheet_job job, const history_scene* scene, rlv_error* error)
{
    rlv_status status = sheet_begin(&job, scene->step->before, error);
    if (status == RLV_DONE)
    {
        begin_step(&job, scene);
        status = job.order.kind == HISTORY_SHEET_DEPTH ? draw_depth(&job, scene, error)
                                                       : draw_comparison(&job, scene, error);
    }
    free(job.title_stage);
    return status;
}
