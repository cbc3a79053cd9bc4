#include "demo_specimen.h"

#include "noise.h"
#include "scan.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define DEGREE (M_PI / 180.0)
#define PITCH_MM 0.2
#define NO_BONE_MM (-1000.0f)
#define SLAB_RIM_MM                                                                                                    \
    2.5               ///< beyond the slab's edge, where the block crumbled with it: within what slab.h keeps a grid of
#define MOVED_MM 0.05 ///< what counts as part of an area's extent

static const char* const stage_name[SPECIMEN_STAGES] = {
    "field block", "overburden off", "skull and dorsal row", "left flank in relief", "right flank and tail", "cleaned"};
static const char* const stage_id[SPECIMEN_STAGES] = {"field", "overburden", "skull", "left-flank", "tail", "cleaned"};

enum
{
    OVERBURDEN,
    SKULL,
    BACK,
    TRIAL_PIT,
    LEFT_FLANK,
    FILM,
    BEAD,
    RIGHT_FLANK,
    TAIL,
    CHIP,
    CLEANING,
    RIM_DRESSING,
    SLAB_OFF,
    SLAB_BACK,
};

static const specimen_area areas[SPECIMEN_AREAS] = {
    [OVERBURDEN] = {.name = "overburden", .stage = 1, .kind = SPECIMEN_MATRIX_REMOVED},
    [SKULL] = {.name = "skull roof", .stage = 2, .kind = SPECIMEN_MATRIX_REMOVED},
    [BACK] = {.name = "dorsal row", .stage = 2, .kind = SPECIMEN_MATRIX_REMOVED},
    [TRIAL_PIT] = {.name = "trial pit", .stage = 2, .kind = SPECIMEN_MATRIX_REMOVED},
    [LEFT_FLANK] = {.name = "left flank", .stage = 3, .kind = SPECIMEN_MATRIX_REMOVED},
    [FILM] = {.name = "consolidant film on the skull", .stage = 3, .kind = SPECIMEN_MATERIAL_ADDED},
    [BEAD] = {.name = "gap fill in the snout", .stage = 3, .kind = SPECIMEN_MATERIAL_ADDED},
    [RIGHT_FLANK] = {.name = "right flank", .stage = 4, .kind = SPECIMEN_MATRIX_REMOVED},
    [TAIL] = {.name = "tail", .stage = 4, .kind = SPECIMEN_MATRIX_REMOVED},
    [CHIP] = {.name = "chip off a dorsal scute", .stage = 4, .kind = SPECIMEN_BONE_LOST},
    [CLEANING] = {.name = "cleaning", .stage = 5, .kind = SPECIMEN_MATRIX_REMOVED},
    [RIM_DRESSING] = {.name = "corner dressed", .stage = 3, .kind = SPECIMEN_MATRIX_REMOVED},
    [SLAB_OFF] = {.name = "slab off", .stage = SPECIMEN_SLAB_OFF, .kind = SPECIMEN_PIECE_DETACHED},
    [SLAB_BACK] = {.name = "slab back", .stage = SPECIMEN_SLAB_BACK, .kind = SPECIMEN_PIECE_JOINED},
};

/// What is known of a point of the plan while stages are made; all arrays hold one number a point.
typedef struct demo_ground
{
    size_t count;
    float* along_mm;    ///< of the nearest place of the body's axis
    float* left_mm;     ///< and how far left of it the point lies
    float* inside_mm;   ///< the block's outline
    float* back_mm;     ///< where the back's ridge is, left of the axis
    float* half_mm;     ///< half the body's width
    demo_relief skin;   ///< the skin, falling away outside the body
    float* bone_gap_mm; ///< distance from the nearest bone in plan, smoothed
    float* slab_mm;     ///< distance inside the slab's edge
    float* foot_mm;     ///< height of the matrix that is left to carry the bones: it slopes down from their edges
    float* matrix_mm;   ///< the matrix now
    demo_relief bone;
} demo_ground;

/// One point of it.
typedef struct demo_spot
{
    double x, y, along, left, inside, back, half, skin, bone_gap, slab, foot, bedding;
} demo_spot;

static double smooth_step(double low, double high, double x)
{
    double t = fmin(fmax((x - low) / (high - low), 0.0), 1.0);
    return t * t * (3.0 - 2.0 * t);
}

/// 1 between two bounds, 0 outside of them by `soft`.
static double between(double low, double high, double soft, double x)
{
    return smooth_step(low - soft, low, x) * (1.0 - smooth_step(high, high + soft, x));
}

/// The greater of two, with their meeting rounded over a height of `soft` (polynomial).
static double smooth_max(double a, double b, double soft)
{
    double h = fmax(soft - fabs(a - b), 0.0) / soft;
    return fmax(a, b) + h * h * soft * 0.25;
}

// What is known of the ground

/// The nearest place of the axis, in plan: coarse, then fine, then along the piece between two points.
static void nearest_on_axis(const demo_fish* fish, double x, double y, double* along_mm, double* left_mm)
{
    int best = 0;
    double least = INFINITY;
    for (int pass = 0; pass < 2; pass++)
    {
        int from = pass == 0 ? 0 : best - 5, to = pass == 0 ? FISH_LENGTH_MM : best + 5, step = pass == 0 ? 5 : 1;
        from = from < 0 ? 0 : from;
        to = to > FISH_LENGTH_MM ? FISH_LENGTH_MM : to;
        for (int s = from; s <= to; s += step)
        {
            double dx = x - fish->plan_mm[s][0], dy = y - fish->plan_mm[s][1], d = dx * dx + dy * dy;
            if (d < least)
                least = d, best = s;
        }
    }
    double c = cos(fish->heading_rad[best]), s = sin(fish->heading_rad[best]);
    double dx = x - fish->plan_mm[best][0], dy = y - fish->plan_mm[best][1];
    double ahead = dx * c + dy * s, left = dx * s - dy * c;
    bool end = (best == 0 && ahead < 0.0) || (best == FISH_LENGTH_MM && ahead > 0.0);
    *along_mm = fmin(fmax(best + ahead, 0.0), FISH_LENGTH_MM);
    *left_mm = end ? copysign(sqrt(least), left) : left;
}

static void survey_point(const demo_specimen* specimen, demo_ground* ground, size_t i)
{
    const demo_relief* map = &specimen->surface[0];
    double x = relief_x(map, i), y = relief_y(map, i), along, left;
    nearest_on_axis(&specimen->fish, x, y, &along, &left);
    fish_section c = fish_section_at(&specimen->fish, along);
    double half = fish_half_width(&c);
    ground->along_mm[i] = (float)along;
    ground->left_mm[i] = (float)left;
    ground->inside_mm[i] = (float)block_inside_mm(&specimen->block, x, y);
    ground->back_mm[i] = (float)(-c.half_height_mm * sin(c.roll_rad));
    ground->half_mm[i] = (float)half;
    double bedding = fish_bedding_mm(&specimen->fish, x, y);
    double axis = c.centre_mm.z - fish_bedding_mm(&specimen->fish, c.centre_mm.x, c.centre_mm.y);
    // Under the skin that is drawn later, and beside it, so that there is no gap at its ends.
    double under = fabs(left) > half - 1.0 ? 0.0 : 6.0;
    ground->skin.height_mm[i] = (float)(bedding + axis + fish_upper_half(&c, left) - under);
    ground->slab_mm[i] =
        (float)slab_edge_mm(&specimen->block, x, y, (double)ground->inside_mm[i], fabs(left) - half, along);
    specimen->body[i] = (uint8_t)(255.0 * smooth_step(-2.5, 1.5, half - fabs(left)));
}

/// Running means over `reach` points each way, along x and then along y.
static void smooth(const demo_relief* map, float* value, float* spare, long reach)
{
    const long size[2] = {(long)map->size[0], (long)map->size[1]};
    for (int way = 0; way < 2; way++)
    {
        const long lines = size[1 - way], count = size[way], next = way == 0 ? 1 : size[0],
                   first = way == 0 ? size[0] : 1;
        memcpy(spare, value, (size_t)(size[0] * size[1]) * sizeof *spare);
#pragma omp parallel for schedule(static)
        for (long line = 0; line < lines; line++)
        {
            const float* from = spare + line * first;
            double sum = 0.0;
            for (long k = -reach; k <= reach; k++)
                sum += (double)from[next * (k < 0 ? 0 : k)];
            for (long k = 0; k < count; k++)
            {
                value[line * first + k * next] = (float)(sum / (double)(2 * reach + 1));
                long gone = k - reach, come = k + reach + 1;
                sum +=
                    (double)from[next * (come < count ? come : count - 1)] - (double)from[next * (gone < 0 ? 0 : gone)];
            }
        }
    }
}

/// How far points are from bone, and what carries the bones. `spare` of the matrix's size is overwritten.
static void measure_bones(const demo_specimen* specimen, demo_ground* ground, float* spare)
{
    const double clear = 1.6, slope = 2.0; // what a bone's edge stands clear of the foot, and the foot's steepness
    for (size_t i = 0; i < ground->count; i++)
    {
        bool bone = specimen->owner[i] != BONES_NONE;
        ground->bone_gap_mm[i] = bone ? 0.0f : -1e4f;
        ground->foot_mm[i] = bone ? ground->bone.height_mm[i] - (float)clear : NO_BONE_MM;
    }
    relief_spread(&ground->bone, ground->bone_gap_mm, 1.0);
    relief_spread(&ground->bone, ground->foot_mm, slope);
    for (size_t i = 0; i < ground->count; i++)
        ground->bone_gap_mm[i] = -ground->bone_gap_mm[i];
    smooth(&ground->bone, ground->bone_gap_mm, spare, 18);
    smooth(&ground->bone, ground->bone_gap_mm, spare, 18);
}

static void free_ground(demo_ground* ground)
{
    free(ground->along_mm);
    free(ground->left_mm);
    free(ground->inside_mm);
    free(ground->back_mm);
    free(ground->half_mm);
    free(ground->bone_gap_mm);
    free(ground->slab_mm);
    free(ground->foot_mm);
    free(ground->matrix_mm);
    relief_free(&ground->bone);
    relief_free(&ground->skin);
}

static rlv_status survey(demo_specimen* specimen, demo_ground* ground, uint64_t seed, rlv_error* error)
{
    const demo_relief* map = &specimen->surface[0];
    ground->count = map->size[0] * map->size[1];
    float** const array[9] = {&ground->along_mm, &ground->left_mm, &ground->inside_mm,
                              &ground->back_mm,  &ground->half_mm, &ground->bone_gap_mm,
                              &ground->slab_mm,  &ground->foot_mm, &ground->matrix_mm};
    for (int k = 0; k < 9; k++)
        if ((*array[k] = rlv_reserve(ground->count, sizeof(float), error)) == NULL)
            return RLV_SYSTEM;
    const double high[2] = {-map->origin_mm[0], -map->origin_mm[1]};
    rlv_status status = relief_reserve(&ground->bone, map->origin_mm, high, PITCH_MM, NO_BONE_MM, error);
    if (status == RLV_DONE)
        status = relief_reserve(&ground->skin, map->origin_mm, high, PITCH_MM, NO_BONE_MM, error);
    if (status != RLV_DONE)
        return status;
#pragma omp parallel for schedule(static)
    for (size_t i = 0; i < ground->count; i++)
        survey_point(specimen, ground, i);
    status = bones_draw_skin(&ground->skin, specimen->owner, &specimen->fish, error);
    if (status != RLV_DONE)
        return status;
    memset(specimen->owner, 0, ground->count * sizeof *specimen->owner);
    status = bones_draw(&ground->bone, specimen->owner, &specimen->fish, noise_hash(seed, 3), error);
    if (status == RLV_DONE)
        measure_bones(specimen, ground, ground->matrix_mm);
    return status;
}

static demo_spot spot_at(const demo_specimen* specimen, const demo_ground* ground, size_t i)
{
    demo_spot p = {.x = relief_x(&specimen->surface[0], i), .y = relief_y(&specimen->surface[0], i)};
    p.along = (double)ground->along_mm[i];
    p.left = (double)ground->left_mm[i];
    p.inside = (double)ground->inside_mm[i];
    p.back = (double)ground->back_mm[i];
    p.half = (double)ground->half_mm[i];
    p.skin = (double)ground->skin.height_mm[i];
    p.foot = (double)ground->foot_mm[i];
    p.bone_gap = (double)ground->bone_gap_mm[i];
    p.slab = (double)ground->slab_mm[i];
    p.bedding = fish_bedding_mm(&specimen->fish, p.x, p.y);
    return p;
}

// Marks of tools

/// Bowls that a chisel breaks out, meeting in crests: 0 in the middle of each, about 1 on the crests.
static double chisel_marks(uint64_t seed, double x_mm, double y_mm, double cell_mm)
{
    double u = x_mm / cell_mm, v = y_mm / cell_mm, least = INFINITY;
    int64_t i = (int64_t)floor(u), j = (int64_t)floor(v);
    for (int64_t b = j - 1; b <= j + 1; b++)
        for (int64_t a = i - 1; a <= i + 1; a++)
        {
            scan_random random = {noise_hash(seed, (uint64_t)(a + 100000) * 1000003u + (uint64_t)(b + 100000))};
            double x = u - (double)a - scan_random_unit(&random), y = v - (double)b - scan_random_unit(&random);
            double turn = M_PI * scan_random_unit(&random), rise = 0.15 * scan_random_unit(&random);
            if (0.75 * 0.75 * (x * x + y * y) + rise >= least)
                continue;
            double c = cos(turn), s = sin(turn);
            double along = 0.75 * (x * c + y * s), across = 1.25 * (y * c - x * s);
            least = fmin(least, along * along + across * across + rise);
        }
    return fmin(1.6 * least, 1.0);
}

/// Short strokes of a scribe, in bundles of one direction: 0 beside them, up to 1 in a stroke.
static double scribe_marks(uint64_t seed, double x_mm, double y_mm)
{
    const double cell = 3.2, half_length = 2.6, half_width = 0.42;
    int64_t i = (int64_t)floor(x_mm / cell), j = (int64_t)floor(y_mm / cell);
    double deepest = 0.0;
    for (int64_t b = j - 1; b <= j + 1; b++)
        for (int64_t a = i - 1; a <= i + 1; a++)
        {
            scan_random random = {noise_hash(seed, (uint64_t)(a + 100000) * 1000003u + (uint64_t)(b + 100000))};
            scan_random bundle = {
                noise_hash(seed + 1, (uint64_t)((a + 100000) / 5) * 1000003u + (uint64_t)((b + 100000) / 5))};
            double way = M_PI * scan_random_unit(&bundle);
            for (int k = 0; k < 2; k++)
            {
                double x = x_mm - cell * ((double)a + scan_random_unit(&random));
                double y = y_mm - cell * ((double)b + scan_random_unit(&random));
                double lean = 0.5 * (scan_random_unit(&random) - 0.5);
                if (x * x + y * y > half_length * half_length)
                    continue;
                double turn = way + lean, c = cos(turn), s = sin(turn);
                double along = (x * c + y * s) / half_length, across = (y * c - x * s) / half_width;
                double depth = (1.0 - along * along) * (1.0 - across * across);
                if (fabs(along) < 1.0 && fabs(across) < 1.0)
                    deepest = fmax(deepest, depth);
            }
        }
    return deepest;
}

// Areas: where, and down to what

/// How much of an area's cut is made at a point: 1 inside, 0 outside, between them a wall.
static double area_share(int area, const demo_spot* p)
{
    double rim = smooth_step(7.0, 18.0, p->inside), aside = fabs(p->left - p->back);
    double out = fabs(p->left) - p->half;
    switch (area)
    {
    case OVERBURDEN:
        return rim;
    case SKULL:
        return rim * between(-1.0, 122.0, 5.0, p->along) * (1.0 - smooth_step(-2.0, 4.0, out));
    case BACK:
        return rim * between(139.0, 396.0, 5.0, p->along) * (1.0 - smooth_step(13.0, 18.0, aside));
    case TRIAL_PIT:
        return 1.0 - smooth_step(5.0, 9.0, hypot(p->x - 20.0, p->y - 8.0));
    case LEFT_FLANK:
        return rim * between(112.0, 470.0, 6.0, p->along) * smooth_step(9.0, 14.0, p->left - p->back) *
               (1.0 - smooth_step(14.0, 22.0, out));
    case RIGHT_FLANK:
        return rim * between(112.0, 396.0, 6.0, p->along) * smooth_step(9.0, 14.0, p->back - p->left) *
               (1.0 - smooth_step(32.0, 40.0, out));
    case TAIL:
    {
        double from = 410.0 + 74.0 * smooth_step(-6.0, 10.0, p->left - p->back);
        return rim * smooth_step(from, from + 6.0, p->along) * (1.0 - smooth_step(62.0, 70.0, out)) *
               (p->left > 0.0 ? 1.0 : 1.0 - smooth_step(18.0, 28.0, out));
    }
    case CLEANING: // the slab and its joint are left as they are
        return rim * (1.0 - smooth_step(-7.5, -2.5, p->slab));
    case RIM_DRESSING:
        return rim * (1.0 - smooth_step(20.0, 27.0, hypot(p->x - 140.0, p->y + 98.0))) *
               smooth_step(27.0, 33.0, out); // clear of the flank's window
    default:
        return 0.0;
    }
}

/// The surface that an area is cut down to.
static double area_target(const demo_specimen* specimen, int area, const demo_spot* p)
{
    const uint64_t seed = specimen->block.seed;
    double scribe = scribe_marks(seed + 10 + (uint64_t)area, p->x, p->y);
    double grain = 0.10 * noise_smooth_at(seed + 7, 1.1, rlv_vec3_of(p->x, p->y, 10.0 * area));
    double wave = noise_smooth_at(seed + 8, 9.0, rlv_vec3_of(p->x, p->y, 30.0 * area));
    double slope = 0.75 * fmax(0.0, p->bone_gap - 7.0); // out of the hollow, to the rim
    switch (area)
    {
    case OVERBURDEN:
        return p->bedding + 17.0 +
               22.0 * exp(-pow(fmax(0.0, fabs(p->left) - 18.0) / 24.0, 2.0)) *
                   (0.3 + 0.7 * smooth_step(0.0, 110.0, p->along)) * (1.0 - smooth_step(420.0, 560.0, p->along)) +
               1.9 * chisel_marks(seed + 3, p->x, p->y, 11.0) + 0.8 * wave;
    case SKULL:
    case BACK:
        return p->skin + 1.1 + 0.25 * wave + grain - 0.35 * scribe;
    case TRIAL_PIT:
        return p->bedding + 9.0 + grain - 0.35 * scribe;
    case RIM_DRESSING:
        return p->bedding + 7.0 + 0.5 * wave + 0.7 * chisel_marks(seed + 4, p->x, p->y, 6.0);
    case CLEANING:
        return fmax(smooth_max(p->skin - 0.35, p->bedding + 0.15 + slope, 3.0), p->foot) + 0.08 * wave + 0.6 * grain -
               0.14 * scribe;
    default:
        return fmax(smooth_max(p->skin + 0.9, p->bedding + 1.6 + slope, 4.0), p->foot + 0.8) + 0.3 * wave + grain -
               0.35 * scribe;
    }
}

/// Thickness of what was brushed on by a stage.
static double added_mm(int stage, const demo_spot* p, double* bead_mm)
{
    *bead_mm = 0.0;
    if (stage < areas[FILM].stage)
        return 0.0;
    // A crack across the snout, filled a little proud; and a film over the middle of the skull.
    double from_crack = fabs(p->along - 36.0 - 0.35 * p->left - 0.8 * sin(0.5 * p->left));
    if (fabs(p->left) < p->half - 3.0)
        *bead_mm =
            0.9 * (1.0 - smooth_step(0.8, 2.6, from_crack)) * smooth_step(0.0, 3.0, p->half - 3.0 - fabs(p->left));
    return 0.15 * (1.0 - smooth_step(15.0, 18.0, hypot(p->along - 82.0, p->left - 2.0)));
}

/// How much bone is gone at a stage from the chipped scute.
static double chip_mm(const demo_specimen* specimen, int stage, size_t i, const demo_spot* p)
{
    uint16_t owner = specimen->owner[i];
    if (stage < areas[CHIP].stage || owner < BONES_SCUTE || owner >= BONES_SKULL ||
        !specimen->fish.scute[owner - BONES_SCUTE].chipped)
        return 0.0;
    const fish_scute* scute = &specimen->fish.scute[owner - BONES_SCUTE];
    rlv_vec3 at = rlv_vec3_along(scute->found.at_mm, 0.27 * scute->length_mm, scute->found.along);
    at = rlv_vec3_along(at, 0.27 * scute->width_mm, scute->found.across);
    double r = hypot(p->x - at.x, p->y - at.y) / 5.5;
    return r < 1.0 ? 2.4 * (1.0 - r * r) : 0.0;
}

// Stages

/// Bring one point from the stage before to `stage`.
static void work_point(demo_specimen* specimen, demo_ground* ground, int stage, size_t i)
{
    demo_spot p = spot_at(specimen, ground, i);
    if (p.inside < -8.0) // never drawn on: beyond the outline
        return;
    double matrix = (double)ground->matrix_mm[i];
    if (stage == 0)
    {
        matrix = block_top_mm(&specimen->block, p.x, p.y);
        // A hollow of the broken top where scutes of the bend show: that is how the find was made.
        double r = hypot(p.along - 322.0, p.left - 4.0);
        double hollow = fmax(p.skin, p.bedding + 21.0) + 1.6 + pow(r / 7.5, 2.0) +
                        0.9 * noise_smooth_at(specimen->block.seed + 5, 5.0, rlv_vec3_of(p.x, p.y, 0.0));
        matrix = fmin(matrix, hollow);
    }
    for (int area = 0; area < SPECIMEN_AREAS; area++)
    {
        if (areas[area].stage != stage || areas[area].kind != SPECIMEN_MATRIX_REMOVED)
            continue;
        double share = area_share(area, &p);
        if (share > 0.0)
            matrix += share * (fmin(matrix, area_target(specimen, area, &p)) - matrix);
    }
    double upper, lower;
    if (stage == SPECIMEN_SLAB_OFF && slab_near(&specimen->slab, p.x, p.y))
        matrix = fmin(matrix, relief_at(&specimen->slab.face, p.x, p.y));
    if (stage == SPECIMEN_SLAB_BACK && slab_back_at(&specimen->slab, p.x, p.y, &upper, &lower))
        matrix = fmax(matrix, upper);
    ground->matrix_mm[i] = (float)matrix;
    double bead, film = added_mm(stage, &p, &bead);
    double bone = (double)ground->bone.height_mm[i] - chip_mm(specimen, stage, i, &p);
    if (bone > matrix)
        specimen->shown[i] |= (uint8_t)(1u << stage);
    specimen->surface[stage].height_mm[i] = (float)(fmax((double)(float)matrix, bone) + film + bead);
}

/// The area that a point's change belongs to; SPECIMEN_AREAS where there is none.
static int area_of(const demo_specimen* specimen, int stage, size_t i, const demo_spot* p, double fell_mm)
{
    double bead;
    if (chip_mm(specimen, stage, i, p) > 0.0 && stage == areas[CHIP].stage)
        return CHIP;
    if ((stage == SPECIMEN_SLAB_OFF || stage == SPECIMEN_SLAB_BACK) && p->slab > -SLAB_RIM_MM)
        return stage == SPECIMEN_SLAB_OFF ? SLAB_OFF : SLAB_BACK;
    if (fell_mm < 0.0)
        return added_mm(stage, p, &bead) >= bead && bead == 0.0 ? FILM : BEAD;
    for (int area = 0; area < SPECIMEN_AREAS; area++)
        if (areas[area].stage == stage && areas[area].kind == SPECIMEN_MATRIX_REMOVED && area_share(area, p) > 0.0)
            return area;
    return SPECIMEN_AREAS;
}

/// Add a point's change to its area's sums; `sum` holds one a area.
static void account_point(const demo_specimen* specimen, const demo_ground* ground, int stage, size_t i,
                          specimen_area* sum)
{
    const demo_relief* before = &specimen->surface[stage - 1];
    double height = (double)before->height_mm[i], fell = height - (double)specimen->surface[stage].height_mm[i];
    if (fell == 0.0)
        return;
    demo_spot p = spot_at(specimen, ground, i);
    int area = area_of(specimen, stage, i, &p, fell);
    if (area == SPECIMEN_AREAS)
        return;
    const double cell = PITCH_MM * PITCH_MM;
    specimen_area* to = &sum[area];
    to->removed_mm3 += fell > 0.0 ? fell * cell : 0.0;
    to->added_mm3 -= fell < 0.0 ? fell * cell : 0.0;
    to->greatest_mm = fmax(to->greatest_mm, fabs(fell));
    if (fabs(fell) <= MOVED_MM)
        return;
    const float* at = before->height_mm + i;
    double slope_x = (double)(at[1] - at[-1]) / (2.0 * PITCH_MM);
    double slope_y = (double)(at[before->size[0]] - *(at - before->size[0])) / (2.0 * PITCH_MM);
    double tilted = cell * sqrt(1.0 + slope_x * slope_x + slope_y * slope_y);
    specimen->worked[stage][i] = (uint8_t)(1 + area);
    to->plan_area_mm2 += cell;
    to->area_mm2 += tilted;
    to->centroid_mm = rlv_vec3_along(to->centroid_mm, tilted, rlv_vec3_of(p.x, p.y, height));
}

/// Sum the change of a stage by area: rows of the grid apart, then in order.
static rlv_status account(demo_specimen* specimen, const demo_ground* ground, int stage, rlv_error* error)
{
    const size_t wide = specimen->surface[0].size[0], high = specimen->surface[0].size[1];
    specimen_area* row = rlv_reserve(high * SPECIMEN_AREAS, sizeof *row, error);
    if (row == NULL)
        return RLV_SYSTEM;
#pragma omp parallel for schedule(dynamic, 16)
    for (size_t y = 1; y < high - 1; y++)
        for (size_t x = 1; x < wide - 1; x++)
            account_point(specimen, ground, stage, y * wide + x, row + y * SPECIMEN_AREAS);
    for (size_t k = 0; k < high * SPECIMEN_AREAS; k++)
    {
        specimen_area* to = &specimen->area[k % SPECIMEN_AREAS];
        to->removed_mm3 += row[k].removed_mm3;
        to->added_mm3 += row[k].added_mm3;
        to->plan_area_mm2 += row[k].plan_area_mm2;
        to->area_mm2 += row[k].area_mm2;
        to->greatest_mm = fmax(to->greatest_mm, row[k].greatest_mm);
        to->centroid_mm = rlv_vec3_add(to->centroid_mm, row[k].centroid_mm);
    }
    free(row);
    return RLV_DONE;
}

// What each stage holds

/// The gap of the joint as the slab lies now: its volume is what the block's outside gained over the slab's own.
static void measure_gap(demo_specimen* specimen)
{
    const demo_slab* slab = &specimen->slab;
    specimen->least_gap_mm = INFINITY;
    for (size_t i = 0; i < slab->face.size[0] * slab->face.size[1]; i++)
    {
        double x = relief_x(&slab->face, i), y = relief_y(&slab->face, i), upper, lower;
        if (slab_back_at(slab, x, y, &upper, &lower))
            specimen->least_gap_mm = fmin(specimen->least_gap_mm, lower - (double)slab->face.height_mm[i]);
    }
    const specimen_area* back = &specimen->area[SLAB_BACK];
    specimen->gap_mm3 = back->added_mm3 - back->removed_mm3 - slab->volume_mm3;
}

/// Share of a point's cell that lies within the outline: by 8 by 8 midpoints near it.
static double cell_share(const demo_block* block, double x, double y, double inside)
{
    if (fabs(inside) > 2.0 * PITCH_MM)
        return inside > 0.0 ? 1.0 : 0.0;
    int within = 0;
    for (int k = 0; k < 64; k++)
        within += block_inside_mm(block, x + PITCH_MM * ((k % 8 + 0.5) / 8 - 0.5),
                                  y + PITCH_MM * ((k / 8 + 0.5) / 8 - 0.5)) > 0.0;
    return within / 64.0;
}

/// Volume between the field's upper surface and a level plane at 0 within the outline, and the mean height of the base
/// there times its area: sums over rows of the grid, then in order.
static rlv_status sum_columns(const demo_specimen* specimen, const demo_ground* ground, double* top_mm3,
                              double* base_mm3, rlv_error* error)
{
    const demo_relief* map = &specimen->surface[0];
    double(*row)[2] = rlv_reserve(map->size[1], sizeof *row, error);
    if (row == NULL)
        return RLV_SYSTEM;
#pragma omp parallel for schedule(dynamic, 16)
    for (size_t y = 0; y < map->size[1]; y++)
        for (size_t i = y * map->size[0]; i < (y + 1) * map->size[0]; i++)
        {
            double inside = (double)ground->inside_mm[i];
            double share = cell_share(&specimen->block, relief_x(map, i), relief_y(map, i), inside);
            if (share <= 0.0)
                continue;
            row[y][0] += share * PITCH_MM * PITCH_MM * (double)map->height_mm[i];
            if (y % 4 == 0 && i % map->size[0] % 4 == 0) // the base is smooth: a point in sixteen
                row[y][1] += 16.0 * share * PITCH_MM * PITCH_MM *
                             block_base_mm(&specimen->block, relief_x(map, i), relief_y(map, i), inside);
        }
    *top_mm3 = *base_mm3 = 0.0;
    for (size_t y = 0; y < map->size[1]; y++)
        *top_mm3 += row[y][0], *base_mm3 += row[y][1];
    free(row);
    return RLV_DONE;
}

/// What the sides and the strip that joins them to the base add: the flux of (0, 0, z) through them, by trapezoids
/// along each bearing. Seen from above, the radius of a side is the outline's and what it stands out.
static double sum_sides(const demo_specimen* specimen)
{
    enum
    {
        BEARINGS = 1440,
        STEPS = 240
    };
    const demo_block* block = &specimen->block;
    double sector[BEARINGS], sum = 0.0;
#pragma omp parallel for schedule(dynamic, 16)
    for (int k = 0; k < BEARINGS; k++)
    {
        double bearing = 2.0 * M_PI * k / BEARINGS, radius = block_radius_mm(block, bearing);
        double x = radius * cos(bearing), y = radius * sin(bearing);
        double top = relief_at(&specimen->surface[0], x, y), base = block_base_mm(block, x, y, 0.0);
        double last = radius * radius, flux = 0.0;
        for (int step = 1; step <= STEPS; step++)
        {
            double share = (double)step / STEPS, z = top + (base - top) * share;
            double out = radius + block_side_mm(block, x, y, z, share);
            flux += (z - 0.5 * (base - top) / STEPS) * 0.5 * (out * out - last);
            last = out * out;
        }
        double edge = SPECIMEN_BASE_SHARE * radius;
        flux -= base * 0.5 * (last - edge * edge);
        sector[k] = flux * 2.0 * M_PI / BEARINGS;
    }
    for (int k = 0; k < BEARINGS; k++)
        sum += sector[k];
    return sum;
}

/// Bone by columns: see the header. What was brushed on is summed by its areas.
static double sum_bone(const demo_specimen* specimen)
{
    double sum = 0.0;
    for (size_t i = 0; i < specimen->surface[0].size[0] * specimen->surface[0].size[1]; i++)
        sum += bones_thickness_mm(&specimen->fish, specimen->owner[i]) * PITCH_MM * PITCH_MM;
    return sum;
}

static rlv_status measure_content(demo_specimen* specimen, const demo_ground* ground, rlv_error* error)
{
    double top, base;
    rlv_status status = sum_columns(specimen, ground, &top, &base, error);
    if (status != RLV_DONE)
        return status;
    specimen_content now = {.solid_mm3 = top + sum_sides(specimen) - base * SPECIMEN_BASE_SHARE * SPECIMEN_BASE_SHARE};
    for (int i = 0; i < FISH_SCUTES; i++)
        if (specimen->fish.scute[i].fate == FISH_IN_SPOIL)
            specimen->spoil_bone_mm3 +=
                bones_scute_area_mm2(&specimen->fish.scute[i]) * specimen->fish.scute[i].thickness_mm;
    now.bone_mm3 = sum_bone(specimen) + specimen->spoil_bone_mm3;
    for (int stage = 0; stage < SPECIMEN_STAGES; stage++)
    {
        double volume[SPECIMEN_CLASSES];
        specimen_classes(specimen, stage, volume);
        now.bone_mm3 -= volume[SPECIMEN_BONE_LOST] + (stage == 1 ? specimen->spoil_bone_mm3 : 0.0);
        now.added_mm3 += volume[SPECIMEN_MATERIAL_ADDED];
        now.gap_mm3 += stage == SPECIMEN_SLAB_BACK ? specimen->gap_mm3 : 0.0;
        for (int i = 0; i < SPECIMEN_AREAS; i++)
            if (specimen->area[i].stage == stage)
                now.solid_mm3 += specimen->area[i].added_mm3 - specimen->area[i].removed_mm3;
        now.matrix_mm3 = now.solid_mm3 - now.bone_mm3 - now.added_mm3 - now.gap_mm3;
        specimen->content[stage] = now;
    }
    return RLV_DONE;
}

static rlv_status reserve(demo_specimen* specimen, rlv_error* error)
{
    const double low[2] = {-200.0, -160.0}, high[2] = {200.0, 160.0};
    for (int k = 0; k < SPECIMEN_STAGES; k++)
    {
        rlv_status status = relief_reserve(&specimen->surface[k], low, high, PITCH_MM, 0.0f, error);
        if (status != RLV_DONE)
            return status;
    }
    const size_t count = specimen->surface[0].size[0] * specimen->surface[0].size[1];
    specimen->owner = rlv_reserve(count, sizeof *specimen->owner, error);
    specimen->shown = rlv_reserve(count, 1, error);
    specimen->body = rlv_reserve(count, 1, error);
    for (int k = 1; k < SPECIMEN_STAGES; k++)
        if ((specimen->worked[k] = rlv_reserve(count, 1, error)) == NULL)
            return RLV_SYSTEM;
    return specimen->owner != NULL && specimen->shown != NULL && specimen->body != NULL ? RLV_DONE : RLV_SYSTEM;
}

rlv_status specimen_make(demo_specimen* specimen, uint64_t seed, rlv_error* error)
{
    specimen->fish = fish_make(noise_hash(seed, 1));
    specimen->block = block_make(specimen->fish.bedding_normal, specimen->fish.bedding_mm, noise_hash(seed, 2));
    memcpy(specimen->area, areas, sizeof areas);
    demo_ground ground = {0};
    rlv_status status = reserve(specimen, error);
    if (status == RLV_DONE)
        status = survey(specimen, &ground, seed, error);
    for (int stage = 0; stage < SPECIMEN_STAGES && status == RLV_DONE; stage++)
    {
#pragma omp parallel for schedule(dynamic, 4096)
        for (size_t i = 0; i < ground.count; i++)
            work_point(specimen, &ground, stage, i);
        if (stage > 0)
            status = account(specimen, &ground, stage, error);
        if (stage == SPECIMEN_SLAB_OFF - 1 && status == RLV_DONE)
            status = slab_make(&specimen->slab, &specimen->block, &specimen->surface[stage], ground.slab_mm, error);
    }
    for (int k = 0; k < SPECIMEN_AREAS && status == RLV_DONE; k++)
        if (specimen->area[k].area_mm2 > 0.0)
            specimen->area[k].centroid_mm =
                rlv_vec3_scale(specimen->area[k].centroid_mm, 1.0 / specimen->area[k].area_mm2);
    if (status == RLV_DONE)
        measure_gap(specimen);
    if (status == RLV_DONE)
        status = measure_content(specimen, &ground, error);
    free_ground(&ground);
    if (status != RLV_DONE)
        specimen_free(specimen);
    return status;
}

void specimen_free(demo_specimen* specimen)
{
    for (int k = 0; k < SPECIMEN_STAGES; k++)
        relief_free(&specimen->surface[k]);
    free(specimen->owner);
    free(specimen->shown);
    free(specimen->body);
    for (int k = 0; k < SPECIMEN_STAGES; k++)
        free(specimen->worked[k]);
    slab_free(&specimen->slab);
    memset(specimen, 0, sizeof *specimen);
}

const char* specimen_stage_name(int stage)
{
    return stage_name[stage];
}

const char* specimen_stage_id(int stage)
{
    return stage_id[stage];
}

const char* specimen_class_name(specimen_class kind)
{
    static const char* const name[SPECIMEN_CLASSES] = {"matrix removed", "bone lost", "piece detached", "piece joined",
                                                       "material added"};
    return name[kind];
}

void specimen_classes(const demo_specimen* specimen, int stage, double volume_mm3[SPECIMEN_CLASSES])
{
    memset(volume_mm3, 0, SPECIMEN_CLASSES * sizeof *volume_mm3);
    for (int i = 0; i < SPECIMEN_AREAS; i++)
    {
        const specimen_area* area = &specimen->area[i];
        if (area->stage == stage)
            volume_mm3[area->kind] += area->kind == SPECIMEN_MATERIAL_ADDED ? area->added_mm3 : area->removed_mm3;
    }
    if (stage == SPECIMEN_SLAB_OFF)
    {
        volume_mm3[SPECIMEN_MATRIX_REMOVED] += volume_mm3[SPECIMEN_PIECE_DETACHED] - specimen->slab.volume_mm3;
        volume_mm3[SPECIMEN_PIECE_DETACHED] = specimen->slab.volume_mm3;
    }
    if (stage == SPECIMEN_SLAB_BACK)
        volume_mm3[SPECIMEN_PIECE_JOINED] = specimen->slab.volume_mm3;
}

bool specimen_painted(const demo_specimen* specimen, int stage, size_t point)
{
    uint16_t owner = specimen->owner[point];
    return stage == SPECIMEN_PAINTED_STAGE && (specimen->shown[point] >> stage & 1) != 0 && owner >= BONES_SCUTE &&
           owner < BONES_SKULL && specimen->fish.scute[owner - BONES_SCUTE].row == FISH_DORSAL;
}

void specimen_change(const demo_specimen* specimen, int before, int after, double* removed_mm3, double* added_mm3)
{
    const demo_relief* from = &specimen->surface[before];
    const demo_relief* to = &specimen->surface[after];
    *removed_mm3 = *added_mm3 = 0.0;
    for (size_t i = 0; i < from->size[0] * from->size[1]; i++)
    {
        double fell = (double)from->height_mm[i] - (double)to->height_mm[i];
        *(fell > 0.0 ? removed_mm3 : added_mm3) += fabs(fell) * PITCH_MM * PITCH_MM;
    }
}

void specimen_shown_mm2(const demo_specimen* specimen, double shown_mm2[FISH_SCUTES][SPECIMEN_STAGES],
                        double all_mm2[FISH_SCUTES])
{
    const double cell = PITCH_MM * PITCH_MM;
    memset(all_mm2, 0, FISH_SCUTES * sizeof *all_mm2);
    memset(shown_mm2, 0, FISH_SCUTES * sizeof *shown_mm2);
    for (size_t i = 0; i < specimen->surface[0].size[0] * specimen->surface[0].size[1]; i++)
    {
        uint16_t owner = specimen->owner[i];
        if (owner < BONES_SCUTE || owner >= BONES_SKULL)
            continue;
        all_mm2[owner - BONES_SCUTE] += cell;
        for (int stage = 0; stage < SPECIMEN_STAGES; stage++)
            shown_mm2[owner - BONES_SCUTE][stage] += (specimen->shown[i] >> stage & 1) ? cell : 0.0;
    }
}
