#include "placed.h"

#include "patch.h"
#include "scan.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define POINT_SD_MM 0.3 ///< of what is placed on bone and rock
#define EDGE_SHARE 0.93 ///< a scute's outline is placed a little inside its edge
#define OUTLINE_MOST 16
#define OUTLINE_LEAST 8
#define SLAB_POINTS 120 ///< of the slab's outline: closer together than the waves of its ragged edge

/// What points are placed with.
typedef struct placed_pen
{
    placed_points* placed;
    const demo_specimen* specimen;
    rlv_pose to_scan[SPECIMEN_STAGES];
    scan_random random;
    uint8_t* mask;
    rlv_error* error;
    rlv_status status; ///< of the first failure
} placed_pen;

static void put(placed_pen* pen, int stage, const char* object, const char* point, rlv_vec3 at, double sd_mm)
{
    placed_points* to = pen->placed;
    if (pen->status != RLV_DONE)
        return;
    if (to->count == to->room)
    {
        size_t room = to->room == 0 ? 1024 : 2 * to->room;
        placed_point* grown = realloc(to->point, room * sizeof *grown);
        if (grown == NULL)
        {
            pen->status = rlv_fail(pen->error, RLV_SYSTEM, NULL, "close other programs", "no memory for points");
            return;
        }
        to->point = grown;
        to->room = room;
    }
    rlv_vec3 off;
    off.x = sd_mm * scan_random_normal(&pen->random);
    off.y = sd_mm * scan_random_normal(&pen->random);
    off.z = sd_mm * scan_random_normal(&pen->random);
    placed_point* next = &to->point[to->count++];
    *next = (placed_point){.stage = specimen_stage_id(stage),
                           .at_mm = rlv_vec3_add(rlv_pose_apply(&pen->to_scan[stage], at), off),
                           .sd_mm = sd_mm};
    snprintf(next->object, sizeof next->object, "%s", object);
    snprintf(next->point, sizeof next->point, "%s", point);
}

static void put_numbered(placed_pen* pen, int stage, const char* object, size_t number, rlv_vec3 at, double sd_mm)
{
    char name[16];
    snprintf(name, sizeof name, "%zu", number);
    put(pen, stage, object, name, at, sd_mm);
}

/// A place of the plan on a stage's surface.
static rlv_vec3 on_surface(const placed_pen* pen, int stage, double x, double y)
{
    return rlv_vec3_of(x, y, relief_at(&pen->specimen->surface[stage], x, y));
}

// Scale bars

size_t placed_bars(const placed_points* placed, int stage, const placed_bar** bar)
{
    *bar = placed->bar[stage > 0];
    return stage > 0 ? PLACED_BARS : 2;
}

static void certify_bars(placed_pen* pen)
{
    static const placed_bar plan[2][PLACED_BARS] = {
        {{"rod 1", 600.0, 0.0, 0.15, 0.25}, {"rod 2", 450.0, 0.0, 0.15, 0.25}},
        {{"bar 1", 500.0, 0.0, 0.02, 0.05}, {"bar 2", 500.0, 0.0, 0.02, 0.05}, {"bar 3", 350.0, 0.0, 0.02, 0.05}}};
    memcpy(pen->placed->bar, plan, sizeof plan);
    for (int set = 0; set < 2; set++)
        for (int k = 0; k < PLACED_BARS; k++)
        {
            placed_bar* bar = &pen->placed->bar[set][k];
            // A bar is made to a fifth of a millimetre; its certificate is off by its sd.
            bar->true_mm += 0.2 * (2.0 * scan_random_unit(&pen->random) - 1.0);
            bar->certified_mm = round(1e3 * (bar->true_mm + bar->sd_mm * scan_random_normal(&pen->random))) / 1e3;
        }
}

/// Bars lie on the table beside the block, on three of its sides, and not twice in the same place.
static void put_bars(placed_pen* pen, int stage)
{
    static const double middle[PLACED_BARS][3] = {{0, -205, 0.02}, {0, 205, 3.10}, {250, 0, 1.60}}; // x, y, bearing
    const placed_bar* bar;
    const size_t count = placed_bars(pen->placed, stage, &bar);
    for (size_t k = 0; k < count; k++)
    {
        double x = middle[k][0] + 12.0 * scan_random_unit(&pen->random);
        double y = middle[k][1] + 6.0 * (2.0 * scan_random_unit(&pen->random) - 1.0);
        double turn = middle[k][2] + 0.05 * (2.0 * scan_random_unit(&pen->random) - 1.0), half = 0.5 * bar[k].true_mm;
        rlv_vec3 way = {cos(turn), sin(turn), 0.0}, at = {x, y, 12.0};
        put(pen, stage, bar[k].name, "a", rlv_vec3_along(at, -half, way), bar[k].point_sd_mm);
        put(pen, stage, bar[k].name, "b", rlv_vec3_along(at, half, way), bar[k].point_sd_mm);
    }
}

// Outlines of patches of the plan

/// Put the outline of the largest patch of the pen's mask, `count` points at even steps.
static void put_outline(placed_pen* pen, int stage, const char* object, size_t count)
{
    const demo_relief* map = &pen->specimen->surface[stage];
    size_t point[SLAB_POINTS]; // no outline has more
    if (pen->status == RLV_DONE)
        pen->status = patch_keep(pen->mask, map->size, PATCH_LARGEST, pen->error);
    if (pen->status == RLV_DONE)
        pen->status = patch_outline(pen->mask, map->size, count, point, pen->error);
    for (size_t k = 0; k < count && pen->status == RLV_DONE; k++)
        put_numbered(pen, stage, object, k + 1,
                     on_surface(pen, stage, relief_x(map, point[k]), relief_y(map, point[k])), POINT_SD_MM);
}

static size_t point_count(const demo_specimen* specimen)
{
    return specimen->surface[0].size[0] * specimen->surface[0].size[1];
}

/// Whether a bone shows at a point of the plan.
static bool shows(const demo_specimen* specimen, uint16_t owner, int stage, size_t point)
{
    return specimen->owner[point] == owner && (specimen->shown[point] >> stage & 1) != 0;
}

static void put_bone_outline(placed_pen* pen, int stage, uint16_t owner, const char* object, size_t count)
{
    for (size_t i = 0; i < point_count(pen->specimen); i++)
        pen->mask[i] = shows(pen->specimen, owner, stage, i);
    put_outline(pen, stage, object, count);
}

/// What was worked on, as it was marked out on a stage: the one before, or the one after it.
static void put_worked_outline(placed_pen* pen, int area, int stage)
{
    const specimen_area* worked = &pen->specimen->area[area];
    for (size_t i = 0; i < point_count(pen->specimen); i++)
        pen->mask[i] = pen->specimen->worked[worked->stage][i] == area + 1;
    put_outline(pen, stage, worked->name, 40);
}

static void put_worked_outlines(placed_pen* pen)
{
    for (int area = 0; area < SPECIMEN_AREAS; area++)
    {
        const specimen_area* worked = &pen->specimen->area[area];
        if (worked->stage < 2 || (worked->kind != SPECIMEN_MATRIX_REMOVED && worked->kind != SPECIMEN_MATERIAL_ADDED))
            continue;
        put_worked_outline(pen, area, worked->stage - 1);
        if (worked->kind == SPECIMEN_MATERIAL_ADDED)
            put_worked_outline(pen, area, worked->stage);
    }
}

/// Set the mask where the slab is. Since it went back, its edge stands over the open joint like a wall, and a line that
/// follows the edge would leave the wall out: there the mask goes on to the wall's foot, which is the joint's trace.
static void mask_slab(placed_pen* pen, int stage)
{
    const demo_specimen* specimen = pen->specimen;
    const demo_relief* map = &specimen->surface[0];
    const double foot = stage == SPECIMEN_SLAB_BACK ? 2.0 * map->pitch_mm : 0.0; // the wall is a cell of the grid wide
    for (size_t i = 0; i < point_count(specimen); i++)
    {
        bool there = false;
        for (int way = 0; way < 8 && !there; way++)
        {
            double x = relief_x(map, i) + foot * cos(0.25 * M_PI * way), upper, lower;
            double y = relief_y(map, i) + foot * sin(0.25 * M_PI * way);
            there = stage == SPECIMEN_SLAB_BACK ? slab_back_at(&specimen->slab, x, y, &upper, &lower)
                                                : slab_thickness_mm(&specimen->slab, x, y) > 0.0;
        }
        pen->mask[i] = there;
    }
}

/// The slab's outline before it came off and since it is back, and the outer part of the latter as the joint's trace.
static void put_slab(placed_pen* pen)
{
    const demo_specimen* specimen = pen->specimen;
    const int stage[2] = {SPECIMEN_SLAB_OFF - 1, SPECIMEN_SLAB_BACK};
    for (int k = 0; k < 2; k++)
    {
        mask_slab(pen, stage[k]);
        put_outline(pen, stage[k], "slab", SLAB_POINTS);
    }
    size_t line[SLAB_POINTS];
    if (pen->status == RLV_DONE)
        pen->status = patch_outline(pen->mask, specimen->surface[0].size, SLAB_POINTS, line, pen->error);
    size_t number = 0;
    for (size_t k = 0; k < SLAB_POINTS && pen->status == RLV_DONE; k++)
    {
        // The walk starts at the slab's lowest point, on the rim, and goes along it first.
        const size_t at = line[(k + 3 * SLAB_POINTS / 4) % SLAB_POINTS];
        double x = relief_x(&specimen->surface[0], at), y = relief_y(&specimen->surface[0], at);
        if (block_inside_mm(&specimen->block, x, y) < 8.0)
            put_numbered(pen, SPECIMEN_SLAB_BACK, "joint 1", ++number, on_surface(pen, SPECIMEN_SLAB_BACK, x, y),
                         POINT_SD_MM);
    }
}

// Elements

static void find_elements(placed_pen* pen)
{
    const demo_specimen* specimen = pen->specimen;
    size_t all[BONES_GRANULE + 1] = {0}, shown[BONES_GRANULE + 1][SPECIMEN_STAGES] = {0};
    for (size_t i = 0; i < point_count(specimen); i++)
    {
        const uint16_t owner = specimen->owner[i];
        all[owner]++;
        for (int stage = 0; stage < SPECIMEN_STAGES; stage++)
            shown[owner][stage] += specimen->shown[i] >> stage & 1;
    }
    for (int k = 0; k < PLACED_ELEMENTS; k++)
    {
        placed_element* element = &pen->placed->element[k];
        element->owner = (uint16_t)(BONES_SCUTE + k); // the skull and the spine come after the scutes
        if (k < FISH_SCUTES)
            fish_scute_name(&specimen->fish.scute[k], element->id);
        else
            snprintf(element->id, sizeof element->id, "%s", element->owner == BONES_SKULL ? "SK" : "PS");
        element->first = SPECIMEN_STAGES;
        for (int stage = SPECIMEN_STAGES - 1; stage >= 0 && all[element->owner] > 0; stage--)
        {
            element->share[stage] = (double)shown[element->owner][stage] / (double)all[element->owner];
            if (element->share[stage] >= 0.1)
                element->first = stage;
        }
    }
}

/// A place on a scute as found, on the surface of a stage; false where it does not show there.
static bool scute_place(const placed_pen* pen, const placed_element* element, int stage, double turn, double rim,
                        rlv_vec3* at)
{
    const fish_scute* scute = &pen->specimen->fish.scute[element->owner - BONES_SCUTE];
    double along, across;
    bones_scute_place(scute, turn, rim, &along, &across);
    double x = 0.5 * scute->length_mm * along, y = 0.5 * scute->width_mm * across;
    rlv_vec3 p = rlv_vec3_along(scute->found.at_mm, x, scute->found.along);
    p = rlv_vec3_along(p, y, scute->found.across);
    p = rlv_vec3_along(p, bones_scute_height(scute, x, y, rim), scute->found.out);
    *at = on_surface(pen, stage, p.x, p.y);
    return shows(pen->specimen, element->owner, stage, relief_nearest(&pen->specimen->surface[stage], p.x, p.y));
}

/// The outermost place that shows of a scute along a bearing: its edge, or where matrix or a neighbour covers it.
static bool edge_of_view(const placed_pen* pen, const placed_element* element, int stage, double turn, rlv_vec3* at)
{
    for (double rim = EDGE_SHARE; rim > 0.3; rim -= 0.03)
        if (scute_place(pen, element, stage, turn, rim, at))
            return true;
    return false;
}

static void put_scute(placed_pen* pen, const placed_element* element, int stage)
{
    rlv_vec3 at[OUTLINE_MOST], landmark_at;
    size_t count = 0;
    for (size_t k = 0; k < OUTLINE_MOST; k++)
        count += edge_of_view(pen, element, stage, 2.0 * M_PI * (double)k / OUTLINE_MOST, &at[count]);
    for (size_t k = 0; k < count && count >= OUTLINE_LEAST; k++)
        put_numbered(pen, stage, element->id, k + 1, at[k], POINT_SD_MM);
    if (count < OUTLINE_LEAST) // its middle is covered: what shows of it is outlined
        put_bone_outline(pen, stage, element->owner, element->id, OUTLINE_MOST);
    static const struct
    {
        const char* name;
        double turn, rim;
    } landmark[] = {{"anterior", M_PI, EDGE_SHARE},
                    {"posterior", 0.0, EDGE_SHARE},
                    {"left", 0.5 * M_PI, EDGE_SHARE},
                    {"right", 1.5 * M_PI, EDGE_SHARE},
                    {"apex", 0.0, 0.48}}; // where the keel is highest
    const bool inverted = pen->specimen->fish.scute[element->owner - BONES_SCUTE].fate == FISH_INVERTED;
    for (size_t k = 0; k < sizeof landmark / sizeof *landmark; k++)
        if (scute_place(pen, element, stage, landmark[k].turn, landmark[k].rim, &landmark_at) && !(k == 4 && inverted))
            put(pen, stage, element->id, landmark[k].name, landmark_at, POINT_SD_MM);
}

static void put_skull(placed_pen* pen, const placed_element* element, int stage)
{
    static const struct
    {
        const char* name;
        double along_mm, angle_rad;
    } landmark[] = {{"anterior", 5.0, 0.0}, {"posterior", 128.0, 0.0}, {"left", 95.0, 1.1}, {"right", 95.0, -1.1}};
    put_bone_outline(pen, stage, element->owner, element->id, OUTLINE_MOST);
    for (size_t k = 0; k < sizeof landmark / sizeof *landmark; k++)
    {
        rlv_vec3 at = fish_skin(&pen->specimen->fish, landmark[k].along_mm, landmark[k].angle_rad);
        if (shows(pen->specimen, element->owner, stage, relief_nearest(&pen->specimen->surface[stage], at.x, at.y)))
            put(pen, stage, element->id, landmark[k].name, on_surface(pen, stage, at.x, at.y), POINT_SD_MM);
    }
}

static void put_elements(placed_pen* pen, int stage)
{
    for (int k = 0; k < PLACED_ELEMENTS; k++)
    {
        const placed_element* element = &pen->placed->element[k];
        if (element->share[stage] < 0.5)
            continue;
        if (element->owner < BONES_SKULL)
            put_scute(pen, element, stage);
        else if (element->owner == BONES_SKULL)
            put_skull(pen, element, stage);
        else
            put_bone_outline(pen, stage, element->owner, element->id, OUTLINE_MOST);
    }
}

// The block

/// Marks on the rim, clear of the slab, that stay through all stages.
static void put_marks(placed_pen* pen, int stage)
{
    static const double bearing_deg[4] = {22, 75, 160, 305};
    static const char* const name[4] = {"A", "B", "C", "D"};
    for (int k = 0; k < 4; k++)
    {
        double bearing = bearing_deg[k] * M_PI / 180.0, radius = block_radius_mm(&pen->specimen->block, bearing) - 5.0;
        put(pen, stage, "marks", name[k], on_surface(pen, stage, radius * cos(bearing), radius * sin(bearing)), 0.15);
    }
}

/// Points on the block's sides along one bedding plane.
static void put_bedding(placed_pen* pen)
{
    const demo_block* block = &pen->specimen->block;
    const rlv_vec3 n = block->bedding_normal;
    for (size_t k = 0; k < 9; k++)
    {
        double bearing = 2.0 * M_PI * ((double)k + 0.3) / 9.0, radius = block_radius_mm(block, bearing);
        double x = radius * cos(bearing), y = radius * sin(bearing);
        double top = relief_at(&pen->specimen->surface[0], x, y), base = block_base_mm(block, x, y, 0.0), out = 0.0,
               z = 0.0;
        for (int step = 0; step < 4; step++) // the plane is level to a few per cent: each step gains two figures
        {
            double share = 1.0 + out / radius;
            z = block->bedding_mm - 26.0 - (n.x * x + n.y * y) * share / n.z;
            out = block_side_mm(block, x, y, z, (top - z) / (top - base));
        }
        put_numbered(pen, 0, "bedding", k + 1, rlv_vec3_of(x * (1.0 + out / radius), y * (1.0 + out / radius), z), 0.5);
    }
}

/// Where the block may be carried from beneath.
static void put_underside(placed_pen* pen)
{
    const demo_block* block = &pen->specimen->block;
    for (size_t k = 0; k < 16; k++)
    {
        double bearing = 2.0 * M_PI * (double)k / 16.0, radius = 0.7 * block_radius_mm(block, bearing);
        double x = radius * cos(bearing), y = radius * sin(bearing);
        // The base is the outline's, drawn in: so is the place that its height is read at.
        double u = x / SPECIMEN_BASE_SHARE, v = y / SPECIMEN_BASE_SHARE;
        put_numbered(pen, SPECIMEN_STAGES - 1, "underside", k + 1,
                     rlv_vec3_of(x, y, block_base_mm(block, u, v, block_inside_mm(block, u, v))), POINT_SD_MM);
    }
}

rlv_status placed_make(placed_points* placed, const demo_specimen* specimen, const rlv_pose to_true[SPECIMEN_STAGES],
                       uint64_t seed, rlv_error* error)
{
    placed_pen pen = {.placed = placed, .specimen = specimen, .random = {noise_hash(seed, 300)}, .error = error};
    pen.mask = rlv_reserve(point_count(specimen), 1, error);
    if (pen.mask == NULL)
        return RLV_SYSTEM;
    for (int stage = 0; stage < SPECIMEN_STAGES; stage++)
        pen.to_scan[stage] = rlv_pose_inverse(&to_true[stage]);
    certify_bars(&pen);
    find_elements(&pen);
    for (int stage = 0; stage < SPECIMEN_STAGES; stage++)
    {
        put_bars(&pen, stage);
        put_marks(&pen, stage);
        put_elements(&pen, stage);
    }
    put_bedding(&pen);
    put_underside(&pen);
    put_worked_outlines(&pen);
    put_slab(&pen);
    put_bone_outline(&pen, 2, BONES_SKULL, "skull", 48);
    put_bone_outline(&pen, SPECIMEN_STAGES - 1, BONES_SKULL, "skull", 48);
    free(pen.mask);
    if (pen.status != RLV_DONE)
        placed_free(placed);
    return pen.status;
}

void placed_free(placed_points* placed)
{
    free(placed->point);
    memset(placed, 0, sizeof *placed);
}
