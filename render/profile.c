#include "profile.h"

#include "marks.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum
{
    WENT = 1,
    CAME = 2,
};

// The boxes of the stretches whose triangles are in a set, added to the profile's.
static rlv_status add_boxes_of(rlv_profile* profile, const rlv_mesh* mesh, const uint8_t* in, uint8_t kind,
                               const rlv_plane* plane, rlv_error* error)
{
    rlv_lines lines;
    rlv_status status = rlv_section_cut(&lines, mesh, plane, in, error);
    size_t most = profile->box_count + lines.line_count + 1;
    double(*box)[4] = realloc(profile->box, most * sizeof *box);
    profile->box = box != NULL ? box : profile->box;
    uint8_t* kinds = realloc(profile->kind, most);
    profile->kind = kinds != NULL ? kinds : profile->kind;
    if ((box == NULL || kinds == NULL) && status == RLV_DONE)
        status = rlv_fail(error, RLV_SYSTEM, NULL, "give the program more memory", "no room for a profile");
    for (size_t i = 0; i < lines.line_count && status == RLV_DONE; i++)
    {
        kinds[profile->box_count] = kind;
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

// The boxes of stretches whose triangles lie in a region of change; those of what went and of what came apart, where
// that is told.
static rlv_status add_boxes(rlv_profile* profile, const rlv_profile_stage* stage, const rlv_plane* plane,
                            rlv_error* error)
{
    uint8_t* in = rlv_reserve(stage->mesh->triangle_count, 1, error);
    rlv_status status = in != NULL ? RLV_DONE : RLV_SYSTEM;
    for (uint8_t kind = WENT; kind <= CAME && status == RLV_DONE; kind++)
    {
        bool either = stage->came == NULL, any = false;
        for (size_t t = 0; t < stage->mesh->triangle_count; t++)
        {
            in[t] = stage->region[t] != 0 && (either || stage->came[stage->region[t] - 1] == (kind == CAME));
            any = any || in[t];
        }
        if (any && (!either || kind == WENT))
            status = add_boxes_of(profile, stage->mesh, in, either ? WENT | CAME : kind, plane, error);
    }
    free(in);
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
            if (i == k || profile->kind[i] != profile->kind[k] || a[0] > b[2] + NEAR_MM || b[0] > a[2] + NEAR_MM ||
                a[1] > b[3] + NEAR_MM || b[1] > a[3] + NEAR_MM)
                continue;
            for (int side = 0; side < 2; side++)
            {
                a[side] = fmin(a[side], b[side]);
                a[side + 2] = fmax(a[side + 2], b[side + 2]);
            }
            memcpy(b, profile->box[--profile->box_count], sizeof *profile->box);
            profile->kind[k] = profile->kind[profile->box_count];
            i = 0;
            k = SIZE_MAX; // from the beginning: the box has grown
        }
}

// How far a point lies from a set of lines, at most `most`.
static double off_lines(const rlv_lines* lines, const double at[2], double most)
{
    for (size_t i = 0; i < lines->line_count; i++)
    {
        const size_t first = lines->start[i], end = lines->start[i + 1];
        for (size_t k = first; k < end; k++)
        {
            if (k + 1 == end && !lines->closed[i])
                continue;
            const size_t next = k + 1 < end ? k + 1 : first;
            most = fmin(most, rlv_off_stretch(at, lines->point + 2 * k, lines->point + 2 * next));
        }
    }
    return most;
}

static bool in_a_box(const rlv_profile* profile, const double at[2])
{
    bool in = !profile->regions;
    for (size_t i = 0; i < profile->box_count && !in; i++)
    {
        const double* box = profile->box[i];
        in = at[0] >= box[0] && at[1] >= box[1] && at[0] <= box[2] && at[1] <= box[3];
    }
    return in;
}

#define STEPS_A_LIMIT 2.0 // places that are looked at on the way of a limit
#define LEAST_LIMITS 4.0  // a stretch of before that is shorter is left out: dashes would not show it

// How many places are looked at along a stretch, its end not counted.
static size_t places_on(const double a[2], const double b[2], double limit_mm)
{
    return (size_t)fmax(ceil(STEPS_A_LIMIT * hypot(b[0] - a[0], b[1] - a[1]) / limit_mm), 1.0);
}

// Add a place to the stretch that is being gathered, or end that.
static void gather(rlv_lines* into, const rlv_profile* profile, const double at[2], double limit_mm)
{
    const bool kept = in_a_box(profile, at) && off_lines(&profile->after, at, 2.0 * limit_mm) > limit_mm;
    size_t* end = &into->start[into->line_count + 1];
    if (kept)
    {
        memcpy(into->point + 2 * into->point_count++, at, 2 * sizeof *at);
        *end = into->point_count;
    }
    else if (*end > into->start[into->line_count])
        into->start[++into->line_count + 1] = *end;
}

// The stretches of before that lie beyond the limit of after.
static rlv_status part(rlv_profile* profile, double limit_mm, rlv_error* error)
{
    const rlv_lines* before = &profile->before;
    size_t most = 0;
    for (size_t i = 0; i < before->line_count; i++)
        for (size_t k = before->start[i], n = before->start[i + 1]; k < n; k++)
            most += 1 + places_on(before->point + 2 * k, before->point + 2 * (k + 1 < n ? k + 1 : before->start[i]),
                                  limit_mm);
    rlv_lines* apart = &profile->apart;
    apart->start = rlv_reserve(most + 2, sizeof *apart->start, error);
    apart->closed = rlv_reserve(most + 1, sizeof *apart->closed, error);
    apart->point = rlv_reserve(2 * most + 2, sizeof *apart->point, error);
    if (apart->start == NULL || apart->closed == NULL || apart->point == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < before->line_count; i++)
    {
        const size_t first = before->start[i], end = before->start[i + 1];
        for (size_t k = first; k < end; k++)
        {
            const double *a = before->point + 2 * k, *b = before->point + 2 * (k + 1 < end ? k + 1 : first);
            const size_t steps = k + 1 < end || before->closed[i] ? places_on(a, b, limit_mm) : 1;
            for (size_t step = 0; step < steps; step++)
            {
                const double share = (double)step / (double)steps,
                             at[2] = {a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])};
                gather(apart, profile, at, limit_mm);
            }
        }
        if (apart->start[apart->line_count + 1] > apart->start[apart->line_count])
        {
            apart->line_count++;
            apart->start[apart->line_count + 1] = apart->point_count;
        }
    }
    rlv_lines_drop_small(apart, 0.0, LEAST_LIMITS * limit_mm);
    return RLV_DONE;
}

// What is drawn of before.
static const rlv_lines* shown_before(const rlv_profile* profile)
{
    return profile->parted ? &profile->apart : &profile->before;
}

rlv_status rlv_profile_cut(rlv_profile* profile, const rlv_profile_stage* before, const rlv_profile_stage* after,
                           const rlv_plane* plane, rlv_error* error)
{
    memset(profile, 0, sizeof *profile);
    profile->within = after->within;
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
    profile->parted = before->limit_mm > 0.0;
    if (status == RLV_DONE && profile->parted)
        status = part(profile, before->limit_mm, error);
    return status;
}

void rlv_profile_free(rlv_profile* profile)
{
    rlv_lines_free(&profile->before);
    rlv_lines_free(&profile->after);
    rlv_lines_free(&profile->bone);
    rlv_lines_free(&profile->apart);
    free(profile->box);
    free(profile->kind);
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

// Clip to the boxes of the regions of a kind, where there are any regions to keep to.
static void clip_to_regions(const profile_drawing* on, const rlv_profile* profile, uint8_t kind)
{
    if (!profile->regions)
        return;
    cairo_t* c = on->sheet->cairo;
    for (size_t i = 0; i < profile->box_count; i++)
    {
        const double* box = profile->box[i];
        if ((profile->kind[i] & kind) == 0)
            continue;
        cairo_rectangle(c, on->x + on->scale * box[0], on->y - on->scale * box[3], on->scale * (box[2] - box[0]),
                        on->scale * (box[3] - box[1]));
    }
    cairo_clip(c);
}

#define RASTER_MM 0.25   // side of a pixel, on paper, that tints are looked for in
#define RASTER_MOST 8192 // pixels along a side: 2 m of paper; of what is larger, which no paper holds, they are coarser
#define LEAST_PIXELS 24  // 1.5 mm2: two scans of one surface leave slivers, which nobody takes for a tint

// Whether what went, or came, is large enough on paper to be seen: it is clipped as it is drawn, into pixels, and those
// are counted.
static bool shows(const rlv_profile* profile, uint8_t kind, double scale)
{
    const rlv_lines *in = kind == CAME ? &profile->after : &profile->before,
                    *out = kind == CAME ? &profile->before : &profile->after;
    double low[2], high[2];
    if (in->line_count == 0 || out->line_count == 0 || !rlv_profile_box(profile, low, high))
        return false;
    const double across = (high[0] - low[0]) * scale, up = (high[1] - low[1]) * scale,
                 pixel_mm = fmax(RASTER_MM, fmax(across, up) / RASTER_MOST);
    cairo_surface_t* image = cairo_image_surface_create(CAIRO_FORMAT_A8, (int)fmax(ceil(across / pixel_mm), 1.0),
                                                        (int)fmax(ceil(up / pixel_mm), 1.0));
    rlv_sheet sheet = {.unit = 1.0, .cairo = cairo_create(image)};
    cairo_scale(sheet.cairo, 1.0 / pixel_mm, 1.0 / pixel_mm);
    profile_drawing on = {&sheet, -low[0] * scale, high[1] * scale, scale};
    clip_to_regions(&on, profile, kind);
    clip_between(&on, in, out);
    cairo_fill(sheet.cairo);
    cairo_destroy(sheet.cairo);
    cairo_surface_flush(image);
    const unsigned char* data = cairo_image_surface_get_data(image);
    size_t stride = (size_t)cairo_image_surface_get_stride(image), rows = (size_t)cairo_image_surface_get_height(image);
    size_t columns = (size_t)cairo_image_surface_get_width(image), count = 0;
    for (size_t y = 0; data != NULL && y < rows; y++)
        for (size_t x = 0; x < columns; x++)
            count += data[y * stride + x] >= 128;
    cairo_surface_destroy(image);
    return (double)count * pixel_mm * pixel_mm >= LEAST_PIXELS * RASTER_MM * RASTER_MM;
}

rlv_profile_tints rlv_profile_tints_at(const rlv_profile* profile, double scale)
{
    return (rlv_profile_tints){.went = shows(profile, WENT, scale), .came = shows(profile, CAME, scale)};
}

static void fill_areas(const profile_drawing* on, const rlv_profile* profile, rlv_profile_tints tints,
                       const rlv_lines* before, const rlv_lines* after)
{
    cairo_t* c = on->sheet->cairo;
    path_of(on, after);
    rlv_sheet_colour(on->sheet, stone);
    cairo_fill(c);
    for (int came = 0; came < 2; came++)
    {
        const rlv_lines *in = came ? after : before, *out = came ? before : after;
        if (came ? !tints.came : !tints.went)
            continue;
        cairo_save(c);
        clip_to_regions(on, profile, came ? CAME : WENT);
        clip_between(on, in, out);
        rlv_sheet_colour(on->sheet, came ? added_tint() : removed_tint());
        cairo_fill_preserve(c);
        if (came)
            rlv_mark_dots(on->sheet);
        cairo_new_path(c);
        cairo_restore(c);
    }
}

// Twice as heavy from one to the next, so that they are told apart by weight as well as by dash.
static const rlv_stroke of_before = {RLV_LINE_MEDIUM, 0.25, RLV_DASH_BEFORE};
static const rlv_stroke of_after = {RLV_LINE_HEAVY, RLV_INK_BLACK, RLV_DASH_NONE};
static const rlv_stroke of_bone = {2.0 * RLV_LINE_HEAVY, RLV_INK_BLACK, RLV_DASH_NONE};

static void stroke(const profile_drawing* on, const rlv_lines* lines, const rlv_stroke* how)
{
    rlv_stroke_begin(on->sheet, how);
    path_of(on, lines);
    cairo_stroke(on->sheet->cairo);
    rlv_stroke_end(on->sheet);
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
                            rlv_profile_tints tints, rlv_error* error)
{
    profile_drawing on = {sheet, x_mm, y_mm, scale};
    cairo_t* c = sheet->cairo;
    double tolerance = of_before.line_mm / 3.0 / scale;
    rlv_lines before, after = {0}, bone = {0}, apart = {0};
    rlv_status status = copy_simple(&before, &profile->before, tolerance, error);
    if (status == RLV_DONE)
        status = copy_simple(&after, &profile->after, tolerance, error);
    if (status == RLV_DONE)
        status = copy_simple(&bone, &profile->bone, tolerance, error);
    if (status == RLV_DONE)
        status = copy_simple(&apart, shown_before(profile), tolerance, error);
    if (status == RLV_DONE)
    {
        fill_areas(&on, profile, tints, &before, &after);
        cairo_set_line_join(c, CAIRO_LINE_JOIN_ROUND);
        stroke(&on, &apart, &of_before);
        stroke(&on, &after, &of_after);
        stroke(&on, &bone, &of_bone);
    }
    rlv_lines_free(&before);
    rlv_lines_free(&after);
    rlv_lines_free(&bone);
    rlv_lines_free(&apart);
    return status;
}

enum
{
    BLOCK = 3, // the entry of the block's own tint
};

void rlv_profile_key(rlv_key* key, const rlv_profile* profile, rlv_profile_tints tints)
{
    const struct
    {
        bool there;
        rlv_key_entry entry;
    } kind[] = {
        {shown_before(profile)->line_count > 0,
         {.kind = RLV_KEY_LINE, .stroke = of_before, .words = "before, in a section"}},
        {profile->after.line_count > 0, {.kind = RLV_KEY_LINE, .stroke = of_after, .words = "after, in a section"}},
        {profile->bone.line_count > 0, {.kind = RLV_KEY_LINE, .stroke = of_bone, .words = "after, along bone"}},
        {profile->after.line_count > 0, {.kind = RLV_KEY_AREA, .tint = stone, .words = "block after, in a section"}},
        {tints.went, {.kind = RLV_KEY_AREA, .tint = removed_tint(), .words = "removed, in a section"}},
        {tints.came, {.kind = RLV_KEY_AREA, .tint = added_tint(), .dotted = true, .words = "added, in a section"}}};
    for (size_t i = 0; i < sizeof kind / sizeof *kind; i++)
    {
        rlv_key_entry entry = kind[i].entry;
        if (i == BLOCK && profile->within != NULL)
            rlv_print(entry.words, sizeof entry.words, "block after, in a section: %s", profile->within);
        if (kind[i].there)
            rlv_key_add(key, &entry);
    }
}
