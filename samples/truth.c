#include "truth.h"

#include "folder.h"

#include <math.h>

static json_t* point_json(rlv_vec3 p)
{
    return json_pack("[f, f, f]", p.x, p.y, p.z);
}

static json_t* pose_json(const rlv_pose* pose)
{
    double matrix[16];
    rlv_pose_matrix(pose, matrix);
    json_t* list = json_array();
    for (int i = 0; i < 16; i++)
        json_array_append_new(list, json_real(matrix[i]));
    return list;
}

/// What is true of a scan, into `to`.
static void put_scan(json_t* to, const truth_scan* scan)
{
    const scan_noise* noise = &scan->noise;
    json_object_set_new(to, "mesh", json_string(scan->file));
    json_object_set_new(to, "triangles", json_integer((json_int_t)scan->triangles));
    json_object_set_new(to, "true_volume_mm3", json_real(scan->true_volume_mm3));
    json_object_set_new(to, "to_true_frame", pose_json(&scan->pose));
    json_object_set_new(to, "scale_error", json_real(1.0 / scan->pose.scale - 1.0));
    json_object_set_new(to, "scale_sd", json_real(noise->scale_sd));
    json_object_set_new(to, "noise_sd_mm", json_real(noise->noise_sd_mm));
    json_object_set_new(to, "noise_length_mm", json_real(noise->noise_length_mm));
    json_object_set_new(to, "warp_sd_mm", json_real(noise->warp_sd_mm));
    json_object_set_new(to, "warp_length_mm", json_real(noise->warp_length_mm));
}

static json_t* bars_json(const placed_points* placed, int stage)
{
    const placed_bar* bar;
    const size_t count = placed_bars(placed, stage, &bar);
    json_t* list = json_array();
    for (size_t k = 0; k < count; k++)
        json_array_append_new(list, json_pack("{s:s, s:f, s:f}", "bar", bar[k].name, "true_mm", bar[k].true_mm,
                                              "certified_mm", bar[k].certified_mm));
    return list;
}

static json_t* stages_json(const truth_plan* plan)
{
    const demo_book* book = plan->book;
    json_t* list = json_array();
    for (int k = 0; k < SPECIMEN_STAGES; k++)
    {
        const specimen_content* content = &plan->specimen->content[k];
        json_t* stage =
            json_pack("{s:i, s:s, s:s}", "stage", k, "id", specimen_stage_id(k), "name", specimen_stage_name(k));
        put_scan(stage, &plan->scan[k]);
        json_object_set_new(stage, "content",
                            json_pack("{s:f, s:f, s:f, s:f, s:f}", "solid_mm3", content->solid_mm3, "matrix_mm3",
                                      content->matrix_mm3, "bone_mm3", content->bone_mm3, "added_mm3",
                                      content->added_mm3, "gap_mm3", content->gap_mm3));
        json_object_set_new(stage, "mass",
                            json_pack("{s:f, s:f, s:f, s:f, s:f, s:f}", "block_g", book->block_g[k].truly, "rock_g",
                                      book->rock_g[k], "water_g", book->water_g[k], "resin_g", book->resin_g[k],
                                      "dried_g", book->drying_g[k].truly, "dust_g", book->dust_g[k]));
        json_object_set_new(stage, "bars", bars_json(plan->placed, k));
        json_array_append_new(list, stage);
    }
    return list;
}

static json_t* classes_json(const demo_specimen* specimen, int stage)
{
    static const char* const key[SPECIMEN_CLASSES] = {"matrix_removed_mm3", "bone_lost_mm3", "piece_detached_mm3",
                                                      "piece_joined_mm3", "material_added_mm3"};
    double volume[SPECIMEN_CLASSES];
    specimen_classes(specimen, stage, volume);
    json_t* made = json_object();
    for (int k = 0; k < SPECIMEN_CLASSES; k++)
        json_object_set_new(made, key[k], json_real(volume[k]));
    json_object_set_new(made, "gap_mm3", json_real(stage == SPECIMEN_SLAB_BACK ? specimen->gap_mm3 : 0.0));
    json_object_set_new(made, "unseen_bone_mm3", json_real(stage == 1 ? specimen->spoil_bone_mm3 : 0.0));
    return made;
}

static json_t* slab_json(const truth_plan* plan)
{
    const demo_slab* slab = &plan->specimen->slab;
    json_t* made = json_object();
    put_scan(made, &plan->slab);
    json_object_set_new(made, "off_at", json_string(specimen_stage_id(SPECIMEN_SLAB_OFF)));
    json_object_set_new(made, "back_at", json_string(specimen_stage_id(SPECIMEN_SLAB_BACK)));
    json_object_set_new(made, "volume_mm3", json_real(slab->volume_mm3));
    json_object_set_new(made, "plan_area_mm2", json_real(slab->plan_area_mm2));
    json_object_set_new(made, "thickness_mean_mm", json_real(slab->thickness_mm[0]));
    json_object_set_new(made, "thickness_greatest_mm", json_real(slab->thickness_mm[1]));
    json_object_set_new(made, "centroid_mm", point_json(slab->centroid_mm));
    json_object_set_new(made, "joint_normal",
                        json_pack("[f, f, f]", slab->joint_normal[0], slab->joint_normal[1], slab->joint_normal[2]));
    json_object_set_new(made, "back", pose_json(&slab->back));
    json_object_set_new(made, "back_high_mm", json_real(SLAB_HIGH_MM));
    json_object_set_new(made, "back_turn_deg", json_real(SLAB_TURN_DEG));
    json_object_set_new(made, "gap_mm3", json_real(plan->specimen->gap_mm3));
    json_object_set_new(made, "gap_found_mm3", json_real(slab->found_gap_mm3));
    json_object_set_new(made, "gap_least_mm", json_real(plan->specimen->least_gap_mm));
    json_object_set_new(made, "mass_g", json_real(plan->book->slab_g.truly));
    return made;
}

static json_t* book_json(const truth_plan* plan)
{
    const demo_book* book = plan->book;
    json_t *bags = json_array(), *works = json_array();
    for (int k = 0; k < BOOK_BAGS; k++)
        json_array_append_new(bags, json_pack("{s:s, s:s, s:f, s:f}", "bag", book->bag[k].name, "stage",
                                              specimen_stage_id(book->bag[k].stage), "rock_g", book->bag[k].rock_g,
                                              "water_g", book->bag[k].water_g));
    for (int k = 0; k < BOOK_WORKS; k++)
        json_array_append_new(works,
                              json_pack("{s:s, s:s, s:f, s:f, s:f}", "stage", specimen_stage_id(book->work[k].stage),
                                        "tool", book->work[k].tool, "removed_ml", book->work[k].removed_ml, "rate_ml_h",
                                        book->work[k].rate_ml_h, "hours", book->work[k].hours.truly));
    return json_pack("{s:f, s:f, s:f, s:f, s:f, s:o, s:o}", "matrix_g_cm3", book->matrix_g_cm3.truly, "bone_g_cm3",
                     book->bone_g_cm3.truly, "film_g", book->film_g, "fill_g", book->fill_g, "adhesive_g",
                     book->adhesive_g, "bags", bags, "work", works);
}

static json_t* areas_json(const demo_specimen* specimen, int stage)
{
    json_t* list = json_array();
    for (int i = 0; i < SPECIMEN_AREAS; i++)
    {
        const specimen_area* area = &specimen->area[i];
        if (area->stage != stage)
            continue;
        json_array_append_new(list, json_pack("{s:s, s:s, s:f, s:f, s:f, s:f, s:f, s:o}", "name", area->name, "class",
                                              specimen_class_name(area->kind), "removed_mm3", area->removed_mm3,
                                              "added_mm3", area->added_mm3, "plan_area_mm2", area->plan_area_mm2,
                                              "area_mm2", area->area_mm2, "greatest_vertical_mm", area->greatest_mm,
                                              "centroid_mm", point_json(area->centroid_mm)));
    }
    return list;
}

static json_t* changes_json(const demo_specimen* specimen)
{
    json_t* list = json_array();
    for (int before = 0; before < SPECIMEN_STAGES; before++)
        for (int after = before + 1; after < SPECIMEN_STAGES; after++)
        {
            double removed, added;
            specimen_change(specimen, before, after, &removed, &added);
            json_t* change = json_pack("{s:i, s:i, s:f, s:f}", "before", before, "after", after, "removed_mm3", removed,
                                       "added_mm3", added);
            if (after == before + 1)
            {
                json_object_set_new(change, "classes", classes_json(specimen, after));
                json_object_set_new(change, "areas", areas_json(specimen, after));
            }
            json_array_append_new(list, change);
        }
    return list;
}

static json_t* frame_json(const fish_frame* frame)
{
    return json_pack("{s:o, s:o, s:o, s:o}", "at_mm", point_json(frame->at_mm), "along", point_json(frame->along),
                     "across", point_json(frame->across), "out", point_json(frame->out));
}

/// The angle between two frames.
static double turn_deg(const fish_frame* a, const fish_frame* b)
{
    double trace = rlv_vec3_dot(a->along, b->along) + rlv_vec3_dot(a->across, b->across) + rlv_vec3_dot(a->out, b->out);
    return acos(fmin(fmax(0.5 * (trace - 1.0), -1.0), 1.0)) * 180.0 / M_PI;
}

static json_t* scute_json(const fish_scute* scute, const double shown_mm2[SPECIMEN_STAGES], double all_mm2)
{
    char name[8];
    fish_scute_name(scute, name);
    json_t* made =
        json_pack("{s:s, s:s, s:i, s:s, s:b, s:f, s:f, s:f, s:f, s:o}", "id", name, "row", fish_row_name(scute->row),
                  "place", scute->place, "fate", fish_fate_name(scute->fate), "chipped", scute->chipped, "length_mm",
                  scute->length_mm, "width_mm", scute->width_mm, "thickness_mm", scute->thickness_mm, "keel_mm",
                  scute->keel_mm, "life", frame_json(&scute->life));
    if (scute->fate == FISH_ABSENT)
        return made;
    json_object_set_new(made, "found", frame_json(&scute->found));
    json_object_set_new(made, "shift_mm",
                        json_real(rlv_vec3_length(rlv_vec3_sub(scute->found.at_mm, scute->life.at_mm))));
    json_object_set_new(made, "rotation_deg", json_real(turn_deg(&scute->found, &scute->life)));
    json_t* share = json_array();
    for (int k = 0; k < SPECIMEN_STAGES; k++)
        json_array_append_new(share, json_real(all_mm2 > 0.0 ? shown_mm2[k] / all_mm2 : 0.0));
    json_object_set_new(made, "shown_share", share);
    return made;
}

static json_t* scutes_json(const demo_specimen* specimen)
{
    double shown_mm2[FISH_SCUTES][SPECIMEN_STAGES], all_mm2[FISH_SCUTES];
    specimen_shown_mm2(specimen, shown_mm2, all_mm2);
    json_t* list = json_array();
    for (int i = 0; i < FISH_SCUTES; i++)
        json_array_append_new(list, scute_json(&specimen->fish.scute[i], shown_mm2[i], all_mm2[i]));
    return list;
}

static json_t* body_json(const demo_fish* fish)
{
    json_t* axis = json_array();
    for (int s = 0; s <= FISH_LENGTH_MM; s += 10)
        json_array_append_new(axis, point_json(fish_section_at(fish, s).centre_mm));
    return json_pack("{s:i, s:i, s:o, s:o, s:f, s:f}", "length_mm", FISH_LENGTH_MM, "axis_step_mm", 10, "axis_mm", axis,
                     "bedding_normal", point_json(fish->bedding_normal), "bedding_at_middle_mm", fish->bedding_mm,
                     "current_deg", fish->current_rad * 180.0 / M_PI);
}

json_t* truth_json(const truth_plan* plan)
{
    static const char volumes[] =
        "of changes: exact, between the surfaces that the meshes are drawn from; true_volume_mm3: of the mesh before "
        "noise, by the divergence theorem; content: what the solid holds, matrix = solid - bone - added - gap, where "
        "bone "
        "is the uppermost of each column by its thickness along the vertical";
    const rlv_vec3 north = FOLDER_NORTH;
    json_t* made =
        json_pack("{s:s, s:s, s:I, s:s, s:o, s:o, s:o, s:o, s:o, s:o, s:o}", "specimen", "LQ-0417", "version",
                  RLV_VERSION, "seed", (json_int_t)plan->seed, "volumes", volumes, "stages", stages_json(plan),
                  "changes", changes_json(plan->specimen), "slab", slab_json(plan), "book", book_json(plan), "north",
                  point_json(north), "body", body_json(&plan->specimen->fish), "scutes", scutes_json(plan->specimen));
    if (made != NULL && plan->support_mm3 > 0.0)
        json_object_set_new(made, "support_mm3", json_real(plan->support_mm3));
    return made;
}
