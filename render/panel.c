#include "panel.h"

#include "contour.h"
#include "crowd.h"
#include "grow.h"

#include <stdlib.h>
#include <string.h>

#define MOST_PIXELS 8e6
#define LEAST_MM2 1.0  // islands and holes below it are no more than spots on paper, on A3
#define SPECK_MM2 4.0  // and below this no edge of a colour or of hatching is drawn: the colour itself says it
#define CALM_MM 0.3    // sd, on paper, of the bell that calms the borders of pixels
#define ISOLINE_MM 1.2 // and of the one that calms depths before their lines are drawn
#define CALM_PX 3.0    // and no wider, where pixels are fine

// What is looked at while a panel is made.
typedef struct panel_look
{
    rlv_panel* panel;
    rlv_cast cast; // as of the panel, or of the one that it is like
    uint8_t* in;   // one a pixel of the cast
} panel_look;

rlv_panel_view rlv_panel_view_of(size_t count, const rlv_mesh* const* mesh, const rlv_camera_axes* axes, double scale)
{
    const rlv_vec3 way[3] = {axes->right, axes->up, axes->towards};
    double low[3] = {INFINITY, INFINITY, INFINITY}, high[3] = {-INFINITY, -INFINITY, -INFINITY};
    for (size_t m = 0; m < count; m++)
        for (size_t v = 0; v < mesh[m]->vertex_count; v++)
            for (int k = 0; k < 3; k++)
            {
                double at = rlv_vec3_dot(rlv_mesh_vertex(mesh[m], v), way[k]);
                low[k] = fmin(low[k], at);
                high[k] = fmax(high[k], at);
            }
    rlv_panel_view view = {*axes, rlv_vec3_of(0, 0, 0), scale, {0.0, 0.0}};
    if (!(low[0] <= high[0]))
        return view;
    for (int k = 0; k < 3; k++)
        view.middle_mm = rlv_vec3_along(view.middle_mm, 0.5 * (low[k] + high[k]), way[k]);
    view.span_mm[0] = high[0] - low[0];
    view.span_mm[1] = high[1] - low[1];
    return view;
}

rlv_vec3 rlv_panel_place(const rlv_panel_view* view, rlv_vec3 point_mm)
{
    rlv_vec3 from = rlv_vec3_scale(rlv_vec3_sub(point_mm, view->middle_mm), view->scale);
    return rlv_vec3_of(rlv_vec3_dot(from, view->axes.right), rlv_vec3_dot(from, view->axes.up),
                       rlv_vec3_dot(from, view->axes.towards));
}

static rlv_status check(const rlv_panel_surface* surface, const rlv_panel_view* view, double width_mm, double height_mm,
                        rlv_error* error)
{
    if (surface->mesh == NULL || surface->tree == NULL || surface->mesh->triangle_count == 0)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give a mesh with a triangle, and its index",
                        "there is nothing to draw in a panel");
    if (!(view->scale > 0.0) || !isfinite(view->scale) || !(width_mm > 0.0) || !(height_mm > 0.0) ||
        !isfinite(width_mm + height_mm))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give a positive scale and size",
                        "a panel of %g by %g mm at a scale of %g", width_mm, height_mm, view->scale);
    const rlv_overlay* overlay = surface->overlay;
    if (overlay != NULL && (overlay->depth_mm == NULL || overlay->shown == NULL || !(overlay->deepest_mm >= 0.0) ||
                            !isfinite(overlay->deepest_mm)))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give depths, what is shown, and a colour scale from 0 up",
                        "an overlay that cannot be drawn");
    return RLV_DONE;
}

/// How light is looked for where no rays are asked for. A pixel on paper is finer than any shade that an eye tells
/// there: one of every 3 by 3 looks around, and a window of 4 by 4 of those gathers 64 directions.
static const rlv_cast_light usual_light = {.rays = 4, .apart = 3};

static bool same_vector(rlv_vec3 a, rlv_vec3 b)
{
    return a.x == b.x && a.y == b.y && a.z == b.z;
}

// Whether two panels see the same, whatever is painted on it.
static bool sees_like(const rlv_panel* a, const rlv_panel* b)
{
    const rlv_panel_view *v = &a->view, *w = &b->view;
    return a->surface->mesh == b->surface->mesh && a->surface->tree == b->surface->tree &&
           a->surface->rays == b->surface->rays && same_vector(v->axes.right, w->axes.right) &&
           same_vector(v->axes.up, w->axes.up) && same_vector(v->axes.towards, w->axes.towards) &&
           same_vector(v->middle_mm, w->middle_mm) && v->scale == w->scale && a->picture.width == b->picture.width &&
           a->picture.height == b->picture.height && a->picture.pixel_mm == b->picture.pixel_mm;
}

static rlv_status look_at(rlv_panel* panel, const rlv_cast_light* light, rlv_error* error)
{
    const rlv_panel_surface* surface = panel->surface;
    const rlv_panel_view* view = &panel->view;
    rlv_camera camera = {view->middle_mm, view->axes.towards, view->axes.up, panel->width_mm / view->scale};
    size_t width = panel->picture.width, height = panel->picture.height;
    rlv_frame whole = {0.0, 0.0, (double)width, (double)height};
    if ((panel->own_cast = rlv_reserve(1, sizeof *panel->own_cast, error)) == NULL)
        return RLV_SYSTEM;
    panel->cast = panel->own_cast;
    return rlv_cast_make(panel->own_cast, width, height, whole, surface->mesh, surface->tree, &camera, light, error);
}

static rlv_status see(panel_look* look, rlv_error* error)
{
    rlv_panel* panel = look->panel;
    const rlv_panel_surface* surface = panel->surface;
    const rlv_panel* like = surface->like;
    rlv_cast_light light = surface->rays > 0 ? (rlv_cast_light){.rays = surface->rays} : usual_light;
    rlv_view_options how = {.occlusion_rays = light.rays,
                            .samples = surface->samples > 0 ? surface->samples : 4,
                            .colour = surface->own_colour};
    light.towards = rlv_paint_light(&how);
    bool lent = like != NULL && like->own_cast != NULL && sees_like(panel, like);
    rlv_status status = lent ? RLV_DONE : look_at(panel, &light, error);
    if (status != RLV_DONE)
        return status;
    if (lent)
        panel->cast = like->own_cast;
    look->cast = *panel->cast;
    return rlv_paint(&panel->picture, &look->cast, surface->mesh, surface->tree, surface->overlay, &how, NULL,
                     &panel->seen, error);
}

// Bring lines from the cast's pixels to the paper, and drop what no line can show.
static rlv_status to_paper(const panel_look* look, rlv_lines* lines, double line_mm, rlv_error* error)
{
    double pixel_mm = look->panel->picture.pixel_mm;
    const double corner[2] = {(double)look->cast.left * pixel_mm, -(double)look->cast.top * pixel_mm};
    rlv_lines_carry(lines, corner, pixel_mm, pixel_mm);
    rlv_lines_drop_small(lines, 2.0 * line_mm * line_mm, 4.0 * line_mm);
    return rlv_lines_simplify(lines, line_mm / 3.0, error);
}

static double line_of(const rlv_panel_outline* of)
{
    return of->line_mm > 0.0 ? of->line_mm : RLV_LINE_MEDIUM;
}

static double unit_of(const rlv_panel* panel)
{
    return panel->surface->unit > 0.0 ? panel->surface->unit : 1.0;
}

// What of a crowd is taken for the set: none of its fine parts, or all that lies between them.
typedef enum crowded
{
    LEAVE_OUT,
    FILL,
} crowded;

static rlv_status thin(panel_look* look, crowded what, rlv_error* error)
{
    const size_t count = look->cast.width * look->cast.height;
    for (size_t p = 0; what == FILL && p < count; p++)
        look->in[p] = !look->in[p];
    rlv_status status = rlv_crowd_thin(look->cast.width, look->cast.height, look->in, look->panel->picture.pixel_mm,
                                       unit_of(look->panel), look->panel->view.scale, &look->panel->thinned, error);
    for (size_t p = 0; what == FILL && p < count; p++)
        look->in[p] = !look->in[p];
    return status;
}

// The border of the pixels of which `is` says so, but where they are too fine and too many for one.
static rlv_status border(panel_look* look, bool (*is)(const panel_look*, size_t, const uint8_t*),
                         const rlv_panel_outline* of, crowded what, rlv_lines* lines, rlv_error* error)
{
    const size_t width = look->cast.width, height = look->cast.height, count = width * height;
    const double pixel_mm = look->panel->picture.pixel_mm, unit = unit_of(look->panel);
#pragma omp parallel for schedule(static)
    for (size_t p = 0; p < count; p++)
        look->in[p] = look->cast.triangle[p] != RLV_TREE_NONE && look->cast.back[p] == 0 && is(look, p, of->in);
    const double calm_px = of->calm_mm > 0.0 ? of->calm_mm / pixel_mm : fmin(CALM_MM / pixel_mm, CALM_PX);
    // A bell of its own already joins what is fine to what is whole, or drops it.
    rlv_status status = of->calm_mm > 0.0 ? RLV_DONE : thin(look, what, error);
    if (status == RLV_DONE)
        status = rlv_contour_set(lines, width, height, look->in, calm_px, error);
    if (status == RLV_DONE)
        status = to_paper(look, lines, line_of(of), error);
    rlv_lines_drop_small(lines, (of->least_mm2 > 0.0 ? of->least_mm2 : LEAST_MM2) * unit * unit, 0.0);
    return status;
}

static bool is_in_set(const panel_look* look, size_t p, const uint8_t* set)
{
    return set[look->cast.triangle[p]] != 0;
}

static double depth_at(const panel_look* look, size_t p)
{
    const uint32_t* corner = look->panel->surface->mesh->corner + 3 * (size_t)look->cast.triangle[p];
    const float *depth = look->panel->surface->overlay->depth_mm, *weight = look->cast.weight + 2 * p;
    return (double)((1.0f - weight[0] - weight[1]) * depth[corner[0]] + weight[0] * depth[corner[1]] +
                    weight[1] * depth[corner[2]]);
}

static bool is_hatched(const panel_look* look, size_t p, const uint8_t* set)
{
    return set[look->cast.triangle[p]] == 2;
}

static bool is_coloured(const panel_look* look, size_t p, const uint8_t* set)
{
    return set[look->cast.triangle[p]] == 1 && look->panel->surface->overlay->deepest_mm > 0.0 &&
           isfinite(depth_at(look, p));
}

static bool is_added(const panel_look* look, size_t p, const uint8_t* set)
{
    return is_coloured(look, p, set) &&
           depth_at(look, p) < -RLV_PAINT_LEAST * look->panel->surface->overlay->deepest_mm;
}

static rlv_status find_overlay(panel_look* look, rlv_error* error)
{
    rlv_panel* panel = look->panel;
    const rlv_overlay* overlay = panel->surface->overlay;
    if (overlay == NULL)
        return RLV_DONE;
    const rlv_panel_outline of_hatching = {.in = overlay->shown, .line_mm = RLV_LINE_HAIR, .least_mm2 = SPECK_MM2},
                            of_colour = {.in = overlay->shown, .line_mm = RLV_LINE_THIN, .least_mm2 = SPECK_MM2};
    rlv_status status = RLV_DONE;
    if (panel->seen.hatched)
        status = border(look, is_hatched, &of_hatching, LEAVE_OUT, &panel->hatched, error);
    if (status == RLV_DONE && (panel->seen.removed || panel->seen.added))
        status = border(look, is_coloured, &of_colour, FILL, &panel->coloured, error);
    if (status == RLV_DONE && panel->seen.added)
        status = border(look, is_added, &of_colour, LEAVE_OUT, &panel->added, error);
    return status;
}

rlv_ray rlv_panel_ray(const rlv_panel* panel, rlv_vec3 point_mm, double lift_mm)
{
    rlv_vec3 towards = panel->view.axes.towards;
    rlv_vec3 from = rlv_vec3_along(rlv_vec3_sub(point_mm, panel->surface->mesh->origin_mm), lift_mm, towards);
    return (rlv_ray){
        {(float)from.x, (float)from.y, (float)from.z}, {(float)towards.x, (float)towards.y, (float)towards.z}, 1e9f};
}

#define HIDDEN 3 // points in a row that must be hidden before a recorded outline breaks

// Which points of a ring the surface hides from the eye, a stretch of fewer than HIDDEN being a rough place.
static void find_hidden(const panel_look* look, const rlv_panel_outline* of, rlv_ray* ray, bool* hidden)
{
    const rlv_panel* panel = look->panel;
    double lift_mm = RLV_PANEL_LIFT * hypot(panel->view.span_mm[0], panel->view.span_mm[1]);
    for (size_t i = 0; i < of->ring_count; i++)
        ray[i] = rlv_panel_ray(panel, of->ring_mm[i], lift_mm);
    rlv_tree_blocked(panel->surface->tree, of->ring_count, ray, hidden);
    size_t first = 0; // a stretch is counted from a point that is seen
    while (first < of->ring_count && hidden[first])
        first++;
    for (size_t i = 0, run = 0; first < of->ring_count && i <= of->ring_count; i++)
    {
        size_t at = (first + i) % of->ring_count;
        if (hidden[at])
        {
            run++;
            continue;
        }
        for (size_t k = 1; run < HIDDEN && k <= run; k++)
            hidden[(at + of->ring_count - k) % of->ring_count] = false;
        run = 0;
    }
}

// A recorded outline as lines, from point to point, where both ends are seen.
static rlv_status trace_ring(panel_look* look, const rlv_panel_outline* of, double line_mm, rlv_lines* lines,
                             rlv_error* error)
{
    const rlv_panel* panel = look->panel;
    size_t count = of->ring_count, links = 0;
    bool* hidden = rlv_reserve(count, sizeof *hidden, error);
    rlv_ray* ray = hidden != NULL ? rlv_reserve(count, sizeof *ray, error) : NULL;
    rlv_link* link = ray != NULL ? rlv_reserve(count, sizeof *link, error) : NULL;
    rlv_status status = link != NULL ? RLV_DONE : RLV_SYSTEM;
    if (link != NULL)
        find_hidden(look, of, ray, hidden);
    for (size_t i = 0; link != NULL && i < count; i++)
    {
        size_t next = (i + 1) % count;
        rlv_vec3 a = rlv_panel_place(&panel->view, of->ring_mm[i]),
                 b = rlv_panel_place(&panel->view, of->ring_mm[next]);
        if (!hidden[i] && !hidden[next])
            link[links++] = (rlv_link){i,
                                       next,
                                       {0.5 * panel->width_mm + a.x, a.y - 0.5 * panel->height_mm},
                                       {0.5 * panel->width_mm + b.x, b.y - 0.5 * panel->height_mm}};
    }
    if (status == RLV_DONE)
        status = rlv_lines_join(lines, links, link, error);
    if (status == RLV_DONE)
        status = rlv_lines_simplify(lines, line_mm / 3.0, error);
    free(link);
    free(ray);
    free(hidden);
    return status;
}

static rlv_status find_outlines(panel_look* look, rlv_error* error)
{
    rlv_panel* panel = look->panel;
    const rlv_panel_surface* surface = panel->surface;
    if (surface->outline_count == 0)
        return RLV_DONE;
    panel->outline = rlv_reserve(surface->outline_count, sizeof *panel->outline, error);
    if (panel->outline == NULL)
        return RLV_SYSTEM;
    rlv_status status = RLV_DONE;
    panel->outline_count = surface->outline_count;
    for (size_t i = 0; i < surface->outline_count && status == RLV_DONE; i++)
    {
        const rlv_panel_outline* of = &surface->outline[i];
        status = of->ring_count > 0 ? trace_ring(look, of, line_of(of), &panel->outline[i], error)
                                    : border(look, is_in_set, of, LEAVE_OUT, &panel->outline[i], error);
    }
    return status;
}

#define MOST_ISOLINES 200

// The depths in sight, pixel by pixel; NaN where there is none to tell.
static rlv_status gather_depths(panel_look* look, float* depth, rlv_error* error)
{
    const rlv_cast* cast = &look->cast;
    const uint8_t* shown = look->panel->surface->overlay->shown;
    size_t count = cast->width * cast->height;
#pragma omp parallel for schedule(static)
    for (size_t p = 0; p < count; p++)
        depth[p] = cast->triangle[p] != RLV_TREE_NONE && cast->back[p] == 0 && is_coloured(look, p, shown)
                       ? (float)depth_at(look, p)
                       : NAN;
    return rlv_contour_calm(cast->width, cast->height, depth, ISOLINE_MM / look->panel->picture.pixel_mm, error);
}

// The lines of every level among the depths.
static rlv_status find_levels(panel_look* look, const float* depth, rlv_error* error)
{
    rlv_panel* panel = look->panel;
    double step = panel->surface->isoline_mm, low = INFINITY, high = -INFINITY;
    for (size_t p = 0; p < look->cast.width * look->cast.height; p++)
    {
        low = fmin(low, (double)depth[p]); // passes over NaN
        high = fmax(high, (double)depth[p]);
    }
    double first = ceil(low / step), last = floor(high / step);
    if (!(last >= first))
        return RLV_DONE;
    if (last - first >= MOST_ISOLINES)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "ask for a larger step between lines of equal depth",
                        "%.0f lines of equal depth, one every %g mm", last - first + 1.0, step);
    panel->isoline = rlv_reserve((size_t)(last - first) + 1, sizeof *panel->isoline, error);
    if (panel->isoline == NULL)
        return RLV_SYSTEM;
    rlv_status status = RLV_DONE;
    for (double k = first; k <= last && status == RLV_DONE; k += 1.0)
    {
        if (k == 0.0)
            continue;
        rlv_panel_isoline* of = &panel->isoline[panel->isoline_count];
        of->depth_mm = k * step;
        status = rlv_contour_at(&of->lines, look->cast.width, look->cast.height, depth, (float)of->depth_mm, error);
        if (status == RLV_DONE)
            status = to_paper(look, &of->lines, RLV_LINE_THIN, error);
        rlv_lines_drop_small(&of->lines, 12.0, 8.0); // too short to carry a meaning
        if (of->lines.line_count > 0)
            panel->isoline_count++;
        else
            rlv_lines_free(&of->lines);
    }
    return status;
}

static rlv_status find_isolines(panel_look* look, rlv_error* error)
{
    const rlv_panel_surface* surface = look->panel->surface;
    if (surface->overlay == NULL || !(surface->isoline_mm > 0.0) || !(surface->overlay->deepest_mm > 0.0) ||
        !isfinite(surface->isoline_mm))
        return RLV_DONE;
    float* depth = rlv_reserve(look->cast.width * look->cast.height, sizeof *depth, error);
    if (depth == NULL)
        return RLV_SYSTEM;
    rlv_status status = gather_depths(look, depth, error);
    if (status == RLV_DONE)
        status = find_levels(look, depth, error);
    free(depth);
    return status;
}

// The square of a region's place on paper, from the panel's upper left corner; none without squares and a place.
static bool square_of(const rlv_panel* panel, size_t region, rlv_box2* square)
{
    const rlv_panel_surface* surface = panel->surface;
    if (surface->squares == NULL || surface->region_mm == NULL)
        return false;
    const double side = surface->squares->side_mm * panel->view.scale;
    const rlv_vec3 corner = rlv_panel_place(&panel->view, surface->squares->corner_mm),
                   at = rlv_panel_place(&panel->view, surface->region_mm[region]);
    *square = (rlv_box2){0.5 * panel->width_mm + corner.x + side * floor((at.x - corner.x) / side),
                         0.5 * panel->height_mm - corner.y + side * floor((corner.y - at.y) / side), side, side};
    return true;
}

// How deep inside its region a pixel lies, in mm; of those in the region's own square no deeper than they lie inside
// that, and before all others.
static void take_deepest(rlv_panel* panel, size_t region, double x, double y, double radius, bool* in_square)
{
    double* at = panel->region_at[region];
    rlv_box2 square;
    bool in = false;
    if (square_of(panel, region, &square))
    {
        const double inside = fmin(fmin(x - square.left, square.left + square.width - x),
                                   fmin(y - square.top, square.top + square.height - y));
        in = inside > 0.0;
        radius = in ? fmin(radius, inside) : radius;
    }
    if ((in == *in_square && radius <= at[2]) || (*in_square && !in))
        return;
    *in_square = in;
    at[0] = x;
    at[1] = y;
    at[2] = radius;
}

// The region that a pixel may bear the number of: one that has no place yet, in colours or anywhere.
static uint16_t region_at(const panel_look* look, size_t p, bool all)
{
    const rlv_panel* panel = look->panel;
    const uint16_t region = panel->surface->region[look->cast.triangle[p]];
    const bool named = region != 0 && region <= panel->region_count;
    if (!named || (all && panel->region_at[region - 1][2] > 0.0))
        return 0;
    return all || is_coloured(look, p, panel->surface->overlay->shown) ? region : 0;
}

static void take_places(const panel_look* look, const uint16_t* region, const float* far, bool* in_square)
{
    const rlv_cast* cast = &look->cast;
    const double pixel_mm = look->panel->picture.pixel_mm;
    for (size_t p = 0; p < cast->width * cast->height; p++)
        if (region[p] != 0)
            take_deepest(look->panel, region[p] - 1u, ((double)(cast->left + p % cast->width) + 0.5) * pixel_mm,
                         ((double)(cast->top + p / cast->width) + 0.5) * pixel_mm, (double)far[p] * pixel_mm,
                         &in_square[region[p] - 1]);
}

#define LEAST_ISLAND 2.2 // mm on A3: the radius of a disc that holds a number with air

// Fill one stretch of a region with 0, from a pixel on. Its deepest pixel; whether the region's own place is in it.
static size_t empty_stretch(uint16_t* region, const float* far, size_t width, size_t height, uint32_t* stack,
                            size_t from, size_t own, bool* has_own)
{
    const uint16_t number = region[from];
    size_t count = 0, deepest = from;
    stack[count++] = (uint32_t)from;
    region[from] = 0;
    *has_own = false;
    while (count > 0)
    {
        const size_t p = stack[--count], x = p % width, y = p / width;
        const size_t next[4] = {x > 0 ? p - 1 : p, x + 1 < width ? p + 1 : p, y > 0 ? p - width : p,
                                y + 1 < height ? p + width : p};
        deepest = far[p] > far[deepest] ? p : deepest;
        *has_own = *has_own || p == own;
        for (int k = 0; k < 4; k++)
            if (region[next[k]] == number)
            {
                region[next[k]] = 0;
                stack[count++] = (uint32_t)next[k];
            }
    }
    return deepest;
}

// The pixel that a region's place was taken from.
static size_t pixel_of(const panel_look* look, size_t region)
{
    const double *at = look->panel->region_at[region], pixel_mm = look->panel->picture.pixel_mm;
    const size_t x = (size_t)(at[0] / pixel_mm) - look->cast.left, y = (size_t)(at[1] / pixel_mm) - look->cast.top;
    return y * look->cast.width + x;
}

// Stretches of regions that are large enough for a number, and have none. `region` is emptied.
static rlv_status find_islands(panel_look* look, uint16_t* region, const float* far, rlv_error* error)
{
    rlv_panel* panel = look->panel;
    const size_t width = look->cast.width, height = look->cast.height;
    const double pixel_mm = panel->picture.pixel_mm;
    size_t reserved = 0;
    uint32_t* stack = rlv_reserve(width * height, sizeof *stack, error);
    rlv_status status = stack != NULL ? RLV_DONE : RLV_SYSTEM;
    for (size_t p = 0; p < width * height && status == RLV_DONE; p++)
    {
        bool has_own;
        if (region[p] == 0)
            continue;
        const size_t number = region[p] - 1u;
        const size_t deepest = empty_stretch(region, far, width, height, stack, p, pixel_of(look, number), &has_own);
        const double radius = (double)far[deepest] * pixel_mm;
        if (has_own || radius < LEAST_ISLAND * unit_of(panel))
            continue;
        if (!rlv_grow(&panel->island, &reserved, panel->island_count + 1, sizeof *panel->island))
            status = rlv_fail(error, RLV_SYSTEM, NULL, "close other programs", "no memory for the regions of a panel");
        else
            panel->island[panel->island_count++] =
                (rlv_panel_island){number,
                                   {((double)(look->cast.left + deepest % width) + 0.5) * pixel_mm,
                                    ((double)(look->cast.top + deepest / width) + 0.5) * pixel_mm, radius}};
    }
    free(stack);
    return status;
}

static rlv_status find_regions(panel_look* look, rlv_error* error)
{
    rlv_panel* panel = look->panel;
    const rlv_cast* cast = &look->cast;
    size_t count = cast->width * cast->height;
    if (panel->surface->region == NULL || panel->surface->region_count == 0)
        return RLV_DONE;
    panel->region_at = rlv_reserve(panel->surface->region_count, sizeof *panel->region_at, error);
    uint16_t* region = panel->region_at != NULL ? rlv_reserve(count, sizeof *region, error) : NULL;
    float* far = region != NULL ? rlv_reserve(count, sizeof *far, error) : NULL;
    bool* in_square = far != NULL ? rlv_reserve(panel->surface->region_count, sizeof *in_square, error) : NULL;
    if (in_square == NULL)
    {
        free(far);
        free(region);
        return RLV_SYSTEM;
    }
    panel->region_count = panel->surface->region_count;
    // On its colours first; one that has none in sight, on its hatching.
    rlv_status status = RLV_DONE;
    for (int all = panel->surface->overlay != NULL ? 0 : 1; all < 2 && status == RLV_DONE; all++)
    {
        for (size_t p = 0; p < count; p++)
            region[p] = cast->triangle[p] != RLV_TREE_NONE && cast->back[p] == 0 ? region_at(look, p, all == 1) : 0;
        rlv_crowd_distances(cast->width, cast->height, region, true, far);
        take_places(look, region, far, in_square);
        if (all == 0 && !panel->surface->unnumbered)
            status = find_islands(look, region, far, error);
    }
    free(in_square);
    free(far);
    free(region);
    return status;
}

rlv_status rlv_panel_make(rlv_panel* panel, const rlv_panel_surface* surface, const rlv_panel_view* view,
                          double width_mm, double height_mm, rlv_error* error)
{
    memset(panel, 0, sizeof *panel);
    rlv_status status = check(surface, view, width_mm, height_mm, error);
    if (status != RLV_DONE)
        return status;
    double pixel_mm = surface->pixel_mm > 0.0 ? surface->pixel_mm : RLV_SHEET_PIXEL_MM;
    while (surface->pixel_mm <= 0.0 && width_mm * height_mm / (pixel_mm * pixel_mm) > MOST_PIXELS)
        pixel_mm *= 2.0;
    double wide = ceil(width_mm / pixel_mm - 1e-6), tall = ceil(height_mm / pixel_mm - 1e-6);
    if (!(wide <= 32767.0) || !(tall <= 32767.0))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "ask for larger pixels", "a panel of %.0f by %.0f pixels", wide,
                        tall);
    panel->view = *view;
    panel->surface = surface;
    panel->width_mm = wide * pixel_mm;
    panel->height_mm = tall * pixel_mm;
    status = rlv_picture_reserve(&panel->picture, (size_t)wide, (size_t)tall, pixel_mm, error);
    panel_look look = {.panel = panel};
    if (status == RLV_DONE)
        status = see(&look, error);
    if (status == RLV_DONE && look.cast.width > 0)
    {
        look.in = rlv_reserve(look.cast.width * look.cast.height, 1, error);
        status = look.in != NULL ? find_overlay(&look, error) : RLV_SYSTEM;
        if (status == RLV_DONE)
            status = find_outlines(&look, error);
        if (status == RLV_DONE)
            status = find_isolines(&look, error);
        if (status == RLV_DONE)
            status = find_regions(&look, error);
    }
    free(look.in);
    return status;
}

void rlv_panel_free(rlv_panel* panel)
{
    rlv_picture_free(&panel->picture);
    if (panel->own_cast != NULL)
        rlv_cast_free(panel->own_cast);
    free(panel->own_cast);
    rlv_lines_free(&panel->hatched);
    rlv_lines_free(&panel->coloured);
    rlv_lines_free(&panel->added);
    for (size_t i = 0; i < panel->outline_count; i++)
        rlv_lines_free(&panel->outline[i]);
    free(panel->outline);
    for (size_t i = 0; i < panel->isoline_count; i++)
        rlv_lines_free(&panel->isoline[i].lines);
    free(panel->isoline);
    free(panel->region_at);
    free(panel->island);
    memset(panel, 0, sizeof *panel);
}
