#include "command.h"

#include "elements_work.h"
#include "report_record.h"
#include "report_skeleton.h"

/// All that the command holds.
typedef struct work
{
    elements_work of;
    history_articulation articulation;
    articulation_tables tables;
} work;

static void work_free(work* w)
{
    articulation_tables_free(&w->tables);
    history_articulation_free(&w->articulation);
    elements_work_free(&w->of);
}

// --- JSON ------------------------------------------------------------------------------------------------------------

static void record_articulation(rlv_answer* answer, const work* w)
{
    report_record_frame(record_object(answer->record, "frame"), &w->of.of.history);
    report_articulation_record(answer->record, &w->articulation, w->tables.table);
}

static void record_nothing(rlv_answer* answer)
{
    static const char* const keys[] = {"frame",         "skeleton",       "elements",       "groups",
                                       "unfilled",      "candidates",     "share_in_place", "gaps",
                                       "ahead",         "rows",           "motions",        "motions_level",
                                       "motions_space", "displaced_axes", "carried",        "could_not_be_told"};
    for (size_t i = 0; i < sizeof keys / sizeof *keys; i++)
        record_null(answer->record, keys[i]);
}

// --- text and files --------------------------------------------------------------------------------------------------

static void tell_table(FILE* text, const char* heading, rlv_table t, const char* none)
{
    table_tell_under(&t, text, heading, none);
    table_free(&t);
}

static void tell_note(FILE* text, const char* words)
{
    if (words != NULL)
        fprintf(text, "\n  %s\n", words);
}

static void tell_open(FILE* text, const history_articulation* a)
{
    fputs("\nwhat is open, row by row\n", text);
    for (size_t r = 0; r < a->row_count; r++)
        fprintf(text, "  %-20s  %s\n", a->elements->history->specimen->row[r].id, articulation_open_words(a, r).text);
}

static void tell_ahead(FILE* text, const history_articulation* a)
{
    if (a->ahead_count == 0)
        return;
    tell_table(text, "where the rows go on beyond the last element", articulation_ahead_table(a), NULL);
    tell_note(text, articulation_ahead_words(a).text);
}

static void tell_rows(FILE* text, const history_articulation* a)
{
    fputs("\nwhat would have been found, row by row\n", text);
    for (size_t r = 0; r < a->row_count; r++)
    {
        const report_text words = articulation_row_words(a, r);
        if (words.text[0] != '\0')
            fprintf(text, "  %-20s  %s\n", a->elements->history->specimen->row[r].id, words.text);
    }
}

static void tell_disturbance(FILE* text, const history_articulation* a)
{
    const report_lines lines = disturbance_lines(a);
    fputs("\nwhich way they went, and how they lie\n", text);
    specimen_tell_lines(text, &lines);
}

static void tell_untold(FILE* text, const history_articulation* a)
{
    report_text words;
    fputs("\nwhat could not be told\n", text);
    for (size_t next = 0; articulation_untold(a, &next, &words);)
        fprintf(text, "  - %s\n", words.text);
}

static void tell_articulation(rlv_answer* answer, const work* w, const rlv_options* options)
{
    const history_articulation* a = &w->articulation;
    specimen_tell_heading(answer->text, &w->of.of.specimen, articulation_verdict(a).text);
    if (!w->of.of.history.joined)
        fprintf(answer->text, "  its stages are not all in one frame: %s\n", w->of.of.history.apart);
    tell_table(answer->text, "stretches that moved together", articulation_groups_wall(a), "none was found");
    tell_table(answer->text, "elements that have left their life position", articulation_moved_wall(a),
               "none was found");
    tell_note(answer->text, articulation_group_words(a));
    tell_table(answer->text, "elements that lie off their row, and the place that each most likely came from",
               articulation_off_row_wall(a), NULL);
    tell_table(answer->text, "life positions without an element: bone may lie there", articulation_unfilled_wall(a),
               "none: every place has its element");
    tell_note(answer->text, articulation_corridor_words(a));
    tell_ahead(answer->text, a);
    tell_open(answer->text, a);
    tell_rows(answer->text, a);
    if (a->stray_count > 0)
        tell_table(answer->text, "loose elements, and the free places that they may have had",
                   articulation_loose_wall(a), "");
    const report_text carried = articulation_carried_words(a);
    tell_note(answer->text, carried.text[0] != '\0' ? carried.text : NULL);
    tell_table(answer->text, "share in place, from head to tail", articulation_shares_wall(a), "not known");
    tell_disturbance(answer->text, a);
    tell_untold(answer->text, a);
    snprintf(answer->next, sizeof answer->next, "%s",
             options->out != NULL ? "articulation.csv in the folder has every interval, unfilled.csv where to look."
                                  : "--out DIR writes every interval and every table.");
}

static rlv_status keep_files(const work* w, rlv_answer* answer, rlv_error* error)
{
    if (answer->folder.path == NULL)
        return RLV_DONE;
    const rlv_status status = answer_keep_record(answer, "articulation.json", error);
    return status == RLV_DONE ? table_keep_all(w->tables.table, ARTICULATION_TABLES, true, &answer->folder, NULL, error)
                              : status;
}

rlv_status command_articulation(const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    work w = {0};
    rlv_status status = elements_work_measure(&w.of, options->path[0], answer, error);
    if (status == RLV_DONE)
        status = history_articulation_measure(&w.articulation, &w.of.elements, answer, error);
    if (status == RLV_IMPOSSIBLE && w.articulation.elements == NULL)
        record_nothing(answer);
    else if (status == RLV_DONE || status == RLV_IMPOSSIBLE)
    {
        w.tables = articulation_tables_of(&w.articulation);
        record_articulation(answer, &w);
    }
    if (status == RLV_DONE)
    {
        tell_articulation(answer, &w, options);
        status = keep_files(&w, answer, error);
    }
    work_free(&w);
    return status;
}
