/// The demo's own truth, held against what is measured of it, class by class: the program and the generator share no
/// line of code about a change.

#include "support/program.h"
#include "support/told.h"

#include <criterion/criterion.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>

/// What changed from one stage to the next.
static const json_t* truth_of(const json_t* truth, size_t step)
{
    const json_t* list = json_object_get(truth, "changes");
    for (size_t i = 0; i < json_array_size(list); i++)
    {
        const json_t* change = json_array_get(list, i);
        if ((size_t)told_number(change, "before") == step && (size_t)told_number(change, "after") == step + 1)
            return json_object_get(change, "classes");
    }
    cr_assert_fail("no truth of step %zu", step);
    return NULL;
}

static void check_class(const json_t* step, const json_t* truth, const char* name)
{
    char key[64];
    snprintf(key, sizeof key, "%s_mm3", name);
    const json_t* told = json_object_get(json_object_get(step, "classes"), name);
    const double truly = told_number(truth, key);
    if (!json_is_true(json_object_get(told, "known")))
    {
        cr_expect_eq(truly, 0.0, "%s was not known, and %g mm3 were true", name, truly);
        return;
    }
    cr_expect(truly >= told_number(told, "volume_low_mm3") && truly <= told_number(told, "volume_high_mm3"),
              "to %s: %s told %.0f (%.0f to %.0f), truly %.0f mm3", json_string_value(json_object_get(step, "to")),
              name, told_number(told, "volume_mm3"), told_number(told, "volume_low_mm3"),
              told_number(told, "volume_high_mm3"), truly);
}

Test(demo_changes, every_class_holds_its_truth_and_the_masses_close, .init = program_enter, .fini = program_leave,
     .timeout = 1200)
{
#if defined(__SANITIZE_ADDRESS__)
    cr_skip_test("its millions of triangles take an hour under sanitizers");
#endif
    static const char* const classes[] = {"matrix_removed", "bone_lost", "piece_detached", "material_added",
                                          "piece_joined"};
    const int made = system(RLV_MAKE_DEMO " --out demo > demo.log 2>&1");
    cr_assert(WIFEXITED(made) && WEXITSTATUS(made) == 0);
    json_t *told = told_by("change demo --json", 0), *truth = json_load_file("demo/truth.json", 0, NULL);
    const json_t* steps = json_object_get(told, "steps");
    cr_assert_eq(json_array_size(steps), 5);
    for (size_t k = 0; k < json_array_size(steps); k++)
        for (size_t c = 0; c < sizeof classes / sizeof *classes; c++)
            check_class(json_array_get(steps, k), truth_of(truth, k), classes[c]);
    // The gap of the slab's joint, which no class holds.
    const json_t* gap = json_object_get(json_array_get(steps, 3), "gap");
    const double truly = told_number(truth_of(truth, 3), "gap_mm3");
    cr_expect(truly >= told_number(gap, "low_mm3") && truly <= told_number(gap, "high_mm3"),
              "gap %.0f (%.0f to %.0f), truly %.0f mm3", told_number(gap, "volume_mm3"), told_number(gap, "low_mm3"),
              told_number(gap, "high_mm3"), truly);
    size_t k, r;
    const json_t *step, *region;
    json_array_foreach(steps, k, step)
    {
        json_array_foreach(json_object_get(step, "regions"), r, region)
        {
            const json_t *greatest = json_object_get(region, "max_depth_mm"),
                         *mean = json_object_get(region, "mean_depth_mm");
            cr_expect(!json_is_number(mean) || json_number_value(greatest) >= json_number_value(mean), "step %zu", k);
        }
    }
    const json_t* in_all = json_object_get(told, "in_all");
    cr_expect(json_is_true(json_object_get(json_object_get(in_all, "mass_balance"), "closes")));
    cr_expect(json_is_true(json_object_get(json_object_get(in_all, "spoil_balance"), "closes")));
    json_decref(truth);
    json_decref(told);
}
