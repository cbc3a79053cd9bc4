/// Tests of what a report says in sentences.

#include "report_words.h"
#include "report_tables.h"

#include "support/short_life.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static short_life life;

static void set_up(void)
{
    short_life_fill(&life);
}

TestSuite(report_words, .init = set_up);

static const char* line(const report_lines* lines, const char* name)
{
    for (size_t i = 0; i < lines->count; i++)
        if (strcmp(lines->line[i].name, name) == 0)
            return lines->line[i].words.text;
    return "";
}

#define SAYS(lines, name, words)                                                                                       \
    cr_expect(strstr(line(&(lines), name), words) != NULL, "%s: %s", name, line(&(lines), name))

// A list that is longer than a text: every id in it is whole, and its end says that there are more.
Test(report_words, what_does_not_fit_is_left_out_whole_and_said)
{
    report_text list = {"shifted: "};
    for (int i = 1; i <= 400; i++)
        report_add(&list, "%sÉl-%04d", i > 1 ? ", " : "", i);
    const size_t length = strlen(list.text);
    cr_assert_gt(length, 900);
    cr_expect_str_eq(list.text + length - strlen(" …"), " …");
    // Nine bytes before the ellipsis are an id of its whole length.
    const char* last = strstr(list.text + length - 16, "Él-");
    cr_assert_not_null(last);
    cr_expect_eq(strlen(last), strlen("Él-0000 …"), "%s", last);
    // A long text is cut instead.
    char note[1500];
    memset(note, 'a', sizeof note - 1);
    note[sizeof note - 1] = '\0';
    report_text told = {"noted: "};
    report_add(&told, "%s", note);
    cr_expect_gt(strlen(told.text), 1000);
    cr_expect_not_null(strstr(told.text, "a …"));
}

Test(report_words, bone_lost_is_told_first_with_its_step_and_alarms)
{
    const report_lines lines = report_summary(&life.history);
    cr_expect_str_eq(lines.line[0].name, "Bone lost");
    cr_expect(lines.line[0].alarm);
    SAYS(lines, "Bone lost", "in 1 region of bone that showed: field → skull 0.4 mL");
}

Test(report_words, bone_that_was_not_lost_is_told_with_what_could_lie_below_the_limit)
{
    const report_lines lines = report_step(&life.history, 1);
    SAYS(lines, "Bone lost",
         "none that can be told from noise, of bone that showed and was marked; at most 0.34 mL"); // the 340 mm³ of its
                                                                                                   // step
    cr_expect_not(lines.line[0].alarm);
}

Test(report_words, a_note_that_names_no_element_is_not_counted_among_losses)
{
    for (size_t i = 0; i < life.history.stage_count; i++)
        life.stage[i].note = NULL;
    life.step[0].change.region_count = 0;
    life.step[0].change.total[RLV_CHANGE_BONE].regions = 0;
    report_lines lines = report_summary(&life.history);
    cr_expect_not(lines.line[0].alarm, "%s", lines.line[0].words.text);
    cr_expect_null(strstr(line(&lines, "Bone lost"), "What next"));
    life.stage[2].note = (char*)"one scute lost a corner";
    lines = report_summary(&life.history);
    cr_expect_null(strstr(line(&lines, "Bone lost"), "note"), "a note that names no element need not be of a loss");
}

Test(report_words, a_note_that_names_an_element_that_had_shown_stands_beside_bone_lost)
{
    rlv_element_record element[] = {{.id = (char*)"D05", .stage = (char*)"skull", .note = (char*)"a corner chipped"},
                                    {.id = (char*)"D0", .stage = (char*)"field"},
                                    {.id = (char*)"D06", .stage = (char*)"cleaned", .note = (char*)"steep"}};
    life.specimen.element = element;
    life.specimen.element_count = 3;
    life.stage[2].note = (char*)"D05, D06 and D07: one lost a corner";
    report_lines lines = report_summary(&life.history);
    SAYS(lines, "Bone lost",
         ". Recorded besides, and in no figure: D05, which showed before and which the note at ‘cleaned’ names (a "
         "loss of less than 0.40 mm over 1.0 cm² would not have been told there). What next lists them");
    cr_expect_null(strstr(line(&lines, "Bone lost"), "corner"));
    lines = report_step(&life.history, 1);
    SAYS(lines, "Bone lost",
         "the note at ‘cleaned’ names D05, which showed before (a loss of less than 0.40 mm over 1.0 cm²");
    lines = report_step(&life.history, 0);
    cr_expect_null(strstr(line(&lines, "Bone lost"), "Recorded"));
    life.stage[2].note = (char*)"D051 is clean";
    lines = report_step(&life.history, 1);
    cr_expect_null(strstr(line(&lines, "Bone lost"), "Recorded"));
}

Test(report_words, elements_in_the_spoil_stand_beside_bone_lost_and_count_as_matrix)
{
    rlv_element_record element[] = {
        {.id = (char*)"LR20", .bag = (char*)"S1"}, {.id = (char*)"LL31", .bag = (char*)"S2"}, {.id = (char*)"D01"}};
    report_lines lines = report_summary(&life.history);
    cr_expect_null(strstr(line(&lines, "Bone lost"), "spoil"));
    life.specimen.element = element;
    life.specimen.element_count = 3;
    lines = report_summary(&life.history);
    SAYS(lines, "Bone lost", "Recorded besides, and in no figure: 2 elements in the spoil. What next lists them");
    lines = report_step(&life.history, 1);
    SAYS(lines, "Bone lost", "1 element is recorded from the spoil, LL31 (bag S2): what of it had not shown");
}

Test(report_words, bounds_of_known_steps_add_up_where_the_ledger_has_no_sum)
{
    life.history.row = NULL;
    life.step[0].change.total[RLV_CHANGE_BONE] = life.step[1].change.total[RLV_CHANGE_BONE]; // none, at most 340 mm³
    const report_class bone = report_class_of(&life.history, RLV_CHANGE_BONE, REPORT_ALL);
    cr_expect_float_eq(bone.ml.high, 0.68, 1e-12);
    cr_expect(isnan(bone.g.value));
}

Test(report_words, bone_that_nobody_marked_is_not_known_rather_than_none)
{
    for (size_t i = 0; i < 2; i++)
    {
        life.step[i].change.total[RLV_CHANGE_BONE] = (rlv_change_total){.known = false};
        life.row[i].ml[RLV_CHANGE_BONE] = life.cumulative[i].ml[RLV_CHANGE_BONE] = (rlv_interval){NAN, NAN, NAN};
    }
    const report_lines lines = report_step(&life.history, 0), all = report_summary(&life.history);
    SAYS(lines, "Bone lost", "not known: no bone is marked on ‘field’");
    SAYS(all, "Bone lost", "not known");
    cr_expect(strstr(line(&all, "Bone lost"), "none") == NULL);
}

Test(report_words, a_class_that_is_known_in_some_steps_says_in_how_many)
{
    life.step[1].measured = false;
    for (size_t k = 0; k < RLV_CHANGE_CLASSES; k++)
        life.cumulative[1].ml[k] = life.cumulative[1].g[k] = (rlv_interval){NAN, NAN, NAN};
    const report_lines all = report_summary(&life.history);
    SAYS(all, "Matrix removed", "known in 1 of 2 steps");
    SAYS(all, "Not told apart", "not known");
}

Test(report_words, a_balance_says_whether_it_closes_or_what_is_missing)
{
    const report_lines lines = report_summary(&life.history);
    SAYS(lines, "Mass balance", "missing: resin");
    SAYS(lines, "Spoil against volume", "closes: measured 425 g, weighed 420 g; unexplained 5 g (−7 to 17 g)");
}

// Twice 44.53 g either way are a doubt of 23 g: tens. 27.5 g are one of 14: grams. Each figure stands to those.
Test(report_words, the_figures_of_a_balance_subtract_as_they_stand)
{
    life.cumulative[1].mass = (rlv_balance){
        .closed = true, .left_g = 2801.5, .right_g = 2788.5, .unexplained_g = {13.0, -31.53, 57.53}, .within = true};
    life.cumulative[1].spoil = (rlv_balance){
        .closed = true, .left_g = 715.67, .right_g = 706.6, .unexplained_g = {9.07, -9.93, 45.08}, .within = true};
    const report_lines lines = report_summary(&life.history);
    SAYS(lines, "Mass balance", "lost 2800 g");
    SAYS(lines, "Mass balance", "come to 2790 g; unexplained 10 g (−40 to 60 g)");
    SAYS(lines, "Spoil against volume", "measured 716 g, weighed 707 g; unexplained 9 g (−10 to 46 g)");
    report_tables tables = report_tables_measured(&life.history);
    cr_expect_str_eq(table_show(&tables.table[REPORT_SPOIL_BALANCE], 2, 2).number.text, "716");
    cr_expect_str_eq(table_show(&tables.table[REPORT_SPOIL_BALANCE], 2, 4).ends.text, "−10 to 46");
    report_tables_free(&tables);
}

// 1063.7 - 1056.8 = 6.9 g, of which the doubt allows tens: 1060 - 1060 is not 10.
Test(report_words, a_balance_has_the_figures_that_its_difference_needs)
{
    life.cumulative[1].spoil = (rlv_balance){
        .closed = true, .left_g = 1063.7, .right_g = 1056.8, .unexplained_g = {6.9, -19.1, 69.0}, .within = true};
    report_lines lines = report_summary(&life.history);
    SAYS(lines, "Spoil against volume", "measured 1064 g, weighed 1057 g; unexplained 7 g (−20 to 69 g)");
    life.cumulative[1].spoil.right_g = 1060.0; // in tens both stand alike, and so does nothing
    life.cumulative[1].spoil.unexplained_g.value = 3.7;
    lines = report_summary(&life.history);
    SAYS(lines, "Spoil against volume", "measured 1060 g, weighed 1060 g; unexplained 0 g");
}

// 28340 - 25098.5 = 3241.5 g of 2 g each; bags 420, of 1 g.
Test(report_words, the_table_of_a_balance_holds_what_it_is_made_of)
{
    life.row[0].weighed = (rlv_weighed){.before = {28340.0, 2.0},
                                        .after = {25098.5, 2.0},
                                        .spoil = {420.0, 1.0},
                                        .drying = {(double)NAN, (double)NAN},
                                        .resin = {0.24, 0.0}};
    report_tables tables = report_tables_measured(&life.history);
    char* csv = NULL;
    size_t size = 0;
    FILE* stream = open_memstream(&csv, &size);
    rlv_error error = {0};
    cr_assert_eq(table_write_csv(&tables.table[REPORT_MASS_BALANCE], stream, "csv", &error), RLV_DONE);
    fclose(stream);
    cr_expect(strstr(csv, "accounted_g,spoil_g,pieces_off_g,pieces_back_g,drying_g,resin_g,unexplained_g") != NULL);
    cr_expect(strstr(csv, "field,skull,,,420,0,0,,0.24,") != NULL, "%s", csv);
    cr_expect(strstr(csv, ",2,2,1,0,0,,0\n") != NULL, "%s", csv);
    free(csv);
    report_tables_free(&tables);
}

Test(report_words, regions_and_the_joint_of_a_piece_add_up_to_their_class)
{
    life.step[1].crumbled_mm3 = (rlv_interval){2000.0, 1500.0, 2500.0};
    rlv_table wall = report_regions_of_step(&life.history, 1, true, ""),
              bare = report_regions_of_step(&life.history, 1, false, "");
    cr_expect_eq(table_rows(&bare), 3);
    cr_assert_eq(table_rows(&wall), 4);
    cr_expect_eq(table_check(&wall, NULL), RLV_DONE);
    for (size_t k = 0; k < wall.column_count; k++) // those that are read along with another stand beneath it on a page
        cr_expect_eq(table_is_beneath(&wall, k), strcmp(wall.column[k].key, "class") == 0 ||
                                                     strcmp(wall.column[k].key, "deepest_square") == 0 ||
                                                     strcmp(wall.column[k].key, "rate") == 0);
    cr_expect_str_eq(table_show(&wall, 3, 0).text, "–");
    cr_expect_str_eq(table_show(&wall, 3, 1).text, "matrix removed: crumbs of a joint");
    cr_expect_str_eq(table_show(&wall, 3, 3).ends.text, "1.5 to 2.5");
    cr_expect_str_eq(table_show(&wall, 3, 4).text, "–");          // of the nearest bone nothing is said
    cr_expect_str_eq(table_show(&wall, 3, 5).number.text, "4.6"); // of 2.32 g/mL
    table_free(&wall);
    table_free(&bare);
}

// 10 000 mm³ went, and -2500 were not told apart; the meshes' own volumes differ by 7496.
Test(report_words, volumes_are_held_against_the_difference_of_the_two_meshes)
{
    rlv_change* change = &life.step[0].change;
    change->went.volume_mm3.value = 10000.0;
    change->divergence_mm3 = 7496.0;
    change->alignment.pose.scale = 0.99968;
    change->alignment.pose.covariance[48] = 1e-8;
    report_tables tables = report_tables_measured(&life.history);
    const rlv_table* t = &tables.table[REPORT_VOLUME_CHECK];
    cr_assert_eq(table_rows(t), 2);
    cr_expect_str_eq(table_show(t, 0, 2).number.text, "7.500");
    cr_expect_str_eq(table_show(t, 0, 3).number.text, "7.496");
    cr_expect_str_eq(table_show(t, 0, 4).number.text, "0.004");
    cr_expect_str_eq(table_show(t, 0, 6).number.text, "9.0");
    cr_expect_str_eq(table_show(t, 0, 7).number.text, "0.99968"); // sd 0.0001: to its second figure, a 1
    cr_expect_str_eq(table_show(t, 1, 3).text, "–");              // an open mesh
    report_tables_free(&tables);
}

Test(report_words, what_was_not_told_apart_is_summed_in_the_table_as_in_words)
{
    report_tables tables = report_tables_measured(&life.history);
    const rlv_table* t = &tables.table[REPORT_VOLUMES_SO_FAR];
    const table_cell* cell = &t->cell[2 * t->column_count - 1];
    cr_expect_float_eq(cell->number[0], -5000.0, 1e-9);
    cr_expect_float_eq(cell->number[2], 1000.0 * report_untold(&life.history, REPORT_ALL).high, 1e-9);
    report_tables_free(&tables);
}

Test(report_words, a_balance_says_that_drying_was_not_recorded)
{
    life.cumulative[1].mass = life.cumulative[1].spoil;
    life.cumulative[1].mass.holds_drying = true;
    const report_lines lines = report_summary(&life.history);
    SAYS(lines, "Mass balance", "unexplained 5 g (−7 to 17 g), drying in it, which was not recorded");
}

Test(report_words, a_balance_that_does_not_close_alarms)
{
    life.cumulative[1].spoil.within = false;
    const report_lines lines = report_summary(&life.history);
    SAYS(lines, "Spoil against volume", "does not close");
    bool alarm = false;
    for (size_t i = 0; i < lines.count; i++)
        alarm = alarm || (lines.line[i].alarm && strcmp(lines.line[i].name, "Spoil against volume") == 0);
    cr_expect(alarm);
}

Test(report_words, what_is_left_is_told_only_where_the_mesh_is_closed)
{
    cr_expect(strstr(report_left(&life.history).text, "8000 mL") != NULL, "%s", report_left(&life.history).text);
    life.read[2].given.health.closed = false;
    cr_expect(strstr(report_left(&life.history).text, "not known: the mesh of ‘cleaned’ is open") != NULL);
}

Test(report_words, areas_of_work_that_were_pooled_are_named)
{
    report_lines lines = report_step(&life.history, 0);
    cr_expect_str_eq(line(&lines, "Areas of work"), "");
    life.step[0].areas_mixed = true;
    life.work[1].area = (char*)"snout";
    lines = report_step(&life.history, 0);
    SAYS(lines, "Areas of work", "‘skull roof’, ‘snout’: not told apart");
    life.work[1].area = (char*)"skull roof";
    lines = report_step(&life.history, 0);
    SAYS(lines, "Areas of work", "‘skull roof’: not told apart"); // named once
}

Test(report_words, the_weight_is_held_against_the_recorded_limit_of_lifting)
{
    double limit_kg = 24.0;
    rlv_advice_record advice = {.lift_limit_kg = &limit_kg};
    report_lines lines = report_summary(&life.history);
    SAYS(lines, "Mass of the block", "the block weighed 24.700 kg (24.696 to 24.704 kg) at ‘cleaned’");
    cr_expect_null(strstr(line(&lines, "Mass of the block"), "lifting"));
    life.specimen.advice = &advice;
    lines = report_summary(&life.history);
    SAYS(lines, "Mass of the block",
         "‘cleaned’: over the 24 kg recorded for lifting by one person; a qualified person decides");
    limit_kg = 24.7;
    lines = report_summary(&life.history);
    SAYS(lines, "Mass of the block", "not over the 24.7 kg");
    life.stage[2].mass = NULL;
    lines = report_summary(&life.history);
    SAYS(lines, "Mass of the block", "not weighed at ‘cleaned’");
}

static report_lines stand_anew(void)
{
    life.history.standing = history_standing_of(&life.history);
    return report_summary(&life.history);
}

Test(report_words, the_size_is_that_of_a_box_that_is_named_and_held_against_the_case)
{
    double length = 500.0, width = 700.0, height = 400.0;
    rlv_display_record display = {.case_length_mm = &length, .case_width_mm = &width, .case_height_mm = &height};
    life.read[2].given.measures.low_mm = (rlv_vec3){-100.0, 0.0, 10.0};
    life.read[2].given.measures.high_mm = (rlv_vec3){200.2, 600.0, 260.0};
    life.specimen.display = &display;
    report_lines lines = stand_anew();
    SAYS(lines, "Size of the block",
         "600 × 300 × 250 mm, length × width × height of the box along the axes of the mesh of ‘cleaned’");
    SAYS(lines, "Size of the block", "500 × 700 × 400 mm inside, which that box fits into one way round");
    height = 240.0;
    lines = stand_anew();
    SAYS(lines, "Size of the block", "does not fit into; turned otherwise the block may");
}

Test(report_words, the_size_is_that_of_the_block_as_it_will_stand_where_up_is_recorded)
{
    double length = 400.0, width = 700.0, height = 400.0, vector[] = {0.0, 1.0, 0.0};
    rlv_direction_record up = {.stage = "cleaned", .count = 3, .vector = vector};
    rlv_display_record display = {.up = &up, .case_length_mm = &length, .case_width_mm = &width};
    // A prism 600 mm along z and 250 mm high along y, on a plan that is turned against the mesh's axes.
    float corner[] = {0, 0, 0, 300, 0, 400, 480, 0, 265, 180, 0, -135, 0, 250, 0};
    life.read[2].given.mesh = (rlv_mesh){.vertex_count = 5, .position_mm = corner};
    life.specimen.display = &display;
    report_lines lines = stand_anew();
    SAYS(lines, "Size of the block",
         "500 × 225 × 250 mm at ‘cleaned’, length × width × height as it will stand, by the smallest rectangle");
    cr_expect_null(strstr(line(&lines, "Size of the block"), "case"));
    display.case_height_mm = &height;
    lines = stand_anew();
    SAYS(lines, "Size of the block",
         "400 × 700 × 400 mm inside, which leaves 200 mm beside it along its length and 175 along its width, both "
         "sides together, and 150 above");
    height = 240.0;
    lines = stand_anew();
    SAYS(lines, "Size of the block", "which it does not fit into so");
    double lay[] = {0.0, 1.0, 0.05};
    rlv_direction_record in_rock = {.stage = "cleaned", .count = 3, .vector = lay};
    life.specimen.up = &in_rock;
    lines = stand_anew();
    SAYS(lines, "Size of the block", "Up will be the side that was up in the rock, within 3°"); // atan 0.05 is 2.9°
    lay[1] = -1.0;
    lines = stand_anew();
    SAYS(lines, "Size of the block", "the side that was down in the rock, within 3°");
    lay[1] = 0.0;
    lines = stand_anew();
    SAYS(lines, "Size of the block", "Up will be 90° from what was up in the rock");
    display.up = NULL;
    life.specimen.up = &up;
    lines = stand_anew();
    SAYS(lines, "Size of the block", "as it lay in the rock");
}

Test(report_words, stages_that_are_not_joined_alarm)
{
    life.history.joined = false;
    snprintf(life.history.apart, sizeof life.history.apart, "nothing reaches ‘cleaned’");
    const report_lines lines = report_summary(&life.history);
    cr_expect_str_eq(lines.line[lines.count - 1].name, "One frame");
    cr_expect(lines.line[lines.count - 1].alarm);
}

Test(report_words, a_p_has_three_decimals_where_it_decides_and_a_bound_below)
{
    cr_expect_str_eq(report_p(0.6543).text, "0.65");
    cr_expect_str_eq(report_p(0.0234).text, "0.023");
    cr_expect_str_eq(report_p(0.00099).text, "< 0.001");
    cr_expect_str_eq(report_p((double)NAN).text, "");
}

/// Whether what people read of a number is that number rounded once: within half of the last figure that is shown, or
/// the last before its zeros.
static bool is_rounded_once(const char* shown, double value)
{
    char plain[80];
    size_t put = 0;
    for (const char* at = shown; *at != '\0' && put + 1 < sizeof plain;)
        if (strncmp(at, WORDS_MINUS, strlen(WORDS_MINUS)) == 0)
        {
            plain[put++] = '-';
            at += strlen(WORDS_MINUS);
        }
        else
            plain[put++] = *at++;
    plain[put] = '\0';
    const char* point = strchr(plain, '.');
    double half = 0.5 * pow(10.0, point != NULL ? -(double)strlen(point + 1) : 0.0);
    for (size_t i = put; point == NULL && i > 1 && plain[i - 1] == '0'; i--)
        half *= 10.0;
    return fabs(strtod(plain, NULL) - value) <= half * (1.0 + 1e-9);
}

Test(report_words, every_figure_of_the_page_is_that_of_the_csv_rounded_once)
{
    report_tables tables = report_tables_measured(&life.history);
    size_t looked = 0;
    for (size_t i = 0; i < REPORT_WORK; i++)
    {
        const rlv_table* t = &tables.table[i];
        for (size_t k = 0; k < t->cell_count; k++)
        {
            const size_t column = k % t->column_count;
            const table_shown shown = table_show(t, k / t->column_count, column);
            const char* unit = table_shown_unit(&t->column[column]);
            const double size = strncmp(unit, "mL", 2) == 0 ? 1000.0 : strcmp(unit, "cm²") == 0 ? 100.0 : 1.0;
            if (!t->cell[k].known || (t->cell[k].kind != TABLE_NUMBER && t->cell[k].kind != TABLE_INTERVAL) ||
                strcmp(shown.number.text, "none told") == 0)
                continue;
            cr_expect(is_rounded_once(shown.number.text, t->cell[k].number[0] / size), "%s, %s: %s of %.17g", t->name,
                      t->column[column].key, shown.number.text, t->cell[k].number[0] / size);
            looked++;
        }
    }
    cr_expect_gt(looked, 50);
    report_tables_free(&tables);
}

Test(report_words, what_is_said_and_cut_says_so)
{
    char words[2 * sizeof(report_text)];
    memset(words, 'x', sizeof words);
    words[sizeof(report_text) - 1] = '\0';
    cr_expect_str_eq(report_say("%s", words).text, words, "it fits to the last byte");
    words[sizeof(report_text) - 1] = 'x';
    words[sizeof words - 1] = '\0';
    const report_text said = report_say("%s", words);
    cr_expect_eq(strlen(said.text), sizeof said.text - 1);
    cr_expect_str_eq(said.text + sizeof said.text - sizeof " …", " …");
}
