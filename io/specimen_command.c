#include "specimen_command.h"

#include "change_words.h"
#include "report_record.h"
#include "specimen_choice.h"
#include "specimen_inputs.h"
#include "specimen_work.h"

#include <stdlib.h>
#include <sys/stat.h>
#include <unistd.h>

bool specimen_command_is(const rlv_options* options)
{
    return options->path_count != 2;
}

static bool is_folder(const char* path)
{
    struct stat about;
    return stat(path, &about) == 0 && S_ISDIR(about.st_mode);
}

/// Two operands are two meshes: a folder among them was meant as a specimen.
rlv_status specimen_command_not(const rlv_options* options, rlv_error* error)
{
    if (!is_folder(options->path[0]))
        return RLV_DONE;
    return rlv_fail(error, RLV_BAD_INPUT, options->path[0],
                    options->command->most > 2 ? "say two stages after a specimen's folder, or none"
                                               : "say a specimen's folder alone, or two meshes",
                    "it is a folder, and '%.100s' alone is no step", options->path[1]);
}

/// Whoever names one mesh forgot the other; whoever names three things begins with a specimen. A name that is not there
/// is told when it is read.
static rlv_status check_folder(const rlv_options* options, rlv_error* error)
{
    const bool alone = options->path_count == 1;
    if (is_folder(options->path[0]) || (alone && access(options->path[0], F_OK) != 0))
        return RLV_DONE;
    if (alone)
        return rlv_fail(error, RLV_BAD_INPUT, options->path[0], "say two meshes, or the folder of a specimen",
                        "it is a file, and alone there is nothing to hold it against");
    return rlv_fail(error, RLV_BAD_INPUT, options->path[0], "give two meshes, or a specimen's folder and two stages",
                    "three operands begin with a specimen's folder, and it is none");
}

/// What is said of meshes does not hold for stages, whose record says it.
static rlv_status check_call(const rlv_options* options, rlv_error* error)
{
    const char* said = options->unit != RLV_UNIT_NONE         ? "--unit"
                       : options->unit_after != RLV_UNIT_NONE ? "--unit-after"
                       : options->scale_sd > 0.0              ? "--scale-sd"
                       : options->scale_sd_after > 0.0        ? "--scale-sd-after"
                       : options->aligned                     ? "--aligned"
                                                              : NULL;
    if (said == NULL)
        return RLV_DONE;
    return rlv_fail(error, RLV_BAD_INPUT, NULL,
                    "leave it out: units and scale bars of a specimen stand in its specimen.yaml",
                    "%s is for meshes that are given directly", said);
}

static rlv_status read_specimen(specimen_work* w, const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    rlv_status status = check_folder(options, error);
    if (status == RLV_DONE)
        status = check_call(options, error);
    if (status == RLV_DONE)
        status = rlv_specimen_read(&w->specimen, options->path[0], error);
    if (status != RLV_DONE)
        return status;
    specimen_inputs(answer, &w->specimen);
    if (w->specimen.stage_count < 2)
        return rlv_fail(error, RLV_BAD_INPUT, w->specimen.folder, "record the next stage in specimen.yaml",
                        "the specimen has a single stage, and nothing to hold it against");
    return RLV_DONE;
}

// --- align -----------------------------------------------------------------------------------------------------------

static const report_table align_tables[] = {REPORT_STAGES,     REPORT_SCALE_BARS, REPORT_POSES,
                                            REPORT_TRANSFORMS, REPORT_EDGES,      REPORT_LOOPS};
enum
{
    ALIGN_TABLES = sizeof align_tables / sizeof *align_tables,
};

static void record_align(rlv_answer* answer, const specimen_work* w)
{
    report_record_frame(record_object(answer->record, "frame"), &w->history);
    json_t* rows = record_object(answer->record, "tables");
    for (size_t i = 0; i < ALIGN_TABLES; i++)
    {
        const rlv_table* t = &w->tables.table[align_tables[i]];
        json_object_set_new(rows, t->name, report_rows(t));
    }
}

static void tell_captioned(FILE* text, const rlv_table* t)
{
    table_tell_under(t, text, t->caption, NULL);
}

static void tell_align(rlv_answer* answer, const specimen_work* w, const rlv_options* options)
{
    char what[256];
    const rlv_history* history = &w->history;
    rlv_print(what, sizeof what, "%s in the frame of %.150s", words_count(history->stage_count, "stage").text,
              history->stage[history->frame].record->id);
    specimen_tell_heading(answer->text, &w->specimen, history->joined ? what : "its stages are not all in one frame");
    if (!history->joined)
        fprintf(answer->text, "  %s\n", history->apart);
    tell_captioned(answer->text, &w->tables.table[REPORT_SCALE_BARS]);
    tell_captioned(answer->text, &w->tables.table[REPORT_POSES]);
    tell_captioned(answer->text, &w->tables.table[REPORT_EDGES]);
    snprintf(answer->next, sizeof answer->next, "%s",
             !history->joined       ? "put marks on the rim that stay through the stages, or tie points in points.csv."
             : options->out != NULL ? "the meshes in the folder are the stages in the block's frame, in mm."
                                    : "--out DIR writes every stage's mesh in the block's frame, and the motions.");
}

/// Every stage's mesh in the block's frame, as `STAGE.ply`.
static rlv_status keep_stages(specimen_work* w, rlv_answer* answer, rlv_error* error)
{
    rlv_status status = RLV_DONE;
    for (size_t k = 0; k < w->history.stage_count && w->history.joined && status == RLV_DONE; k++)
    {
        char name[512];
        char* stage = history_stage_file(w->history.specimen, k, error);
        if (stage == NULL)
            return RLV_SYSTEM;
        rlv_print(name, sizeof name, "%.400s.ply", stage);
        free(stage);
        rlv_mesh* mesh = &w->history.stage[k].given.mesh;
        rlv_pose_move_mesh(&w->history.stages.pose[k], mesh);
        status = out_folder_add_mesh(&answer->folder, name, mesh, error);
    }
    return status;
}

static rlv_status keep_align(specimen_work* w, rlv_answer* answer, rlv_error* error)
{
    rlv_status status = answer_keep_record(answer, "align.json", error);
    for (size_t i = 0; i < ALIGN_TABLES && status == RLV_DONE && answer->folder.path != NULL; i++)
        if (table_rows(&w->tables.table[align_tables[i]]) > 0)
            status = table_keep(&w->tables.table[align_tables[i]], &answer->folder, NULL, error);
    return status == RLV_DONE && answer->folder.path != NULL ? keep_stages(w, answer, error) : status;
}

rlv_status specimen_command_align(const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    specimen_work w = {0};
    const history_options how = {.poses_only = true};
    rlv_status status = read_specimen(&w, options, answer, error);
    if (status == RLV_DONE)
        status = history_measure(&w.history, &w.specimen, &how, answer, error);
    if (status == RLV_DONE || (status == RLV_IMPOSSIBLE && w.history.step_count > 0))
    {
        specimen_inputs_within(answer, &w.specimen);
        w.tables = report_tables_measured(&w.history);
        record_align(answer, &w);
    }
    if (status == RLV_DONE)
    {
        tell_align(answer, &w, options);
        status = keep_align(&w, answer, error);
    }
    specimen_work_free(&w);
    return status;
}

// --- change ----------------------------------------------------------------------------------------------------------

/// The record to measure: the whole, or what lies between the two stages that are named.
static rlv_status choose(const rlv_specimen** chosen, specimen_work* w, const rlv_options* options, rlv_answer* answer,
                         rlv_error* error)
{
    size_t stage[2] = {0};
    *chosen = &w->specimen;
    if (options->path_count == 1)
        return RLV_DONE;
    rlv_status status = RLV_DONE;
    for (size_t k = 0; k < 2 && status == RLV_DONE; k++)
        status = specimen_choose_stage(&stage[k], &w->specimen, options->path[k + 1], 0, error);
    if (status == RLV_DONE && stage[0] >= stage[1])
        return rlv_fail(error, RLV_BAD_INPUT, w->specimen.folder, "say the earlier stage first, and another after it",
                        "'%.100s' does not come before '%.100s'", options->path[1], options->path[2]);
    if (status != RLV_DONE)
        return status;
    record_text(answer->parameters, "from", options->path[1]);
    record_text(answer->parameters, "to", options->path[2]);
    *chosen = &w->between.specimen;
    return specimen_between_make(&w->between, &w->specimen, stage[0], stage[1], error);
}

static void record_change(rlv_answer* answer, const specimen_work* w)
{
    const rlv_history* history = &w->history;
    if (history->specimen == &w->between.specimen)
    {
        report_record_step(answer->record, history, 0);
        return;
    }
    json_t* steps = record_list(answer->record, "steps");
    for (size_t i = 0; i < history->step_count; i++)
        report_record_step(record_row(steps), history, i);
    report_record_sums(record_object(answer->record, "in_all"), history);
    json_object_set_new(answer->record, "rates", report_rows(&w->tables.table[REPORT_RATES]));
}

static void tell_step(FILE* text, const rlv_history* history, size_t index)
{
    const history_step* step = &history->step[index];
    fprintf(text, "\n%s\n", report_step_name(history, index).text);
    if (!step->measured)
    {
        fprintf(text, "  not measured: %s\n", step->why);
        return;
    }
    const report_lines lines = report_step(history, index);
    specimen_tell_lines(text, &lines);
    rlv_table regions = report_regions_of_step(history, index, true, "");
    if (table_rows(&regions) > 0)
        fputc('\n', text);
    table_tell(&regions, text);
    table_free(&regions);
    change_tell_limits(text, &step->change);
}

static void tell_change(rlv_answer* answer, const specimen_work* w, const rlv_options* options)
{
    const rlv_history* history = &w->history;
    specimen_tell_heading(answer->text, &w->specimen, "what changed");
    for (size_t i = 0; i < history->step_count; i++)
        tell_step(answer->text, history, i);
    if (history->step_count > 1)
    {
        const report_lines lines = report_summary(history);
        fputs("\nin all\n", answer->text);
        specimen_tell_lines(answer->text, &lines);
    }
    tell_captioned(answer->text, &w->tables.table[REPORT_RATES]);
    fputs(
        "\n  What is called matrix may hold bone that had never shown: a mesh cannot tell. Check every region against\n"
        "  the specimen, the small ones first.\n",
        answer->text);
    if (history->specimen->between)
        fputs(
            "  Places are told by no squares here: those of this record’s maps lie over all of its stages, and change\n"
            "  with the specimen alone tells them.\n",
            answer->text);
    snprintf(answer->next, sizeof answer->next, "%s",
             options->out != NULL ? "pictures/ in the folder has a map of depth of each step, tables/ all figures."
                                  : "--out DIR writes tables, JSON, and a map of depth of each step.");
}

static rlv_status keep_change(specimen_work* w, rlv_answer* answer, rlv_error* error)
{
    if (answer->folder.path == NULL)
        return RLV_DONE;
    const history_sheets_plan plan = history_sheets_of_all(&w->history, answer);
    rlv_status status = history_sheets_draw(&w->sheets, 1, &plan, answer, error);
    if (status == RLV_DONE)
        status = report_tables_keep(&w->tables, 0, NULL, &answer->folder, error);
    return status == RLV_DONE ? answer_keep_record(answer, "change.json", error) : status;
}

static rlv_status need_step(const rlv_history* history, rlv_error* error)
{
    for (size_t i = 0; i < history->step_count; i++)
        if (history->step[i].measured)
            return RLV_DONE;
    return rlv_fail(error, RLV_IMPOSSIBLE, history->specimen->folder, "look at the two with align",
                    "nothing could be measured: %.800s", history->step[0].why);
}

rlv_status specimen_command_change(const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    specimen_work w = {0};
    const history_options how = {0};
    const rlv_specimen* chosen = NULL;
    rlv_status status = read_specimen(&w, options, answer, error);
    if (status == RLV_DONE)
        status = choose(&chosen, &w, options, answer, error);
    if (status == RLV_DONE)
        status = history_measure(&w.history, chosen, &how, answer, error);
    const bool measured = status == RLV_DONE;
    if (measured)
        status = need_step(&w.history, error);
    if (measured || (status == RLV_IMPOSSIBLE && w.history.step_count > 0))
    {
        specimen_inputs_within(answer, &w.specimen);
        w.tables = report_tables_measured(&w.history);
        record_change(answer, &w);
    }
    if (status == RLV_DONE)
    {
        tell_change(answer, &w, options);
        status = keep_change(&w, answer, error);
    }
    specimen_work_free(&w);
    return status;
}
