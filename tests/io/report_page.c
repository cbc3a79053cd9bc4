/// Tests of the report's page and JSON on a life that was filled by hand, without a mesh.

#include "report_page.h"
#include "report_record.h"

#include "support/program.h"
#include "support/short_life.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
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

static history_sheets sheets;      ///< that the page has; none
static report_skeleton skeleton;   ///< none either
static const report_rejoin rejoin; ///< nor a piece

/// Write the page, and fill the record; free both.
static void write_report(char** html, json_t** record)
{
    rlv_answer answer = {.inputs = json_array(), .warnings = json_array(), .parameters = json_object()};
    rlv_error error = {0};
    record_line(answer.warnings, "the rim <is> short");
    report_tables tables = report_tables_of(&life.history, &answer);
    const report_page_source source = {&life.history, &tables, &sheets, &answer, &skeleton, &rejoin};
    cr_assert_eq(out_folder_open_whole(&answer.folder, "out", "report.html", &error), RLV_DONE, "%s", error.what);
    cr_assert_eq(report_tables_keep(&tables, 0, NULL, &answer.folder, &error), RLV_DONE, "%s", error.what);
    cr_assert_eq(report_page_keep(&source, &answer.folder, "report.html", &error), RLV_DONE, "%s", error.what);
    cr_assert_eq(out_folder_commit(&answer.folder, &error), RLV_DONE, "%s", error.what);
    *record = json_object();
    report_record(*record, &life.history, &tables, &skeleton, &rejoin);
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

/// What stands at `words` after `from`; fails where it is not there.
static const char* find(const char* from, const char* words)
{
    const char* at = strstr(from, words);
    cr_assert_not_null(at, "%s is missing, or comes too early", words);
    return at;
}

Test(report_page, the_newest_bone_map_opens_the_page_after_what_was_lost)
{
    char path[3][16] = {"a.png", "b.png", "c.png"}, words[] = "Bones.";
    history_sheet sheet[3] = {0};
    for (size_t i = 0; i < 3; i++)
        sheet[i] = (history_sheet){.kind = i < 2 ? HISTORY_SHEET_BONES : HISTORY_SHEET_STANDING,
                                   .stage = i,
                                   .width = 40,
                                   .height = 30,
                                   .caption = words,
                                   .alt = words};
    for (size_t i = 0; i < 3; i++)
        sheet[i].path = path[i];
    sheets = (history_sheets){.count = 3, .sheet = sheet};
    char* html;
    json_t* record;
    write_report(&html, &record);
    const char* at = find(html, "<div class=\"box warning\""); // bone lost
    at = find(at, "<figure id=\"figure-1\" class=\"opening\"><a href=\"b.png\"><img src=\"b.png\"");
    find(at, "<div class=\"box caution\"");
    sheets = (history_sheets){0};
    free(html);
    json_decref(record);
}

// A sheet of 400 by 300 mm whose views lie in 160 by 100 mm at (40, 50): the sheet is 2.5 times as wide as its frame,
// and pushed off by 40 / 160 and by 50 / 160 of the frame's width.
Test(report_page, the_opening_picture_shows_the_views_of_its_sheet_without_its_foot)
{
    char path[] = "bones.png", words[] = "Bones.";
    history_sheet sheet = {.kind = HISTORY_SHEET_BONES,
                           .path = path,
                           .width = 4000,
                           .height = 3000,
                           .paper_mm = {400.0, 300.0},
                           .views_mm = {{40.0, 50.0}, {200.0, 150.0}},
                           .caption = words,
                           .alt = words};
    sheets = (history_sheets){.count = 1, .sheet = &sheet};
    char* html;
    json_t* record;
    write_report(&html, &record);
    const char* at = find(html, "<span class=\"part\" style=\"aspect-ratio:1.6000;max-width:147.2vh\">");
    find(at, "<img style=\"width:250.00%;margin:-31.25% 0 0 -25.00%\" src=\"bones.png\" width=\"4000\"");
    sheets = (history_sheets){0};
    free(html);
    json_decref(record);
}

Test(report_page, warnings_come_first_and_what_is_technical_last)
{
    char* html;
    json_t* record;
    write_report(&html, &record);
    const char* at = find(html, "<h2 id=\"summary\"");
    at = find(at, "<div class=\"box warning\""); // bone lost
    at = find(at, "<div class=\"box caution\""); // the measurement's own warnings
    at = find(at, "• the rim &lt;is&gt; short.");
    at = find(at, "<dt>Matrix removed</dt>");
    at = find(at, "<dt>Left in the block</dt>");
    at = find(at, "<dt>Mass balance</dt>");
    at = find(at, "What went and came in each step: millilitres");
    at = find(at, "<h2 id=\"next\"");
    at = find(at, "<h2 id=\"changes\"");
    at = find(at, "<h2 id=\"left\"");
    at = find(at, "<h2 id=\"ledger\"");
    at = find(at, "<h2 id=\"stages\"");
    const char* technical[] = {">open edges<", ">residual <", ">rms <", "nor by"};
    for (size_t i = 0; i < sizeof technical / sizeof *technical; i++)
        cr_expect(strstr(html, technical[i]) == NULL || strstr(html, technical[i]) > at, "%s comes too early",
                  technical[i]);
    free(html);
    json_decref(record);
}

Test(report_page, a_note_has_a_title_and_stands_beside_what_became_of_the_bone)
{
    char* html;
    json_t* record;
    life.stage[2].note = (char*)"one scute lost a corner";
    write_report(&html, &record);
    const char* step = find(html, "<h3 id=\"step-2\"");
    const char* bone = find(step, "<dt>Bone lost</dt>");
    const char* note = find(bone, "<dt dir=\"auto\">Note at ‘cleaned’</dt><dd>one scute lost a corner</dd>");
    cr_expect_lt(note, find(bone, "<dt>Matrix removed</dt>"));
    cr_expect_null(strstr(strstr(note, "one scute") + 1, "one scute lost a corner"), "a note stands once");
    find(find(html, "<h3 id=\"step-0\""), "Note at ‘field’</dt><dd>keep off"); // of the stage that no step leads to
    free(html);
    json_decref(record);
}

Test(report_page, a_note_is_shown_where_its_step_could_not_be_measured)
{
    char* html;
    json_t* record;
    life.stage[2].note = (char*)"one scute lost a corner";
    life.step[1] = (history_step){.before = 1, .after = 2, .why = "no common surface"};
    write_report(&html, &record);
    find(find(html, "<h3 id=\"step-2\""), "one scute lost a corner");
    free(html);
    json_decref(record);
}

Test(report_page, what_next_is_told_on_the_page_and_in_json)
{
    char* html;
    json_t* record;
    write_report(&html, &record);
    const char* next = find(html, "<h2 id=\"next\"");
    find(next, "bone was lost: 0.4\u00A0mL");
    find(next, "of slab A: by the block’s meshes alone");
    const json_t* first = json_array_get(json_object_get(record, "findings"), 0);
    cr_expect_str_eq(json_string_value(json_object_get(first, "kind")), "look");
    cr_expect_str_eq(json_string_value(json_object_get(first, "of")), "field → skull");
    free(html);
    json_decref(record);
}

Test(report_page, however_much_is_found_page_and_json_hold_all_of_it)
{
    enum
    {
        NOTES = 70 // more than a first growth has room for
    };
    static char id[NOTES][8], note[NOTES][32];
    rlv_element_record element[NOTES] = {0};
    char* html;
    json_t* record;
    for (size_t i = 0; i < NOTES; i++)
    {
        snprintf(id[i], sizeof id[i], "E%02zu", i);
        snprintf(note[i], sizeof note[i], "number %02zu is cracked", i);
        element[i] = (rlv_element_record){.id = id[i], .note = note[i]};
    }
    life.specimen.element = element;
    life.specimen.element_count = NOTES;
    write_report(&html, &record);
    const json_t* list = json_object_get(record, "findings");
    size_t in_json = 0;
    const char* next = find(html, "<h2 id=\"next\"");
    for (size_t i = 0; i < NOTES; i++)
    {
        char words[96];
        snprintf(words, sizeof words, "the record of elements notes “number %02zu is cracked”", i);
        next = find(next, words);
        for (size_t k = 0; k < json_array_size(list); k++)
            in_json += strcmp(words, json_string_value(json_object_get(json_array_get(list, k), "words"))) == 0;
    }
    cr_expect_eq(in_json, NOTES);
    free(html);
    json_decref(record);
}

Test(report_page, display_and_advice_are_shown_as_recorded)
{
    char* html;
    json_t* record;
    double up[3] = {-0.938, 0.343, 0.05}, rise = 0.6, edge = 1.0, length = 900.0, height = 500.0, lift = 20.0,
           clearance = 15.0, hole = 0.00005;
    rlv_direction_record above = {(char*)"cleaned", 3, up};
    char* untouchable[] = {(char*)"skull", (char*)"tail <fin>"};
    rlv_display_record display = {.up = &above,
                                  .rise = &rise,
                                  .edge_height_mm = &edge,
                                  .untouchable_count = 2,
                                  .untouchable = untouchable,
                                  .case_length_mm = &length,
                                  .case_height_mm = &height,
                                  .note = (char*)"seen from <three> sides"};
    rlv_advice_record advice = {
        .clearance_mm = &clearance, .hole_diameter_mm = &hole, .joints = (char*)"avoid", .lift_limit_kg = &lift};
    life.specimen.display = &display;
    life.specimen.advice = &advice;
    write_report(&html, &record);
    const char* at = find(find(html, "<h2 id=\"record\""), "<h3 id=\"display\"");
    at = find(at, "As recorded. The block");
    find(at, "−0.938, 0.343, 0.05, a direction in the mesh of ‘cleaned’");
    find(at, "0.6, height over distance: 31°"); // the arc tangent of 0.6 is 30.96 degrees
    find(at, "what lies in ‘skull’, ‘tail &lt;fin&gt;’");
    find(at, "900 × – × 500\u00A0mm");
    find(at, "seen from &lt;three&gt; sides");
    find(at, "15\u00A0mm kept from every known or expected element");
    find(at, "0.00005\u00A0mm"); // no exponent
    find(at, "<dd>avoid them</dd>");
    at = find(at, "up to 20\u00A0kg, by your own rules");
    find(at, "A qualified person decides how it is lifted"); // the caution stands with the limit
    find(html, "no measurement uses what else stands here, and nothing on this page holds the surface against a rise");
    free(html);
    json_decref(record);
}

Test(report_page, a_piece_that_was_put_back_is_named_where_one_lifts)
{
    char* html;
    json_t* record;
    rlv_piece_record piece[3] = {{.id = (char*)"slab", .joined = (char*)"cleaned"},
                                 {.id = (char*)"gone", .detached = (char*)"cleaned"},
                                 {.id = (char*)"on what is gone", .parent = (char*)"gone", .joined = (char*)"cleaned"}};
    life.specimen.piece_count = 3;
    life.specimen.piece = piece;
    write_report(&html, &record);
    const char* at = find(find(html, "<h2 id=\"left\""), "A qualified person decides how it is lifted and held.");
    at = find(at,
              "Not to lift, tilt or strap by, since nothing here tells that it holds: ‘slab’, put back at ‘cleaned’.");
    free(html);
    json_decref(record);
}

Test(report_page, display_and_advice_that_are_not_recorded_are_one_line)
{
    char* html;
    json_t* record;
    write_report(&html, &record);
    find(html, "<p>Display and advice: not recorded.</p>");
    cr_expect_null(strstr(html, "held against the lifting limit"));
    free(html);
    json_decref(record);
}

Test(report_page, what_a_reader_meets_is_explained_and_cautions_stand_in_place)
{
    static const char* const word[] = {"Interval", "Matrix", "Region", "Depth", "Detection limit", "Not told apart"};
    char* html;
    json_t* record;
    write_report(&html, &record);
    const char* reading = find(html, "<h3 id=\"reading\"");
    for (size_t i = 0; i < sizeof word / sizeof *word; i++)
    {
        char fact[64];
        snprintf(fact, sizeof fact, "<dt>%s</dt>", word[i]);
        cr_expect_lt(find(reading, fact), find(html, "<h2 id=\"changes\""));
    }
    find(reading, "square to the surface as it was");
    cr_expect_lt(find(find(html, "<h2 id=\"changes\""), "What has been cut cannot be put back"),
                 find(html, "<h2 id=\"left\""));
    cr_expect_lt(find(find(html, "<h2 id=\"left\""), "Lifting: "), find(html, "<h2 id=\"ledger\""));
    find(find(html, "<h2 id=\"treatments\""), "stone dust can hold silica");
    free(html);
    json_decref(record);
}

/// Write the page with what is set now, and look whether it holds words.
static bool page_says(const char* words)
{
    char* html;
    json_t* record;
    write_report(&html, &record);
    const bool says = strstr(html, words) != NULL;
    free(html);
    json_decref(record);
    return says;
}

Test(report_page, a_picture_says_that_it_is_reduced_and_names_the_sheet_at_its_scale)
{
    history_sheet sheet = {.kind = HISTORY_SHEET_DEPTH,
                           .stage = 1,
                           .path = (char*)"pictures/skull-depth.png",
                           .print = (char*)"pictures/skull-depth.pdf",
                           .width = 5945,
                           .height = 4205,
                           .paper_mm = {1189.0, 841.0},
                           .scale = 1.0,
                           .caption = (char*)"From field to skull.",
                           .alt = (char*)"the block"};
    sheets = (history_sheets){1, &sheet};
    cr_expect(page_says("From field to skull. Reduced here; 1 : 1 on paper 1189 × 841\u00A0mm (A0 lying): "
                        "pictures/skull-depth.pdf</span>"));
    sheet.print = NULL;
    cr_expect(page_says("From field to skull.</span>"));
    sheets = (history_sheets){0};
}

Test(report_page, methods_say_what_alignments_began_from)
{
    cr_expect(page_says("All 2 were searched for from any attitude, without tie points"));
    life.edge[0].start_ties = 4;
    cr_expect(page_says("1 of 2 began from tie points, 4 each; the others were searched for"));
    life.edge[1].start_ties = 239;
    cr_expect(page_says("All 2 began from tie points, 4 to 239 each. Each was then refined"));
    cr_expect_not(page_says("without tie points"));
}

Test(report_page, a_bound_is_told_apart_from_an_interval)
{
    cr_expect(page_says("just thinner than the detection limit would come to"));
    cr_expect(page_says("its upper end is a bound and no end of a 95\u00A0% interval"));
    cr_expect(page_says("under 2 detection limits on the mean"));
}

Test(report_page, closures_are_said_to_find_gross_errors_where_there_are_loops)
{
    cr_expect_not(page_says("closures find gross errors"));
    size_t round[] = {0, 1, 2};
    rlv_loop_closure loop = {.edge = 1, .stage_count = 3, .stage = round};
    life.history.stages.loop = &loop;
    life.history.stages.loop_count = 1;
    cr_expect(page_says("0.03\u00A0mm of settling, and half of the share"));
    cr_expect(page_says("closures find gross errors"));
}

Test(report_page, methods_say_how_far_out_of_the_noise_regions_stood)
{
    life.step[0].change.seed_sd = 4.5;
    life.step[1].change.seed_sd = 5.3;
    cr_expect(page_says("stands out of the noise by 4.5 to 5.3 sd: the more places"));
    life.step[1].change.seed_sd = 4.5;
    cr_expect(page_says("stands out of the noise by 4.5 sd. Inside them"));
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
    expect_volume(record, 1, "bone_lost", 0.0, 0.0, 340.0); // looked for and not found: its interval stays
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

/// Whether the page has a fact of these words.
static bool page_has(const char* words)
{
    char* html;
    json_t* record;
    write_report(&html, &record);
    const bool has = strstr(html, words) != NULL;
    free(html);
    json_decref(record);
    return has;
}

Test(report_page, up_north_and_bedding_stand_as_they_were_recorded)
{
    double up[] = {0.430541, 0.475512, 0.767152}, strike = 310.0, dip = 12.5, sd = 2.0;
    rlv_direction_record direction = {(char*)"field", 3, up};
    rlv_bedding_record bedding = {.strike_deg = &strike, .dip_deg = &dip, .sd_deg = &sd};
    cr_expect(page_has("Up in the rock</dt><dd>not recorded"));
    life.specimen.up = &direction;
    life.specimen.bedding = &bedding;
    cr_expect(page_has(
        "Up in the rock</dt><dd dir=\"auto\">0.430541, 0.475512, 0.767152, a direction in the mesh of ‘field’"));
    cr_expect(page_has("North</dt><dd>not recorded"));
    cr_expect(page_has("Bedding</dt><dd dir=\"auto\">strike 310°, dip 12.5° towards 40°, each way known to 2° (sd)"));
}

Test(report_page, bedding_by_points_is_told_by_compass_and_by_its_pole)
{
    rlv_bedding_record bedding = {.stage = (char*)"field", .points = (char*)"lamina"};
    history_elements* e = &skeleton.elements;
    life.specimen.bedding = &bedding;
    cr_expect(page_has("Bedding</dt><dd dir=\"auto\">the plane through the points ‘lamina’ of ‘field’"));
    // North is y and up is z. It dips by 30° to the east: 1 in 2 of its pole, which was found pointing down.
    e->bedding_known = e->compass_known = e->up_known = true;
    e->up = rlv_vec3_of(0.0, 0.0, 1.0);
    e->compass = (rlv_compass){.north = {0.0, 1.0, 0.0}, .east = {1.0, 0.0, 0.0}, .up = e->up};
    e->bedding = rlv_plane_known(rlv_vec3_of(-0.5, 0.0, -sqrt(0.75)), 1.5);
    cr_expect(page_has("the plane through the points ‘lamina’ of ‘field’: strike 000°, dip 30.0° towards 090°; pole "
                       "0.500, 0.000, 0.866 in the block’s frame, its direction known to 1.5° (sd)"));
    skeleton = (report_skeleton){0};
}
