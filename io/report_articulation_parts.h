/// What the files of an articulation's tables and sentences share: internal to them.

#ifndef RLV_REPORT_ARTICULATION_PARTS_H
#define RLV_REPORT_ARTICULATION_PARTS_H

#include "report_articulation.h"

const rlv_specimen* articulation_specimen(const history_articulation* a);

/// Id of an element, by its index among all.
const char* articulation_id(const history_articulation* a, size_t element);

/// NULL where a text is empty: not known.
const char* articulation_or_null(const char* text);

/// "7", "7-9"; empty for INT_MIN.
report_text articulation_places(int first, int last);

/// The interval of a length that is shorter than its errors would make it is 0 alone: it is then told to be as long as
/// was measured, at the most.
rlv_interval articulation_length_of(rlv_interval length);

/// A motion in the block's frame; of a stretch the one that the disturbance sums up (NaN where it sums up none).
/// `sd_deg` is of its direction in space, to first order, along the way that it is least sure in.
typedef struct articulation_way
{
    rlv_vec3 motion_mm;
    double sd_deg;
} articulation_way;
/// Half of the 95 % interval of that direction; 180: any.
double articulation_way_half_deg(articulation_way way);
articulation_way articulation_way_of(const rlv_body_motion* motion, const rlv_mat3* body);
articulation_way articulation_way_of_group(const history_articulation* a, size_t group);
/// The stretch's motion on the body, in the block's frame where its first or its last element belongs.
articulation_way articulation_way_at(const history_articulation* a, size_t group, bool last);

/// How an element came from an unfilled life position, if it did: how far, and by compass where that is known (the way
/// that it went).
typedef struct articulation_came
{
    rlv_interval far_mm;
    bool compass;
    double trend_deg, plunge_deg;
} articulation_came;
articulation_came articulation_came_from(const history_articulation* a, size_t unfilled, size_t element);

/// Whether an element lies off its row: else no current is told of.
bool articulation_has_off_row(const history_articulation* a);

/// Which way a current carried what is loose: how far, and by compass, as told to people, with half of the 95 %
/// interval of the direction. False where that is not told: a current is less likely than not, or north or its way not
/// known.
typedef struct carried_way
{
    double far_mm;
    int trend_deg;
    double half_deg;
} carried_way;
bool articulation_carried_way(carried_way* way, const history_articulation* a);

/// By what angle in the level a motion that has a direction there went otherwise than the current, and the most that
/// its errors, the current's and the scatter of what a current carries make of it (95 %). NaN where either has none.
typedef struct carried_off
{
    double off_deg, most_deg;
} carried_off;
carried_off articulation_off_current(const history_articulation* a, const rlv_disturbance_motion* motion);

/// Half of the longest axis of a life position's 95 % region.
double articulation_region_half_mm(const rlv_unfilled* life);

/// Whether a life position beyond its row's last element is known no better than to the next one.
bool articulation_is_vague(const history_articulation* a, size_t unfilled);

/// "above": which side of the block is nearest; NULL where up is not known.
const char* articulation_nearest_side(const history_articulation* a, const history_unfilled* u);

/// The stage at which the place is in the block no more; NULL where it is, or never was.
const char* articulation_taken_at(const history_articulation* a, const history_unfilled* u);

/// Of the element of a row that is held nearest to a place, on one side of it (-1, 1), or of those in place (`still`):
/// index among those given; SIZE_MAX where there is none.
size_t articulation_held_beside(const history_articulation* a, size_t row, int place, int side, bool still);

/// How far a plate reaches from its middle along a way, either way: the half of a box of its length, width and
/// thickness (`size_mm`) along the columns of `frame`. Its interval holds those of the sizes and that it may be turned
/// by `turn_sd_deg` about each axis (in report_edge.c, as all that follows).
rlv_interval articulation_plate_reach(const rlv_mat3* frame, const rlv_interval size_mm[3], double turn_sd_deg,
                                      rlv_vec3 way);

/// How deep something lies that reaches nearer to the surface than its middle. The two errors are apart.
rlv_interval articulation_shallower(rlv_interval depth_mm, rlv_interval reach_mm);

/// How near to today's surface the nearest edge of a plate at an unfilled life position comes: `depth_mm`, where the
/// attitude in life of a neighbour is known, NaN else; and how much higher than its middle it may lie at any attitude,
/// by half of its greater size. Both NaN where fewer than three of its row were measured, or it is not told as in the
/// rock, or probably.
typedef struct articulation_edge
{
    rlv_interval depth_mm;
    double most_mm;
} articulation_edge;
articulation_edge articulation_nearest_edge(const history_articulation* a, size_t unfilled);

/// How sure the number of an unfilled place is, by the counted elements on both sides of it; NaN where its row was not
/// counted.
double articulation_number_sure(const history_articulation* a, const rlv_unfilled* life);

/// ", between LR03 and LR05": the elements on both sides of a place whose number is not sure (below
/// ARTICULATION_SURE), by which it is known whatever its number; empty where it is sure, or one side has none.
report_text articulation_between(const history_articulation* a, const rlv_unfilled* life);

/// A number of a place that is less probable than this is told as not sure.
#define ARTICULATION_SURE 0.9

#endif
