/// The demo's own truth, held against what is told of its slab: the gap where it was, the gap where it lies since it
/// went back, and how much too high that is. The program and the generator share no line of code about a joint.

#include "pose.h"
#include "support/program.h"
#include "support/told.h"

#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdlib.h>

/// 16 numbers as a pose; its scale is that of its first row.
static rlv_pose pose_of(const json_t* object, const char* key)
{
    const json_t* list = json_object_get(object, key);
    double m[16];
    cr_assert_eq(json_array_size(list), 16, "%s", key);
    for (size_t i = 0; i < 16; i++)
        m[i] = json_number_value(json_array_get(list, i));
    rlv_pose pose = rlv_pose_identity();
    pose.scale = sqrt(m[0] * m[0] + m[1] * m[1] + m[2] * m[2]);
    for (size_t i = 0; i < 9; i++)
        pose.rotation.m[i] = m[4 * (i / 3) + i % 3] / pose.scale;
    pose.translation_mm = rlv_vec3_of(m[3], m[7], m[11]);
    return pose;
}

static rlv_vec3 place_of(const json_t* object, const char* key)
{
    const json_t* list = json_object_get(object, key);
    cr_assert_eq(json_array_size(list), 3, "%s", key);
    return rlv_vec3_of(json_number_value(json_array_get(list, 0)), json_number_value(json_array_get(list, 1)),
                       json_number_value(json_array_get(list, 2)));
}

static void expect_gap(const json_t* told, const char* key, double truly)
{
    const json_t* gap = json_object_get(told, key);
    cr_expect(truly >= told_number(gap, "volume_low_mm3") && truly <= told_number(gap, "volume_high_mm3"),
              "%s: told %.0f (%.0f to %.0f), truly %.0f mm3", key, told_number(gap, "volume_mm3"),
              told_number(gap, "volume_low_mm3"), told_number(gap, "volume_high_mm3"), truly);
}

/// How much higher the joint's middle lies since the slab went back than where it was, in the true frame's vertical.
static void expect_height(const json_t* told, const json_t* truth)
{
    const json_t *slab = json_object_get(truth, "slab"), *field = json_array_get(json_object_get(truth, "stages"), 0),
                 *found = json_object_get(told, "found"), *back = json_object_get(told, "back");
    const rlv_pose was = pose_of(found, "transform"), is = pose_of(back, "transform"),
                   to_true = pose_of(field, "to_true_frame"), scan = pose_of(slab, "to_true_frame"),
                   went_back = pose_of(slab, "back"), to_scan = rlv_pose_inverse(&was);
    const rlv_vec3 at = rlv_pose_apply(&to_scan, place_of(json_object_get(told, "joint"), "middle_mm")),
                   truly_at = rlv_pose_apply(&scan, at);
    const double rose = rlv_pose_apply(&to_true, rlv_pose_apply(&is, at)).z -
                        rlv_pose_apply(&to_true, rlv_pose_apply(&was, at)).z,
                 truly = rlv_pose_apply(&went_back, truly_at).z - truly_at.z;
    const double sd = hypot(told_number(found, "position_sd_mm"), told_number(back, "position_sd_mm"));
    // Slow warp of three scans, which no sd holds, is 0.12 mm over 100 mm: what of it is along one line over a slab as
    // long is a part of that, of each.
    cr_expect(fabs(rose - truly) < 3.0 * hypot(sd, 0.12 / 3.0 * sqrt(3.0)), "rose by %.3f mm, truly %.3f (sd %.3f)",
              rose, truly, sd);
}

Test(demo_rejoin, the_slab_goes_back_as_its_truth_has_it, .init = program_enter, .fini = program_leave, .timeout = 1800)
{
#if defined(__SANITIZE_ADDRESS__)
    cr_skip_test("its million triangles take an hour under sanitizers");
#endif
    cr_assert_eq(program_shell("%s --out demo --size 120000 > demo.log 2>&1", RLV_MAKE_DEMO), 0);
    // One run tells both: the words, and the record that it keeps.
    cr_assert_eq(program_shell("%s rejoin demo 'slab A' --out told > told.txt", RLV_PROGRAM), 0);
    cr_assert_eq(program_shell("grep -q 'half of what both share stands more than' told.txt && "
                               "grep -q 'what fills the gap carries the piece' told.txt && "
                               "grep -q 'back since ‘tail’; it lies' told.txt && "
                               "grep -q 'that they share stand open all the same' told.txt"),
                 0, "an open joint is not told as one that a film closes, or that carries");
    json_t *told = json_load_file("told/rejoin.json", 0, NULL), *truth = json_load_file("demo/truth.json", 0, NULL);
    cr_assert(told != NULL && truth != NULL);
    cr_expect_str_neq(told_text(told, "verdict"), "none");
    // Its worn faces would fall 2 mm into one another; it never lay there.
    cr_expect(json_is_false(json_object_get(told, "stood_open")));
    const json_t* slab = json_object_get(truth, "slab");
    expect_gap(told, "gap_before", told_number(slab, "gap_found_mm3"));
    expect_gap(told, "gap_back", told_number(slab, "gap_mm3"));
    expect_height(told, truth);
    // What touches first has a figure, and the widest as it went back is no rim that was not there before.
    cr_expect_gt(json_array_size(json_object_get(told, "contacts")), 0);
    const json_t *found = json_object_get(told, "gap_before"), *back = json_object_get(told, "gap_back");
    cr_expect_float_eq(told_number(back, "area_mm2"), told_number(found, "area_mm2"),
                       0.01 * told_number(found, "area_mm2")); // it lies within a millimetre of 80 across
    // The record's adhesive: 2.1 g of a resin of 1.15 g/cm3.
    const json_t* recorded = json_object_get(json_object_get(told, "quantities"), "recorded");
    cr_assert_eq(json_array_size(recorded), 1);
    cr_expect_float_eq(told_number(json_array_get(recorded, 0), "dry_mm3"), 2100.0 / 1.15, 1e-6);
    json_decref(truth);
    json_decref(told);
}
