#include "joint_map.h"

#include "section.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

// mm on A3.
#define HEADING 7.5  // over a row of faces
#define NAMES 5.0    // beneath it: which face is which
#define FOLD 7.0     // either side of the fold, for the letters of the section
#define GAP 11.0     // between the faces and what stands beside them
#define BENEATH 7.0  // between the faces and the sections
#define ASIDE 104.0  // how wide what stands beside them is
#define WHOLE 66.0   // how tall the whole block is drawn, at most
#define LEGEND 19.0  // the legend's height with its hatching
#define AIR 4.0      // between the parts beside, and over the foot
#define BAR 12.0     // a scale bar, with the axes beside that of the faces
#define SECTION 62.0 // how tall a section is, at most
#define TABLE_HEAD 4.4

#define MARGIN_SHARE 0.06 // round a joint, of its longer side,
#define MARGIN_MM 3.0     // and no less
#define DEEP_MM 7.0       // how much of both solids a section shows past the joint

#define SPECK_MM2 1.0 // of a section on A3: a loop that encloses less is no reader's
#define BARE "surface with nothing opposite"
#define NOTE_COLOURS                                                                                                   \
    "Colours of the gap: lajolla (open) and devon (pressed, dotted), F. Crameri, Scientific colour maps 7.0.1, 2021, " \
    "doi:10.5281/zenodo.5501399."
#define NOTE_FOLD                                                                                                      \
    "Opened like a book: the piece is turned over about the fold, so that what met lies at equal distances from it. "  \
    "Widths are along the local normal of the fracture, averaged over a spot of a few millimetres."

static const rlv_lettering small = {.size_mm = RLV_LETTER_SMALL, .grey = RLV_INK_BLACK};
static const rlv_lettering quiet = {.size_mm = RLV_LETTER_SMALL, .grey = RLV_INK_GREY};
static const rlv_lettering head = {.size_mm = RLV_LETTER_HEAD, .grey = RLV_INK_BLACK, .bold = true};
static const rlv_stroke of_fold = {RLV_LINE_HAIR, RLV_INK_GREY, RLV_DASH_SECTION};

// --- How it is seen --------------------------------------------------------------------------------------------------

// The plan of a joint: its axes, and what its widths span in them about its middle.
typedef struct plan
{
    rlv_camera_axes axes; // of the block's face, in the block's frame
    double low[3], high[3];
    size_t count; // of places with a width
} plan;

static rlv_vec3 from_middle(const rlv_joint_map* map, size_t vertex)
{
    return rlv_vec3_sub(rlv_mesh_vertex(map->block, vertex), map->middle_mm);
}

static bool has_width(const rlv_joint_map* map, size_t vertex)
{
    for (size_t k = 0; k < map->trial_count; k++)
        if (isfinite(map->trial[k].block_mm[vertex]))
            return true;
    return false;
}

rlv_camera_axes rlv_joint_axes(const rlv_joint_map* map)
{
    const rlv_vec3 a = rlv_vec3_across(map->normal), b = rlv_vec3_cross(map->normal, a);
    double sum[2] = {0.0, 0.0}, square[3] = {0.0, 0.0, 0.0}, count = 0.0;
    for (size_t v = 0; v < map->block->vertex_count; v++)
    {
        if (!has_width(map, v))
            continue;
        const double x = rlv_vec3_dot(from_middle(map, v), a), y = rlv_vec3_dot(from_middle(map, v), b);
        sum[0] += x, sum[1] += y;
        square[0] += x * x, square[1] += x * y, square[2] += y * y;
        count += 1.0;
    }
    const double xx = square[0] * count - sum[0] * sum[0], xy = square[1] * count - sum[0] * sum[1],
                 yy = square[2] * count - sum[1] * sum[1], angle = 0.5 * atan2(2.0 * xy, xx - yy);
    rlv_vec3 right = rlv_vec3_along(rlv_vec3_scale(a, cos(angle)), sin(angle), b),
             up = rlv_vec3_cross(map->normal, right);
    if (rlv_vec3_dot(up, map->up) < 0.0)
    {
        right = rlv_vec3_scale(right, -1.0);
        up = rlv_vec3_scale(up, -1.0);
    }
    return (rlv_camera_axes){right, up, map->normal};
}

static plan plan_of(const rlv_joint_map* map)
{
    plan p = {.axes = rlv_joint_axes(map)};
    const rlv_vec3 way[3] = {p.axes.right, p.axes.up, p.axes.towards};
    for (int k = 0; k < 3; k++)
    {
        p.low[k] = INFINITY;
        p.high[k] = -INFINITY;
    }
    for (size_t v = 0; v < map->block->vertex_count; v++)
    {
        if (!has_width(map, v))
            continue;
        p.count++;
        for (int k = 0; k < 3; k++)
        {
            const double at = rlv_vec3_dot(from_middle(map, v), way[k]);
            p.low[k] = fmin(p.low[k], at);
            p.high[k] = fmax(p.high[k], at);
        }
    }
    const double margin = fmax(MARGIN_MM, MARGIN_SHARE * fmax(p.high[0] - p.low[0], p.high[1] - p.low[1]));
    for (int k = 0; k < 2 && p.count > 0; k++)
    {
        p.low[k] -= margin;
        p.high[k] += margin;
    }
    return p;
}

void rlv_joint_place(const rlv_joint_map* map, bool on_piece, rlv_vec3 point_mm, double at[2])
{
    const plan p = plan_of(map);
    const rlv_vec3 from = rlv_vec3_sub(point_mm, map->middle_mm);
    const double off = p.high[0] - rlv_vec3_dot(from, p.axes.right);
    at[0] = on_piece ? off : -off;
    at[1] = rlv_vec3_dot(from, p.axes.up) - 0.5 * (p.low[1] + p.high[1]);
}

// A direction of the block's frame in the piece's own, in a trial.
static rlv_vec3 turned_back(const rlv_joint_trial* trial, rlv_vec3 way)
{
    return rlv_mat3_apply(rlv_mat3_transpose(trial->place.rotation), way);
}

// --- Layout ----------------------------------------------------------------------------------------------------------

// A joint while it is laid out; everything is in mm on paper but the plan.
typedef struct layout
{
    rlv_joint_map map; // with the sheet's own notes
    const char** note;
    plan plan;
    double scale, section_scale, whole_scale; // paper over thing
    double through;                           // where the section is cut: how far up from the joint's middle
    double end_mm;                            // of the colours
    rlv_sheet ruler;                          // to measure letters on
    rlv_key most;                             // all that the key may have to explain
    bool stacked;                             // sections stand one beneath the other, and not side by side
    double unit, face_wide, face_tall, row_tall, faces_wide, aside_wide, aside_tall, upper_tall, section_wide,
        section_tall, sections_tall;
    double whole_tall, wide, tall; // of all of it
} layout;

static const double step_of[9] = {1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0};

static double round_above(double value)
{
    const double ten = pow(10.0, floor(log10(value)));
    for (int k = 0; k < 9; k++)
        if (step_of[k] * ten >= value * (1.0 - 1e-9))
            return step_of[k] * ten;
    return 10.0 * ten;
}

static int by_size(const void* a, const void* b)
{
    const float x = *(const float*)a, y = *(const float*)b;
    return (x > y) - (x < y);
}

// A round width that all but a hundredth of the joint stays below.
static rlv_status find_end(layout* of, rlv_error* error)
{
    const rlv_joint_map* map = &of->map;
    size_t count = 0;
    float* list = rlv_reserve(map->trial_count * map->block->vertex_count + 1, sizeof *list, error);
    if (list == NULL)
        return RLV_SYSTEM;
    for (size_t k = 0; k < map->trial_count; k++)
        for (size_t v = 0; v < map->block->vertex_count; v++)
            if (isfinite(map->trial[k].block_mm[v]))
                list[count++] = fabsf(map->trial[k].block_mm[v]);
    qsort(list, count, sizeof *list, by_size);
    of->end_mm = count > 0 ? (double)list[(size_t)(0.99 * (double)(count - 1))] : 0.0;
    of->end_mm = round_above(fmax(of->end_mm, 2.0 * map->touching_mm + 1e-3));
    free(list);
    return RLV_DONE;
}

// How bone on a face is outlined.
static rlv_panel_outline of_bone(const uint8_t* in)
{
    return (rlv_panel_outline){.in = in, .line_mm = RLV_LINE_STRONG, .words = "bone on a face of the joint"};
}

static bool slides(const rlv_joint_map* map)
{
    return map->slide_words != NULL && map->trial_count > 1 && rlv_vec3_length(map->slide) > 0.0;
}

static void draw_contact(rlv_sheet* sheet, rlv_box2 box, int which)
{
    rlv_sheet_grey(sheet, RLV_INK_BLACK);
    rlv_mark_symbol(sheet, which != 0 ? RLV_SYMBOL_DIAMOND : RLV_SYMBOL_DISC, box.left + 0.5 * box.width,
                    box.top + 0.5 * box.height, 1.9 * sheet->unit);
}

static const rlv_rgb of_block = {0.885f, 0.875f, 0.855f}, of_piece = {0.76f, 0.79f, 0.82f};

static void draw_arrow(rlv_sheet* sheet, rlv_box2 box, int which)
{
    (void)which;
    const double y = box.top + 0.5 * box.height;
    rlv_sheet_grey(sheet, RLV_INK_BLACK);
    rlv_mark_arrow(sheet, box.left, y, box.left + box.width, y, RLV_LINE_STRONG);
}

static void add_to_key(rlv_key* key, const rlv_joint_map* map)
{
    bool presses = false, touches = false;
    for (size_t i = 0; i < map->contact_count; i++)
    {
        presses = presses || map->contact[i].presses;
        touches = touches || !map->contact[i].presses;
    }
    const struct
    {
        bool there;
        rlv_key_entry entry;
    } kind[] = {
        {presses,
         {.kind = RLV_KEY_DRAWN,
          .draw = draw_contact,
          .which = 1,
          .words = "contact that presses; c1 is the first of the table"}},
        {touches, {.kind = RLV_KEY_DRAWN, .draw = draw_contact, .which = 0, .words = "contact that touches"}},
        {true, {.kind = RLV_KEY_LINE, .stroke = of_fold, .words = "fold"}},
        {true,
         {.kind = RLV_KEY_AREA,
          .tint = of_block,
          .words = "block, cut along A\xe2\x80\x93"
                   "A\xe2\x80\xb2"}},
        {true, {.kind = RLV_KEY_AREA, .tint = of_piece, .words = "piece, cut there"}},
        {presses, {.kind = RLV_KEY_AREA, .tint = rlv_colour_added(0.35), .dotted = true, .words = "in both"}},
    };
    for (size_t i = 0; i < sizeof kind / sizeof *kind; i++)
        if (kind[i].there)
            rlv_key_add(key, &kind[i].entry);
    rlv_key_entry arrow = {.kind = RLV_KEY_DRAWN, .draw = draw_arrow};
    snprintf(arrow.words, sizeof arrow.words, "%s", map->slide_words != NULL ? map->slide_words : "");
    if (slides(map))
        rlv_key_add(key, &arrow);
}

// The box of the whole block in its view, of the thing.
static rlv_panel_view whole_view(const rlv_joint_map* map, double scale)
{
    return rlv_panel_view_of(1, &map->whole.mesh, &map->whole_axes, scale);
}

static void measure(layout* of, double unit)
{
    const rlv_joint_map* map = &of->map;
    const plan* p = &of->plan;
    const double u = unit, trials = (double)map->trial_count;
    of->unit = of->ruler.unit = u;
    of->face_wide = (p->high[0] - p->low[0]) * of->scale;
    of->face_tall = (p->high[1] - p->low[1]) * of->scale;
    of->row_tall = of->face_tall + (HEADING + NAMES) * u;
    of->faces_wide = 2.0 * of->face_wide + 4.0 * FOLD * u;
    const rlv_panel_view whole = whole_view(map, 1.0);
    const rlv_box2 table = rlv_sheet_table_size(&of->ruler, &map->table);
    of->aside_wide = fmax(table.width, ASIDE * u);
    of->whole_scale = rlv_round_scale(fmin(of->aside_wide / whole.span_mm[0], WHOLE * u / whole.span_mm[1]));
    of->whole_tall = whole.span_mm[1] * of->whole_scale;
    of->aside_tall = of->whole_tall + (HEADING + 2.0 * BAR + LEGEND + 4.0 * AIR) * u +
                     rlv_key_tall(&of->ruler, &of->most, of->aside_wide) +
                     (table.height > 0.0 ? table.height + (TABLE_HEAD + AIR) * u : 0.0);
    of->wide = of->faces_wide + GAP * u + of->aside_wide;
    of->upper_tall = trials * of->row_tall + (trials - 1.0) * AIR * u;
    const double deep = p->high[2] - p->low[2] + 2.0 * DEEP_MM, beside = of->stacked ? 1.0 : trials,
                 beneath = trials / beside;
    of->section_wide = (of->faces_wide - beside * 2.0 * FOLD * u) / beside;
    of->section_scale =
        rlv_round_scale(fmin(of->section_wide / (p->high[0] - p->low[0]), fmin(SECTION * u / deep, 5.0 * of->scale)));
    of->section_tall = deep * of->section_scale;
    of->sections_tall = beneath * (of->section_tall + (HEADING + BAR) * u) + (beneath - 1.0) * AIR * u;
    of->tall = fmax(of->upper_tall + BENEATH * u + of->sections_tall, of->aside_tall);
}

// What the sheet needs, as rlv_paper_for asks.
static void need(const void* user, double unit, double size_mm[2])
{
    layout of = *(const layout*)user;
    measure(&of, unit);
    size_mm[0] = of.wide + 2.0 * RLV_SHEET_MARGIN * unit;
    size_mm[1] = of.tall + (RLV_TITLE_HEAD_MM + AIR) * unit + rlv_title_foot_mm(&of.map.title, size_mm[0], unit);
}

#define LARGEST 5.0   // scale that is tried where none is asked for,
#define SMALLEST 1e-3 // and the least

// The paper that one scale needs: with the sections one beneath the other where that costs no paper and makes them
// larger.
static rlv_paper arrange_at(layout* of, double scale)
{
    double unit[2];
    rlv_paper paper[2];
    double section[2];
    of->scale = scale;
    for (int k = 0; k < 2; k++)
    {
        of->stacked = k == 1;
        paper[k] = rlv_paper_for(need, of, of->map.paper, &unit[k]);
        measure(of, unit[k]);
        section[k] = of->section_scale;
    }
    const double area[2] = {paper[0].width_mm * paper[0].height_mm, paper[1].width_mm * paper[1].height_mm};
    of->stacked = area[1] < 1.001 * area[0] && section[1] > section[0];
    measure(of, unit[of->stacked]);
    return paper[of->stacked];
}

static rlv_paper arrange(layout* of)
{
    const rlv_paper least = rlv_paper_holding(1.0, 1.0, of->map.paper);
    double scale = of->map.scale > 0.0 ? of->map.scale : LARGEST;
    rlv_paper paper = arrange_at(of, scale);
    while (!(of->map.scale > 0.0) && scale > SMALLEST &&
           fmax(paper.width_mm, paper.height_mm) > fmax(least.width_mm, least.height_mm))
    {
        scale = rlv_round_scale(0.999 * scale);
        paper = arrange_at(of, scale);
    }
    return paper;
}

// --- The faces -------------------------------------------------------------------------------------------------------

// One face in one trial, while it is drawn.
typedef struct face
{
    const layout* of;
    const rlv_joint_trial* trial;
    bool on_piece, closed;
    rlv_overlay overlay;
    uint8_t *shown, *bone;
    rlv_panel_outline outline;
    rlv_panel_surface surface;
    rlv_panel_view view;
    rlv_panel_point* point;
    char (*number)[24];
    rlv_panel_arrow arrow;
    rlv_panel_trace trace;
} face;

// A place of the block's frame in that of what the face is of.
static rlv_vec3 placed(const face* f, rlv_vec3 at_mm)
{
    if (!f->on_piece)
        return at_mm;
    const rlv_pose back = rlv_pose_inverse(&f->trial->place);
    return rlv_pose_apply(&back, at_mm);
}

static void look_at(face* f)
{
    const rlv_joint_map* map = &f->of->map;
    const plan* p = &f->of->plan;
    rlv_camera_axes axes = p->axes;
    if (f->on_piece)
    {
        axes.right = turned_back(f->trial, rlv_vec3_scale(axes.right, -1.0));
        axes.up = turned_back(f->trial, axes.up);
        axes.towards = turned_back(f->trial, rlv_vec3_scale(axes.towards, -1.0));
    }
    const rlv_vec3 middle =
        rlv_vec3_along(rlv_vec3_along(map->middle_mm, 0.5 * (p->low[0] + p->high[0]), p->axes.right),
                       0.5 * (p->low[1] + p->high[1]), p->axes.up);
    f->view = (rlv_panel_view){axes, placed(f, middle), f->of->scale, {p->high[0] - p->low[0], p->high[1] - p->low[1]}};
}

static rlv_status colour_face(face* f, rlv_error* error)
{
    const rlv_joint_map* map = &f->of->map;
    const rlv_mesh* mesh = f->on_piece ? map->piece : map->block;
    const float* width = f->on_piece ? f->trial->piece_mm : f->trial->block_mm;
    if ((f->shown = rlv_reserve(mesh->triangle_count, 1, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t t = 0; t < mesh->triangle_count; t++)
    {
        const uint32_t* corner = mesh->corner + 3 * t;
        const double mean = ((double)width[corner[0]] + (double)width[corner[1]] + (double)width[corner[2]]) / 3.0;
        f->shown[t] = !isfinite(mean) ? 0 : fabs(mean) <= map->touching_mm ? 2 : 1;
    }
    f->overlay = (rlv_overlay){.depth_mm = width,
                               .shown = f->shown,
                               .deepest_mm = f->of->end_mm,
                               .caption = "gap, open, mm",
                               .noun = "width",
                               .bare = BARE,
                               .below = "pressed, mm (dotted)",
                               .hatched = "touches within noise"};
    f->surface = (rlv_panel_surface){.mesh = mesh,
                                     .tree = f->on_piece ? map->piece_tree : map->block_tree,
                                     .overlay = &f->overlay,
                                     .isoline_mm = rlv_round_step(f->of->end_mm, 5)};
    return RLV_DONE;
}

// Bone is outlined where it lies on the face itself.
static rlv_status outline_bone(face* f, rlv_error* error)
{
    const rlv_joint_map* map = &f->of->map;
    const uint8_t* bone = f->on_piece ? map->piece_bone : map->block_bone;
    const size_t count = f->surface.mesh->triangle_count;
    if (bone == NULL)
        return RLV_DONE;
    if ((f->bone = rlv_reserve(count, 1, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t t = 0; t < count; t++)
        f->bone[t] = bone[t] != 0 && f->shown[t] != 0;
    f->outline = of_bone(f->bone);
    f->surface.outline_count = 1;
    f->surface.outline = &f->outline;
    return RLV_DONE;
}

// Contacts lie as deep in a face as they press into it.
#define BENEATH_MM 4.0

static rlv_status mark_face(face* f, rlv_panel_marks* marks, rlv_error* error)
{
    const rlv_joint_map* map = &f->of->map;
    const plan* p = &f->of->plan;
    const rlv_vec3 line = rlv_vec3_along(map->middle_mm, f->of->through, p->axes.up);
    f->trace = (rlv_panel_trace){placed(f, rlv_vec3_along(line, p->low[0], p->axes.right)),
                                 placed(f, rlv_vec3_along(line, p->high[0], p->axes.right)), "A"};
    marks->trace = &f->trace;
    marks->trace_count = 1;
    if (!f->closed && !f->on_piece && slides(map))
    {
        const double long_mm = 0.16 * (p->high[0] - p->low[0]);
        f->arrow = (rlv_panel_arrow){.from_mm = rlv_vec3_along(map->middle_mm, -0.5 * long_mm, map->slide),
                                     .to_mm = rlv_vec3_along(map->middle_mm, 0.5 * long_mm, map->slide)};
        marks->arrow = &f->arrow;
        marks->arrow_count = 1;
    }
    if (!f->closed || map->contact_count == 0)
        return RLV_DONE;
    f->point = rlv_reserve(map->contact_count, sizeof *f->point, error);
    f->number = f->point != NULL ? rlv_reserve(map->contact_count, sizeof *f->number, error) : NULL;
    if (f->number == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < map->contact_count; i++)
    {
        snprintf(f->number[i], sizeof f->number[i], "c%zu", i + 1); // levels of the gap are bare numbers
        f->point[i] = (rlv_panel_point){.at_mm = placed(f, map->contact[i].at_mm),
                                        .beneath_mm = BENEATH_MM,
                                        .symbol = map->contact[i].presses ? RLV_SYMBOL_DIAMOND : RLV_SYMBOL_DISC,
                                        .label = f->number[i]};
    }
    marks->point = f->point;
    marks->point_count = map->contact_count;
    return RLV_DONE;
}

// What is gathered while faces are drawn.
typedef struct gathered
{
    rlv_key key;
    rlv_paint_seen seen;
    double pixel_mm;
    size_t left_out;
} gathered;

static void merge(rlv_paint_seen* into, const rlv_paint_seen* from)
{
    into->removed |= from->removed;
    into->added |= from->added;
    into->hatched |= from->hatched;
    into->past_removed |= from->past_removed;
    into->past_added |= from->past_added;
}

static rlv_status draw_face(rlv_sheet* sheet, const layout* of, size_t trial, bool on_piece, double x, double y,
                            gathered* all, rlv_error* error)
{
    face f = {
        .of = of, .trial = &of->map.trial[trial], .on_piece = on_piece, .closed = trial + 1 == of->map.trial_count};
    rlv_panel panel = {0};
    rlv_panel_marks marks = {0};
    size_t left_out = 0;
    look_at(&f);
    rlv_status status = colour_face(&f, error);
    if (status == RLV_DONE)
        status = outline_bone(&f, error);
    if (status == RLV_DONE)
        status = mark_face(&f, &marks, error);
    f.surface.unit = of->unit;
    if (status == RLV_DONE)
        status = rlv_panel_make(&panel, &f.surface, &f.view, of->face_wide, of->face_tall, error);
    if (status == RLV_DONE)
        status = rlv_panel_draw(sheet, &panel, x, y, &marks, &left_out, error);
    if (status == RLV_DONE)
    {
        rlv_panel_key(&all->key, &panel, &marks);
        panel.seen.hatched = panel.hatched.line_count > 0; // no word of hatching in specks that are left out
        merge(&all->seen, &panel.seen);
        all->pixel_mm = panel.picture.pixel_mm;
        all->left_out += left_out;
    }
    rlv_panel_free(&panel);
    free(f.shown);
    free(f.bone);
    free(f.point);
    free(f.number);
    return status;
}

// A heading with a line of words beside it.
static void put_heading(rlv_sheet* sheet, const char* name, const char* line, double x, double y, double width)
{
    const double u = sheet->unit;
    const double wide = rlv_sheet_text(sheet, name, x, y + 4.0 * u, &head).width_mm + 3.0 * u;
    rlv_lettering how = quiet;
    how.width_mm = width - wide;
    how.most_lines = 1;
    if (line != NULL && how.width_mm > 8.0 * u)
        rlv_sheet_text(sheet, line, x + wide, y + 4.0 * u, &how);
}

static rlv_status draw_trial(rlv_sheet* sheet, const layout* of, size_t trial, double x, double y, gathered* all,
                             rlv_error* error)
{
    const double u = sheet->unit, top = y + HEADING * u, left = x + FOLD * u, fold = left + of->face_wide + FOLD * u;
    char scale[48], words[64];
    rlv_scale_words(scale, sizeof scale, of->scale);
    snprintf(words, sizeof words, "faces at %s", scale);
    put_heading(sheet, of->map.trial[trial].name, words, x, y, of->faces_wide);
    rlv_status status = draw_face(sheet, of, trial, false, left, top, all, error);
    if (status == RLV_DONE)
        status = draw_face(sheet, of, trial, true, fold + FOLD * u, top, all, error);
    rlv_stroke_begin(sheet, &of_fold);
    rlv_sheet_line(sheet, fold, top, fold, top + of->face_tall, of_fold.line_mm);
    rlv_stroke_end(sheet);
    rlv_lettering how = quiet;
    how.share = 0.5;
    const double foot = top + of->face_tall + 3.2 * u;
    rlv_sheet_text(sheet, "the block\xe2\x80\x99s face", left + 0.5 * of->face_wide, foot, &how);
    rlv_sheet_text(sheet, "the piece\xe2\x80\x99s face, turned over", fold + FOLD * u + 0.5 * of->face_wide, foot,
                   &how);
    return status;
}

// --- Sections --------------------------------------------------------------------------------------------------------

static rlv_status cut(rlv_lines* block, rlv_lines* piece, const layout* of, const rlv_joint_trial* trial,
                      rlv_error* error)
{
    const rlv_joint_map* map = &of->map;
    const rlv_camera_axes* axes = &of->plan.axes;
    const rlv_vec3 origin = rlv_vec3_along(map->middle_mm, of->through, axes->up);
    const rlv_pose back = rlv_pose_inverse(&trial->place);
    // Both are told in the frame of the block's plane; the piece is cut where it lies in its own.
    const rlv_plane on_block = {origin, axes->right, axes->towards},
                    on_piece = {rlv_pose_apply(&back, origin), turned_back(trial, axes->right),
                                turned_back(trial, axes->towards)};
    rlv_status status = rlv_section_cut(block, map->block, &on_block, NULL, error);
    if (status == RLV_DONE)
        status = rlv_section_cut(piece, map->piece, &on_piece, NULL, error);
    const double tolerance = RLV_LINE_THIN / 3.0 / of->section_scale, speck = SPECK_MM2 * of->unit * of->unit,
                 mm = sqrt(speck) / of->section_scale;
    rlv_lines* const both[2] = {block, piece};
    for (int k = 0; k < 2 && status == RLV_DONE; k++)
    {
        rlv_lines_drop_small(both[k], mm * mm, mm);
        status = rlv_lines_simplify(both[k], tolerance, error);
    }
    return status;
}

static void fill_section(rlv_sheet* sheet, const rlv_lines* block, const rlv_lines* piece, double x, double y,
                         double scale)
{
    cairo_t* c = sheet->cairo;
    const rlv_lines* const lines[2] = {block, piece};
    for (int k = 0; k < 2; k++)
    {
        rlv_sheet_path(sheet, lines[k], x, y, scale);
        rlv_sheet_colour(sheet, k == 0 ? of_block : of_piece);
        cairo_fill(c);
    }
    cairo_save(c);
    rlv_sheet_path(sheet, block, x, y, scale);
    cairo_clip(c);
    rlv_sheet_path(sheet, piece, x, y, scale);
    rlv_sheet_colour(sheet, rlv_colour_added(0.35));
    cairo_fill_preserve(c);
    rlv_mark_dots(sheet);
    cairo_new_path(c);
    cairo_restore(c);
    cairo_set_line_join(c, CAIRO_LINE_JOIN_ROUND);
    rlv_sheet_grey(sheet, RLV_INK_BLACK);
    for (int k = 0; k < 2; k++)
    {
        rlv_sheet_path(sheet, lines[k], x, y, scale);
        rlv_sheet_pen(sheet, RLV_LINE_THIN);
        cairo_stroke(c);
    }
}

static rlv_status draw_section(rlv_sheet* sheet, const layout* of, size_t trial, double x, double y, rlv_error* error)
{
    const double u = sheet->unit, scale = of->section_scale;
    const plan* p = &of->plan;
    const double wide = (p->high[0] - p->low[0]) * scale, top = y + HEADING * u;
    rlv_lines block = {0}, piece = {0};
    char words[160], at[48];
    rlv_scale_words(at, sizeof at, scale);
    snprintf(words, sizeof words,
             "section A\xe2\x80\x93"
             "A\xe2\x80\xb2 at %s, piece above",
             at);
    put_heading(sheet, of->map.trial[trial].name, words, x, y, of->section_wide);
    rlv_status status = cut(&block, &piece, of, &of->map.trial[trial], error);
    if (status == RLV_DONE)
    {
        cairo_save(sheet->cairo);
        cairo_rectangle(sheet->cairo, x, top, wide, of->section_tall);
        cairo_clip(sheet->cairo);
        fill_section(sheet, &block, &piece, x - p->low[0] * scale, top + (p->high[2] + DEEP_MM) * scale, scale);
        cairo_restore(sheet->cairo);
        rlv_sheet_grey(sheet, RLV_INK_RULE);
        rlv_sheet_pen(sheet, RLV_LINE_HAIR);
        cairo_rectangle(sheet->cairo, x, top, wide, of->section_tall);
        cairo_stroke(sheet->cairo);
        rlv_lettering how = head;
        how.bold = false;
        how.halo_mm = 0.7;
        how.share = 0.5;
        rlv_sheet_text(sheet, "A", x - 0.5 * FOLD * u, top + 4.0 * u, &how);
        rlv_sheet_text(sheet, "A\xe2\x80\xb2", x + wide + 0.5 * FOLD * u, top + 4.0 * u, &how);
    }
    rlv_mark_bar(sheet, x, top + of->section_tall + 4.0 * u, scale, fmin(45.0 * u, 0.6 * wide));
    rlv_lines_free(&block);
    rlv_lines_free(&piece);
    return status;
}

// --- What stands beside ----------------------------------------------------------------------------------------------

static rlv_status draw_whole(rlv_sheet* sheet, const layout* of, double x, double y, gathered* all, rlv_error* error)
{
    const rlv_joint_map* map = &of->map;
    const double u = sheet->unit;
    rlv_panel panel = {0};
    rlv_panel_view view = whole_view(map, of->whole_scale);
    char scale[48], words[96];
    rlv_scale_words(scale, sizeof scale, of->whole_scale);
    snprintf(words, sizeof words, "the whole block at %s", scale);
    put_heading(sheet, map->trial[map->trial_count - 1].name, words, x, y, of->aside_wide);
    rlv_status status = rlv_panel_make(&panel, &map->whole, &view, of->aside_wide, of->whole_tall, error);
    if (status == RLV_DONE)
        status = rlv_panel_draw(sheet, &panel, x, y + HEADING * u, NULL, NULL, error);
    if (status == RLV_DONE)
        rlv_panel_key(&all->key, &panel, NULL);
    rlv_panel_free(&panel);
    return status;
}

static void draw_aside(rlv_sheet* sheet, const layout* of, gathered* all, double x, double y)
{
    const rlv_joint_map* map = &of->map;
    const double u = sheet->unit;
    char limit[96], number[32];
    rlv_mark_bar(sheet, x, y + 4.0 * u, of->whole_scale, 45.0 * u);
    y += (BAR + AIR) * u;
    rlv_sheet_text(sheet, "of the faces", x, y, &small);
    rlv_mark_bar(sheet, x, y + 4.0 * u, of->scale, 45.0 * u);
    if (map->direction_count > 0)
        rlv_mark_axes(sheet, x + of->aside_wide - 14.0 * u, y + 4.0 * u, 6.0, &of->plan.axes, map->direction_count,
                      map->direction);
    y += (BAR + AIR) * u;
    const rlv_overlay colours = {.deepest_mm = of->end_mm,
                                 .caption = "gap, open, mm",
                                 .below = "pressed, mm (dotted)",
                                 .hatched = "touches within noise"};
    rlv_step_words(number, sizeof number, map->touching_mm, 0.01);
    snprintf(limit, sizeof limit, "less than %s" RLV_THIN "mm either way, 3 sds of noise", number);
    y += rlv_mark_legend(sheet, x, y, of->aside_wide, &colours, &all->seen, limit).height + AIR * u;
    add_to_key(&all->key, map);
    y += rlv_key_print(sheet, &all->key, x, y, of->aside_wide) + AIR * u;
    if (map->table.column_count == 0)
        return;
    if (map->table_caption != NULL)
        rlv_sheet_text(sheet, map->table_caption, x, y + 2.2 * u, &small);
    rlv_sheet_table_print(sheet, &map->table, x, y + TABLE_HEAD * u);
}

// --- All -------------------------------------------------------------------------------------------------------------

static rlv_status draw(rlv_sheet* sheet, layout* of, const rlv_paper* paper, size_t* left_out, rlv_error* error)
{
    const rlv_joint_map* map = &of->map;
    const double u = sheet->unit;
    const double foot = rlv_title_foot_mm(&map->title, sheet->width_mm, u), top = rlv_title_head(sheet, &map->title);
    const double x = 0.5 * (sheet->width_mm - of->wide),
                 spare = fmax(sheet->height_mm - top - foot - AIR * u - of->tall, 0.0), y = top + 0.2 * spare,
                 loose = fmin(0.5 * spare / (double)map->trial_count, 2.0 * BENEATH * u); // between rows
    gathered all = {0};
    rlv_status status = RLV_DONE;
    for (size_t k = 0; k < map->trial_count && status == RLV_DONE; k++)
        status = draw_trial(sheet, of, k, x, y + (double)k * (of->row_tall + AIR * u + loose), &all, error);
    const double aside = x + of->faces_wide + GAP * u;
    if (status == RLV_DONE)
        status = draw_whole(sheet, of, aside, y, &all, error);
    if (status == RLV_DONE)
        draw_aside(sheet, of, &all, aside, y + of->whole_tall + (HEADING + AIR) * u);
    const double left_over = of->tall - of->upper_tall - BENEATH * u - of->sections_tall,
                 beneath = y + of->upper_tall + (double)map->trial_count * loose + BENEATH * u +
                           fmin(0.5 * left_over, 2.0 * BENEATH * u),
                 right = of->stacked ? 0.0 : of->section_wide + 2.0 * FOLD * u,
                 down = of->stacked ? of->section_tall + (HEADING + BAR + AIR) * u : 0.0;
    for (size_t k = 0; k < map->trial_count && status == RLV_DONE; k++)
        status = draw_section(sheet, of, k, x + FOLD * u + (double)k * right, beneath + (double)k * down, error);
    if (status == RLV_DONE)
        rlv_title_foot(sheet, &map->title, paper, 0.0, all.pixel_mm); // views have scales of their own, by each
    if (left_out != NULL)
        *left_out = all.left_out;
    return status;
}

// The section passes the hardest contact, or else the middle.
static double section_through(const rlv_joint_map* map, const plan* p)
{
    if (map->contact_count == 0)
        return 0.0;
    const double at = rlv_vec3_dot(rlv_vec3_sub(map->contact[0].at_mm, map->middle_mm), p->axes.up);
    return fmin(fmax(at, p->low[1]), p->high[1]);
}

// All that the key may have to explain.
static rlv_key most_of(const rlv_joint_map* map)
{
    static const uint8_t some = 0;
    rlv_key key = {0};
    const rlv_overlay overlay = {.deepest_mm = 1.0, .shown = &some, .noun = "width", .bare = BARE};
    const rlv_panel_outline bone = of_bone(&some);
    const rlv_panel_surface surface = {.overlay = &overlay,
                                       .isoline_mm = 0.1,
                                       .outline_count = map->block_bone != NULL || map->piece_bone != NULL,
                                       .outline = &bone};
    rlv_panel_key_most(&key, &surface, &(rlv_panel_marks){.trace_count = 1, .arrow_count = 1});
    rlv_panel_key_most(&key, &map->whole, NULL);
    add_to_key(&key, map);
    return key;
}

// Everything that does not hang on the scale. Free with lay_free, also after a failure.
static rlv_status lay_begin(layout* of, const rlv_joint_map* map, rlv_error* error)
{
    static const char* const note[3] = {NOTE_FOLD, NOTE_COLOURS, RLV_NOTE_PROJECTION};
    *of = (layout){.map = *map, .plan = plan_of(map)};
    if (of->plan.count == 0)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "draw the block as a stage", "there is no joint on the block");
    of->map.title = rlv_title_noted(&map->title, 3, note, &of->note, error);
    if (of->note == NULL)
        return RLV_SYSTEM;
    of->through = section_through(map, &of->plan);
    of->most = most_of(map);
    const rlv_status status = find_end(of, error);
    return status == RLV_DONE ? rlv_sheet_reserve(&of->ruler, 100.0, 100.0, error) : status;
}

rlv_status rlv_sheet_of_joint(rlv_sheet* sheet, const rlv_joint_map* map, size_t* left_out, rlv_error* error)
{
    layout of;
    memset(sheet, 0, sizeof *sheet);
    rlv_status status = lay_begin(&of, map, error);
    if (status == RLV_DONE)
    {
        const rlv_paper paper = arrange(&of);
        status = rlv_sheet_reserve(sheet, paper.width_mm, paper.height_mm, error);
        sheet->unit = of.unit;
        if (status == RLV_DONE)
            status = draw(sheet, &of, &paper, left_out, error);
    }
    rlv_sheet_free(&of.ruler);
    free(of.note);
    if (status != RLV_DONE)
        rlv_sheet_free(sheet);
    return status;
}
