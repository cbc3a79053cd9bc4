#include "command.h"

#include "elements_work.h"
#include "report_elements.h"
#include "report_record.h"

#include <math.h>

/// All that the command holds.
typedef struct work
{
    elements_work of;
    elements_tables tables;
} work;

static void work_free(work* w)
{
    elements_tables_free(&w->tables);
    elements_work_free(&w->of);
}

// --- JSON ------------------------------------------------------------------------------------------------------------

/// What a table has no room for: matrices, and what is known of the axes.
static void put_matrices(json_t* row, const history_element* one)
{
    const bool placed = one->placed;
    if (placed)
    {
        record_reals(row, "position_covariance_mm2", 9, one->told.position_cov_mm2);
        record_reals(row, "frame", 9, one->told.frame);
        record_reals(row, "attitude_covariance_rad2", 9, one->told.attitude_cov_rad2);
    }
    else
    {
        record_null(row, "position_covariance_mm2");
        record_null(row, "frame");
        record_null(row, "attitude_covariance_rad2");
    }
    record_flag(row, "pole_known", (one->told.known & RLV_ELEMENT_POLE) != 0);
    record_flag(row, "face_known", (one->told.known & RLV_ELEMENT_FACE) != 0);
    record_flag(row, "long_known", (one->told.known & RLV_ELEMENT_LONG) != 0);
    record_flag(row, "anterior_known", (one->told.known & RLV_ELEMENT_FRONT) != 0);
    record_flag(row, "long_by_shape", one->told.long_by_shape);
    record_flag(row, "widened", one->told.inflated);
    record_real(row, "sightings_p", placed ? one->fusion.p : (double)NAN);
    record_real(row, "shift_mm", one->fusion.disturbed ? one->fusion.shift_mm : (double)NAN);
    record_real(row, "shift_sd_mm", one->fusion.disturbed ? one->fusion.shift_sd_mm : (double)NAN);
    record_real(row, "turn_deg", one->fusion.disturbed ? one->fusion.turn_deg : (double)NAN);
    record_real(row, "turn_sd_deg", one->fusion.disturbed ? one->fusion.turn_sd_deg : (double)NAN);
}

static void put_bedding(json_t* record, const rlv_table* bedding)
{
    json_t* rows = report_rows(bedding);
    if (json_array_size(rows) > 0)
        json_object_set(record, "bedding", json_array_get(rows, 0));
    else
        record_null(record, "bedding");
    json_decref(rows);
}

static void record_elements(rlv_answer* answer, const work* w)
{
    report_record_frame(record_object(answer->record, "frame"), &w->of.of.history);
    put_bedding(answer->record, &w->tables.table[ELEMENTS_BEDDING]);
    json_t* rows = report_rows(&w->tables.table[ELEMENTS_MEASURED]);
    for (size_t i = 0; i < w->of.elements.count; i++)
        put_matrices(json_array_get(rows, i), &w->of.elements.one[i]);
    json_object_set_new(answer->record, "elements", rows);
    json_object_set_new(answer->record, "sightings", report_rows(&w->tables.table[ELEMENTS_SIGHTINGS]));
}

static void record_nothing(rlv_answer* answer)
{
    record_null(answer->record, "bedding");
    record_null(answer->record, "elements");
    record_null(answer->record, "sightings");
}

// --- text and files --------------------------------------------------------------------------------------------------

static void tell_elements(rlv_answer* answer, const work* w, const rlv_options* options)
{
    char what[1024];
    const rlv_history* history = &w->of.of.history;
    size_t placed = 0;
    for (size_t i = 0; i < w->of.elements.count; i++)
        placed += w->of.elements.one[i].placed;
    rlv_print(what, sizeof what, "%s, %zu of them placed in the frame of %.900s",
              words_count(w->of.elements.count, "element").text, placed, history->stage[history->frame].record->id);
    specimen_tell_heading(answer->text, &w->of.of.specimen, what);
    if (!history->joined)
        fprintf(answer->text, "  its stages are not all in one frame: %s\n", history->apart);
    fputc('\n', answer->text);
    rlv_table wall = elements_wall(&w->of.elements, NULL, NULL);
    table_tell(&wall, answer->text);
    table_free(&wall);
    fputs("\n  Position: the middle of what shows; ± is along the axis on which it is least sure. "
          "Trend and plunge (positive\n"
          "  downwards) are of the long axis, in brackets where no landmark tells its anterior end. "
          "What matrix covers is in\n"
          "  no figure.\n",
          answer->text);
    snprintf(answer->next, sizeof answer->next, "%s",
             options->out != NULL
                 ? "elements.csv in the folder has every interval, sightings.csv each stage, attitudes.csv the axes."
                 : "--out DIR writes every interval, each stage's sightings, and the axes.");
}

static rlv_status keep_files(const work* w, rlv_answer* answer, rlv_error* error)
{
    if (answer->folder.path == NULL)
        return RLV_DONE;
    const rlv_status status = answer_keep_record(answer, "elements.json", error);
    return status == RLV_DONE ? table_keep_all(w->tables.table, ELEMENTS_TABLES, true, &answer->folder, NULL, error)
                              : status;
}

rlv_status command_elements(const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    work w = {0};
    rlv_status status = elements_work_measure(&w.of, options->path[0], answer, error);
    if (status == RLV_IMPOSSIBLE && w.of.elements.count == 0)
        record_nothing(answer);
    else if (status == RLV_DONE || status == RLV_IMPOSSIBLE)
    {
        w.tables = elements_tables_of(&w.of.elements);
        record_elements(answer, &w);
    }
    if (status == RLV_DONE)
    {
        tell_elements(answer, &w, options);
        status = keep_files(&w, answer, error);
    }
    work_free(&w);
    return status;
}
