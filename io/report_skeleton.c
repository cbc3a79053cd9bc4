#include "report_skeleton.h"

#include "history_articulation_sheets.h"
#include "report_page_parts.h"

#include "report_record.h"

#include <stdio.h>
#include <stdlib.h>

rlv_status report_skeleton_measure(report_skeleton* s, const rlv_history* history, rlv_answer* answer, rlv_error* error)
{
    if (history->specimen->element_count == 0)
        return RLV_DONE;
    rlv_status status = history_elements_measure(&s->elements, history, answer, error);
    s->measured = status == RLV_DONE;
    if (s->measured)
        status = history_articulation_measure(&s->articulation, &s->elements, answer, error);
    s->judged = s->measured && status == RLV_DONE;
    if (status == RLV_IMPOSSIBLE)
    {
        snprintf(s->why, sizeof s->why, "%s; %s", error->what, error->mend);
        answer_warn(answer, "%s: %s", s->measured ? "the skeleton cannot be judged" : "no element can be measured",
                    s->why);
        *error = (rlv_error){0};
        status = RLV_DONE;
    }
    if (status != RLV_DONE || !s->measured)
        return status;
    const elements_tables elements = elements_tables_of(&s->elements);
    const articulation_tables articulation = articulation_tables_of(&s->articulation);
    for (size_t i = 0; i < SKELETON_TABLES; i++)
        s->table[i] = i < ELEMENTS_TABLES ? elements.table[i] : articulation.table[i - ELEMENTS_TABLES];
    return RLV_DONE;
}

void report_skeleton_free(report_skeleton* s)
{
    for (size_t i = 0; i < SKELETON_TABLES; i++)
        table_free(&s->table[i]);
    history_articulation_free(&s->articulation);
    history_elements_free(&s->elements);
    *s = (report_skeleton){0};
}

// --- JSON ------------------------------------------------------------------------------------------------------------

static void put_covariances(json_t* rows, const history_articulation* a)
{
    for (size_t i = 0; i < a->fit.unfilled_count; i++)
        record_reals(json_array_get(rows, i), "covariance_mm2", 9, a->fit.unfilled[i].covariance_mm2);
}

static void record_untold(json_t* record, const history_articulation* a)
{
    json_t* list = record_list(record, "could_not_be_told");
    report_text words;
    for (size_t next = 0; articulation_untold(a, &next, &words);)
        record_line(list, words.text);
}

/// The keys of the one row of the whole, at the top of their own object.
static void record_skeleton(json_t* record, const rlv_table* t)
{
    json_t* rows = report_rows(t);
    json_t* row = json_array_get(rows, 0);
    if (row != NULL)
        json_object_set(record, "skeleton", row);
    else
        record_null(record, "skeleton");
    json_decref(rows);
}

void report_articulation_record(json_t* record, const history_articulation* a, const rlv_table* table)
{
    static const struct
    {
        const char* key;
        size_t table;
    } lists[] = {{"groups", ARTICULATION_GROUPS},
                 {"unfilled", ARTICULATION_UNFILLED},
                 {"candidates", ARTICULATION_CANDIDATES},
                 {"share_in_place", ARTICULATION_SHARES},
                 {"motions", ARTICULATION_OWN + DISTURBANCE_MOTIONS},
                 {"motions_level", ARTICULATION_OWN + DISTURBANCE_LEVEL},
                 {"motions_space", ARTICULATION_OWN + DISTURBANCE_SPACE},
                 {"displaced_axes", ARTICULATION_OWN + DISTURBANCE_AXES}};
    record_skeleton(record, &table[ARTICULATION_SKELETON]);
    json_object_set_new(record, "elements", report_rows(&table[ARTICULATION_ELEMENTS]));
    for (size_t i = 0; i < sizeof lists / sizeof *lists; i++)
        if (a->fitted)
            json_object_set_new(record, lists[i].key, report_rows(&table[lists[i].table]));
        else
            record_null(record, lists[i].key);
    if (a->fitted)
        put_covariances(json_object_get(record, "unfilled"), a);
    json_object_set_new(record, "rows", report_rows(&table[ARTICULATION_ROWS]));
    record_untold(record, a);
}

// --- the page --------------------------------------------------------------------------------------------------------

static void put_table(rlv_page* p, rlv_table t, const rlv_table* whole, const char* dash, const char* none)
{
    char csv[128];
    snprintf(csv, sizeof csv, "tables/%s.csv", whole->name);
    t.dash = dash;
    if (table_rows(&t) > 0)
        page_table(p, &t, csv);
    else if (none != NULL)
        page_paragraph(p, none);
    table_free(&t);
}

static void put_note(rlv_page* p, const char* words)
{
    if (words != NULL)
        page_paragraph(p, words);
}

static const rlv_table* whole(const report_skeleton* s, size_t which)
{
    return &s->table[ELEMENTS_TABLES + which];
}

static void put_moved(rlv_page* p, const report_skeleton* s)
{
    static const char dash[] = "A dash: what of its attitude is known does not tell it, or it moved by itself.";
    const history_articulation* a = &s->articulation;
    page_part(p, "moved", "What has left its life position");
    put_table(p, articulation_groups_wall(a), whole(s, ARTICULATION_GROUPS), NULL,
              "No stretch of a row was found that moved together.");
    put_table(p, articulation_moved_wall(a), whole(s, ARTICULATION_ELEMENTS), dash,
              "No single element was found to have moved.");
    put_note(p, articulation_group_words(a));
    put_table(p, articulation_off_row_wall(a), whole(s, ARTICULATION_ELEMENTS),
              "A dash: its row has no free place that it may have had.", NULL);
}

static void put_expected(rlv_page* p, const report_skeleton* s)
{
    const history_articulation* a = &s->articulation;
    page_part(p, "expected", "Where bone may still lie");
    page_paragraph(p, "A life position is where the animal's order says that an element belongs. Without one, bone may "
                      "lie there, or may have been carried off before it was buried.");
    put_table(p, articulation_unfilled_wall(a), whole(s, ARTICULATION_UNFILLED),
              "A dash: the rock there is gone, or which way was up is not known.",
              "Every life position has its element.");
    put_note(p, articulation_corridor_words(a));
    if (a->stray_count > 0)
        page_part(p, "strays", "Where elements from the spoil may have been");
    for (size_t i = 0; i < a->stray_count; i++)
        page_fact(p, a->elements->one[a->stray[i].element].record->id, articulation_candidates_words(a, i).text);
}

static void put_statistics(rlv_page* p, const report_skeleton* s)
{
    const history_articulation* a = &s->articulation;
    page_part(p, "ways", "Which way they went, and how they lie");
    const report_lines lines = disturbance_lines(a);
    for (size_t k = 0; k < lines.count; k++)
        page_fact(p, lines.line[k].name, lines.line[k].words.text);
    put_table(p, articulation_shares_wall(a), whole(s, ARTICULATION_SHARES),
              "A dash: no element's life position is there.", NULL);
}

/// In one box, a line with a bullet each.
static void put_untold(rlv_page* p, const history_articulation* a)
{
    char* text = NULL;
    size_t size = 0;
    report_text words;
    FILE* stream = open_memstream(&text, &size);
    page_part(p, "untold", "What could not be told");
    if (stream != NULL)
        fputs("Of the skeleton could not be told:", stream);
    for (size_t next = 0; stream != NULL && articulation_untold(a, &next, &words);)
        fprintf(stream, "\n• %s.", words.text);
    if (stream != NULL && fclose(stream) == 0)
        page_box(p, PAGE_NOTE, text);
    else
        p->out_of_memory = true;
    free(text);
}

static void put_judged(rlv_page* p, const report_skeleton* s, const history_sheets* sheets)
{
    page_fact(p, "As it lay", articulation_verdict(&s->articulation).text);
    const size_t stage = articulation_sheet_stage(s->elements.history);
    report_page_pictures(p, sheets, HISTORY_SHEET_BONES, stage);
    report_page_pictures(p, sheets, HISTORY_SHEET_PLAN, stage);
    put_moved(p, s);
    put_expected(p, s);
    put_statistics(p, s);
    report_page_pictures(p, sheets, HISTORY_SHEET_DIRECTIONS, stage);
    put_untold(p, &s->articulation);
}

void report_skeleton_put(rlv_page* p, const report_skeleton* s, const history_sheets* sheets)
{
    page_section(p, "skeleton", "The skeleton");
    if (s->judged)
        put_judged(p, s, sheets);
    else
        page_paragraph(p, s->why[0] != '\0' ? s->why : "Elements: not recorded.");
    if (!s->measured)
        return;
    page_part(p, "where", "Where each element lies");
    put_table(p, elements_wall(&s->elements), &s->table[ELEMENTS_MEASURED], "A dash: not known, or not recorded.",
              NULL);
}
