#include "bones.h"

#include "noise.h"
#include "scan.h"

#include <math.h>
#include <stdlib.h>

#define DEGREE (M_PI / 180.0)
#define STEP_MM 0.25 ///< between the points of a sheet: about a point of the relief

/// What is drawn on, and with what.
typedef struct bone_pen
{
    demo_relief* bone;
    uint16_t* owner;
    const demo_fish* fish;
    uint64_t seed;
    size_t room; ///< points that `sheet` holds
    rlv_vec3* sheet;
} bone_pen;

static double smooth_step(double low, double high, double x)
{
    double t = fmin(fmax((x - low) / (high - low), 0.0), 1.0);
    return t * t * (3.0 - 2.0 * t);
}

static rlv_vec3 in_frame(const fish_frame* frame, double along, double across, double out)
{
    rlv_vec3 at = rlv_vec3_along(frame->at_mm, along, frame->along);
    return rlv_vec3_along(rlv_vec3_along(at, across, frame->across), out, frame->out);
}

// Scutes

/// How angular the outline of a row's scutes is: the exponent of a superellipse, 1 a rhomb, 2 an ellipse.
static double outline_power(fish_row row)
{
    return row == FISH_DORSAL ? 1.75 : row == FISH_LATERAL_LEFT || row == FISH_LATERAL_RIGHT ? 1.6 : 1.8;
}

static double keel_height(const fish_scute* scute, double x_mm, double y_mm, double rim)
{
    double back = 0.5 + x_mm / scute->length_mm; // 0 at the front edge, 1 at the rear
    double crest = back < 0.74 ? pow(fmax(back, 0.0) / 0.74, 1.5) : 1.0 - 0.8 * pow((back - 0.74) / 0.26, 2.0);
    double aside = sqrt(y_mm * y_mm + 0.09) - 0.3; // a crest of 0.3 mm, not a knife
    return scute->keel_mm * crest * exp(-aside / (0.15 * scute->width_mm)) * (1.0 - 0.9 * pow(rim, 6.0));
}

double bones_scute_height(const fish_scute* scute, double x_mm, double y_mm, double rim)
{
    double plate = scute->thickness_mm * (1.0 - 0.4 * rim * rim) - 0.35 * scute->thickness_mm * pow(rim, 12.0);
    double curve = -0.5 * y_mm * y_mm / fmax(scute->bend_mm, 0.6 * scute->width_mm);
    // Ribs run out from the keel's end, crossed by lines of growth.
    double angle = atan2(y_mm / scute->width_mm, x_mm / scute->length_mm - 0.08);
    double ribs = 0.22 * cos(15.0 * angle + scute->place) * smooth_step(0.15, 0.5, rim) * (1.0 - pow(rim, 8.0));
    double growth = 0.09 * cos(2.0 * M_PI * rim * (3.0 + scute->width_mm / 4.0));
    return plate + curve + keel_height(scute, x_mm, y_mm, rim) + (ribs + growth) * fmin(1.0, scute->width_mm / 12.0);
}

/// A point of the outline, as shares of half the length and half the width.
static void outline_point(const fish_scute* scute, double turn, double* along, double* across)
{
    double c = cos(turn), s = sin(turn), p = outline_power(scute->row);
    double reach = pow(pow(fabs(c), p) + pow(fabs(s), p), -1.0 / p);
    *along = c * reach;
    *across = s * reach;
    *along += 0.12 * (1.0 - *across * *across) - 0.12; // fuller behind
}

void bones_scute_place(const fish_scute* scute, double turn, double rim, double* along, double* across)
{
    outline_point(scute, turn, along, across);
    *along *= rim;
    *across *= rim;
}

double bones_scute_area_mm2(const fish_scute* scute)
{
    // Of |x|^p + |y|^p <= 1: 4 G(1 + 1/p)^2 / G(1 + 2/p). That it is fuller behind moves points along only, and as far
    // on both sides: the area stays.
    double p = outline_power(scute->row), g = tgamma(1.0 + 1.0 / p);
    return scute->length_mm * scute->width_mm * g * g / tgamma(1.0 + 2.0 / p);
}

double bones_thickness_mm(const demo_fish* fish, uint16_t owner)
{
    if (owner >= BONES_SCUTE && owner < BONES_SKULL)
        return fish->scute[owner - BONES_SCUTE].thickness_mm;
    return owner == BONES_SKULL     ? 3.0
           : owner == BONES_SPINE   ? 4.0
           : owner == BONES_FIN     ? 1.2
           : owner == BONES_SCALES  ? 0.8
           : owner == BONES_GRANULE ? 0.6
                                    : 0.0;
}

static void draw_scute(bone_pen* pen, size_t index)
{
    const fish_scute* scute = &pen->fish->scute[index];
    const size_t rings = (size_t)(0.5 * fmax(scute->length_mm, scute->width_mm) / STEP_MM) + 2;
    const size_t around = (size_t)(M_PI * scute->length_mm / STEP_MM / 1.5) + 24;
    const size_t count[2] = {around + 1, 2 * rings};
    if (count[0] * count[1] > pen->room)
        return;
    for (size_t j = 0; j < count[1]; j++) // outer face from the middle to the edge, inner face back
        for (size_t i = 0; i < count[0]; i++)
        {
            double rim = (double)(j < rings ? j : 2 * rings - 1 - j) / (double)(rings - 1), u, v;
            outline_point(scute, 2.0 * M_PI * (double)(i % around) / (double)around, &u, &v);
            double x = 0.5 * scute->length_mm * u * rim, y = 0.5 * scute->width_mm * v * rim;
            double inner = -0.5 * y * y / fmax(scute->bend_mm, 0.6 * scute->width_mm) - 0.2 + 0.6 * (1.0 - rim * rim);
            double out = j < rings ? bones_scute_height(scute, x, y, rim) : inner;
            pen->sheet[j * count[0] + i] = in_frame(&scute->found, x, y, out);
        }
    relief_draw(pen->bone, pen->owner, (uint16_t)(BONES_SCUTE + index), count, pen->sheet);
}

// Skull roof and gill cover: a mosaic of plates over the skin of the head

/// Centres of growth: distance from the snout, and angle in degrees; those off the middle line are mirrored.
static const double plate_centre[][2] = {{5, 0},    {13, 0},   {22, 30},  {33, 0},   {40, 34}, {51, 0},
                                         {47, 68},  {72, 24},  {71, 58},  {97, 24},  {94, 56}, {119, 0},
                                         {116, 32}, {119, 60}, {112, 86}, {128, 90}, {95, 88}, {60, 90}};

/// Distances to the nearest and the second nearest centre, and the bearing and number of the nearest.
typedef struct skull_mosaic
{
    double nearest_mm, second_mm, bearing;
    size_t plate;
} skull_mosaic;

static skull_mosaic mosaic_at(double along_mm, double angle_rad, double radius_mm)
{
    skull_mosaic found = {INFINITY, INFINITY, 0.0, 0};
    for (size_t i = 0; i < 2 * sizeof plate_centre / sizeof *plate_centre; i++)
    {
        const double* centre = plate_centre[i / 2];
        if (i % 2 == 1 && centre[1] == 0.0)
            continue;
        double x = along_mm - centre[0], y = (angle_rad - (i % 2 ? -1.0 : 1.0) * centre[1] * DEGREE) * radius_mm;
        double distance = sqrt(x * x + y * y);
        if (distance < found.nearest_mm)
            found.second_mm = found.nearest_mm, found.nearest_mm = distance, found.bearing = atan2(y, x),
            found.plate = i;
        else if (distance < found.second_mm)
            found.second_mm = distance;
    }
    return found;
}

/// A round hollow of some depth with a raised rim, as an orbit or a nostril.
static double hollow(double x_mm, double y_mm, double radius_mm, double depth_mm)
{
    double r = sqrt(x_mm * x_mm + y_mm * y_mm) / radius_mm;
    return -depth_mm * (1.0 - smooth_step(0.6, 1.05, r)) + 0.22 * depth_mm * exp(-pow((r - 1.2) / 0.18, 2.0));
}

static double skull_height(const bone_pen* pen, double along_mm, double angle_rad, double radius_mm)
{
    double wobble_x = 1.3 * noise_smooth_at(pen->seed, 5.0, rlv_vec3_of(along_mm, angle_rad * radius_mm, 0.0));
    double wobble_y = 1.3 * noise_smooth_at(pen->seed, 5.0, rlv_vec3_of(along_mm, angle_rad * radius_mm, 99.0));
    skull_mosaic at = mosaic_at(along_mm + wobble_x, angle_rad + wobble_y / radius_mm, radius_mm);
    double from_suture = at.second_mm - at.nearest_mm;
    double groove = -1.25 * exp(-pow(from_suture / 1.3, 2.0));
    double doming = 1.3 * exp(-pow(at.nearest_mm / 8.0, 2.0));
    double ribs = 0.28 * cos(16.0 * at.bearing + 2.4 * (double)at.plate) * smooth_step(1.5, 6.0, at.nearest_mm) *
                  smooth_step(0.0, 1.6, from_suture);
    double grain = 0.12 * noise_smooth_at(pen->seed + 1, 0.6, rlv_vec3_of(along_mm, angle_rad * radius_mm, 0.0));
    double side = fabs(angle_rad) * radius_mm;
    double eye = hollow(along_mm - 61.0, side - 61.0 * DEGREE * radius_mm, 6.0, 3.4);
    double nose = hollow(along_mm - 42.0, side - 52.0 * DEGREE * radius_mm, 2.3, 1.8);
    return 2.1 + groove + doming + ribs + grain + eye + nose;
}

/// How far a place is inside the skull roof or the gill covers, in mm; negative outside.
static double skull_inside(double along_mm, double angle_rad, double radius_mm)
{
    double side = fabs(angle_rad) / DEGREE;
    double roof_end = 131.0 - 0.0022 * side * side + 1.5 * cos(side * 6.0 * DEGREE);
    double roof = fmin(fmin(along_mm - 2.0, roof_end - along_mm), (76.0 - side) * DEGREE * radius_mm);
    double dx = (along_mm - 118.0) / 26.0, dy = (side - 96.0) / 19.0;
    double cover = 12.0 * (1.0 - sqrt(dx * dx + dy * dy));
    return fmax(roof, cover);
}

static void draw_skull(bone_pen* pen)
{
    const double end = 146.0, wide = 112.0 * DEGREE;
    const size_t count[2] = {(size_t)(end / STEP_MM), 480};
    if (count[0] * count[1] > pen->room)
        return;
    const demo_fish* fish = pen->fish;
    rlv_vec3* sheet = pen->sheet;
#pragma omp parallel for schedule(static)
    for (size_t k = 0; k < count[0] * count[1]; k++)
    {
        double s = end * (double)(k % count[0]) / (double)(count[0] - 1);
        double angle = wide * (2.0 * (double)(k / count[0]) / (double)(count[1] - 1) - 1.0);
        fish_section c = fish_section_at(fish, s);
        double radius = 0.5 * (c.half_width_mm + c.half_height_mm);
        double inside = skull_inside(s, angle, radius);
        double height = inside > -2.0 ? skull_height(pen, s, angle, radius) : 0.0;
        fish_frame frame = fish_skin_frame(fish, s, angle);
        sheet[k] = in_frame(&frame, 0.0, 0.0, height * smooth_step(-0.5, 0.9, inside) - 1.2 * (inside < -0.5));
    }
    relief_draw(pen->bone, pen->owner, BONES_SKULL, count, sheet);
}

// Spine and fin rays: tubes that lie on the bedding

/// A ray: where it starts, its course in the bedding (0 along the body, positive to the left), and its make.
typedef struct fin_ray
{
    rlv_vec3 start_mm;
    rlv_vec3 along, left;
    double course_rad, bend_rad; ///< at the start, and what is added by the end
    double length_mm, radius_mm, end_radius_mm;
    double joint_mm; ///< between the joints; 0: none
    double down_mm;  ///< over which it comes down to the bedding
} fin_ray;

static rlv_vec3 ray_point(const bone_pen* pen, const fin_ray* ray, double share)
{
    double course = ray->course_rad + 0.5 * ray->bend_rad * share, reach = ray->length_mm * share;
    rlv_vec3 at = rlv_vec3_along(ray->start_mm, reach * cos(course), ray->along);
    at = rlv_vec3_along(at, reach * sin(course), ray->left);
    double bedding = fish_bedding_mm(pen->fish, at.x, at.y) + 0.6;
    double down = smooth_step(0.0, ray->down_mm, reach);
    at.z = bedding + (at.z - bedding) * (1.0 - down);
    return at;
}

static double ray_radius(const fin_ray* ray, double share)
{
    double radius = ray->radius_mm + (ray->end_radius_mm - ray->radius_mm) * share;
    if (ray->joint_mm > 0.0)
    {
        double phase = share * ray->length_mm / ray->joint_mm;
        radius *= 1.0 - 0.2 * exp(-pow((phase - floor(phase + 0.5)) / 0.14, 2.0));
    }
    return radius;
}

/// Draw a ray from `from` to `to` (shares of its length) as the upper half of a tube, ribbed where `ribs`.
static void draw_ray(bone_pen* pen, const fin_ray* ray, double from, double to, int ribs, uint16_t mark)
{
    const size_t count[2] = {(size_t)((to - from) * ray->length_mm / STEP_MM) + 2, 25};
    if (count[0] * count[1] > pen->room)
        return;
    for (size_t i = 0; i < count[0]; i++)
    {
        double share = from + (to - from) * (double)i / (double)(count[0] - 1), radius = ray_radius(ray, share);
        rlv_vec3 at = ray_point(pen, ray, share), ahead = ray_point(pen, ray, share + 0.01);
        rlv_vec3 side = rlv_vec3_unit(rlv_vec3_cross(rlv_vec3_sub(ahead, at), rlv_vec3_of(0, 0, 1)));
        for (size_t j = 0; j < count[1]; j++)
        {
            double turn = M_PI * (double)j / (double)(count[1] - 1);
            double r = radius * (ribs > 0 ? 1.0 + 0.07 * cos(ribs * turn) : 1.0);
            rlv_vec3 point = rlv_vec3_along(at, r * cos(turn), side);
            point.z += r * sin(turn);
            pen->sheet[j * count[0] + i] = point;
        }
    }
    relief_draw(pen->bone, pen->owner, mark, count, pen->sheet);
}

/// A row of rays between two places of the body. Courses and lengths go evenly from the first to the last.
typedef struct fin_build
{
    double from_mm, to_mm, angle_deg; ///< where on the body
    int count;
    double course_deg[2], length_mm[2], fall; ///< `fall`: power of the share, 1 even
    double radius_mm, down_mm;
} fin_build;

static void draw_fin(bone_pen* pen, const fin_build* fin, scan_random* random)
{
    for (int i = 0; i < fin->count; i++)
    {
        double share = (double)i / (fin->count - 1), s = fin->from_mm + (fin->to_mm - fin->from_mm) * share;
        fish_section c = fish_section_at(pen->fish, s);
        double sign = fin->course_deg[0] < 0.0 ? -1.0 : 1.0;
        fin_ray ray = {.start_mm = fish_skin(pen->fish, s, fin->angle_deg * DEGREE),
                       .along = c.along,
                       .left = c.left,
                       .radius_mm = fin->radius_mm,
                       .end_radius_mm = 0.45,
                       .joint_mm = 2.3,
                       .down_mm = fin->down_mm};
        ray.start_mm.z = fmax(ray.start_mm.z, fish_bedding_mm(pen->fish, ray.start_mm.x, ray.start_mm.y) + 0.4);
        ray.course_rad = (fin->course_deg[0] + (fin->course_deg[1] - fin->course_deg[0]) * share +
                          1.2 * scan_random_normal(random)) *
                         DEGREE;
        ray.bend_rad = -sign * 22.0 * DEGREE;
        ray.length_mm = (fin->length_mm[0] + (fin->length_mm[1] - fin->length_mm[0]) * pow(share, fin->fall)) *
                        (1.0 + 0.02 * scan_random_normal(random));
        draw_ray(pen, &ray, 0.0, 0.5, 0, BONES_FIN);
        for (int half = -1; half <= 1; half += 2) // it branches in the middle
        {
            fin_ray branch = ray;
            branch.bend_rad += half * 5.0 * DEGREE;
            branch.course_rad -= half * 1.25 * DEGREE; // so that both start where the stem ends
            branch.radius_mm *= 0.8;
            draw_ray(pen, &branch, 0.48, 1.0, 0, BONES_FIN);
        }
    }
}

static void draw_fins(bone_pen* pen)
{
    static const fin_build fins[] = {
        {586, 694, 178, 38, {62, 24}, {60, 9}, 0.75, 0.95, 14}, // lower lobe of the tail
        {408, 462, 2, 24, {-58, -34}, {40, 15}, 1.0, 0.85, 26}, // dorsal fin, folded onto the bedding
        {478, 508, 174, 14, {50, 30}, {30, 13}, 1.0, 0.85, 16}, // anal fin
        {136, 156, 100, 13, {22, 8}, {70, 34}, 1.0, 0.9, 12},   // pectoral fin, behind its spine
    };
    scan_random random = {pen->seed};
    for (size_t i = 0; i < sizeof fins / sizeof *fins; i++)
        draw_fin(pen, &fins[i], &random);
    for (double s = 562.0; s < 696.0; s += 4.6) // small spines on the tail's upper edge
    {
        fish_section c = fish_section_at(pen->fish, s);
        fin_ray spine = {.start_mm = fish_skin(pen->fish, s, 2.0 * DEGREE),
                         .along = c.along,
                         .left = c.left,
                         .course_rad = -24.0 * DEGREE,
                         .length_mm = 9.5 - 0.035 * (s - 562.0),
                         .radius_mm = 1.15,
                         .end_radius_mm = 0.35,
                         .down_mm = 12.0};
        draw_ray(pen, &spine, 0.0, 1.0, 0, BONES_SCALES);
    }
}

static void draw_spine(bone_pen* pen)
{
    const double s = 133.0;
    fish_section c = fish_section_at(pen->fish, s);
    fin_ray spine = {.start_mm = fish_skin(pen->fish, s, 100.0 * DEGREE),
                     .along = c.along,
                     .left = c.left,
                     .course_rad = 31.0 * DEGREE,
                     .bend_rad = -24.0 * DEGREE,
                     .length_mm = 84.0,
                     .radius_mm = 4.2,
                     .end_radius_mm = 0.9,
                     .down_mm = 14.0};
    spine.start_mm = rlv_vec3_along(spine.start_mm, -2.0, c.left);
    draw_ray(pen, &spine, 0.0, 1.0, 17, BONES_SPINE);
}

// Scales of the tail's upper lobe, and granules of the skin

static void draw_tail_scales(bone_pen* pen)
{
    const double from = 536.0, to = 698.0;
    const size_t count[2] = {(size_t)((to - from) / STEP_MM), 180};
    if (count[0] * count[1] > pen->room)
        return;
    for (size_t k = 0; k < count[0] * count[1]; k++)
    {
        double s = from + (to - from) * (double)(k % count[0]) / (double)(count[0] - 1);
        double angle = M_PI * (double)(k / count[0]) / (double)(count[1] - 1);
        fish_section c = fish_section_at(pen->fish, s);
        double around = angle * 0.5 * (c.half_width_mm + c.half_height_mm);
        // Two families of slanting lines bound rhombic scales.
        double p = (s + 1.5 * around) / 4.4, q = (s - 1.5 * around) / 4.4;
        double line = fmin(fabs(p - floor(p + 0.5)), fabs(q - floor(q + 0.5)));
        double height = 0.85 * smooth_step(0.0, 0.22, line) + 0.25 * smooth_step(0.2, 0.5, line) - 0.1;
        double shown = smooth_step(from, from + 34.0, s + 6.0 * sin(1.7 * around));
        fish_frame frame = fish_skin_frame(pen->fish, s, angle);
        pen->sheet[k] = in_frame(&frame, 0.0, 0.0, height * shown - 0.6 * (1.0 - shown));
    }
    relief_draw(pen->bone, pen->owner, BONES_SCALES, count, pen->sheet);
}

/// Small star-shaped plates that pave the skin between the rows, in slanting lines.
static void draw_granules(bone_pen* pen)
{
    const size_t count[2] = {25, 8};
    scan_random random = {noise_hash(pen->seed, 4)};
    int line = 0;
    for (double s = 133.0; s < 548.0; s += 1.9, line++)
    {
        fish_section c = fish_section_at(pen->fish, s);
        double girth = 0.5 * (c.half_width_mm + c.half_height_mm), step = 3.8 / girth;
        for (double angle = -100.0 * DEGREE + (line % 2) * 0.5 * step; angle < 125.0 * DEGREE; angle += step)
        {
            double at_s = s + 0.5 * scan_random_normal(&random),
                   turn = angle + 0.12 * step * scan_random_normal(&random);
            double radius = (0.85 + 0.5 * scan_random_unit(&random)) * (0.6 + girth / 70.0);
            double phase = 2.0 * M_PI * scan_random_unit(&random);
            fish_frame frame = fish_skin_frame(pen->fish, at_s, turn);
            for (size_t k = 0; k < count[0] * count[1]; k++)
            {
                double around = 2.0 * M_PI * (double)(k % count[0]) / (double)(count[0] - 1);
                double r = (double)(k / count[0]) / (double)(count[1] - 1);
                double reach = radius * r * (1.0 + 0.22 * cos(5.0 * around + phase));
                pen->sheet[k] = in_frame(&frame, 1.15 * reach * cos(around), reach * sin(around),
                                         0.42 - 0.75 * r * r + 0.3 * pow(1.0 - r, 2.0));
            }
            relief_draw(pen->bone, pen->owner, BONES_GRANULE, count, pen->sheet);
        }
    }
}

rlv_status bones_draw(demo_relief* bone, uint16_t* owner, const demo_fish* fish, uint64_t seed, rlv_error* error)
{
    bone_pen pen = {bone, owner, fish, seed, 300000, NULL};
    pen.sheet = rlv_reserve(pen.room, sizeof *pen.sheet, error);
    if (pen.sheet == NULL)
        return RLV_SYSTEM;
    draw_granules(&pen);
    draw_tail_scales(&pen);
    draw_fins(&pen);
    draw_spine(&pen);
    draw_skull(&pen);
    for (size_t i = 0; i < FISH_SCUTES; i++)
        if (fish->scute[i].fate != FISH_ABSENT && fish->scute[i].fate != FISH_IN_SPOIL)
            draw_scute(&pen, i);
    free(pen.sheet);
    return RLV_DONE;
}

rlv_status bones_draw_skin(demo_relief* skin, uint16_t* owner, const demo_fish* fish, rlv_error* error)
{
    const size_t count[2] = {2 * FISH_LENGTH_MM + 1, 361};
    rlv_vec3* sheet = rlv_reserve(count[0] * count[1], sizeof *sheet, error);
    if (sheet == NULL)
        return RLV_SYSTEM;
#pragma omp parallel for schedule(static)
    for (size_t k = 0; k < count[0] * count[1]; k++)
        sheet[k] = fish_skin(fish, 0.5 * (double)(k % count[0]), ((double)(k / count[0]) - 180.0) * DEGREE);
    relief_draw(skin, owner, 1, count, sheet);
    free(sheet);
    return RLV_DONE;
}
