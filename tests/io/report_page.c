/// Tests of the report's page and JSON on a life that was filled by hand, without a mesh.

#include "report_page.h"
#include "report_record.h"

#include "support/program.h"
#include "support/short_life.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static short_life life;

static void set_up(void)
{
    program_enter();
    record_watch();
    short_life_fill(&life);
}

TestSuite(report_page, .init = set_up, .fini = program_leave);

/// Write the page, and fill the record; free both.
static void write_report(char** html, json_t** record)
{
    rlv_answer answer = {.inputs = json_array(), .warnings = json_array(), .parameters = json_object()};
    const history_sheets sheets = {0};
    rlv_error error = {0};
    record_line(answer.warnings, "the rim <is> short");
    report_tables tables = report_tables_of(&life.history, &answer);
    const report_page_source source = {&life.history, &tables, &sheets, &answer};
    cr_assert_eq(out_folder_open_whole(&answer.folder, "out", "report.html", &error), RLV_DONE, "%s", error.what);
    cr_assert_eq(report_tables_keep(&tables, &answer.folder, &error), RLV_DONE, "%s", error.what);
    cr_assert_eq(report_page_keep(&source, &answer.folder, "report.html", &error), RLV_DONE, "%s", error.what);
    cr_assert_eq(out_folder_commit(&answer.folder, &error), RLV_DONE, "%s", error.what);
    *record = json_object();
    report_record(*record, &life.history, &tables);
    *html = program_read("out/report.html", NULL);
    report_tables_free(&tables);
    json_decref(answer.inputs);
    json_decref(answer.warnings);
    json_decref(answer.parameters);
}

Test(report_page, bone_lost_stands_in_a_box_before_all_else)
{
    char* html;
    json_t* record;
    write_report(&html, &record);
    const char *box = strstr(html, "<div class=\"box warning\""), *facts = strstr(html, "<dl>");
    cr_expect(box != NULL && box < facts);
    cr_expect_eq(strncmp(strstr(box, "Bone lost"), "Bone lost: 0.4\u00A0mL", strlen("Bone lost: 0.4\u00A0mL")), 0);
    free(html);
    json_decref(record);
}

Test(report_page, notes_and_warnings_are_text)
{
    char* html;
    json_t* record;
    write_report(&html, &record);
    cr_expect_not_null(strstr(html, "keep off &lt;b&gt;bone&lt;/b&gt; &amp; wait"));
    cr_expect_not_null(strstr(html, "the rim &lt;is&gt; short."));
    free(html);
    json_decref(record);
}

Test(report_page, a_step_that_could_not_be_measured_is_a_note_and_null)
{
    char* html;
    json_t* record;
    life.step[1] = (history_step){.before = 1, .after = 2, .why = "no common surface"};
    write_report(&html, &record);
    cr_expect_not_null(strstr(html, "Not measured: no common surface."));
    const json_t* step = json_array_get(json_object_get(record, "steps"), 1);
    cr_expect(json_is_false(json_object_get(step, "measured")));
    cr_expect_str_eq(json_string_value(json_object_get(step, "why_not")), "no common surface");
    cr_expect(json_is_null(json_object_get(json_object_get(step, "untold"), "volume_mm3")));
    free(html);
    json_decref(record);
}

/// The volume of a class in a step: three keys of JSON, and the same three of the table's rows.
static void expect_volume(const json_t* record, size_t step, const char* kind, double value, double low, double high)
{
    const double wanted[3] = {value, low, high};
    static const char* const part[] = {"", "_low", "_high"};
    const json_t* of_step = json_array_get(json_object_get(record, "steps"), step);
    const json_t* object = json_object_get(json_object_get(of_step, "classes"), kind);
    const json_t* row = json_array_get(json_object_get(json_object_get(record, "tables"), "volumes"), step);
    for (size_t k = 0; k < 3; k++)
    {
        char in_object[64], in_row[64];
        snprintf(in_object, sizeof in_object, "volume%s_mm3", part[k]);
        snprintf(in_row, sizeof in_row, "%s%s_mm3", kind, part[k]);
        const json_t *a = json_object_get(object, in_object), *b = json_object_get(row, in_row);
        cr_expect(json_equal(a, b), "%s of step %zu: JSON and its table differ", kind, step);
        cr_expect(isnan(wanted[k]) ? json_is_null(a)
                                   : json_is_number(a) && fabs(json_number_value(a) - wanted[k]) < 1e-6,
                  "%s of step %zu, %s", kind, step, in_object);
    }
}

Test(report_page, a_class_means_the_same_in_json_and_in_tables)
{
    char* html;
    json_t* record;
    write_report(&html, &record);
    expect_volume(record, 0, "piece_detached", 0.0, 0.0, 0.0); // the record has none come off
    expect_volume(record, 0, "piece_joined", 0.0, 0.0, 0.0);
    expect_volume(record, 1, "piece_detached", 47000.0, 45800.0, 48200.0);
    expect_volume(record, 1, "bone_lost", 0.0, -1200.0, 1200.0); // looked for and not found: its interval stays
    free(html);
    json_decref(record);
}

Test(report_page, what_was_not_measured_is_null_and_empty)
{
    char* html;
    json_t* record;
    life.piece.detached = (char*)"skull"; // it came off in a step that knows nothing of it
    life.step[0].change.total[RLV_CHANGE_BONE].known = false;
    life.step[1] = (history_step){.before = 1, .after = 2, .why = "no common surface"};
    write_report(&html, &record);
    expect_volume(record, 0, "piece_detached", NAN, NAN, NAN);
    expect_volume(record, 0, "bone_lost", NAN, NAN, NAN);
    expect_volume(record, 1, "piece_detached", NAN, NAN, NAN);
    expect_volume(record, 1, "piece_joined", NAN, NAN, NAN);
    expect_volume(record, 1, "matrix_removed", NAN, NAN, NAN);
    char* csv = program_read("out/tables/volumes.csv", NULL);
    cr_expect_not_null(strstr(csv, "\nskull,cleaned,,,,,,,,,,,,,,,,,,"), "%s", csv);
    free(csv);
    free(html);
    json_decref(record);
}

Test(report_page, where_nothing_could_be_measured_the_record_still_holds_what_is_known)
{
    char* html;
    json_t* record;
    for (size_t i = 0; i < 2; i++)
        life.step[i] = (history_step){.before = i, .after = i + 1, .why = "no common surface"};
    life.history.row = life.history.cumulative = NULL;
    life.history.joined = false;
    life.history.tool_count = 0;
    write_report(&html, &record);
    const json_t* tables = json_object_get(record, "tables");
    cr_expect_eq(json_array_size(json_object_get(tables, "stages")), 3);
    cr_expect_eq(json_array_size(json_object_get(tables, "regions")), 0);
    cr_expect(json_is_null(
        json_object_get(json_object_get(json_object_get(record, "summary"), "matrix_removed"), "volume_mm3")));
    free(html);
    json_decref(record);
}
