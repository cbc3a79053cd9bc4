#include "truth.h"

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

static json_t* stages_json(const truth_scan* scan)
{
    json_t* list = json_array();
    for (int k = 0; k < SPECIMEN_STAGES; k++)
    {
        const scan_noise* noise = &scan[k].noise;
        json_array_append_new(
            list, json_pack("{s:i, s:s, s:s, s:I, s:f, s:o, s:f, s:f, s:f, s:f, s:f, s:f}", "stage", k, "name",
                            specimen_stage_name(k), "mesh", scan[k].file, "triangles", (json_int_t)scan[k].triangles,
                            "true_volume_mm3", scan[k].true_volume_mm3, "to_true_frame", pose_json(&scan[k].pose),
                            "scale_error", 1.0 / scan[k].pose.scale - 1.0, "scale_sd", noise->scale_sd, "noise_sd_mm",
                            noise->noise_sd_mm, "noise_length_mm", noise->noise_length_mm, "warp_sd_mm",
                            noise->warp_sd_mm, "warp_length_mm", noise->warp_length_mm));
    }
    return list;
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
                json_object_set_new(change, "areas", areas_json(specimen, after));
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

json_t* truth_json(const demo_specimen* specimen, const truth_scan scan[SPECIMEN_STAGES], uint64_t seed)
{
    return json_pack("{s:s, s:s, s:I, s:s, s:o, s:o, s:o, s:o}", "specimen", "LQ-0417", "version", RLV_VERSION, "seed",
                     (json_int_t)seed, "volumes",
                     "of changes: exact, between the surfaces that the meshes are drawn from; true_volume_mm3: of the "
                     "mesh before noise, by the divergence theorem",
                     "stages", stages_json(scan), "changes", changes_json(specimen), "body", body_json(&specimen->fish),
                     "scutes", scutes_json(specimen));
}
