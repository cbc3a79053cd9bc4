#include "history_standing.h"

#include "history_view.h"

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
    const double box[3] = {s.box.length_mm, s.box.width_mm, s.box.height_mm};
    for (int k = 0; k < 3; k++)
        s.room_mm[k] = s.known && s.case_known ? s.case_mm[k] - box[k] : (double)NAN;
    return s;
}

bool history_standing_fits(const history_standing* standing)
{
    return standing->shown && fmin(standing->room_mm[0], fmin(standing->room_mm[1], standing->room_mm[2])) >= 0.0;
}
