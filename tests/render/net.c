// Nets and roses: where directions fall, by the projection's own definition, and petals whose area is their number.

#include "net.h"

#include <criterion/criterion.h>
#include <math.h>
#include <omp.h>
#include <stdlib.h>
#include <string.h>

TestSuite(net);

#define DEGREE (M_PI / 180.0)

// A compass that lies askew in its frame.
static rlv_compass askew(void)
{
    rlv_compass compass;
    cr_assert_eq(rlv_compass_of(&compass, rlv_vec3_of(0.3, -0.4, 0.9), rlv_vec3_of(-0.5, 0.7, 0.2), NULL), RLV_DONE);
    return compass;
}

Test(net, a_direction_falls_where_lamberts_projection_of_the_lower_hemisphere_puts_it)
{
    rlv_compass compass = askew();
    for (double trend = 0.0; trend < 360.0; trend += 7.0)
        for (double plunge = 0.0; plunge <= 90.0; plunge += 6.0)
        {
            double at[2], reach = 50.0 * sqrt(2.0) * sin(0.5 * (90.0 - plunge) * DEGREE);
            cr_expect(rlv_net_place(&compass, rlv_trend_vector(&compass, (rlv_trend){trend, plunge}), 50.0, at));
            // A square root of a rounding error near the middle: 50 sqrt(1e-15).
            cr_expect_float_eq(at[0], reach * sin(trend * DEGREE), 2e-6, "%g/%g", trend, plunge);
            cr_expect_float_eq(at[1], -reach * cos(trend * DEGREE), 2e-6, "%g/%g", trend, plunge);
        }
}

Test(net, a_direction_that_points_up_falls_at_its_opposite_and_says_so)
{
    rlv_compass compass = askew();
    double up[2], down[2];
    rlv_vec3 way = rlv_trend_vector(&compass, (rlv_trend){40.0, 25.0});
    cr_expect(rlv_net_place(&compass, way, 10.0, down));
    cr_expect_not(rlv_net_place(&compass, rlv_vec3_scale(way, -3.0), 10.0, up));
    cr_expect_float_eq(up[0], down[0], 1e-12);
    cr_expect_float_eq(up[1], down[1], 1e-12);
}

Test(net, equal_solid_angles_cover_equal_areas)
{
    // The cap about the middle down to plunge P has solid angle 2 pi (1 - sin P): so much of the hemisphere, and of the
    // disc, lies in it.
    rlv_compass compass = askew();
    for (double plunge = 0.0; plunge < 90.0; plunge += 5.0)
    {
        double at[2];
        rlv_net_place(&compass, rlv_trend_vector(&compass, (rlv_trend){123.0, plunge}), 1.0, at);
        cr_expect_float_eq(at[0] * at[0] + at[1] * at[1], 1.0 - sin(plunge * DEGREE), 1e-12);
    }
}

Test(net, azimuths_are_counted_by_the_sector_that_holds_them)
{
    const double azimuth[7] = {0.0, 29.999, 30.0, 359.9, -0.1, 360.0, 725.0};
    size_t petal[12];
    rlv_rose_count(7, azimuth, 30.0, petal);
    cr_expect_eq(petal[0], 4); // 0, 29.999, 360 and 725 (5)
    cr_expect_eq(petal[1], 1);
    cr_expect_eq(petal[11], 2);
    size_t all = 0;
    for (int k = 0; k < 12; k++)
        all += petal[k];
    cr_expect_eq(all, 7);
}

Test(net, sectors_are_narrower_where_there_are_more_azimuths)
{
    cr_expect_eq(rlv_rose_width_deg(9), 30.0);
    cr_expect_eq(rlv_rose_width_deg(24), 20.0);
    cr_expect_eq(rlv_rose_width_deg(60), 10.0);
}

// A sheet of one rose, as pixels of 0.1 mm.
static void draw(rlv_picture* picture, const rlv_net_sheet* nets)
{
    rlv_sheet sheet;
    rlv_error error = {0};
    cr_assert_eq(rlv_sheet_of_nets(&sheet, nets, NULL, &error), RLV_DONE, "%s", error.what);
    size_t width = (size_t)(sheet.width_mm * 10.0), height = (size_t)(sheet.height_mm * 10.0);
    cr_assert_eq(rlv_picture_reserve(picture, width, height, 0.1, NULL), RLV_DONE);
    cairo_surface_t* image = cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)width, (int)height);
    cairo_t* c = cairo_create(image);
    cairo_set_source_rgb(c, 1.0, 1.0, 1.0);
    cairo_paint(c);
    cairo_scale(c, 254.0 / 72.0, 254.0 / 72.0); // the record is in points
    cairo_set_source_surface(c, sheet.record, 0.0, 0.0);
    cairo_paint(c);
    cairo_destroy(c);
    cairo_surface_flush(image);
    const unsigned char* data = cairo_image_surface_get_data(image);
    size_t stride = (size_t)cairo_image_surface_get_stride(image);
    for (size_t y = 0; y < height; y++)
        for (size_t x = 0; x < width; x++)
            for (size_t k = 0; k < 3; k++)
                picture->rgb[3 * (y * width + x) + k] = data[y * stride + 4 * x + 2 - k];
    cairo_surface_destroy(image);
    rlv_sheet_free(&sheet);
}

Test(net, a_petal_of_four_covers_four_times_what_a_petal_of_one_does)
{
    // Four to the east-north-east, one opposite. Lines over the petals (outline, spokes, rings and their numbers) take
    // up to 7 % of the smaller one (64 mm of outline at 0.18 mm on 170 mm2) and 4 % of the larger.
    const double azimuth[5] = {61.0, 66.0, 75.0, 82.0, 255.0};
    const rlv_rose rose = {.name = "rose", .count = 5, .azimuth_deg = azimuth, .mean_deg = NAN, .half_deg = NAN};
    const rlv_net_sheet nets = {.compass = askew(), .north_known = true, .rose = &rose, .paper = 4};
    rlv_picture picture = {0};
    draw(&picture, &nets);
    // The key's swatch has the same tint: it stands left of and beneath the dial, below its foot.
    size_t left = 0, right = 0, middle = picture.width / 2;
    for (size_t y = 0; y < picture.height; y++)
        for (size_t x = 0; x < picture.width; x++)
        {
            const uint8_t* rgb = picture.rgb + 3 * (y * picture.width + x);
            bool tint = abs(rgb[0] - 158) < 4 && abs(rgb[1] - 187) < 4 && abs(rgb[2] - 204) < 4;
            bool dial = x + 520 > middle && x < middle + 520;
            left += tint && dial && x < middle;
            right += tint && dial && x >= middle;
        }
    // 30 degrees of a disc of 51 mm radius.
    cr_expect_float_eq((double)right / 100.0, M_PI * 51.0 * 51.0 / 12.0, 0.06 * M_PI * 51.0 * 51.0 / 12.0);
    cr_expect_float_eq((double)right / (double)left, 4.0, 0.4);
    rlv_picture_free(&picture);
}

static char* written(const rlv_net_sheet* nets, rlv_sheet_format format, size_t* size)
{
    rlv_sheet sheet;
    rlv_error error = {0};
    char* bytes = NULL;
    size_t left_out = 0;
    cr_assert_eq(rlv_sheet_of_nets(&sheet, nets, &left_out, &error), RLV_DONE, "%s", error.what);
    cr_expect_eq(left_out, 0);
    FILE* stream = open_memstream(&bytes, size);
    cr_assert_eq(rlv_sheet_write(&sheet, format, stream, &(rlv_sheet_info){.title = "nets"}, &error), RLV_DONE);
    fclose(stream);
    rlv_sheet_free(&sheet);
    return bytes;
}

enum
{
    WAYS = 40
};

Test(net, a_sheet_of_nets_is_the_same_bytes_at_any_number_of_threads)
{
    rlv_net_point point[WAYS];
    rlv_vec3 way[WAYS];
    double azimuth[WAYS];
    rlv_compass compass = askew();
    for (int i = 0; i < WAYS; i++)
    {
        rlv_trend trend = {fmod(37.0 * i, 360.0), fmod(23.0 * i, 170.0) - 80.0};
        way[i] = rlv_trend_vector(&compass, trend);
        azimuth[i] = trend.trend_deg;
        point[i] = (rlv_net_point){way[i], (rlv_articulation_state)(i % RLV_ARTICULATION_STATES),
                                   i % 4 == 0 ? "LL07" : NULL, RLV_OPEN_OFF_ROW};
    }
    const rlv_vec3 mean = rlv_trend_vector(&compass, (rlv_trend){70.0, 10.0});
    rlv_orientation tensor;
    cr_assert_eq(rlv_orientation_of(&tensor, WAYS, way, NULL), RLV_DONE);
    const rlv_net net[2] = {{.name = "poles", .count = WAYS, .point = point, .tensor = &tensor, .words = "n = 40"},
                            {.name = "motions",
                             .directed = true,
                             .count = WAYS,
                             .point = point,
                             .mean = &mean,
                             .cone_deg = 20.0,
                             .words = "n = 40"}};
    const rlv_rose rose = {.name = "rose", .count = WAYS, .azimuth_deg = azimuth, .mean_deg = 350.0, .half_deg = 30.0};
    rlv_vec3 bedding = rlv_vec3_of(0.1, 0.2, 1.0);
    const rlv_net_sheet nets = {
        .compass = compass, .bedding = &bedding, .net_count = 2, .net = net, .rose = &rose, .paper = 3};
    for (int format = RLV_SHEET_PNG; format <= RLV_SHEET_SVG; format++)
    {
        size_t size[2];
        char* bytes[2];
        for (int k = 0; k < 2; k++)
        {
            omp_set_num_threads(k + 1);
            bytes[k] = written(&nets, (rlv_sheet_format)format, &size[k]);
        }
        cr_expect_eq(size[0], size[1]);
        cr_expect_arr_eq(bytes[0], bytes[1], size[0] < size[1] ? size[0] : size[1]);
        free(bytes[0]);
        free(bytes[1]);
    }
}

/// Pixels as yellow as a shifted element's sign.
static size_t yellow_of(const rlv_net* net)
{
    const rlv_net_sheet nets = {.compass = askew(), .north_known = true, .net_count = 1, .net = net, .paper = 4};
    rlv_picture picture = {0};
    size_t count = 0;
    draw(&picture, &nets);
    for (size_t i = 0; i < picture.width * picture.height; i++)
        count += picture.rgb[3 * i] > picture.rgb[3 * i + 2] + 60;
    rlv_picture_free(&picture);
    return count;
}

Test(net, an_axis_of_the_tensor_covers_no_direction)
{
    const rlv_compass compass = askew();
    const rlv_vec3 way = rlv_trend_vector(&compass, (rlv_trend){70.0, 40.0});
    const rlv_net_point point = {way, RLV_SHIFTED, NULL, RLV_OPEN_UNJUDGED};
    const rlv_orientation tensor = {.count = 5,
                                    .axis = {way, rlv_trend_vector(&compass, (rlv_trend){160.0, 0.0}),
                                             rlv_trend_vector(&compass, (rlv_trend){250.0, 50.0})}};
    const rlv_net alone = {.name = "poles", .count = 1, .point = &point},
                  among = {.name = "poles", .count = 1, .point = &point, .tensor = &tensor};
    const size_t seen = yellow_of(&alone);
    cr_expect_gt(seen, 100);
    cr_expect_eq(yellow_of(&among), seen);
}

Test(net, a_sheet_without_directions_is_refused)
{
    rlv_sheet sheet;
    const rlv_net_sheet nets = {.compass = askew()};
    cr_expect_eq(rlv_sheet_of_nets(&sheet, &nets, NULL, NULL), RLV_BAD_INPUT);
    rlv_sheet_free(&sheet);
}

Test(net, four_motions_make_no_petals)
{
    cr_expect_not(rlv_rose_has_petals(1));
    cr_expect_not(rlv_rose_has_petals(4));
    cr_expect(rlv_rose_has_petals(5));
}

static bool has_entry(const rlv_key* key, const char* words)
{
    for (size_t i = 0; i < key->count; i++)
        if (strcmp(key->entry[i].words, words) == 0)
            return true;
    return false;
}

Test(net, the_key_has_each_open_sign_that_is_there_and_no_other)
{
    const rlv_compass compass = askew();
    const rlv_net_point point[3] = {{rlv_trend_vector(&compass, (rlv_trend){40.0, -20.0}), RLV_INVERTED, NULL, 0},
                                    {rlv_trend_vector(&compass, (rlv_trend){90.0, 30.0}), RLV_SHIFTED, NULL, 0},
                                    {rlv_trend_vector(&compass, (rlv_trend){200.0, -5.0}), RLV_ROTATED, NULL, 0}};
    rlv_net net = {.name = "Motions", .directed = true, .count = 3, .point = point};
    const rlv_net_sheet sheet = {.compass = compass, .net_count = 1, .net = &net};
    rlv_key key = rlv_net_key(&sheet);
    cr_expect(has_entry(&key, "inverted, pointing up: drawn at its opposite"));
    cr_expect(has_entry(&key, "rotated, pointing up: drawn at its opposite"));
    cr_expect(has_entry(&key, "shifted"));
    cr_expect_eq(key.count, 3);
    net.directed = false; // poles have no up
    key = rlv_net_key(&sheet);
    cr_expect(has_entry(&key, "inverted"));
    cr_expect_eq(key.count, 3);
}

Test(net, a_pole_of_an_element_off_its_row_has_its_own_sign_in_the_key)
{
    const rlv_compass compass = askew();
    const rlv_net_point point[2] = {
        {rlv_trend_vector(&compass, (rlv_trend){40.0, 20.0}), RLV_UNASSIGNED, NULL, RLV_OPEN_OFF_ROW},
        {rlv_trend_vector(&compass, (rlv_trend){90.0, 30.0}), RLV_IN_PLACE, NULL, 0}};
    const rlv_net net = {.name = "Poles", .count = 2, .point = point};
    const rlv_key key = rlv_net_key(&(rlv_net_sheet){.compass = compass, .net_count = 1, .net = &net});
    cr_assert_eq(key.count, 2);
    cr_expect(has_entry(&key, "in place"));
    cr_expect(has_entry(&key, rlv_open_key(RLV_OPEN_OFF_ROW).words));
}

static const uint8_t* pixel_at(const rlv_picture* picture, double x_mm, double y_mm)
{
    return picture->rgb + 3 * ((size_t)(y_mm * 10.0) * picture->width + (size_t)(x_mm * 10.0));
}

// Whether a pixel of a ring's arc has ink: azimuths from `from_deg` to `to_deg` about a middle.
static bool has_ink(const rlv_picture* picture, const double middle[2], const double reach[2], const double arc_deg[2])
{
    for (double reach_mm = reach[0]; reach_mm < reach[1]; reach_mm += 0.1)
        for (double azimuth = arc_deg[0]; azimuth < arc_deg[1]; azimuth += 0.1)
            if (pixel_at(picture, middle[0] + reach_mm * sin(azimuth * DEGREE),
                         middle[1] - reach_mm * cos(azimuth * DEGREE))[0] < 128)
                return true;
    return false;
}

// The middle of a dial: where the rows and columns of the rim, black at both ends of a diameter of 102 mm, meet.
static void find_middle(double middle[2], const rlv_picture* picture)
{
    const double x = 0.05 * (double)picture->width, rim[2] = {50.95, 51.05};
    double y = 0.0;
    for (double at = 60.0; at < 0.1 * (double)picture->height - 60.0 && y == 0.0; at += 0.1)
        if (has_ink(picture, (double[2]){x, at}, rim, (double[2]){305.0, 305.3}) &&
            has_ink(picture, (double[2]){x, at}, rim, (double[2]){235.0, 235.3}))
            y = at;
    cr_assert_gt(y, 0.0);
    middle[0] = x;
    middle[1] = y;
}

Test(net, an_arrow_of_a_rose_has_its_name_at_its_tip_and_no_dot)
{
    const double azimuth[2] = {50.0, 200.0};
    const char* const name[2] = {"D04", "LL08"};
    rlv_rose rose = {.name = "rose", .count = 2, .azimuth_deg = azimuth, .mean_deg = NAN, .half_deg = NAN};
    const rlv_net_sheet nets = {.compass = askew(), .north_known = true, .rose = &rose, .paper = 4};
    rlv_picture picture[2] = {{0}, {0}};
    draw(&picture[0], &nets);
    rose.label = name;
    draw(&picture[1], &nets);
    double middle[2];
    find_middle(middle, &picture[0]);
    for (size_t i = 0; i < 2; i++)
    {
        // Between the rim's line and the letters of the compass: 0.5 mm to 5 mm off it.
        const double beside[2] = {51.5, 56.0};
        const double arc[2] = {azimuth[i] - 6.0, azimuth[i] + 6.0};
        cr_expect_not(has_ink(&picture[0], middle, beside, arc), "%g", azimuth[i]);
        cr_expect(has_ink(&picture[1], middle, beside, arc), "%g", azimuth[i]);
    }
    rlv_picture_free(&picture[0]);
    rlv_picture_free(&picture[1]);
}

Test(net, a_motion_of_a_rose_is_an_arrow_in_the_key_or_a_dot_where_there_are_petals)
{
    const double azimuth[6] = {10, 20, 30, 40, 50, 60};
    rlv_rose rose = {.count = 2, .azimuth_deg = azimuth, .mean_deg = NAN};
    const rlv_net_sheet sheet = {.rose = &rose};
    rlv_key few = rlv_net_key(&sheet);
    cr_assert_eq(few.count, 1);
    cr_assert(has_entry(&few, "one motion"));
    cr_expect_not(rlv_rose_has_petals(2));
    rose.count = 6;
    cr_assert(rlv_rose_has_petals(6));
    rlv_key many = rlv_net_key(&sheet);
    cr_assert_eq(many.count, 2);
    cr_expect_neq(few.entry[0].which, many.entry[1].which);
}

Test(net, a_motion_from_a_likely_place_is_a_dashed_arrow_that_is_not_counted)
{
    const double azimuth[4] = {50.0, 80.0, 130.0, 200.0}, likely[3] = {310.0, 340.0, 345.0};
    const char* const name[3] = {"LL29 92 %", "LR04 60 %", "LR09 73 %"};
    const rlv_rose rose = {.name = "rose",
                           .count = 4,
                           .azimuth_deg = azimuth,
                           .mean_deg = NAN,
                           .likely_count = 3,
                           .likely_deg = likely,
                           .likely_label = name};
    const rlv_net_sheet nets = {.compass = askew(), .north_known = true, .rose = &rose, .paper = 4};
    rlv_key key = rlv_net_key(&nets);
    cr_expect_eq(key.count, 2); // seven would make petals, with a tint of their own
    cr_expect(has_entry(&key, "one motion"));
    cr_expect(has_entry(&key, "off its row: from its likeliest place; not counted"));
    rlv_picture picture = {0};
    double middle[2];
    size_t inked[2] = {0, 0};
    draw(&picture, &nets);
    find_middle(middle, &picture);
    for (int k = 0; k < 200; k++)
        for (int i = 0; i < 2; i++)
        {
            const double at = i == 0 ? likely[0] : azimuth[0], reach = 20.0 + 0.1 * k;
            inked[i] += has_ink(&picture, middle, (double[2]){reach, reach + 0.05}, (double[2]){at - 0.5, at + 0.5});
        }
    cr_expect_eq(inked[1], 200);
    // Six of ten are drawn; each of the seven or so dashes ends in a pixel that is inked in part, or not.
    cr_expect(inked[0] > 80 && inked[0] < 180, "%zu", inked[0]);
    cr_expect(has_ink(&picture, middle, (double[2]){51.5, 56.0}, (double[2]){304.0, 316.0}));
    rlv_picture_free(&picture);
}

Test(net, an_arc_of_a_rose_covers_its_interval_and_no_more)
{
    const double azimuth[2] = {100.0, 200.0};
    const rlv_rose_arc arc[2] = {{350.0, 331.0, 369.0, true}, {.from_deg = -39.0, .to_deg = 23.0}};
    rlv_rose rose = {.name = "rose", .count = 2, .azimuth_deg = azimuth, .mean_deg = NAN, .arc_count = 2, .arc = arc};
    const rlv_net_sheet nets = {.compass = askew(), .north_known = true, .rose = &rose, .paper = 4};
    // 2 mm outside the rim, and 5 mm inside.
    const double reach[2][2] = {{52.8, 53.2}, {45.8, 46.2}};
    rlv_picture picture = {0};
    double middle[2];
    draw(&picture, &nets);
    find_middle(middle, &picture);
    for (int i = 0; i < 2; i++)
        for (double at = 205.0; at < 450.0; at += 1.0)
        {
            const double from = arc[i].from_deg + (i == 1 ? 360.0 : 0.0), to = arc[i].to_deg + (i == 1 ? 360.0 : 0.0);
            if (fabs(at - from) > 2.0 && fabs(at - to) > 2.0) // the ends are as wide as a line
                cr_expect_eq(has_ink(&picture, middle, reach[i], (double[2]){at, at + 0.1}), at > from && at < to,
                             "%d, %g", i, at);
        }
    rlv_picture_free(&picture);
    rlv_key key = rlv_net_key(&nets);
    cr_expect_eq(key.count, 3);
    rose.arc_count = 1;
    key = rlv_net_key(&nets);
    cr_expect_eq(key.count, 2);
    cr_expect_not(has_entry(&key, "directions along one stretch"));
}

Test(net, a_rose_with_nothing_beside_its_count_is_as_without)
{
    const double azimuth[2] = {100.0, 200.0};
    const char* const name[2] = {"D04", "LL08"};
    const rlv_rose_arc arc = {350.0, 331.0, 369.0, true};
    rlv_rose rose = {.name = "rose", .count = 2, .azimuth_deg = azimuth, .label = name, .mean_deg = NAN};
    const rlv_net_sheet nets = {.compass = askew(), .north_known = true, .rose = &rose, .paper = 4};
    size_t size[3];
    char* bytes[3];
    for (int k = 0; k < 3; k++)
    {
        rose.arc = k > 0 ? &arc : NULL;
        rose.likely_deg = k > 0 ? azimuth : NULL;
        rose.likely_label = k > 0 ? name : NULL;
        rose.arc_count = k == 2;
        bytes[k] = written(&nets, RLV_SHEET_SVG, &size[k]);
    }
    cr_expect(size[0] == size[1] && memcmp(bytes[0], bytes[1], size[0]) == 0);
    cr_expect_not(size[0] == size[2] && memcmp(bytes[0], bytes[2], size[0]) == 0);
    for (int k = 0; k < 3; k++)
        free(bytes[k]);
}
