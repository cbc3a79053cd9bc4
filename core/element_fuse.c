#include "element_parts.h"

#include <gsl/gsl_cdf.h>
#include <stdlib.h>
#include <string.h>

#define LESS 2.0    ///< sds by which a sighting is smaller that shows less: one that is left out in vain costs little
#define ALARM 0.001 ///< p of a difference that says: disturbed

static double sd_of(rlv_interval interval)
{
    return (interval.high - interval.value) / 1.959964;
}

static rlv_mat3 frame_of(const rlv_element* element)
{
    rlv_mat3 frame;
    memcpy(frame.m, element->frame, sizeof frame.m);
    return frame;
}

static rlv_vec3 place_of(const rlv_element* element)
{
    return rlv_vec3_of(element->position_mm[0], element->position_mm[1], element->position_mm[2]);
}

/// Of a symmetric matrix that is positive definite.
static void invert(double inverse[9], const double a[9])
{
    const double c[9] = {a[4] * a[8] - a[5] * a[7], a[2] * a[7] - a[1] * a[8], a[1] * a[5] - a[2] * a[4],
                         a[5] * a[6] - a[3] * a[8], a[0] * a[8] - a[2] * a[6], a[2] * a[3] - a[0] * a[5],
                         a[3] * a[7] - a[4] * a[6], a[1] * a[6] - a[0] * a[7], a[0] * a[4] - a[1] * a[3]};
    const double determinant = a[0] * c[0] + a[1] * c[3] + a[2] * c[6];
    for (int k = 0; k < 9; k++)
        inverse[k] = c[k] / determinant;
}

static rlv_vec3 apply(const double m[9], rlv_vec3 v)
{
    rlv_mat3 matrix;
    memcpy(matrix.m, m, sizeof matrix.m);
    return rlv_mat3_apply(matrix, v);
}

static double along(const double cov[9], rlv_vec3 way)
{
    return rlv_vec3_dot(way, apply(cov, way));
}

// --- who shows less --------------------------------------------------------------------------------------------------

static bool is_smaller(rlv_interval a, rlv_interval b)
{
    return b.value - a.value > LESS * hypot(sd_of(a), sd_of(b));
}

static bool has_both(const rlv_element* e)
{
    return !isnan(e->length_mm.value) && !isnan(e->width_mm.value);
}

/// By the greater and the lesser of length and width, which do not depend on what the long axis was told by. Where one
/// of them was not measured it is not known which that would be: then along the same axis, if it was told alike.
static bool shows_less(const rlv_element* e, const rlv_element* full)
{
    const bool both = has_both(e) && has_both(full);
    if (!both && e->long_by_shape != full->long_by_shape)
        return false;
    const bool turn = both && e->width_mm.value > e->length_mm.value;
    const bool turn_full = both && full->width_mm.value > full->length_mm.value;
    return is_smaller(turn ? e->width_mm : e->length_mm, turn_full ? full->width_mm : full->length_mm) ||
           is_smaller(turn ? e->length_mm : e->width_mm, turn_full ? full->length_mm : full->width_mm);
}

static size_t mark_partial(bool* partial, size_t count, const rlv_element* sighting)
{
    size_t fullest = 0, whole = 0;
    double most = -1.0;
    for (size_t i = 0; i < count; i++)
    {
        const double size = sighting[i].length_mm.value * sighting[i].width_mm.value;
        const bool better = sighting[fullest].sliver && !sighting[i].sliver;
        if (better || (size > most && sighting[i].sliver == sighting[fullest].sliver))
            most = size, fullest = i;
    }
    for (size_t i = 0; i < count; i++)
    {
        partial[i] = i != fullest && (sighting[i].sliver || shows_less(&sighting[i], &sighting[fullest]));
        whole += !partial[i];
    }
    return whole;
}

// --- attitudes -------------------------------------------------------------------------------------------------------

static int bits(unsigned known)
{
    return __builtin_popcount(known);
}

/// What a sighting knows beside the reference: an axis by shape is no anatomy, and tells nothing of one that is.
static unsigned known_beside(const rlv_element* e, const rlv_element* reference)
{
    return e->long_by_shape != reference->long_by_shape ? e->known & ~(unsigned)(RLV_ELEMENT_LONG | RLV_ELEMENT_FRONT)
                                                        : e->known;
}

/// How well a sighting serves as the reference: a plate with an axis that landmarks told does best, since others may
/// add the face to it but no axis; then the one that knows most.
static int worth(const rlv_element* e)
{
    const unsigned plate = RLV_ELEMENT_POLE | RLV_ELEMENT_LONG;
    const bool anatomy = !e->long_by_shape && (e->known & plate) == plate;
    return (anatomy ? 100 : 0) + 2 * bits(e->known) + !e->long_by_shape;
}

/// The axis of its frame that turns are free about; -1: none, 3: all.
static int free_axis(unsigned known)
{
    const bool pole = (known & RLV_ELEMENT_POLE) != 0, way = (known & RLV_ELEMENT_LONG) != 0;
    return pole && way ? -1 : pole ? 2 : way ? 0 : 3;
}

/// Turn a frame about its axis `k` until it lies as close as it can to another.
static rlv_mat3 spun(rlv_mat3 frame, int k, rlv_mat3 to)
{
    // In the frame's own axes the best turn is atan2 of what the trace and the cross of the other two sum to.
    const rlv_mat3 between = rlv_mat3_multiply(rlv_mat3_transpose(frame), to);
    const int a = (k + 1) % 3, b = (k + 2) % 3;
    const double turn = atan2(between.m[3 * b + a] - between.m[3 * a + b], between.m[3 * a + a] + between.m[3 * b + b]);
    const rlv_vec3 about = rlv_vec3_of(k == 0 ? turn : 0.0, k == 1 ? turn : 0.0, k == 2 ? turn : 0.0);
    return rlv_mat3_multiply(frame, rlv_rotation_from_vector(about));
}

/// The rotation vector from a reference to a sighting, whose unknown senses are taken as they lie closest.
static rlv_vec3 turn_from(rlv_mat3 reference, unsigned reference_known, const rlv_element* e, unsigned known)
{
    static const double flip[4][3] = {{1, 1, 1}, {1, -1, -1}, {-1, 1, -1}, {-1, -1, 1}};
    const unsigned both = known & reference_known;
    rlv_vec3 best = {0.0, 0.0, 0.0};
    double least = INFINITY;
    for (int i = 0; i < 4; i++)
    {
        if ((flip[i][0] < 0.0 && (both & RLV_ELEMENT_FRONT) != 0) ||
            (flip[i][2] < 0.0 && (both & RLV_ELEMENT_FACE) != 0))
            continue;
        rlv_mat3 frame = frame_of(e);
        for (int k = 0; k < 9; k++)
            frame.m[k] *= flip[i][k % 3];
        const int loose = free_axis(known);
        if (loose == 0 || loose == 2)
            frame = spun(frame, loose, reference);
        const rlv_vec3 turn = rlv_rotation_to_vector(rlv_mat3_multiply(frame, rlv_mat3_transpose(reference)));
        if (rlv_vec3_length(turn) < least)
            least = rlv_vec3_length(turn), best = turn;
    }
    return best;
}

/// Inverse covariance of an attitude, nothing about an axis that is free; how many axes are held.
static int attitude_information(double information[9], const rlv_element* e, unsigned known)
{
    const int loose = free_axis(known);
    double own[9], inverse[9] = {0.0};
    const rlv_mat3 frame = frame_of(e);
    memset(information, 0, 9 * sizeof *information);
    if (loose == 3)
        return 0;
    rlv_element_turn_cov(own, rlv_mat3_transpose(frame), e->attitude_cov_rad2);
    if (loose >= 0)
    {
        for (int k = 0; k < 3; k++)
            own[3 * loose + k] = own[3 * k + loose] = 0.0;
        own[4 * loose] = 1.0;
    }
    invert(inverse, own);
    if (loose >= 0)
        inverse[4 * loose] = 0.0;
    rlv_element_turn_cov(information, frame, inverse);
    return loose < 0 ? 3 : 2;
}

// --- one group -------------------------------------------------------------------------------------------------------

/// Sightings taken as one thing in one place.
typedef struct group
{
    rlv_element element;
    double chi_square, freedom;
} group;

static void fuse_places(group* g, const size_t* index, size_t count, const rlv_element* sighting)
{
    double information[9] = {0.0}, one[9], square = 0.0;
    const rlv_vec3 about = place_of(&sighting[index[0]]);
    rlv_vec3 sum = {0.0, 0.0, 0.0};
    for (size_t i = 0; i < count; i++)
    {
        const rlv_vec3 off = rlv_vec3_sub(place_of(&sighting[index[i]]), about);
        invert(one, sighting[index[i]].position_cov_mm2);
        for (int k = 0; k < 9; k++)
            information[k] += one[k];
        sum = rlv_vec3_add(sum, apply(one, off));
        square += along(one, off);
    }
    invert(g->element.position_cov_mm2, information);
    const rlv_vec3 mean = apply(g->element.position_cov_mm2, sum), place = rlv_vec3_add(about, mean);
    g->element.position_mm[0] = place.x;
    g->element.position_mm[1] = place.y;
    g->element.position_mm[2] = place.z;
    g->chi_square += fmax(square - rlv_vec3_dot(mean, sum), 0.0);
    g->freedom += 3.0 * ((double)count - 1.0);
}

/// Give the reference the senses that it does not know itself, as the first sighting that knows them has them: its own
/// are filled in, and nothing may be taken to lie as they do.
static void take_senses(rlv_element* reference, const size_t* index, size_t count, const rlv_element* sighting)
{
    // A half turn about the one axis turns the other's sense, and leaves its own.
    static const struct
    {
        unsigned sense;
        int axis, about;
    } kind[] = {{RLV_ELEMENT_FACE, 2, 0}, {RLV_ELEMENT_FRONT, 0, 2}};
    for (int which = 0; which < 2; which++)
        for (size_t i = 0; i < count && (reference->known & kind[which].sense) == 0; i++)
        {
            const rlv_element* e = &sighting[index[i]];
            const int axis = kind[which].axis;
            if ((known_beside(e, reference) & kind[which].sense) == 0)
                continue;
            reference->known |= kind[which].sense;
            const bool against = rlv_vec3_dot(rlv_element_axis(e, axis), rlv_element_axis(reference, axis)) < 0.0;
            for (int k = 0; k < 9; k++)
                reference->frame[k] *= against && k % 3 != kind[which].about ? -1.0 : 1.0;
        }
}

static void fuse_attitudes(group* g, const size_t* index, size_t count, const rlv_element* sighting)
{
    take_senses(&g->element, index, count, sighting);
    const rlv_element* reference = &g->element; // begun as the sighting that knows most
    const rlv_mat3 frame = frame_of(reference);
    double information[9] = {0.0}, one[9], square = 0.0;
    int held = 0;
    unsigned all = 0;
    rlv_vec3 sum = {0.0, 0.0, 0.0};
    for (size_t i = 0; i < count; i++)
    {
        const rlv_element* e = &sighting[index[i]];
        const unsigned known = known_beside(e, reference);
        const rlv_vec3 turn = turn_from(frame, reference->known, e, known);
        held += attitude_information(one, e, known);
        all |= known;
        for (int k = 0; k < 9; k++)
            information[k] += one[k];
        sum = rlv_vec3_add(sum, apply(one, turn));
        square += along(one, turn);
    }
    // Any turn is no information, but a covariance must be finite.
    for (int k = 0; k < 9; k += 4)
        information[k] += 1.0 / RLV_ELEMENT_ANY_TURN;
    invert(g->element.attitude_cov_rad2, information);
    const rlv_vec3 mean = apply(g->element.attitude_cov_rad2, sum);
    const rlv_mat3 turned = rlv_mat3_multiply(rlv_rotation_from_vector(mean), frame);
    memcpy(g->element.frame, turned.m, sizeof turned.m);
    const int together = free_axis(all) < 0 ? 3 : free_axis(all) < 3 ? 2 : 0;
    g->chi_square += fmax(square - rlv_vec3_dot(mean, sum), 0.0);
    g->freedom += fmax(held - together, 0);
    g->element.known = all;
}

static const rlv_interval* size_of(const rlv_element* e, int k)
{
    return k == 0 ? &e->length_mm : k == 1 ? &e->width_mm : &e->thickness_mm;
}

/// How much farther an interval reaches down than up: a bias, which all sightings have alike.
static double excess_of(rlv_interval interval)
{
    return fmax((interval.value - interval.low) - (interval.high - interval.value), 0.0);
}

/// The mean of one extent, of the sightings whose axis was told as the reference's was. What is even about it shrinks
/// with their number, and what is lopsided does not.
static rlv_interval fuse_size(const size_t* index, size_t count, const rlv_element* sighting, bool by_shape, int k)
{
    double weights = 0.0, sum = 0.0, excess = 0.0;
    for (size_t i = 0; i < count; i++)
    {
        const rlv_element* e = &sighting[index[i]];
        const double value = size_of(e, k)->value, weight = pow(sd_of(*size_of(e, k)), -2.0);
        if (isnan(value) || !isfinite(weight) || e->long_by_shape != by_shape)
            continue;
        weights += weight;
        sum += weight * value;
        excess += weight * excess_of(*size_of(e, k));
    }
    if (!(weights > 0.0))
        return (rlv_interval){(double)NAN, (double)NAN, (double)NAN};
    rlv_interval size = rlv_element_interval(sum / weights, 1.0 / sqrt(weights));
    size.low = fmax(size.low - excess / weights, 0.0);
    return size;
}

static group fuse_group(const size_t* index, size_t count, const rlv_element* sighting)
{
    size_t most = index[0];
    for (size_t i = 1; i < count; i++)
        if (worth(&sighting[index[i]]) > worth(&sighting[most]))
            most = index[i];
    group g = {.element = sighting[most]};
    const bool by_shape = g.element.long_by_shape;
    if (count == 1)
        return g;
    fuse_places(&g, index, count, sighting);
    fuse_attitudes(&g, index, count, sighting);
    g.element.length_mm = fuse_size(index, count, sighting, by_shape, 0);
    g.element.width_mm = fuse_size(index, count, sighting, by_shape, 1);
    g.element.thickness_mm = fuse_size(index, count, sighting, by_shape, 2);
    for (size_t i = 0; i < count; i++)
    {
        g.element.inflated |= sighting[index[i]].inflated;
        g.element.contradicts |= sighting[index[i]].contradicts;
    }
    return g;
}

// --- disturbed -------------------------------------------------------------------------------------------------------

/// Sightings with their own errors, with all of them, and what they share.
typedef struct sightings
{
    const rlv_element* own;
    rlv_element* all;
    const rlv_element_errors* shared; ///< NULL: nothing
} sightings;

/// What is told of a group: weighed by their own errors, with the mean of what they share.
static rlv_element tell(const sightings* s, const size_t* index, size_t count)
{
    rlv_element element = fuse_group(index, count, s->own).element;
    for (size_t i = 0; i < count && s->shared != NULL; i++)
    {
        rlv_element_errors part = s->shared[index[i]];
        for (int k = 0; k < 9; k++)
        {
            part.position_cov_mm2[k] /= (double)count;
            part.attitude_cov_rad2[k] /= (double)count;
        }
        rlv_element_add_errors(&element, &part);
    }
    return element;
}

/// Part the sightings where each part agrees best within itself, and tell what came between.
static void part_at_disturbance(rlv_element_fusion* fusion, const size_t* index, size_t count, const sightings* s)
{
    double least = INFINITY;
    size_t parted = 1;
    group before = {0}, after = {0};
    for (size_t split = 1; split < count; split++)
    {
        const group a = fuse_group(index, split, s->all), b = fuse_group(index + split, count - split, s->all);
        if (a.chi_square + b.chi_square >= least)
            continue;
        least = a.chi_square + b.chi_square;
        before = a;
        after = b;
        parted = split;
    }
    const rlv_vec3 shift = rlv_vec3_sub(place_of(&after.element), place_of(&before.element));
    const rlv_vec3 turn = turn_from(frame_of(&before.element), before.element.known, &after.element,
                                    known_beside(&after.element, &before.element));
    const rlv_vec3 way = rlv_vec3_unit(shift), about = rlv_vec3_unit(turn);
    fusion->since = index[parted];
    fusion->element = tell(s, index, parted);
    fusion->shift_mm = rlv_vec3_length(shift);
    fusion->shift_sd_mm =
        sqrt(along(before.element.position_cov_mm2, way) + along(after.element.position_cov_mm2, way));
    fusion->turn_deg = rlv_vec3_length(turn) * 180.0 / M_PI;
    fusion->turn_sd_deg =
        sqrt(along(before.element.attitude_cov_rad2, about) + along(after.element.attitude_cov_rad2, about)) * 180.0 /
        M_PI;
}

static void fuse(rlv_element_fusion* fusion, bool* less, size_t* index, size_t count, const sightings* s)
{
    size_t whole = 0;
    for (size_t i = 0; i < count; i++)
    {
        s->all[i] = s->own[i];
        if (s->shared != NULL)
            rlv_element_add_errors(&s->all[i], &s->shared[i]);
    }
    fusion->whole = mark_partial(less, count, s->own);
    for (size_t i = 0; i < count; i++)
        if (!less[i])
            index[whole++] = i;
    const group all = fuse_group(index, whole, s->all);
    if (all.freedom > 0.0)
        fusion->p = gsl_cdf_chisq_Q(all.chi_square, all.freedom);
    fusion->disturbed = fusion->p < ALARM;
    if (fusion->disturbed)
        part_at_disturbance(fusion, index, whole, s);
    else
        fusion->element = tell(s, index, whole);
}

rlv_status rlv_element_fuse(rlv_element_fusion* fusion, bool* partial, size_t count, const rlv_element* sighting,
                            const rlv_element_errors* shared, rlv_error* error)
{
    *fusion = (rlv_element_fusion){.p = (double)NAN};
    if (count == 0)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give one sighting at least", "there is no sighting");
    bool* less = rlv_reserve(count, sizeof *less, error);
    size_t* index = rlv_reserve(count, sizeof *index, error);
    const sightings s = {sighting, rlv_reserve(count, sizeof *s.all, error), shared};
    const bool room = less != NULL && index != NULL && s.all != NULL;
    if (room)
        fuse(fusion, less, index, count, &s);
    if (room && partial != NULL)
        memcpy(partial, less, count * sizeof *less);
    free(s.all);
    free(index);
    free(less);
    return room ? RLV_DONE : RLV_SYSTEM;
}

// --- how it is turned ------------------------------------------------------------------------------------------------

/// Covariance of turns about two of the frame's axes.
static double turns_about(const rlv_element* e, int a, int b)
{
    double sum = 0.0;
    for (int k = 0; k < 9; k++)
        sum += e->frame[k / 3 * 3 + a] * e->attitude_cov_rad2[k] * e->frame[k % 3 * 3 + b];
    return sum;
}

double rlv_element_axis_sd_deg(const rlv_element* e, int axis)
{
    const int a = (axis + 1) % 3, b = (axis + 2) % 3;
    const double aa = turns_about(e, a, a), bb = turns_about(e, b, b), ab = turns_about(e, a, b);
    const double greatest = 0.5 * (aa + bb) + hypot(0.5 * (aa - bb), ab); // eigenvalue
    return sqrt(fmax(greatest, 0.0)) * 180.0 / M_PI;
}

bool rlv_element_axis_told(const rlv_element* e, int axis)
{
    return RLV_HALF_95 * rlv_element_axis_sd_deg(e, axis) <= 90.0;
}

// --- a plane ---------------------------------------------------------------------------------------------------------

rlv_interval rlv_element_angle_deg(const rlv_element* element, const rlv_fitted_plane* plane)
{
    const double unknown = (double)NAN, deg = 180.0 / M_PI;
    if ((element->known & RLV_ELEMENT_POLE) == 0)
        return (rlv_interval){unknown, unknown, unknown};
    const rlv_vec3 pole = rlv_element_axis(element, 2);
    const rlv_vec3 other = rlv_vec3_dot(pole, plane->pole) < 0.0 ? rlv_vec3_scale(plane->pole, -1.0) : plane->pole;
    const rlv_vec3 across = rlv_vec3_cross(pole, other);
    const double sine = rlv_vec3_length(across), angle = atan2(sine, rlv_vec3_dot(pole, other));
    double cov[9];
    for (int k = 0; k < 9; k++)
        cov[k] = element->attitude_cov_rad2[k] + plane->cov_rad2[k];
    // Turns about the line in which the two meet change the angle; where they nearly coincide any line is that one,
    // and the angle is the length of a normal pair of tilts: nothing is told from zero below 2.45 sds of it.
    const rlv_vec3 axis = sine > 0.0 ? rlv_vec3_unit(across) : rlv_vec3_of(0.0, 0.0, 0.0);
    const double sd = sqrt(sine > 0.0 ? along(cov, axis) : fmax(cov[0], fmax(cov[4], cov[8])));
    rlv_interval told = rlv_element_interval(angle * deg, sd * deg);
    told.low = angle < sqrt(gsl_cdf_chisq_Pinv(0.95, 2.0)) * sd ? 0.0 : told.low;
    told.high = fmin(told.high, 90.0);
    return told;
}
