#include "report_record.h"

#include "change_record.h"
#include "pose_words.h"
#include "report_findings.h"
#include "report_region.h"
#include "report_words.h"
#include "specimen_export.h"

#include <math.h>
#include <stdio.h>

// --- Rows of tables --------------------------------------------------------------------------------------------------

static void key_of(char key[128], const table_column* column, const char* part)
{
    rlv_print(key, 128, "%.60s%s%s%.30s", column->key, part, column->unit != NULL ? "_" : "",
              column->unit != NULL ? column->unit : "");
}

static void put_interval(json_t* row, const table_column* column, const table_cell* cell)
{
    static const char* const part[] = {"", "_low", "_high"};
    char key[128];
    for (size_t k = 0; k < 3; k++)
    {
        key_of(key, column, part[k]);
        record_real(row, key, cell->known ? cell->number[k] : (double)NAN);
    }
}

static void put_cell(json_t* row, const rlv_table* t, const table_column* column, const table_cell* cell)
{
    char key[128];
    key_of(key, column, "");
    if (column->kind == TABLE_INTERVAL)
        put_interval(row, column, cell);
    else if (!cell->known)
        record_null(row, key);
    else if (column->kind == TABLE_TEXT)
        record_text(row, key, t->text + cell->text);
    else if (column->kind == TABLE_COUNT)
        record_count(row, key, (size_t)cell->number[0]);
    else if (column->kind == TABLE_FLAG)
        record_flag(row, key, cell->number[0] != 0.0);
    else if (column->kind == TABLE_PLACE)
        record_reals(row, key, 3, cell->number);
    else
        record_real(row, key, cell->number[0]);
}

json_t* report_rows(const rlv_table* t)
{
    json_t* list = json_array();
    for (size_t i = 0; i < table_rows(t); i++)
    {
        json_t* row = record_row(list);
        for (size_t k = 0; k < t->column_count; k++)
            put_cell(row, t, &t->column[k], &t->cell[i * t->column_count + k]);
    }
    return list;
}

// --- What was measured -----------------------------------------------------------------------------------------------

static void put_classes(json_t* object, const rlv_history* history, size_t step)
{
    for (rlv_change_class kind = 0; kind < RLV_CHANGE_CLASSES; kind++)
    {
        const report_class found = report_class_of(history, kind, step);
        json_t* child = record_object(object, history_class_key(kind));
        record_flag(child, "known", found.known);
        record_count(child, "regions", found.regions);
        record_interval(child, "volume", "mm3", rlv_interval_times(found.ml, 1000.0));
        record_interval(child, "mass", "g", found.g);
        record_flag(child, "faint", found.faint);
    }
}

static void put_balance(json_t* object, const char* key, const rlv_balance* balance)
{
    json_t* child = record_object(object, key);
    record_flag(child, "known", balance->closed);
    record_interval(child, "unexplained", "g", balance->unexplained_g);
    if (balance->closed)
        record_flag(child, "closes", balance->within);
    else
        record_null(child, "closes");
    record_text(child, "missing", balance->missing_words);
    record_flag(child, "damp", balance->damp);
    record_flag(child, "holds_drying", balance->holds_drying);
}

static void put_balances(json_t* object, const rlv_ledger_row* row)
{
    if (row == NULL)
    {
        record_null(object, "mass_balance");
        record_null(object, "spoil_balance");
        return;
    }
    put_balance(object, "mass_balance", &row->mass);
    put_balance(object, "spoil_balance", &row->spoil);
}

void report_record_sums(json_t* object, const rlv_history* history)
{
    if (history->step_count > 0)
    {
        put_classes(object, history, REPORT_ALL);
        const rlv_interval untold_mm3 = rlv_interval_times(report_untold(history, REPORT_ALL), 1000.0);
        record_volume(object, "untold", &untold_mm3);
        put_balances(object, history->row != NULL ? &history->cumulative[history->step_count - 1] : NULL);
    }
    record_interval(object, "left", "mm3", history_stage_volume(history, history->stage_count - 1));
}

void report_record_step(json_t* object, const rlv_history* history, size_t index)
{
    const history_step* step = &history->step[index];
    const rlv_change* change = step->measured ? &step->change : NULL;
    rlv_table regions = report_regions_of_step(history, index, false, "");
    record_text(object, "from", history->stage[step->before].record->id);
    record_text(object, "to", history->stage[step->after].record->id);
    record_flag(object, "measured", step->measured);
    record_text(object, "why_not", step->measured ? NULL : step->why);
    change_record_volumes(object, change);
    json_object_set_new(object, "regions", change != NULL ? report_rows(&regions) : json_null());
    put_classes(record_object(object, "classes"), history, index);
    record_volume(object, "crumbled", isfinite(step->crumbled_mm3.value) ? &step->crumbled_mm3 : NULL);
    record_volume(object, "gap", isfinite(step->gap_mm3.value) ? &step->gap_mm3 : NULL);
    record_real(object, "hours", step->hours);
    put_balances(object, history->row != NULL ? &history->row[index] : NULL);
    change_record_field(object, change);
    pose_record(record_object(object, "pose"), &step->change.alignment, step->measured);
    table_free(&regions);
}

void report_record_frame(json_t* frame, const rlv_history* history)
{
    record_text(frame, "stage", history->stage[history->frame].record->id);
    record_flag(frame, "joined", history->joined);
    record_text(frame, "why_not", history->joined ? NULL : history->apart);
    record_flag(frame, "contradictory", history->joined && history->stages.contradictory);
    record_real(frame, "p", history->joined ? history->stages.p : (double)NAN);
    record_flag(frame, "widened", history->joined && history->stages.inflated);
}

/// The record in standard terms. Its own list of inputs is part of the report's.
static void put_specimen(json_t* record, const rlv_specimen* specimen)
{
    json_t* terms = specimen_json(specimen);
    json_object_del(terms, "inputs");
    json_object_set_new(record, "record", terms);
}

static void put_findings(json_t* record, const rlv_history* history, const report_skeleton* skeleton,
                         const report_rejoin* rejoin)
{
    json_t* list = record_list(record, "findings");
    report_findings found = {0};
    report_findings_find(&found, history, skeleton, rejoin);
    for (size_t i = 0; i < found.count; i++)
    {
        json_t* row = record_row(list);
        record_text(row, "kind", report_finding_key(found.one[i].kind));
        record_text(row, "of", found.one[i].of.text);
        record_text(row, "words", found.one[i].words.text);
    }
    if (found.out_of_memory) // half a list would pass for a whole one
        record_null(record, "findings");
    report_findings_free(&found);
}

void report_record(json_t* record, const rlv_history* history, const report_tables* tables,
                   const report_skeleton* skeleton, const report_rejoin* rejoin)
{
    put_specimen(record, history->specimen);
    report_record_sums(record_object(record, "summary"), history);
    put_findings(record, history, skeleton, rejoin);
    report_record_frame(record_object(record, "frame"), history);
    json_t* steps = record_list(record, "steps");
    for (size_t i = 0; i < history->step_count; i++)
        report_record_step(record_row(steps), history, i);
    json_t* rows = record_object(record, "tables");
    for (size_t i = 0; i < REPORT_TABLES; i++)
        json_object_set_new(rows, tables->table[i].name, report_rows(&tables->table[i]));
    for (size_t i = 0; i < SKELETON_TABLES && skeleton->measured; i++)
        json_object_set_new(rows, skeleton->table[i].name, report_rows(&skeleton->table[i]));
    if (skeleton->measured)
        report_articulation_record(record_object(record, "articulation"), &skeleton->articulation,
                                   skeleton->table + ELEMENTS_TABLES);
    else
        record_null(record, "articulation");
}
