/// Tests of tables: exact in CSV, readable to people.

#include "table.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const table_column columns[] = {{"id", NULL, "element", TABLE_TEXT, "Name of the element."},
                                       {"points", NULL, "points", TABLE_COUNT, "Points placed on it."},
                                       {"held", NULL, "in place", TABLE_FLAG, "Whether it is in life position."},
                                       {"area", "mm2", "area", TABLE_NUMBER, "Exposed area."},
                                       {"volume", "mm3", "volume", TABLE_INTERVAL, "Volume, \"as measured\"."},
                                       {"centroid", "mm", "centre", TABLE_PLACE, "Centroid."}};

enum
{
    COLUMNS = sizeof columns / sizeof columns[0]
};

static rlv_table sample(void)
{
    rlv_table t = table_of("elements", "Elements", COLUMNS, columns);
    table_text(&t, "LL 12, \"left\"");
    table_count(&t, 7);
    table_flag(&t, true);
    table_number(&t, 1234.5678901234567, 10.0);
    table_interval(&t, (rlv_interval){12345.0, 11861.0, 12829.0});
    table_place(&t, rlv_vec3_of(1.0 / 3.0, -2.5, 1e-7), 0.3);
    table_text(&t, NULL);
    table_none(&t);
    table_none(&t);
    table_number(&t, (double)NAN, 0.0);
    table_interval(&t, (rlv_interval){5.0, (double)NAN, (double)NAN});
    table_none(&t);
    return t;
}

static char* csv_of(const rlv_table* t)
{
    char* bytes = NULL;
    size_t size = 0;
    FILE* stream = open_memstream(&bytes, &size);
    cr_assert_eq(table_write_csv(t, stream, "elements.csv", NULL), RLV_DONE);
    fclose(stream);
    return bytes;
}

Test(table, csv_has_exact_numbers_under_keys_with_their_units_and_nothing_for_what_is_not_known)
{
    rlv_table t = sample();
    char* csv = csv_of(&t);
    cr_assert_str_eq(
        csv, "id,points,held,area_mm2,volume_mm3,volume_low_mm3,volume_high_mm3,centroid_x_mm,centroid_y_mm,"
             "centroid_z_mm\n"
             "\"LL 12, \"\"left\"\"\",7,yes,1234.5678901234567,12345,11861,12829,0.3333333333333333,-2.5,1e-07\n"
             ",,,,5,,,,,\n");
    free(csv);
    table_free(&t);
}

Test(table, people_read_millilitres_and_square_centimetres_with_the_figures_that_the_uncertainty_allows)
{
    rlv_table t = sample();
    cr_assert_eq(table_rows(&t), 2);
    cr_assert_str_eq(table_shown_unit(&columns[3]), "cm²");
    cr_assert_str_eq(table_shown_unit(&columns[4]), "mL");
    cr_assert_str_eq(table_shown_unit(&columns[5]), "mm");
    cr_assert_str_eq(table_shown_unit(&columns[0]), "");
    cr_assert_str_eq(table_show(&t, 0, 0).text, "LL 12, \"left\"");
    cr_assert_str_eq(table_show(&t, 0, 1).number.text, "7");
    cr_assert_str_eq(table_show(&t, 0, 2).text, "yes");
    cr_assert_str_eq(table_show(&t, 0, 3).number.text, "12.35"); // sd 0.10 cm2: hundredths
    cr_assert_str_eq(table_show(&t, 0, 4).number.text, "12.3");  // sd 0.25 mL: tenths
    cr_assert_str_eq(table_show(&t, 0, 4).ends.text, "11.8 to 12.9");
    cr_assert_str_eq(table_show(&t, 0, 5).number.text, "0.3, −2.5, 0.0");
    cr_assert_str_eq(table_show(&t, 1, 0).text, "–");
    cr_assert_str_eq(table_show(&t, 1, 4).ends.text, "");
    table_free(&t);
}

Test(table, an_uncertainty_and_a_limit_show_two_figures_whatever_their_size)
{
    rlv_table t = table_of("limits", "Limits", 1, columns + 3);
    table_figures(&t, 16.23, 2); // cm2 to people
    table_figures(&t, 84.0, 2);
    table_figures(&t, 123456.0, 2);
    table_figures(&t, (double)NAN, 2);
    cr_assert_str_eq(table_show(&t, 0, 0).number.text, "0.16");
    cr_assert_str_eq(table_show(&t, 1, 0).number.text, "0.84");
    cr_assert_str_eq(table_show(&t, 2, 0).number.text, "1200");
    cr_assert_str_eq(table_show(&t, 3, 0).text, "–");
    char* csv = csv_of(&t);
    cr_assert_str_eq(csv, "area_mm2\n16.23\n84\n123456\n\n", "CSV is exact");
    free(csv);
    table_free(&t);
}

Test(table, the_meanings_list_each_column_of_the_csv_with_its_unit_and_in_how_many_rows_it_is_filled)
{
    char* bytes = NULL;
    size_t size = 0;
    rlv_table t = sample();
    FILE* stream = open_memstream(&bytes, &size);
    table_write_meanings_head(stream);
    table_write_meanings(&t, "tables/elements.csv", stream);
    fclose(stream);
    cr_assert_str_eq(bytes, "file,column,unit,kind,meaning,rows,filled\n"
                            "tables/elements.csv,id,,text,Name of the element.,2,1\n"
                            "tables/elements.csv,points,,whole number,Points placed on it.,2,1\n"
                            "tables/elements.csv,held,,yes or no,Whether it is in life position.,2,1\n"
                            "tables/elements.csv,area_mm2,mm2,number,Exposed area.,2,1\n"
                            "tables/elements.csv,volume_mm3,mm3,number,\"Volume, \"\"as measured\"\".\",2,2\n"
                            "tables/elements.csv,volume_low_mm3,mm3,number,\"Volume, \"\"as measured\"\". Lower end of "
                            "its 95 % interval.\",2,1\n"
                            "tables/elements.csv,volume_high_mm3,mm3,number,\"Volume, \"\"as measured\"\". Upper end "
                            "of its 95 % interval.\",2,1\n"
                            "tables/elements.csv,centroid_x_mm,mm,number,Centroid. Along x.,2,1\n"
                            "tables/elements.csv,centroid_y_mm,mm,number,Centroid. Along y.,2,1\n"
                            "tables/elements.csv,centroid_z_mm,mm,number,Centroid. Along z.,2,1\n");
    free(bytes);
    table_free(&t);
}

Test(table, cells_that_do_not_fit_their_columns_are_told_when_it_is_written)
{
    rlv_error error = {0};
    rlv_table t = table_of("elements", "Elements", COLUMNS, columns);
    FILE* stream = tmpfile();
    cr_assert_eq(table_check(&t, &error), RLV_DONE, "no rows are a whole table");
    table_text(&t, "one");
    cr_assert_eq(table_write_csv(&t, stream, "x", &error), RLV_SYSTEM, "a row that is not full");
    cr_assert_str_eq(error.where, "elements");
    table_free(&t);
    t = table_of("elements", "Elements", 2, columns);
    table_count(&t, 3);
    table_count(&t, 3);
    cr_assert_eq(table_write_csv(&t, stream, "x", &error), RLV_SYSTEM, "a number where text belongs");
    cr_assert_eq(ftell(stream), 0, "nothing is written of it");
    table_free(&t);
    fclose(stream);
}

Test(table, a_bound_on_what_was_not_found_is_told_as_that_and_what_was_found_never_as_nothing)
{
    rlv_table t = table_of("volumes", "Volumes", 1, columns + 4);
    table_interval(&t, (rlv_interval){0.0, 0.0, 176.0});
    table_interval(&t, (rlv_interval){0.0, 0.0, 0.0});
    table_found(&t, (rlv_interval){310.0, 0.0, 11000.0});
    table_interval(&t, (rlv_interval){310.0, -9000.0, 11000.0});
    cr_assert_str_eq(table_show(&t, 0, 0).number.text, "none told");
    cr_assert_str_eq(table_show(&t, 0, 0).ends.text, "at most 0.18");
    cr_assert_str_eq(table_show(&t, 1, 0).number.text, "0"); // by the record there was none
    cr_assert_str_eq(table_show(&t, 2, 0).number.text, "0.3");
    cr_assert_str_eq(table_show(&t, 2, 0).ends.text, "0.0 to 11.0");
    cr_assert_str_eq(table_show(&t, 3, 0).number.text, "0"); // a difference that may be none
    char* csv = csv_of(&t);
    cr_assert_not_null(strstr(csv, "\n0,0,176\n"), "CSV has the figures: %s", csv);
    free(csv);
    table_free(&t);
}

Test(table, a_span_of_places_has_a_dash_for_people_and_a_hyphen_for_machines)
{
    static const table_column spans[] = {{"bag", NULL, "bag", TABLE_TEXT, "Bag."},
                                         {"places", NULL, "places", TABLE_TEXT, "Places."}};
    rlv_table t = table_of("spans", "Spans", 2, spans);
    table_text(&t, "13-20");
    table_text(&t, "13-20");
    table_text(&t, "13-20a");
    table_text(&t, "13-20a");
    table_text(&t, "S1");
    table_text(&t, "13-20 of LL");
    cr_expect_str_eq(table_show(&t, 0, 0).text, "13-20", "an id is left as it is");
    cr_expect_null(table_show(&t, 0, 1).text);
    cr_expect_str_eq(table_show(&t, 0, 1).number.text, "13–20");
    cr_expect_str_eq(table_show(&t, 1, 1).text, "13-20a");
    cr_expect_str_eq(table_show(&t, 2, 1).number.text, "13–20 of LL");
    char* text = NULL;
    size_t size = 0;
    FILE* stream = open_memstream(&text, &size);
    cr_assert_eq(table_write_csv(&t, stream, "spans.csv", NULL), RLV_DONE);
    fclose(stream);
    cr_expect_not_null(strstr(text, "13-20,13-20\n"), "%s", text);
    free(text);
    table_free(&t);
}

Test(table, a_share_is_told_to_whole_per_cent_however_wide_its_interval)
{
    static const table_column shares[] = {{"share", "percent", "share", TABLE_INTERVAL, "Share."}};
    rlv_table t = table_of("shares", "Shares", 1, shares);
    table_interval(&t, (rlv_interval){100.0, 15.811, 100.0}); // two of two: 0.025 to the power 1/2
    cr_expect_str_eq(table_show(&t, 0, 0).number.text, "100");
    cr_expect_str_eq(table_show(&t, 0, 0).ends.text, "15 to 100");
    table_free(&t);
}
