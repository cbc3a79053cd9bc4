#include "fish.h"

#include "scan.h"

#include <math.h>
#include <stdio.h>

#define DEGREE (M_PI / 180.0)

/// A table of values at rising places, read by Catmull and Rom's spline (1974) with the ends held.
typedef struct build_table
{
    size_t count;
    double at[14], value[14];
} build_table;

static double read_table(const build_table* table, double x)
{
    const double* at = table->at;
    const double* y = table->value;
    size_t last = table->count - 1, i = 0;
    if (x <= at[0])
        return y[0];
    if (x >= at[last])
        return y[last];
    while (x > at[i + 1])
        i++;
    double width = at[i + 1] - at[i], t = (x - at[i]) / width;
    double a = i > 0 ? (y[i + 1] - y[i - 1]) / (at[i + 1] - at[i - 1]) : (y[1] - y[0]) / width;
    double b = i + 1 < last ? (y[i + 2] - y[i]) / (at[i + 2] - at[i]) : (y[last] - y[last - 1]) / width;
    double t2 = t * t, t3 = t2 * t;
    return y[i] * (2 * t3 - 3 * t2 + 1) + y[i + 1] * (3 * t2 - 2 * t3) +
           width * (a * (t3 - 2 * t2 + t) + b * (t3 - t2));
}

// The animal's build, by distance from the snout in mm.

static const build_table half_width = {13,
                                       {0, 30, 60, 90, 120, 170, 250, 350, 450, 540, 600, 650, 700},
                                       {3, 13, 21, 28, 32.5, 34, 33, 27, 18, 9.5, 6, 4, 2}};
static const build_table half_height = {13,
                                        {0, 30, 60, 90, 120, 170, 250, 350, 450, 540, 600, 650, 700},
                                        {3, 8, 13, 18, 21, 23, 23, 20.5, 17, 14, 11, 7.5, 3}};
static const build_table roll_deg = {7, {0, 150, 300, 400, 480, 560, 700}, {8, 12, 20, 38, 60, 80, 84}};
static const build_table above_bedding = {6, {0, 120, 300, 450, 560, 700}, {4, 6, 5, 4, 3.5, 2.5}};
static const build_table curvature = {10,
                                      {0, 100, 200, 280, 360, 440, 520, 600, 660, 700},
                                      {0.0005, 0.0015, 0.0055, 0.0115, 0.0128, 0.0088, 0.0060, 0.0052, 0.0030, 0.0}};

/// What a row is made of.
typedef struct row_build
{
    const char* name;
    const char* letters;
    int count;
    double start_mm, pitch_mm;
    double angle_deg;                                  ///< about the axis
    double length_mm, width_mm, thickness_mm, keel_mm; ///< of its first scute
} row_build;

static const row_build build[FISH_ROWS] = {
    [FISH_DORSAL] = {"dorsal", "D", 12, 142, 28, 0, 27, 20, 3.0, 6.0},
    [FISH_LATERAL_LEFT] = {"lateral left", "LL", 34, 140, 14, 62, 10, 18, 2.1, 2.4},
    [FISH_LATERAL_RIGHT] = {"lateral right", "LR", 35, 138, 14, -62, 10, 18, 2.1, 2.4},
    [FISH_VENTRAL_LEFT] = {"ventral left", "VL", 10, 165, 22, 128, 20, 14, 1.9, 1.8},
    [FISH_VENTRAL_RIGHT] = {"ventral right", "VR", 9, 168, 22, -128, 20, 14, 1.9, 1.8},
};

#define TAPER 0.4   ///< how much pitch and size fall from the first scute of a row to its last
#define JITTER 0.08 ///< sd of a pitch
#define SLIP_MM 6.0 ///< of the patch that moved together

/// The scutes that are not in place.
static const struct
{
    fish_row row;
    int first, last;
    fish_fate fate;
} fates[] = {
    {FISH_LATERAL_LEFT, 13, 20, FISH_SLID},      {FISH_LATERAL_RIGHT, 4, 4, FISH_CARRIED},
    {FISH_LATERAL_RIGHT, 9, 9, FISH_CARRIED},    {FISH_LATERAL_RIGHT, 12, 12, FISH_CARRIED},
    {FISH_VENTRAL_RIGHT, 3, 3, FISH_CARRIED},    {FISH_VENTRAL_RIGHT, 5, 5, FISH_CARRIED},
    {FISH_DORSAL, 8, 8, FISH_INVERTED},          {FISH_LATERAL_LEFT, 8, 8, FISH_INVERTED},
    {FISH_LATERAL_LEFT, 29, 29, FISH_OBLIQUE},   {FISH_VENTRAL_LEFT, 4, 4, FISH_OBLIQUE},
    {FISH_LATERAL_RIGHT, 20, 20, FISH_IN_SPOIL}, {FISH_VENTRAL_RIGHT, 8, 8, FISH_IN_SPOIL},
    {FISH_LATERAL_LEFT, 31, 31, FISH_IN_SPOIL},  {FISH_LATERAL_LEFT, 25, 25, FISH_ABSENT},
    {FISH_VENTRAL_LEFT, 6, 6, FISH_ABSENT},
};

#define GAP_ROW FISH_LATERAL_LEFT ///< where the spacing has one wide step by nature
#define GAP_AFTER 22
#define CHIPPED_ROW FISH_DORSAL
#define CHIPPED_PLACE 5

static void lay_axis(demo_fish* fish)
{
    double x = 0.0, y = 0.0, heading = -0.16, low[2] = {0, 0}, high[2] = {0, 0};
    for (int s = 0; s <= FISH_LENGTH_MM; s++)
    {
        fish->plan_mm[s][0] = x;
        fish->plan_mm[s][1] = y;
        fish->heading_rad[s] = heading;
        double half = read_table(&half_width, s);
        low[0] = fmin(low[0], x - half), high[0] = fmax(high[0], x + half);
        low[1] = fmin(low[1], y - half), high[1] = fmax(high[1], y + half);
        double middle = heading + 0.5 * read_table(&curvature, s + 0.5);
        x += cos(middle);
        y += sin(middle);
        heading += read_table(&curvature, s + 0.5);
    }
    for (int s = 0; s <= FISH_LENGTH_MM; s++)
        for (int k = 0; k < 2; k++)
            fish->plan_mm[s][k] -= 0.5 * (low[k] + high[k]) + (k == 0 ? -3.0 : -2.0); // room for the fins
}

double fish_bedding_mm(const demo_fish* fish, double x_mm, double y_mm)
{
    const rlv_vec3 n = fish->bedding_normal;
    return fish->bedding_mm - (n.x * x_mm + n.y * y_mm) / n.z;
}

fish_section fish_section_at(const demo_fish* fish, double along_mm)
{
    double s = fmin(fmax(along_mm, 0.0), FISH_LENGTH_MM - 1e-6);
    int i = (int)s;
    double t = s - i, heading = fish->heading_rad[i] + t * (fish->heading_rad[i + 1] - fish->heading_rad[i]);
    double x = fish->plan_mm[i][0] + t * (fish->plan_mm[i + 1][0] - fish->plan_mm[i][0]);
    double y = fish->plan_mm[i][1] + t * (fish->plan_mm[i + 1][1] - fish->plan_mm[i][1]);
    fish_section section;
    section.up = fish->bedding_normal;
    rlv_vec3 flat = {cos(heading), sin(heading), 0.0};
    section.along = rlv_vec3_unit(rlv_vec3_along(flat, -rlv_vec3_dot(flat, section.up), section.up));
    section.left = rlv_vec3_cross(section.along, section.up);
    section.centre_mm = rlv_vec3_of(x, y, fish_bedding_mm(fish, x, y) + read_table(&above_bedding, s));
    section.half_width_mm = read_table(&half_width, s);
    section.half_height_mm = read_table(&half_height, s);
    section.roll_rad = read_table(&roll_deg, s) * DEGREE;
    return section;
}

/// How far the skin sags between two rows of scutes, which stand on ridges.
static double skin_sag(const fish_section* section, double angle_rad)
{
    double ridge = build[FISH_LATERAL_LEFT].angle_deg * DEGREE * 1.1, low = build[FISH_VENTRAL_LEFT].angle_deg * DEGREE;
    double a = fabs(angle_rad), share = a < ridge ? a / ridge : fmin((a - ridge) / (low - ridge), 1.0);
    double wave = sin(M_PI * share);
    return 0.045 * (section->half_width_mm + section->half_height_mm) * wave * wave;
}

rlv_vec3 fish_skin(const demo_fish* fish, double along_mm, double angle_rad)
{
    fish_section c = fish_section_at(fish, along_mm);
    double cosine = cos(c.roll_rad), sine = sin(c.roll_rad);
    double sag = skin_sag(&c, angle_rad);
    double back = (c.half_height_mm - sag) * cos(angle_rad), side = (c.half_width_mm - sag) * sin(angle_rad);
    rlv_vec3 at = rlv_vec3_along(c.centre_mm, back * cosine + side * sine, c.up);
    return rlv_vec3_along(at, side * cosine - back * sine, c.left);
}

/// A frame from a place, the way out of the body, and a direction that `along` should keep to.
static fish_frame frame_of(rlv_vec3 at, rlv_vec3 out, rlv_vec3 along)
{
    fish_frame frame = {.at_mm = at, .out = rlv_vec3_unit(out)};
    frame.along = rlv_vec3_unit(rlv_vec3_along(along, -rlv_vec3_dot(along, frame.out), frame.out));
    frame.across = rlv_vec3_cross(frame.along, frame.out);
    return frame;
}

fish_frame fish_skin_frame(const demo_fish* fish, double along_mm, double angle_rad)
{
    const double ds = 0.5, da = 0.01;
    rlv_vec3 along = rlv_vec3_sub(fish_skin(fish, along_mm + ds, angle_rad), fish_skin(fish, along_mm - ds, angle_rad));
    rlv_vec3 around =
        rlv_vec3_sub(fish_skin(fish, along_mm, angle_rad + da), fish_skin(fish, along_mm, angle_rad - da));
    return frame_of(fish_skin(fish, along_mm, angle_rad), rlv_vec3_cross(around, along), along);
}

/// Q of the rolled ellipse x' Q x = 1 in (left, up).
static void section_form(const fish_section* c, double* left_left, double* left_up, double* up_up)
{
    double cosine = cos(c->roll_rad), sine = sin(c->roll_rad);
    double a = 1.0 / (c->half_width_mm * c->half_width_mm), b = 1.0 / (c->half_height_mm * c->half_height_mm);
    *left_left = cosine * cosine * a + sine * sine * b;
    *left_up = cosine * sine * (a - b);
    *up_up = sine * sine * a + cosine * cosine * b;
}

double fish_half_width(const fish_section* section)
{
    double ll, lu, uu;
    section_form(section, &ll, &lu, &uu);
    return section->half_width_mm * section->half_height_mm * sqrt(uu);
}

double fish_upper_half(const fish_section* section, double left_mm)
{
    double ll, lu, uu;
    section_form(section, &ll, &lu, &uu);
    double width = section->half_width_mm * section->half_height_mm * sqrt(uu);
    double n = fmin(fmax(left_mm, -width), width);
    double root =
        uu -
        n * n / (section->half_width_mm * section->half_width_mm * section->half_height_mm * section->half_height_mm);
    return (sqrt(fmax(root, 0.0)) - lu * n) / uu - 3.0 * fabs(left_mm - n);
}

static rlv_vec3 turned(rlv_vec3 v, rlv_vec3 axis, double angle_rad)
{
    return rlv_mat3_apply(rlv_rotation_from_vector(rlv_vec3_scale(rlv_vec3_unit(axis), angle_rad)), v);
}

static fish_frame turned_frame(fish_frame frame, rlv_vec3 axis, double angle_rad)
{
    return frame_of(frame.at_mm, turned(frame.out, axis, angle_rad), turned(frame.along, axis, angle_rad));
}

static double row_angle(fish_row row, double along_mm)
{
    double angle = build[row].angle_deg;
    if (row == FISH_LATERAL_LEFT || row == FISH_LATERAL_RIGHT)
        angle *= 1.0 + 0.2 * along_mm / FISH_LENGTH_MM;
    return angle * DEGREE;
}

/// Lay a row's life positions.
static fish_scute* lay_row(demo_fish* fish, fish_row row, fish_scute* next, scan_random* random)
{
    const row_build* b = &build[row];
    double s = b->start_mm + b->length_mm / 2.0;
    for (int i = 0; i < b->count; i++, next++)
    {
        double size = 1.0 - TAPER * i / (b->count - 1);
        *next = (fish_scute){.row = row,
                             .place = i + 1,
                             .length_mm = b->length_mm * size,
                             .width_mm = b->width_mm * size,
                             .thickness_mm = b->thickness_mm * (0.5 + 0.5 * size),
                             .keel_mm = b->keel_mm * size};
        next->chipped = row == CHIPPED_ROW && next->place == CHIPPED_PLACE;
        double angle = row_angle(row, s) + 1.2 * DEGREE * scan_random_normal(random);
        next->life = fish_skin_frame(fish, s, angle);
        next->life = turned_frame(next->life, next->life.out, 2.0 * DEGREE * scan_random_normal(random));
        next->life = turned_frame(next->life, next->life.along, 1.5 * DEGREE * scan_random_normal(random));
        fish_section c = fish_section_at(fish, s);
        double sine = c.half_height_mm * sin(angle), cosine = c.half_width_mm * cos(angle);
        next->bend_mm = pow(cosine * cosine + sine * sine, 1.5) / (c.half_width_mm * c.half_height_mm);
        next->found = next->life;
        next->fate = FISH_IN_PLACE;
        if (i + 1 < b->count)
        {
            double taper = 1.0 - TAPER * i / (b->count - 2);
            double step = b->pitch_mm * taper * (1.0 + JITTER * scan_random_normal(random));
            s += row == GAP_ROW && next->place == GAP_AFTER ? 1.6 * step : step;
        }
    }
    return next;
}

/// Where the axis is nearest in plan.
static int nearest_along(const demo_fish* fish, rlv_vec3 at)
{
    int best = 0;
    double least = INFINITY;
    for (int s = 0; s <= FISH_LENGTH_MM; s++)
    {
        double x = at.x - fish->plan_mm[s][0], y = at.y - fish->plan_mm[s][1];
        if (x * x + y * y < least)
            least = x * x + y * y, best = s;
    }
    return best;
}

static void slide(const demo_fish* fish, fish_scute* scute)
{
    // Along the body and down its flank at once, all of the patch the same way.
    double s = nearest_along(fish, scute->life.at_mm);
    double angle = row_angle(scute->row, s), reach = SLIP_MM * cos(40 * DEGREE);
    double down = SLIP_MM * sin(40 * DEGREE) / fish_section_at(fish, s).half_width_mm;
    fish_frame from = fish_skin_frame(fish, s, angle), to = fish_skin_frame(fish, s + reach, angle + down);
    rlv_vec3 way = rlv_vec3_unit(rlv_vec3_sub(to.at_mm, from.at_mm));
    scute->found.at_mm = rlv_vec3_along(scute->life.at_mm, SLIP_MM, way);
    // The skin slid as a sheet: a scute leans only a little as it goes over the flank.
    scute->found = frame_of(scute->found.at_mm, rlv_vec3_along(scute->life.out, 0.2, rlv_vec3_sub(to.out, from.out)),
                            rlv_vec3_along(scute->life.along, 0.2, rlv_vec3_sub(to.along, from.along)));
}

static void carry(const demo_fish* fish, fish_scute* scute, int number, scan_random* random)
{
    double direction = fish->current_rad + 25.0 * DEGREE * (2.0 * scan_random_unit(random) - 1.0);
    double reach = 14.0 + 5.0 * number;
    rlv_vec3 at = scute->life.at_mm;
    at.x += reach * cos(direction);
    at.y += reach * sin(direction);
    at.z = fish_bedding_mm(fish, at.x, at.y) + 0.8;
    double yaw = 2.0 * M_PI * scan_random_unit(random), lean = 2.0 * M_PI * scan_random_unit(random);
    rlv_vec3 out = turned(fish->bedding_normal, rlv_vec3_of(cos(lean), sin(lean), 0), 6.0 * DEGREE);
    scute->found = frame_of(at, out, rlv_vec3_of(cos(yaw), sin(yaw), 0));
}

static void invert(fish_scute* scute)
{
    fish_frame life = scute->life;
    scute->found = turned_frame(life, life.along, 172.0 * DEGREE);
    scute->found = turned_frame(scute->found, life.out, 14.0 * DEGREE);
    rlv_vec3 at = rlv_vec3_along(life.at_mm, scute->thickness_mm + 0.4 * scute->keel_mm, life.out);
    scute->found.at_mm = rlv_vec3_along(at, 2.5, life.along);
}

static void tip(const demo_fish* fish, fish_scute* scute)
{
    fish_section c = fish_section_at(fish, nearest_along(fish, scute->life.at_mm));
    double beside = 3.0 + 0.4 * c.half_height_mm; // out of the foot of matrix that a thick trunk is left on
    rlv_vec3 at = rlv_vec3_along(c.centre_mm, fish_half_width(&c) + beside, c.left);
    at.z = fish_bedding_mm(fish, at.x, at.y) + 1.5;
    rlv_vec3 out = turned(c.up, c.along, 52.0 * DEGREE);
    scute->found = frame_of(at, out, turned(c.along, c.up, 35.0 * DEGREE));
}

static void float_up(const demo_fish* fish, fish_scute* scute, scan_random* random)
{
    int s = nearest_along(fish, scute->life.at_mm);
    fish_section c = fish_section_at(fish, s);
    rlv_vec3 at = rlv_vec3_along(c.centre_mm, 16.0 * scan_random_unit(random) - 8.0, c.left);
    at.z = fish_bedding_mm(fish, at.x, at.y) + 41.0;
    double yaw = 2.0 * M_PI * scan_random_unit(random);
    scute->found = frame_of(at, fish->bedding_normal, rlv_vec3_of(cos(yaw), sin(yaw), 0));
}

static void meet_fates(demo_fish* fish, scan_random* random)
{
    int carried = 0;
    for (size_t f = 0; f < sizeof fates / sizeof *fates; f++)
        for (size_t i = 0; i < FISH_SCUTES; i++)
        {
            fish_scute* scute = &fish->scute[i];
            if (scute->row != fates[f].row || scute->place < fates[f].first || scute->place > fates[f].last)
                continue;
            scute->fate = fates[f].fate;
            if (scute->fate == FISH_SLID)
                slide(fish, scute);
            else if (scute->fate == FISH_CARRIED)
                carry(fish, scute, carried++, random);
            else if (scute->fate == FISH_INVERTED)
                invert(scute);
            else if (scute->fate == FISH_OBLIQUE)
                tip(fish, scute);
            else if (scute->fate == FISH_IN_SPOIL)
                float_up(fish, scute, random);
        }
}

demo_fish fish_make(uint64_t seed)
{
    demo_fish fish = {.bedding_normal = rlv_vec3_unit(rlv_vec3_of(0.022, -0.014, 1.0)), .bedding_mm = 88.0};
    fish.current_rad = 82.0 * DEGREE;
    lay_axis(&fish);
    scan_random random = {seed};
    fish_scute* next = fish.scute;
    for (int row = 0; row < FISH_ROWS; row++)
        next = lay_row(&fish, (fish_row)row, next, &random);
    meet_fates(&fish, &random);
    return fish;
}

void fish_scute_name(const fish_scute* scute, char* name)
{
    snprintf(name, 8, "%s%02u", build[scute->row].letters, (unsigned)scute->place % 100u);
}

const char* fish_row_name(fish_row row)
{
    return build[row].name;
}

const char* fish_fate_name(fish_fate fate)
{
    static const char* const name[FISH_FATES] = {"in place", "slid",  "carried", "inverted",
                                                 "oblique",  "spoil", "absent"};
    return name[fate];
}
