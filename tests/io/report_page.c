/// Tests of the report's page and JSON on a life that was filled by hand, without a mesh.

#include "report_page.h"
#include "report_record.h"

#include "support/program.h"
#include "support/short_life.h"

#include <criterion/criterion.h>
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
    cr_expect_eq(strncmp(strstr(box, "Bone lost"), "Bone lost: 0.4 mL", 17), 0);
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
