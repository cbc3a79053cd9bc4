#include "profile.h"

#include "marks.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

// The boxes of stretches whose triangles lie in a region of change, added to the profile's.
static rlv_status add_boxes(rlv_profile* profile, const rlv_profile_stage* stage, const rlv_plane* plane,
                            rlv_error* error)
{
    uint8_t* in = rlv_reserve(stage->mesh->triangle_count, 1, error);
    if (in == NULL)
        return RLV_SYSTEM;
    for (size_t t = 0; t < stage->mesh->triangle_count; t++)
        in[t] = stage->region[t] != 0;
    rlv_lines lines;
    rlv_status status = rlv_section_cut(&lines, stage->mesh, plane, in, error);
    free(in);
    double(*box)[4] = realloc(profile->box, (profile->box_count + lines.line_count + 1) * sizeof *box);
    if (box == NULL && status == RLV_DONE)
        status = rlv_fail(error, RLV_SYSTEM, NULL, "give the program more memory", "no room for a profile");
    profile->box = box != NULL ? box : profile->box;
    for (size_t i = 0; i < lines.line_count && status == RLV_DONE; i++)
    {
        double* of = box[profile->box_count++];
        of[0] = of[1] = INFINITY;
        of[2] = of[3] = -INFINITY;
        for (size_t k = lines.start[i]; k < lines.start[i + 1]; k++)
            for (int side = 0; side < 2; side++)
            {
                of[side] = fmin(of[side], lines.point[2 * k + (size_t)side]);
                of[side + 2] = fmax(of[side + 2], lines.point[2 * k + (size_t)side]);
            }
    }
    rlv_lines_free(&lines);
    return status;
}

#define NEAR_MM 1.0 // boxes that come this close are one

// Join boxes until none are near each other: what went lies between a stretch of before and one of after.
static void join_boxes(rlv_profile* profile)
{
    for (size_t i = 0; i < profile->box_count; i++)
        for (size_t k = 0; k < profile->box_count; k++)
        {
            double *a = profile->box[i], *b = profile->box[k];
            if (i == k || a[0] > b[2] + NEAR_MM || b[0] > a[2] + NEAR_MM || a[1] > b[3] + NEAR_MM ||
                b[1] > a[3] + NEAR_MM)
                continue;
            for (int side = 0; side < 2; side++)
            {
                a[side] = fmin(a[side], b[side]);
                a[side + 2] = fmax(a[side + 2], b[side + 2]);
            }
            memcpy(b, profile->box[--profile->box_count], sizeof *profile->box);
            i = 0;
            k = SIZE_MAX; // from the beginning: the box has grown
        }
}

rlv_status rlv_profile_cut(rlv_profile* profile, const rlv_profile_stage* before, const rlv_profile_stage* after,
                           const rlv_plane* plane, rlv_error* error)
{
    memset(profile, 0, sizeof *profile);
    const rlv_profile_stage* const stage[2] = {before, after};
    rlv_status status = rlv_section_cut(&profile->before, before->mesh, plane, NULL, error);
    if (status == RLV_DONE)
        status = rlv_section_cut(&profile->after, after->mesh, plane, NULL, error);
    if (status == RLV_DONE && after->bone != NULL)
        status = rlv_section_cut(&profile->bone, after->mesh, plane, after->bone, error);
    for (int i = 0; i < 2 && status == RLV_DONE; i++)
        if (stage[i]->region != NULL)
        {
            profile->regions = true;
            status = add_boxes(profile, stage[i], plane, error);
        }
    join_boxes(profile);
    return status;
}

void rlv_profile_free(rlv_profile* profile)
{
    rlv_lines_free(&profile->before);
    rlv_lines_free(&profile->after);
    rlv_lines_free(&profile->bone);
    free(profile->box);
    memset(profile, 0, sizeof *profile);
}

bool rlv_profile_box(const rlv_profile* profile, double low[2], double high[2])
{
    double other_low[2], other_high[2];
    bool before = rlv_lines_box(&profile->before, low, high);
    bool after = rlv_lines_box(&profile->after, other_low, other_high);
    for (int k = 0; k < 2 && after; k++)
    {
        low[k] = before ? fmin(low[k], other_low[k]) : other_low[k];
        high[k] = before ? fmax(high[k], other_high[k]) : other_high[k];
    }
    return before || after;
}

// What is drawn, on the sheet.
typedef struct profile_drawing
{
    rlv_sheet* sheet;
    double x, y, scale;
} profile_drawing;

static const rlv_rgb stone = {0.925f, 0.915f, 0.90f};

static rlv_rgb removed_tint(void)
{
    return rlv_rgb_mix(rlv_colour_removed(0.30), (rlv_rgb){1.0f, 1.0f, 1.0f}, 0.25f);
}

static rlv_rgb added_tint(void)
{
    return rlv_colour_added(0.2);
}

static void path_of(const profile_drawing* on, const rlv_lines* lines)
{
    rlv_sheet_path(on->sheet, lines, on->x, on->y, on->scale);
}

// Clip to what is in one set of lines and not in another.
static void clip_between(const profile_drawing* on, const rlv_lines* in, const rlv_lines* out)
{
    cairo_t* c = on->sheet->cairo;
    path_of(on, in);
    cairo_clip(c);
    double x0, y0, x1, y1;
    cairo_clip_extents(c, &x0, &y0, &x1, &y1);
    cairo_rectangle(c, x0 - 1.0, y0 - 1.0, x1 - x0 + 2.0, y1 - y0 + 2.0);
    path_of(on, out);
    cairo_set_fill_rule(c, CAIRO_FILL_RULE_EVEN_ODD);
    cairo_clip(c);
    cairo_set_fill_rule(c, CAIRO_FILL_RULE_WINDING);
    cairo_rectangle(c, x0, y0, x1 - x0, y1 - y0);
}

// Clip to the boxes of the regions, where there are any to keep to.
static void clip_to_regions(const profile_drawing* on, const rlv_profile* profile)
{
    if (!profile->regions)
        return;
    cairo_t* c = on->sheet->cairo;
    for (size_t i = 0; i < profile->box_count; i++)
    {
        const double* box = profile->box[i];
        cairo_rectangle(c, on->x + on->scale * box[0], on->y - on->scale * box[3], on->scale * (box[2] - box[0]),
                        on->scale * (box[3] - box[1]));
    }
    cairo_clip(c);
}

static void fill_areas(const profile_drawing* on, const rlv_profile* profile, const rlv_lines* before,
                       const rlv_lines* after)
{
    cairo_t* c = on->sheet->cairo;
    path_of(on, after);
    rlv_sheet_colour(on->sheet, stone);
    cairo_fill(c);
    if (before->line_count == 0)
        return;
    cairo_save(c);
    clip_to_regions(on, profile);
    clip_between(on, before, after);
    rlv_sheet_colour(on->sheet, removed_tint());
    cairo_fill(c);
    cairo_restore(c);
    cairo_save(c);
    clip_to_regions(on, profile);
    clip_between(on, after, before);
    rlv_sheet_colour(on->sheet, added_tint());
    cairo_fill_preserve(c);
    rlv_mark_dots(on->sheet);
    cairo_restore(c);
}

static void stroke(const profile_drawing* on, const rlv_lines* lines, double line_mm)
{
    path_of(on, lines);
    cairo_set_line_width(on->sheet->cairo, line_mm);
    cairo_stroke(on->sheet->cairo);
}

static void set_dash(cairo_t* c, bool dashed)
{
    const double dash[2] = {1.6, 0.9};
    cairo_set_dash(c, dash, dashed ? 2 : 0, 0.0);
}

static rlv_status copy_simple(rlv_lines* to, const rlv_lines* from, double tolerance, rlv_error* error)
{
    memset(to, 0, sizeof *to);
    to->line_count = from->line_count;
    to->point_count = from->point_count;
    to->start = rlv_reserve(from->line_count + 1, sizeof *to->start, error);
    to->closed = rlv_reserve(from->line_count, sizeof *to->closed, error);
    to->point = rlv_reserve(2 * from->point_count, sizeof *to->point, error);
    if (to->start == NULL || to->closed == NULL || to->point == NULL)
        return RLV_SYSTEM;
    if (from->line_count > 0)
    {
        memcpy(to->start, from->start, (from->line_count + 1) * sizeof *to->start);
        memcpy(to->closed, from->closed, from->line_count * sizeof *to->closed);
        memcpy(to->point, from->point, 2 * from->point_count * sizeof *to->point);
    }
    return rlv_lines_simplify(to, tolerance, error);
}

rlv_status rlv_profile_draw(rlv_sheet* sheet, const rlv_profile* profile, double x_mm, double y_mm, double scale,
                            rlv_error* error)
{
    profile_drawing on = {sheet, x_mm, y_mm, scale};
    cairo_t* c = sheet->cairo;
    double tolerance = RLV_LINE_THIN / 3.0 / scale;
    rlv_lines before, after = {0}, bone = {0};
    rlv_status status = copy_simple(&before, &profile->before, tolerance, error);
    if (status == RLV_DONE)
        status = copy_simple(&after, &profile->after, tolerance, error);
    if (status == RLV_DONE)
        status = copy_simple(&bone, &profile->bone, tolerance, error);
    if (status == RLV_DONE)
    {
        fill_areas(&on, profile, &before, &after);
        cairo_set_line_join(c, CAIRO_LINE_JOIN_ROUND);
        rlv_sheet_grey(sheet, RLV_INK_GREY);
        set_dash(c, true);
        stroke(&on, &before, RLV_LINE_THIN);
        set_dash(c, false);
        rlv_sheet_grey(sheet, RLV_INK_BLACK);
        stroke(&on, &after, RLV_LINE_MEDIUM);
        cairo_set_line_cap(c, CAIRO_LINE_CAP_BUTT);
        stroke(&on, &bone, 0.9);
    }
    rlv_lines_free(&before);
    rlv_lines_free(&after);
    rlv_lines_free(&bone);
    return status;
}

#define SWATCH 8.0
#define TALL 2.6

static void draw_swatch(rlv_sheet* sheet, int which, double x, double y)
{
    cairo_t* c = sheet->cairo;
    if (which == 2 || which == 3)
    {
        cairo_rectangle(c, x, y - TALL, SWATCH, TALL);
        rlv_sheet_colour(sheet, which == 2 ? removed_tint() : added_tint());
        cairo_fill_preserve(c);
        if (which == 3)
            rlv_mark_dots(sheet);
        cairo_new_path(c);
        return;
    }
    rlv_sheet_grey(sheet, which == 0 ? RLV_INK_GREY : RLV_INK_BLACK);
    set_dash(c, which == 0);
    double line_mm = which == 0 ? RLV_LINE_THIN : which == 1 ? RLV_LINE_MEDIUM : 0.9;
    rlv_sheet_line(sheet, x, y - 0.5 * TALL, x + SWATCH, y - 0.5 * TALL, line_mm);
    set_dash(c, false);
}

double rlv_profile_key(rlv_sheet* sheet, double x_mm, double y_mm, double width_mm, size_t count,
                       const rlv_profile* profile)
{
    static const char* const words[5] = {"before", "after", "removed", "added", "after, along bone"};
    const rlv_lettering small = {.size_mm = RLV_LETTER_SMALL, .grey = RLV_INK_BLACK};
    bool bone = false;
    for (size_t i = 0; i < count; i++)
        bone = bone || profile[i].bone.line_count > 0;
    double x = x_mm, y = y_mm + TALL;
    for (int i = 0; i < (bone ? 5 : 4); i++)
    {
        rlv_text_size size = rlv_sheet_measure(sheet, words[i], &small);
        double wide = SWATCH + 1.6 + size.width_mm;
        if (x > x_mm && x + wide > x_mm + width_mm)
        {
            x = x_mm;
            y += TALL + 1.8;
        }
        draw_swatch(sheet, i, x, y);
        rlv_sheet_text(sheet, words[i], x + SWATCH + 1.6, y - 0.5 * (TALL - size.cap_mm), &small);
        x += wide + 6.0;
    }
    return y - y_mm;
}
