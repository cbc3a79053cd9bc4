#include "history_sheets.h"

#include "history_scene.h"
#include "history_view.h"
#include "sheets.h"

#include <glib.h>
#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

enum
{
    ROWS = 40,       ///< regions that a map of depth lists and numbers; regions beyond are in the tables
    COLUMNS = 8,     ///< of that list
    LINES = 6,       ///< beneath a view
    TOOLS = 4,       ///< that are told one a line
    PAPER = 3,       ///< A3, the least
    PNG_MOST = 6000, ///< pixels of a side: pixels are doubled in size until they do
};

const char* history_sheet_name(history_sheet_kind kind)
{
    static const char* const name[HISTORY_SHEET_KINDS] = {"comparison", "depth", "history", "stage"};
    return name[kind];
}

void history_sheets_free(history_sheets* sheets)
{
    for (size_t i = 0; i < sheets->count; i++)
    {
        free(sheets->sheet[i].path);
        free(sheets->sheet[i].print);
        free(sheets->sheet[i].caption);
        free(sheets->sheet[i].alt);
    }
    free(sheets->sheet);
    *sheets = (history_sheets){0};
}

// --- Names of files --------------------------------------------------------------------------------------------------

/// What two names of files must not share: some systems take letters of either case, and composed or not, for one.
static char* folded(const char* id)
{
    char* whole = g_utf8_normalize(id, -1, G_NORMALIZE_ALL);
    char* fold = whole != NULL ? g_utf8_casefold(whole, -1) : g_strdup(id);
    for (char* at = fold; *at != '\0'; at++)
        *at = *at == ' ' ? '-' : *at;
    g_free(whole);
    return fold;
}

char* history_stage_file(const rlv_specimen* specimen, size_t stage, rlv_error* error)
{
    char* own = folded(specimen->stage[stage].id);
    size_t alike = 1;
    for (size_t i = 0; i < stage; i++)
    {
        char* other = folded(specimen->stage[i].id);
        alike += strcmp(own, other) == 0 ? 1 : 0;
        g_free(other);
    }
    g_free(own);
    char* name = NULL;
    // Ids are of letters, digits, space, _, - and . only. A tilde is in none, so that no two names are
    // alike.
    int put = alike > 1 ? asprintf(&name, "%s~%zu", specimen->stage[stage].id, alike)
                        : asprintf(&name, "%s", specimen->stage[stage].id);
    if (put < 0)
    {
        rlv_fail(error, RLV_SYSTEM, NULL, "close other programs", "no memory for a name");
        return NULL;
    }
    for (char* at = name; *at != '\0'; at++)
        *at = *at == ' ' ? '-' : *at;
    return name;
}

// --- One run ---------------------------------------------------------------------------------------------------------

/// What is the same for a sheet in all its formats.
typedef struct sheet_job
{
    history_sheets* drawn;
    const rlv_history* history;
    history_sheet_order order;
    bool all; ///< into pictures/, as PNG and PDF
    rlv_answer* answer;
    history_view view;
    rlv_title title;
    rlv_title_stage* title_stage;
    char subject[256], limit[384], hatched[112], frame[320], date[40];
    size_t left_out;
} sheet_job;

/// Words beneath a view.
typedef struct sheet_lines
{
    size_t count;
    char text[LINES][200];
    const char* at[LINES];
} sheet_lines;

__attribute__((format(printf, 2, 3))) static void add_line(sheet_lines* lines, const char* format, ...)
{
    if (lines->count == LINES)
        return;
    va_list list;
    va_start(list, format);
    (void)vsnprintf(lines->text[lines->count], sizeof lines->text[0], format, list);
    va_end(list);
    lines->at[lines->count] = lines->text[lines->count];
    lines->count++;
}

/// The hours of each tool between a stage and the one before.
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
        add_line(lines, "%s and other tools %.6g h", tool[0], all);
        return;
    }
    for (size_t k = 0; k < count; k++)
        add_line(lines, "%s %.6g h", tool[k], hours[k]);
}

static void add_classes(sheet_lines* lines, const rlv_change* change)
{
    for (int kind = 0; kind < RLV_CHANGE_CLASSES; kind++)
    {
        const rlv_change_total* total = &change->total[kind];
        if (total->regions > 0)
            add_line(lines, "%s %s mL (%s)", history_scene_class(change, (rlv_change_class)kind),
                     words_value(total->volume_mm3, 1000.0).text, words_ends(total->volume_mm3, 1000.0).text);
    }
    if (lines->count == 0)
        add_line(lines, "nothing told apart from noise");
    if (change->total[RLV_CHANGE_BONE].known && change->total[RLV_CHANGE_BONE].regions == 0)
        add_line(lines, "no bone lost that could be told apart from noise");
}

/// The same in one line of running text.
static void sentence_of(char* into, size_t size, const rlv_change* change)
{
    sheet_lines lines = {0};
    size_t put = 0;
    add_classes(&lines, change);
    into[0] = '\0';
    for (size_t i = 0; i < lines.count && put < size; i++)
        put += (size_t)snprintf(into + put, size - put, "%s%s", i > 0 ? "; " : "", lines.text[i]);
}

static void add_title_stage(sheet_job* job, const history_stage* stage)
{
    job->title_stage[job->title.stage_count++] = (rlv_title_stage){.id = stage->record->id,
                                                                   .date = stage->record->date,
                                                                   .file = given_name(stage->record->mesh.mesh),
                                                                   .sha256 = stage->given.source.sha256};
}

/// A date as a file's own record has it: of a span its end.
static const char* keep_date(sheet_job* job, const char* date)
{
    if (date == NULL)
        return NULL;
    const char* slash = strchr(date, '/');
    snprintf(job->date, sizeof job->date, "%s", slash != NULL ? slash + 1 : date);
    return job->date;
}

static rlv_status begin(sheet_job* job, size_t stage, rlv_error* error)
{
    const rlv_specimen* specimen = job->history->specimen;
    rlv_status status = history_view_find(&job->view, job->history, stage, job->order.view, error);
    if (status != RLV_DONE)
        return status;
    job->title_stage = rlv_reserve(job->history->stage_count, sizeof *job->title_stage, error);
    if (job->title_stage == NULL)
        return RLV_SYSTEM;
    snprintf(job->frame, sizeof job->frame, "%s%.100s; %s",
             job->view.direction_count > 0 ? "the block's, that of stage " : "that of stage ",
             job->history->stage[job->view.direction_count > 0 ? job->history->frame : stage].record->id,
             job->view.words);
    job->title = (rlv_title){.specimen = specimen->id,
                             .specimen_title = specimen->title,
                             .subject = job->subject,
                             .stage = job->title_stage,
                             .frame = job->frame,
                             .software = "rilievo " RLV_VERSION};
    return RLV_DONE;
}

static void tell_limit(sheet_job* job, const history_scene* scene)
{
    const rlv_detection_limit* limit = scene->step->change.limit;
    if (!isfinite(limit[0].depth_mm))
        return;
    const rlv_detection_limit* wide = &limit[RLV_CHANGE_LIMITS / 2];
    snprintf(job->limit, sizeof job->limit, "%s mm over %s cm\xc2\xb2, %s mm over %s cm\xc2\xb2",
             words_figures(limit[0].depth_mm, 2).text, words_figures(limit[0].area_mm2 / 100.0, 2).text,
             words_figures(wide->depth_mm, 2).text, words_figures(wide->area_mm2 / 100.0, 2).text);
    snprintf(job->hatched, sizeof job->hatched, "less than %s mm", words_figures(scene->depth.limit_mm, 2).text);
    job->title.detection_limit = job->limit;
}

// --- Into files ------------------------------------------------------------------------------------------------------

static rlv_status no_memory(rlv_error* error)
{
    return rlv_fail(error, RLV_SYSTEM, NULL, "close other programs", "no memory for a sheet");
}

/// "pictures/overburden-depth-upper.png"
static char* path_of(const sheet_job* job, rlv_sheet_format format, rlv_error* error)
{
    static const char* const ending[] = {[RLV_SHEET_PNG] = "png", [RLV_SHEET_PDF] = "pdf", [RLV_SHEET_SVG] = "svg"};
    bool one = job->order.kind != HISTORY_SHEET_HISTORY, named = job->order.view != NULL;
    char *stage = one ? history_stage_file(job->history->specimen, job->order.stage, error) : NULL, *path = NULL;
    if (one && stage == NULL)
        return NULL;
    if (asprintf(&path, "%s%s%s%s%s%s.%s", job->all ? "pictures/" : "", one ? stage : "", one ? "-" : "",
                 history_sheet_name(job->order.kind), named ? "-" : "", named ? job->view.key : "", ending[format]) < 0)
    {
        path = NULL;
        no_memory(error);
    }
    free(stage);
    return path;
}

/// Write the sheet as a file of the folder; its path, or NULL with `error` filled.
static char* write_as(sheet_job* job, const rlv_sheet* sheet, rlv_sheet_format format, double pixel_mm,
                      rlv_error* error)
{
    out_folder* folder = &job->answer->folder;
    FILE* stream = NULL;
    char source[1024];
    rlv_sheet_info info = rlv_title_info(&job->title, source);
    info.pixel_mm = pixel_mm;
    char* path = path_of(job, format, error);
    rlv_status status = path != NULL ? out_folder_add(folder, path, &stream, error) : RLV_SYSTEM;
    if (status == RLV_DONE)
    {
        status = rlv_sheet_write(sheet, format, stream, &info, error);
        // A sheet does not know what file it goes to.
        if (status != RLV_DONE && error->where[0] == '\0')
            snprintf(error->where, sizeof error->where, "%s", folder->file[folder->file_count - 1].path);
    }
    if (status == RLV_DONE)
        status = out_folder_finish(folder, stream, error);
    if (status != RLV_DONE)
    {
        free(path);
        return NULL;
    }
    return path;
}

static rlv_status keep(sheet_job* job, const rlv_sheet* sheet, const char* caption, const char* alt, rlv_error* error)
{
    history_sheets* list = job->drawn;
    if (list->count == list->room)
    {
        size_t room = list->room > 0 ? 2 * list->room : 8;
        history_sheet* grown = realloc(list->sheet, room * sizeof *grown);
        if (grown == NULL)
            return no_memory(error);
        list->sheet = grown;
        list->room = room;
    }
    history_sheet* entry = &list->sheet[list->count++];
    *entry = (history_sheet){.kind = job->order.kind,
                             .stage = job->order.stage,
                             .paper_mm = {sheet->width_mm, sheet->height_mm},
                             .scale = job->order.scale};
    if (asprintf(&entry->caption, "%s", caption) < 0)
        entry->caption = NULL;
    if (asprintf(&entry->alt, "%s", alt) < 0)
        entry->alt = NULL;
    if (entry->caption == NULL || entry->alt == NULL)
        return no_memory(error);
    double pixel_mm = RLV_SHEET_PIXEL_MM;
    while (fmax(sheet->width_mm, sheet->height_mm) / pixel_mm > (double)PNG_MOST)
        pixel_mm *= 2.0;
    rlv_sheet_format first = job->all ? RLV_SHEET_PNG : job->order.format;
    if (first == RLV_SHEET_PNG)
    {
        entry->width = (size_t)ceil(sheet->width_mm / pixel_mm - 1e-6);
        entry->height = (size_t)ceil(sheet->height_mm / pixel_mm - 1e-6);
    }
    entry->path = write_as(job, sheet, first, pixel_mm, error);
    if (entry->path != NULL && job->all)
        entry->print = write_as(job, sheet, RLV_SHEET_PDF, pixel_mm, error);
    if (entry->path == NULL || (job->all && entry->print == NULL))
        return error->status != RLV_DONE ? error->status : no_memory(error);
    if (job->left_out > 0)
        answer_warn(job->answer, "%s: %s found no room", entry->path, words_count(job->left_out, "label").text);
    return RLV_DONE;
}

// --- Sheets of a step ------------------------------------------------------------------------------------------------

static void begin_step(sheet_job* job, const history_scene* scene)
{
    add_title_stage(job, scene->before);
    add_title_stage(job, scene->after);
    job->title.date = keep_date(job, scene->after->record->date);
    tell_limit(job, scene);
}

static rlv_status draw_comparison(sheet_job* job, const history_scene* scene, rlv_error* error)
{
    const rlv_change* change = &scene->step->change;
    const rlv_stage_record *before = scene->before->record, *after = scene->after->record;
    sheet_lines lines[3] = {0};
    rlv_overlay overlay;
    rlv_sheet sheet = {0};
    char name[2][160], told[1024], caption[1600], alt[2048];
    snprintf(job->subject, sizeof job->subject, "From %.90s to %.90s: before, after, and the depth between them",
             before->id, after->id);
    snprintf(name[0], sizeof name[0], "Before: %.140s", before->id);
    snprintf(name[1], sizeof name[1], "After: %.140s", after->id);
    if (before->title != NULL)
        add_line(&lines[0], "%.190s", before->title);
    if (after->title != NULL)
        add_line(&lines[1], "%.190s", after->title);
    add_work(&lines[1], after);
    add_classes(&lines[2], change);
    rlv_sheet_view view[3] = {{.surface = history_scene_before(scene), .name = name[0], .date = before->date},
                              {.surface = history_scene_after(scene), .name = name[1], .date = after->date},
                              {.surface = history_scene_depth(scene, &overlay), .name = "Depth of change"}};
    // At a fitted scale only what is not plain removal bears its number and class; the map of depth numbers all.
    view[2].surface.region = scene->tagged;
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
                                 .paper = PAPER,
                                 .direction_count = job->view.direction_count,
                                 .direction = job->view.direction,
                                 .limit_words = job->hatched[0] != '\0' ? job->hatched : NULL};
    rlv_status status = rlv_sheet_of_gallery(&sheet, &gallery, &job->left_out, error);
    if (status == RLV_DONE)
    {
        sentence_of(told, sizeof told, change);
        snprintf(caption, sizeof caption, "From %s to %s: %s. Before, after, and the depth of what changed, %s.",
                 before->id, after->id, told, job->view.words);
        snprintf(alt, sizeof alt,
                 "Three views of the block from one side and at one scale: stage %s, stage %s, and on the latter the "
                 "depth of what changed between them, up to %s mm. %s.",
                 before->id, after->id, words_figures(scene->depth.deepest_mm, 2).text, told);
        status = keep(job, &sheet, caption, alt, error);
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

static const char* const list_head[COLUMNS] = {
    "no.", "class", "volume, mL", "95 % interval", "area, cm\xc2\xb2", "mean, mm", "greatest, mm", "nearest bone, mm"};
static const bool list_right[COLUMNS] = {true, false, true, true, true, true, true, true};

static void put_cell(region_list* list, size_t row, size_t column, const char* text)
{
    snprintf(list->text[row][column], sizeof list->text[row][column], "%s", text);
    list->cell[row * COLUMNS + column] = list->text[row][column];
}

static const char* shown(double value, int decimals, rlv_words* words)
{
    *words = words_number(value, decimals);
    return isfinite(value) ? words->text : "\xe2\x80\x93";
}

static void list_regions(region_list* list, const history_step* step)
{
    const rlv_change* change = &step->change;
    int decimals = words_decimals(fmax(change->noise_sd_mm, 0.02));
    list->rows = change->region_count < ROWS ? change->region_count : ROWS;
    list->unlisted = change->region_count - list->rows;
    for (size_t i = 0; i < list->rows; i++)
    {
        const rlv_change_region* region = &change->region[i];
        rlv_words words;
        double mean_sd_mm = region->area_mm2 > 0.0 ? words_sd(region->volume_mm3) / region->area_mm2 : 0.0;
        put_cell(list, i, 0, words_number((double)(i + 1), 0).text);
        put_cell(list, i, 1, history_scene_class(change, region->kind));
        put_cell(list, i, 2, words_value(region->volume_mm3, 1000.0).text);
        put_cell(list, i, 3, words_ends(region->volume_mm3, 1000.0).text);
        put_cell(list, i, 4, words_figures(region->area_mm2 / 100.0, 3).text);
        put_cell(list, i, 5, shown(region->mean_depth_mm, words_decimals(fmax(mean_sd_mm, 0.02)), &words));
        put_cell(list, i, 6, shown(region->max_depth_mm, decimals, &words));
        put_cell(list, i, 7, shown(step->region != NULL ? step->region[i].nearest_bone_mm : (double)NAN, 1, &words));
    }
    if (list->unlisted > 0)
        snprintf(list->caption, sizeof list->caption, "The %zu largest regions; %s beside them", list->rows,
                 words_count(list->unlisted, "smaller one").text);
    else
        snprintf(list->caption, sizeof list->caption, "Regions, by falling volume");
}

/// The scale that a map of depth begins with: what was asked for, 1 : 1, or the largest standard one at which the plan
/// and the depth of the block beside and beneath it can fit the least paper.
static double first_scale(const sheet_job* job, const rlv_depth_map* map)
{
    if (job->order.scale > 0.0)
        return job->order.scale;
    if (!job->order.fit)
        return 1.0;
    const rlv_mesh* mesh[2] = {map->before, map->surface.mesh};
    const rlv_camera_axes beside = {map->axes.towards, map->axes.up, rlv_vec3_scale(map->axes.right, -1.0)};
    rlv_panel_view plan = rlv_panel_view_of(2, mesh, &map->axes, 1.0), side = rlv_panel_view_of(2, mesh, &beside, 1.0);
    rlv_paper paper = rlv_paper_holding(2.0, 1.0, PAPER);
    return rlv_standard_scale(fmin(paper.width_mm / (plan.span_mm[0] + side.span_mm[0]),
                                   paper.height_mm / (plan.span_mm[1] + side.span_mm[0])));
}

/// Draw the map, at a scale that is asked for, or at the largest standard one that the least paper holds.
static rlv_status draw_map(rlv_sheet* sheet, sheet_job* job, rlv_depth_map* map, const history_scene* scene,
                           rlv_error* error)
{
    rlv_paper paper = rlv_paper_holding(2.0, 1.0, PAPER);
    rlv_status status = RLV_DONE;
    bool again = true;
    map->scale = first_scale(job, map);
    while (again && status == RLV_DONE)
    {
        char words[48];
        rlv_scale_words(words, sizeof words, map->scale);
        snprintf(job->subject, sizeof job->subject, "From %.90s to %.90s: map of depth at %s",
                 scene->before->record->id, scene->after->record->id, words);
        status = rlv_sheet_of_depth(sheet, map, &job->left_out, error);
        again = status == RLV_DONE && job->order.fit && map->scale > 1e-3 &&
                fmax(sheet->width_mm, sheet->height_mm) > fmax(paper.width_mm, paper.height_mm);
        if (again)
        {
            rlv_sheet_free(sheet);
            map->scale = rlv_standard_scale(0.999 * map->scale);
        }
    }
    job->order.scale = map->scale;
    return status;
}

static rlv_status keep_map(sheet_job* job, const rlv_sheet* sheet, const history_scene* scene, size_t regions,
                           rlv_error* error)
{
    const rlv_stage_record *before = scene->before->record, *after = scene->after->record;
    char told[1024], caption[1600], alt[2048], scale_words[48];
    sentence_of(told, sizeof told, &scene->step->change);
    rlv_scale_words(scale_words, sizeof scale_words, job->order.scale);
    snprintf(caption, sizeof caption,
             "From %s to %s: depth of what changed, at %s, %s, with two sections through the deepest place. %s.",
             before->id, after->id, scale_words, job->view.words, told);
    snprintf(alt, sizeof alt,
             "Stage %s from one side, coloured by the depth of what changed since %s, up to %s mm, with %s numbered as "
             "in the table beside it and two sections through the deepest place. %s.",
             after->id, before->id, words_figures(scene->depth.deepest_mm, 2).text, words_count(regions, "region").text,
             told);
    return keep(job, sheet, caption, alt, error);
}

static rlv_status draw_depth(sheet_job* job, const history_scene* scene, rlv_error* error)
{
    region_list* list = rlv_reserve(1, sizeof *list, error);
    rlv_overlay overlay;
    rlv_sheet sheet = {0};
    if (list == NULL)
        return RLV_SYSTEM;
    list_regions(list, scene->step);
    rlv_depth_map map = {.title = job->title,
                         .axes = job->view.axes,
                         .surface = history_scene_depth(scene, &overlay),
                         .before = &scene->before->given.mesh,
                         .bone = scene->bone,
                         .cross_mm = history_scene_deepest(scene),
                         .paper = PAPER,
                         .table_caption = list->caption,
                         .limit_words = job->hatched[0] != '\0' ? job->hatched : NULL};
    if (list->rows > 0)
        map.table = (rlv_sheet_table){COLUMNS, list->rows, list_head, list->cell, list_right};
    map.surface.region_count = list->rows;
    map.surface.isoline_mm = scene->depth.deepest_mm > 0.0 ? rlv_round_step(scene->depth.deepest_mm, 6) : 0.0;
    map.marks.direction_count = job->view.direction_count;
    map.marks.direction = job->view.direction;
    rlv_status status = draw_map(&sheet, job, &map, scene, error);
    if (status == RLV_DONE)
        status = keep_map(job, &sheet, scene, list->rows, error);
    rlv_sheet_free(&sheet);
    free(list);
    return status;
}

static rlv_status draw_of_step(sheet_job job, const history_scene* scene, rlv_error* error)
{
    rlv_status status = begin(&job, scene->step->before, error);
    if (status == RLV_DONE)
    {
        begin_step(&job, scene);
        status = job.order.kind == HISTORY_SHEET_DEPTH ? draw_depth(&job, scene, error)
                                                       : draw_comparison(&job, scene, error);
    }
    free(job.title_stage);
    return status;
}

// --- Sheets of stages ------------------------------------------------------------------------------------------------

/// A stage as a sheet of stages shows it.
typedef struct stage_look
{
    rlv_mesh moved; ///< in the frame of the sheet; empty where the stage's own mesh serves
    rlv_tree* tree;
    uint8_t* bone;
    rlv_panel_outline outline;
    sheet_lines lines;
} stage_look;

static void free_look(stage_look* look)
{
    rlv_mesh_free(&look->moved);
    rlv_tree_free(look->tree);
    free(look->bone);
}

/// A stage's view; with `move` its mesh is carried into the block frame.
static rlv_status look_at(stage_look* look, rlv_sheet_view* view, const rlv_history* history, size_t index, bool move,
                          rlv_error* error)
{
    const history_stage* stage = &history->stage[index];
    const rlv_mesh* mesh = &stage->given.mesh;
    rlv_status status = RLV_DONE;
    if (move && index != history->frame)
    {
        rlv_pose pose = history_pose(history, index);
        status = rlv_mesh_copy(&look->moved, mesh, error);
        if (status != RLV_DONE)
            return status;
        rlv_pose_move_mesh(&pose, &look->moved);
        mesh = &look->moved;
    }
    status = rlv_tree_build(&look->tree, mesh, error);
    if (status == RLV_DONE && stage->parts.is != NULL && stage->parts.bone_count > 0)
    {
        look->bone = rlv_reserve(mesh->triangle_count, sizeof *look->bone, error);
        status = look->bone != NULL ? RLV_DONE : RLV_SYSTEM;
        for (size_t i = 0; look->bone != NULL && i < mesh->triangle_count; i++)
            look->bone[i] = (stage->parts.is[i] & RLV_IS_BONE) != 0;
        look->outline = (rlv_panel_outline){.in = look->bone, .line_mm = RLV_LINE_MEDIUM, .words = "bone"};
    }
    view->surface = (rlv_panel_surface){
        .mesh = mesh, .tree = look->tree, .outline_count = look->bone != NULL ? 1 : 0, .outline = &look->outline};
    view->name = stage->record->id;
    view->date = stage->record->date;
    view->line = look->lines.at;
    if (stage->record->title != NULL)
        add_line(&look->lines, "%.190s", stage->record->title);
    return status;
}

/// What went and came from the first stage to this one.
static void add_so_far(sheet_lines* lines, const rlv_history* history, size_t stage)
{
    size_t before = lines->count;
    if (stage == 0 || history->cumulative == NULL)
        return;
    for (int kind = 0; kind < RLV_CHANGE_CLASSES; kind++)
    {
        rlv_interval ml = history->cumulative[stage - 1].ml[kind];
        bool found = false;
        for (size_t i = 0; i < stage; i++)
            found = found || (history->step[i].measured && history->step[i].change.total[kind].regions > 0);
        if (found && isfinite(ml.value))
            add_line(lines, "%s%s %s mL (%s)", lines->count == before ? "so far: " : "",
                     history_class_name((rlv_change_class)kind), words_value(ml, 1.0).text, words_ends(ml, 1.0).text);
    }
    for (size_t i = 0; i < stage && lines->count == before; i++)
        if (!history->step[i].measured)
            add_line(lines, "so far: not known, a step was not measured");
}

static rlv_status draw_stages(sheet_job* job, size_t first, size_t count, rlv_error* error)
{
    const rlv_history* history = job->history;
    stage_look* look = rlv_reserve(count, sizeof *look, error);
    rlv_sheet_view* view = look != NULL ? rlv_reserve(count, sizeof *view, error) : NULL;
    rlv_status status = view != NULL ? RLV_DONE : RLV_SYSTEM;
    rlv_sheet sheet = {0};
    char caption[800], alt[1024];
    bool alone = job->order.kind == HISTORY_SHEET_STAGE;
    const char *id = history->stage[first].record->id, *last = history->stage[first + count - 1].record->id;
    for (size_t i = 0; i < count && status == RLV_DONE; i++)
    {
        status = look_at(&look[i], &view[i], history, first + i, !alone, error);
        if (status == RLV_DONE && !alone)
            add_so_far(&look[i].lines, history, first + i);
        view[i].line_count = look[i].lines.count;
        add_title_stage(job, &history->stage[first + i]);
    }
    job->title.date = keep_date(job, history->stage[first + count - 1].record->date);
    const rlv_gallery gallery = {.title = job->title,
                                 .axes = job->view.axes,
                                 .view_count = count,
                                 .view = view,
                                 .scale = job->order.scale,
                                 .paper = PAPER,
                                 .direction_count = job->view.direction_count,
                                 .direction = job->view.direction};
    snprintf(job->subject, sizeof job->subject, alone ? "Stage %.90s" : "All stages, from %.90s to %.90s", id, last);
    if (status == RLV_DONE)
        status = rlv_sheet_of_gallery(&sheet, &gallery, &job->left_out, error);
    if (status == RLV_DONE && alone)
    {
        snprintf(caption, sizeof caption, "Stage %s, %s.", id, job->view.words);
        snprintf(alt, sizeof alt, "The block at stage %s, %s.", id, job->view.words);
    }
    else if (status == RLV_DONE)
    {
        snprintf(caption, sizeof caption, "All %zu stages through one camera and at one scale, %s.", count,
                 job->view.words);
        snprintf(alt, sizeof alt, "The block at its %zu stages, from %s to %s, from one side and at one scale.", count,
                 id, last);
    }
    if (status == RLV_DONE)
        status = keep(job, &sheet, caption, alt, error);
    rlv_sheet_free(&sheet);
    for (size_t i = 0; look != NULL && i < count; i++)
        free_look(&look[i]);
    free(look);
    free(view);
    return status;
}

static rlv_status draw_of_stages(sheet_job job, rlv_error* error)
{
    bool alone = job.order.kind == HISTORY_SHEET_STAGE;
    size_t count = job.history->stage_count;
    rlv_status status = begin(&job, alone ? job.order.stage : job.history->frame, error);
    if (status == RLV_DONE)
        status = draw_stages(&job, alone ? job.order.stage : 0, alone ? 1 : count, error);
    free(job.title_stage);
    return status;
}

// --- All of them -----------------------------------------------------------------------------------------------------

rlv_status history_sheet_draw(history_sheets* drawn, const rlv_history* history, const history_sheet_order* order,
                              rlv_answer* answer, rlv_error* error)
{
    sheet_job job = {.drawn = drawn, .history = history, .order = *order, .answer = answer};
    if (order->kind == HISTORY_SHEET_STAGE)
        return draw_of_stages(job, error);
    if (order->kind == HISTORY_SHEET_HISTORY)
    {
        job.order.stage = history->stage_count - 1;
        if (!history->joined)
            return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "draw its stages one by one",
                            "the stages are not in one frame: %.400s", history->apart);
        return draw_of_stages(job, error);
    }
    const history_step* step = &history->step[order->stage - 1];
    if (!step->measured)
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "draw its stages one by one",
                        "the step to %.100s was not measured: %.300s", history->stage[order->stage].record->id,
                        step->why);
    history_scene scene = {0};
    rlv_status status = history_scene_make(&scene, history, step, error);
    if (status == RLV_DONE)
        status = draw_of_step(job, &scene, error);
    history_scene_free(&scene);
    return status;
}

static rlv_status draw_both(history_sheets* drawn, const rlv_history* history, size_t index, rlv_answer* answer,
                            rlv_error* error)
{
    static const history_sheet_kind kind[2] = {HISTORY_SHEET_COMPARISON, HISTORY_SHEET_DEPTH};
    history_scene scene = {0};
    rlv_status status = history_scene_make(&scene, history, &history->step[index], error);
    for (size_t k = 0; k < 2 && status == RLV_DONE; k++)
    {
        sheet_job job = {.drawn = drawn, .history = history, .all = true, .answer = answer};
        job.order = (history_sheet_order){.kind = kind[k], .stage = index + 1};
        rlv_tell(&answer->progress, "sheets", ((double)index + 0.5 * (double)k) / (double)(history->step_count + 1));
        status = draw_of_step(job, &scene, error);
    }
    history_scene_free(&scene);
    return status;
}

rlv_status history_sheets_draw(history_sheets* drawn, const rlv_history* history, rlv_answer* answer, rlv_error* error)
{
    rlv_status status = RLV_DONE;
    for (size_t i = 0; i < history->step_count && status == RLV_DONE; i++)
        if (history->step[i].measured)
            status = draw_both(drawn, history, i, answer, error);
    if (status != RLV_DONE)
        return status;
    if (!history->joined)
    {
        answer_warn(answer, "there is no sheet of all stages, since they are not in one frame");
        return RLV_DONE;
    }
    sheet_job job = {.drawn = drawn, .history = history, .all = true, .answer = answer};
    job.order = (history_sheet_order){.kind = HISTORY_SHEET_HISTORY, .stage = history->stage_count - 1};
    rlv_tell(&answer->progress, "sheets", (double)history->step_count / (double)(history->step_count + 1));
    return draw_of_stages(job, error);
}
