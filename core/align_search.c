#include "align_search.h"
#include "align_describe.h"

#include <stdlib.h>
#include <string.h>

#define SIZES 4     ///< neighbourhoods that are described
#define PARTNERS 48 ///< places of BEFORE that are compared in full, per place of AFTER
#define PROPOSALS 6 ///< poses that a place of AFTER proposes
#define FIRST 64    ///< samples that judge a proposal first
#define SECOND 512  ///< and then
#define SECONDS 600 ///< proposals that are judged by SECOND samples
#define SETTLED 160 ///< and of these, those that are settled

/// Radius of a neighbourhood, in roots of BEFORE's area / pi.
static const double size_of_place[SIZES] = {0.25, 0.14, 0.08,
                                            0.055}; // the last only where BEFORE is open: a shared rim is narrow
static const double spacing_in_radii = 0.3;
static const size_t places_before = 6000, places_after = 800;

double rlv_search_apart_mm(const rlv_samples* after, const rlv_pose* a, const rlv_pose* b)
{
    double worst = 0.0;
    for (int corner = 0; corner < 8; corner++)
    {
        rlv_vec3 at = rlv_vec3_of(corner & 1 ? after->low_mm.x : after->high_mm.x,
                                  corner & 2 ? after->low_mm.y : after->high_mm.y,
                                  corner & 4 ? after->low_mm.z : after->high_mm.z);
        worst = fmax(worst, rlv_vec3_length(rlv_vec3_sub(rlv_pose_apply(a, at), rlv_pose_apply(b, at))));
    }
    return worst;
}

/// The pose that carries place `from`, turned by `turn_rad` about its normal, onto `to`.
static rlv_pose pose_between(const rlv_place* from, const rlv_place* to, double turn_rad)
{
    rlv_vec3 from_other = rlv_vec3_cross(from->normal, from->side), to_other = rlv_vec3_cross(to->normal, to->side);
    rlv_vec3 side = rlv_vec3_along(rlv_vec3_scale(to->side, cos(turn_rad)), sin(turn_rad), to_other);
    rlv_vec3 other = rlv_vec3_cross(to->normal, side);
    const rlv_mat3 source = {{from->side.x, from->side.y, from->side.z, from_other.x, from_other.y, from_other.z,
                              from->normal.x, from->normal.y, from->normal.z}};
    const rlv_mat3 target = {
        {side.x, other.x, to->normal.x, side.y, other.y, to->normal.y, side.z, other.z, to->normal.z}};
    rlv_pose pose = rlv_pose_identity();
    pose.rotation = rlv_mat3_multiply(target, source);
    pose.translation_mm = rlv_vec3_sub(to->at_mm, rlv_mat3_apply(pose.rotation, from->at_mm));
    return pose;
}

/// A place of BEFORE that may match, and how badly.
typedef struct match
{
    float misfit;
    uint32_t place;
    float turn_rad;
} match;

/// Put `found` into a list of at most `limit` that rises by misfit; what comes first wins a tie.
static void insert(match* list, size_t* count, size_t limit, match found)
{
    if (*count == limit && !(found.misfit < list[limit - 1].misfit))
        return;
    size_t at = *count < limit ? (*count)++ : limit - 1;
    for (; at > 0 && found.misfit < list[at - 1].misfit; at--)
        list[at] = list[at - 1];
    list[at] = found;
}

static float moduli_apart(const rlv_place* a, const rlv_place* b)
{
    float sum[4] = {0};
    for (int i = 0; i < RLV_MODULI; i += 4)
        for (int k = 0; k < 4; k++)
        {
            const float d = a->moduli[i + k] - b->moduli[i + k];
            sum[k] += d * d;
        }
    return (sum[0] + sum[1]) + (sum[2] + sum[3]);
}

/// The proposals of one place of AFTER: PROPOSALS poses with their scores, absent ones with a score of minus infinity.
static void propose(const rlv_search* search, const rlv_place* from, const rlv_places* before, const rlv_turns* turns,
                    rlv_pose_candidate* proposal)
{
    match near[PARTNERS], best[PROPOSALS];
    size_t near_count = 0, best_count = 0;
    for (size_t i = 0; i < before->count; i++)
        insert(near, &near_count, PARTNERS,
               (match){.misfit = moduli_apart(from, before->place + i), .place = (uint32_t)i});
    for (size_t i = 0; i < near_count; i++)
    {
        double turn = 0.0;
        const double misfit = rlv_places_compare(from, before->place + near[i].place, turns, &turn);
        insert(best, &best_count, PROPOSALS,
               (match){.misfit = (float)misfit, .place = near[i].place, .turn_rad = (float)turn});
    }
    const size_t stride = search->after->count / FIRST + 1;
    for (size_t k = 0; k < PROPOSALS; k++)
    {
        proposal[k].score = -INFINITY;
        if (k >= best_count)
            continue;
        proposal[k].pose = pose_between(from, before->place + best[k].place, (double)best[k].turn_rad);
        proposal[k].score = rlv_distance_field_score(search->field, search->after, &proposal[k].pose,
                                                     2.0 * search->field->side_mm, 0, stride);
    }
}

/// Score and place in the list: by falling score, then by rising place, so that the order does not depend on the sort.
typedef struct rank
{
    double score;
    size_t place;
} rank;

static int better(const void* a, const void* b)
{
    const rank *x = a, *y = b;
    if (x->score != y->score)
        return x->score < y->score ? 1 : -1;
    return (x->place > y->place) - (x->place < y->place);
}

/// Bring the best `keep` to the front, best first. Returns how many there are (those without a score are none).
static size_t keep_best(rlv_pose_candidate* candidate, size_t count, size_t keep, rlv_error* error)
{
    rank* order = rlv_reserve(count, sizeof *order, error);
    rlv_pose_candidate* sorted = order != NULL ? rlv_reserve(keep, sizeof *sorted, error) : NULL;
    size_t kept = 0;
    if (sorted != NULL)
    {
        for (size_t i = 0; i < count; i++)
            order[i] = (rank){candidate[i].score, i};
        qsort(order, count, sizeof *order, better);
        for (; kept < keep && kept < count && order[kept].score > -INFINITY; kept++)
            sorted[kept] = candidate[order[kept].place];
        memcpy(candidate, sorted, kept * sizeof *sorted);
    }
    free(sorted);
    free(order);
    return kept;
}

/// Where a pose puts four points about AFTER, so that two poses are quickly told apart.
typedef struct images
{
    rlv_vec3 at[4];
} images;

static images images_of(const rlv_samples* after, const rlv_pose* pose)
{
    // Corners of a tetrahedron as large as AFTER.
    static const double corner[4][3] = {{1, 1, 1}, {1, -1, -1}, {-1, 1, -1}, {-1, -1, 1}};
    const double size = after->radius_mm / sqrt(3.0);
    images image;
    for (int k = 0; k < 4; k++)
        image.at[k] = rlv_pose_apply(
            pose,
            rlv_vec3_add(after->centre_mm, rlv_vec3_of(size * corner[k][0], size * corner[k][1], size * corner[k][2])));
    return image;
}

static bool images_close(const images* a, const images* b, double limit_mm)
{
    for (int k = 0; k < 4; k++)
    {
        rlv_vec3 apart = rlv_vec3_sub(a->at[k], b->at[k]);
        if (rlv_vec3_dot(apart, apart) > limit_mm * limit_mm)
            return false;
    }
    return true;
}

/// Keep the proposals (best first) that stand for themselves: of each crowd within `crowd_mm` only the `most` best, so
/// that rivals are not lost behind many copies of one pose. Returns how many are kept, at most `keep`.
static size_t thin_crowds(const rlv_search* search, rlv_pose_candidate* candidate, size_t count, size_t keep, int most,
                          double crowd_mm, rlv_error* error)
{
    images* image = rlv_reserve(keep, sizeof *image, error);
    size_t kept = 0;
    for (size_t i = 0; i < count && kept < keep && image != NULL; i++)
    {
        const images own = images_of(search->after, &candidate[i].pose);
        int crowd = 0;
        for (size_t k = 0; k < kept && crowd < most; k++)
            crowd += images_close(&own, image + k, crowd_mm);
        if (crowd == most)
            continue;
        image[kept] = own;
        candidate[kept++] = candidate[i];
    }
    free(image);
    return kept;
}

/// Settle on the field, and score at a reach of one cell.
static void settle_all(const rlv_search* search, rlv_pose_candidate* candidate, size_t count, double reach, int rounds,
                       size_t samples)
{
    const double side = search->field->side_mm;
    const size_t stride = search->after->count / samples + 1;
#pragma omp parallel for schedule(dynamic, 2)
    for (size_t i = 0; i < count; i++)
    {
        rlv_distance_field_settle(search->field, search->after, &candidate[i].pose, reach * side, 1.2 * side, rounds,
                                  stride);
        candidate[i].score = rlv_distance_field_score(search->field, search->after, &candidate[i].pose, side, 0,
                                                      search->after->count / 2000 + 1);
    }
}

size_t rlv_search_settle(const rlv_search* search, rlv_pose_candidate* candidate, size_t count, size_t keep,
                         rlv_error* error)
{
    const double side = search->field->side_mm;
    settle_all(search, candidate, count, 4.0, 6, 400);
    count = keep_best(candidate, count, count, error);
    count = thin_crowds(search, candidate, count, 4 * keep, 1, 3.0 * side, error);
    settle_all(search, candidate, count, 2.0, 12, 1000);
    count = keep_best(candidate, count, count, error);
    return thin_crowds(search, candidate, count, keep, 1, 3.0 * side, error);
}

/// All proposals of one size of neighbourhood. `proposal` has room for places_after * PROPOSALS; `count` tells how many
/// were made.
static rlv_status propose_all(const rlv_search* search, double radius_mm, rlv_pose_candidate* proposal, size_t* count,
                              rlv_error* error)
{
    rlv_places before = {0}, after = {0};
    const double spacing = spacing_in_radii * radius_mm;
    rlv_status status =
        rlv_places_describe(&before, search->before, search->before_tree, radius_mm, spacing, places_before, error);
    if (status == RLV_DONE)
        status =
            rlv_places_describe(&after, search->after, search->after_tree, radius_mm, spacing, places_after, error);
    *count = 0;
    if (status == RLV_DONE)
    {
        const rlv_turns turns = rlv_turns_table();
#pragma omp parallel for schedule(dynamic, 8)
        for (size_t i = 0; i < after.count; i++)
            propose(search, after.place + i, &before, &turns, proposal + i * PROPOSALS);
        *count = after.count * PROPOSALS;
    }
    rlv_places_free(&after);
    rlv_places_free(&before);
    return status;
}

rlv_status rlv_search_poses(const rlv_search* search, rlv_pose_candidate candidate[RLV_CANDIDATES], size_t* count,
                            const rlv_progress* progress, rlv_error* error)
{
    *count = 0;
    rlv_pose_candidate* proposal = rlv_reserve(SIZES * places_after * PROPOSALS, sizeof *proposal, error);
    if (proposal == NULL)
        return RLV_SYSTEM;
    const double unit = sqrt(search->before->area_mm2 / M_PI);
    rlv_status status = RLV_DONE;
    size_t made = 0;
    const int sizes = search->field->open ? SIZES : SIZES - 1;
    for (int size = 0; size < sizes && status == RLV_DONE; size++)
    {
        rlv_tell(progress, "searching", (double)size / sizes);
        size_t more = 0;
        status = propose_all(search, size_of_place[size] * unit, proposal + made, &more, error);
        made += more;
    }
    if (status == RLV_DONE)
    {
        const double crowd_mm = 6.0 * search->field->side_mm;
        made = keep_best(proposal, made, made, error);
        made = thin_crowds(search, proposal, made, SECONDS, 8, crowd_mm, error);
        const size_t stride = search->after->count / SECOND + 1;
#pragma omp parallel for schedule(static)
        for (size_t i = 0; i < made; i++)
            proposal[i].score = rlv_distance_field_score(search->field, search->after, &proposal[i].pose,
                                                         2.0 * search->field->side_mm, 0, stride);
        made = keep_best(proposal, made, SECONDS, error);
        made = thin_crowds(search, proposal, made, SETTLED, 2, crowd_mm, error);
        made = rlv_search_settle(search, proposal, made, RLV_CANDIDATES, error);
        memcpy(candidate, proposal, made * sizeof *candidate);
        *count = made;
    }
    free(proposal);
    rlv_tell(progress, "searching", 1.0);
    return status;
}
