#include "history_standing.h"

#include "history_view.h"
#include "report_region.h"
#include "standing.h"

#include <math.h>

/// The inside of the case that is recorded, its longer side first.
static bool case_of(double inside_mm[3], const rlv_display_record* display)
{
    if (display == NULL || display->case_length_mm == NULL || display->case_width_mm == NULL ||
        display->case_height_mm == NULL)
        return false;
    inside_mm[0] = fmax(*display->case_length_mm, *display->case_width_mm);
    inside_mm[1] = fmin(*display->case_length_mm, *display->case_width_mm);
    inside_mm[2] = *display->case_height_mm;
    return true;
}

static double farthest_mm(const rlv_mesh* mesh, rlv_vec3 from_mm)
{
    double far = 0.0;
    for (size_t v = 0; v < mesh->vertex_count; v++)
        far = fmax(far, rlv_vec3_length(rlv_vec3_sub(rlv_mesh_vertex(mesh, v), from_mm)));
    return far;
}

/// The centre of volume. Matter of one density r fills it, and a share e = (R - r) / R of the whole mass is more,
/// where R is mass over volume: the centre of mass lies e times as far off as the centre of that. A share below
/// zero is hollows, or what is lighter.
static void find_centre(history_standing* s, const rlv_history* history)
{
    const size_t last = history->stage_count - 1;
    const history_stage* stage = &history->stage[last];
    s->whole_g_cm3 = s->matrix_g_cm3 = s->drawn_mm = (double)NAN;
    s->centre_known = s->known && stage->given.health.closed && stage->given.measures.volume_mm3 > 0.0;
    if (!s->centre_known)
        return;
    s->centre_mm = stage->given.measures.centroid_mm;
    const rlv_mass_record* mass = stage->record->mass;
    const rlv_density_record* matrix = report_density_of(history->specimen, RLV_CHANGE_REMOVED);
    const rlv_interval mm3 = history_stage_volume(history, last);
    if (mass == NULL || matrix == NULL || !(mass->grams > 0.0) || !(matrix->g_cm3 > 0.0) || !(mm3.value > 0.0))
        return;
    s->whole_g_cm3 = mass->grams / (mm3.value / 1000.0);
    s->matrix_g_cm3 = matrix->g_cm3;
    const double share = 1.0 - s->matrix_g_cm3 / s->whole_g_cm3,
                 of_volume = 0.5 * (mm3.high - mm3.low) / mm3.value / RLV_HALF_95,
                 relative = hypot(hypot(mass->sd_g / mass->grams, of_volume), matrix->sd_g_cm3 / matrix->g_cm3),
                 sd = s->matrix_g_cm3 / s->whole_g_cm3 * relative;
    s->drawn_mm = (fabs(share) + RLV_HALF_95 * sd) * farthest_mm(&stage->given.mesh, s->centre_mm);
}

/// The box's length, its width, or its height.
static double box_size(const history_standing* s, int way)
{
    return (const double[]){s->box.length_mm, s->box.width_mm, s->box.height_mm}[way];
}

history_standing history_standing_of(const rlv_history* history)
{
    history_standing s = {.turn_deg = (double)NAN};
    rlv_vec3 lay = {0.0, 0.0, 0.0};
    rlv_error ignored = {0};
    const size_t last = history->stage_count - 1;
    const bool lay_known = history_view_up(&lay, history, last, false);
    s.case_known = case_of(s.case_mm, history->specimen->display);
    s.shown = history_view_up(&s.up, history, last, true);
    if (!s.shown)
        s.up = lay;
    s.known = (s.shown || lay_known) &&
              rlv_footprint_of(&s.box, &history->stage[last].given.mesh, s.up, &ignored) == RLV_DONE;
    if (s.known && s.shown && lay_known)
        s.turn_deg = acos(fmax(fmin(rlv_vec3_dot(s.up, lay), 1.0), -1.0)) * 180.0 / M_PI;
    for (int k = 0; k < 3; k++)
        s.room_mm[k] = s.known && s.case_known ? s.case_mm[k] - box_size(&s, k) : (double)NAN;
    find_centre(&s, history);
    return s;
}

double history_standing_room(const history_standing* standing, int way)
{
    return rlv_standing_room(standing->case_mm[way], box_size(standing, way));
}

bool history_standing_fits(const history_standing* standing)
{
    return standing->shown && fmin(standing->room_mm[0], fmin(standing->room_mm[1], standing->room_mm[2])) >= 0.0;
}
