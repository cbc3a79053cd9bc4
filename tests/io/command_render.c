#include "support/program.h"
#include "support/told.h"
#include "support/two_stages.h"

#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

TestSuite(command_render, .init = program_enter, .fini = program_leave, .timeout = 900);

static const char compass[] = "up: {stage: field, vector: [0, 0, 1]}\nnorth: {stage: field, vector: [0, 1, 0]}\n";

static program_run run(const char* line, int status)
{
    program_run made = program_call(line, NULL);
    cr_assert_eq(made.status, status, "rilievo %s: status %d\n%s%s", line, made.status, made.err, made.out);
    return made;
}

static void refuse(const char* line, const char* what, const char* mend)
{
    program_run made = run(line, 2);
    cr_assert_eq(made.out_size, 0);
    cr_assert_not_null(strstr(made.err, what), "rilievo %s: %s", line, made.err);
    cr_assert_not_null(strstr(made.err, mend), "rilievo %s: %s", line, made.err);
    cr_assert_eq(folder_count("out"), -1, "rilievo %s: something was written", line);
    program_free(&made);
}

/// The picture of an answer in JSON.
static json_t* picture_of(const char* line)
{
    json_t* json = told_by(line, 0);
    json_t* picture = json_incref(json_object_get(json, "picture"));
    cr_assert(json_is_object(picture));
    json_decref(json);
    return picture;
}

static char* file_of(json_t* picture, size_t* size)
{
    char path[4096];
    snprintf(path, sizeof path, "out/%s", told_text(picture, "path"));
    char* bytes = program_read(path, size);
    cr_assert_not_null(bytes, "%s is missing", path);
    return bytes;
}

static unsigned big_endian(const char* at)
{
    const unsigned char* byte = (const unsigned char*)at;
    return (unsigned)byte[0] << 24 | (unsigned)byte[1] << 16 | (unsigned)byte[2] << 8 | byte[3];
}

Test(command_render, a_map_of_depth_is_a_png_of_the_size_that_is_told_and_lists_all_classes)
{
    two_stages_write("fish", 3, compass, NULL);
    json_t* picture = picture_of("render fish --picture depth --stage second --out out --json");
    size_t size = 0;
    char* bytes = file_of(picture, &size);
    cr_assert(size > 24 && memcmp(bytes, "\x89PNG", 4) == 0);
    cr_assert_eq((double)big_endian(bytes + 16), told_number(picture, "width_pixels"));
    cr_assert_eq((double)big_endian(bytes + 20), told_number(picture, "height_pixels"));
    cr_assert_str_eq(told_text(picture, "path"), "second-depth.png");
    cr_assert_eq(told_number(picture, "scale"), 1.0);
    cr_assert_not_null(strstr(told_text(picture, "caption"), "up in the rock"));
    cr_assert_not_null(strstr(told_text(picture, "alt"), "bone lost"));
    cr_assert_not_null(strstr(told_text(picture, "alt"), "piece detached"));
    cr_assert_not_null(strstr(told_text(picture, "alt"), "material added"));
    cr_assert_eq(folder_count("out"), 1);
    free(bytes);
    json_decref(picture);
}

Test(command_render, the_same_bytes_come_out_for_one_thread_and_for_two)
{
    const char* const pictures[] = {"comparison --stage second", "depth --stage second --scale fit", "history",
                                    "plain --stage second", "stage --stage field"};
    two_stages_write("fish", 4, compass, NULL);
    for (size_t i = 0; i < 5; i++)
    {
        char line[256];
        size_t size[2] = {0};
        char* bytes[2];
        for (int threads = 1; threads <= 2; threads++)
        {
            snprintf(line, sizeof line, "render fish --picture %s --out out --json --threads %d", pictures[i], threads);
            json_t* picture = picture_of(line);
            bytes[threads - 1] = file_of(picture, &size[threads - 1]);
            json_decref(picture);
        }
        cr_assert_eq(size[0], size[1], "%s", pictures[i]);
        cr_assert_eq(memcmp(bytes[0], bytes[1], size[0]), 0, "%s", pictures[i]);
        free(bytes[0]);
        free(bytes[1]);
    }
}

Test(command_render, a_scale_that_is_asked_for_is_kept_and_the_paper_grows)
{
    two_stages_write("fish", 5, compass, NULL);
    json_t* fitted = picture_of("render fish --picture stage --stage field --out out --json");
    json_t* large = picture_of("render fish --picture stage --stage field --scale 4:1 --format pdf --out out --json");
    cr_assert_leq(told_number(fitted, "width_mm"), 420.0);
    // The block is 150 mm or more across: four times that is wider than the longer side of A3.
    cr_assert_gt(fmax(told_number(large, "width_mm"), told_number(large, "height_mm")), 600.0);
    size_t size = 0;
    char* bytes = file_of(large, &size);
    cr_assert_eq(memcmp(bytes, "%PDF", 4), 0);
    cr_assert_eq(told_number(large, "scale"), 4.0);
    cr_assert(json_is_null(json_object_get(fitted, "scale")));
    cr_assert_null(json_object_get(large, "width_pixels"));
    free(bytes);
    json_decref(fitted);
    json_decref(large);
}

Test(command_render, a_side_of_the_body_is_drawn_where_its_landmarks_are_recorded)
{
    two_stages_write("fish", 6, NULL,
                     "field,block,body,head,-60,0,0,\nfield,block,body,tail,60,0,0,\n"
                     "field,block,body,belly,0,0,-20,\nfield,block,body,back,0,0,20,\n");
    json_t* picture =
        picture_of("render fish --picture stage --stage second --view left-lateral --format svg --out out --json");
    size_t size = 0;
    char* bytes = file_of(picture, &size);
    cr_assert_str_eq(told_text(picture, "path"), "second-stage-left-lateral.svg");
    cr_assert_not_null(strstr(bytes, "<svg"));
    cr_assert_not_null(strstr(told_text(picture, "caption"), "left lateral"));
    free(bytes);
    json_decref(picture);
}

Test(command_render, what_cannot_be_drawn_is_refused_before_any_work)
{
    two_stages_write("bare", 7, NULL, NULL);
    two_stages_write("half", 7, "up: {stage: field, vector: [0, 0, 1]}\n", NULL);
    two_stages_write("flat", 7, NULL,
                     "field,block,body,head,-60,0,0,\nfield,block,body,tail,60,0,0,\n"
                     "field,block,body,belly,-20,0,0,\nfield,block,body,back,20,0,0,\n");
    refuse("render bare --stage second --out out", "no picture", "--picture comparison, depth, history, stage");
    refuse("render bare --picture portrait --out out", "portrait", "comparison, depth, history, stage");
    refuse("render bare --picture depth --stage second", "no folder", "--out DIR");
    refuse("render bare --picture depth --out out", "needs a stage", "--stage ID");
    refuse("render bare --picture history --stage field --out out", "takes no --stage", "leave it out");
    refuse("render bare --picture stage --stage sckond --out out", "no stage 'sckond'", "say one of field, second");
    refuse("render bare --picture depth --stage field --out out", "first stage", "say one of second");
    refuse("render bare --picture stage --stage field --view front --out out", "no view 'front'", "anterior");
    refuse("render bare --picture stage --stage field --view 400,0 --out out", "no view '400,0'", "elevation");
    refuse("render bare --picture stage --stage field --view dorsal --out out", "which way the body lies",
           "head, tail, belly and back");
    refuse("render flat --picture stage --stage field --view dorsal --out out", "give no side", "cross each other");
    refuse("render bare --picture stage --stage field --view upper --out out", "needs up", "record up");
    refuse("render bare --picture stage --stage field --view 45,30 --out out", "needs up", "record up");
    refuse("render half --picture stage --stage field --view 45,30 --out out", "needs north", "record north");
    refuse("render bare --picture stage --stage field --scale 0:1 --out out", "not a scale", "1:2");
    refuse("render bare --picture stage --stage field --scale half --out out", "not a scale", "1:2");
    refuse("render bare --picture stage --stage field --format jpg --out out", "jpg", "png, pdf or svg");
    refuse("render nowhere --picture history --out out", "nowhere", ";");
    refuse("change a b --picture depth", "takes no --picture", "leave it out");
}
