/// Lines: open and closed polylines in a plane, as sections, outlines and isolines come out.
///
/// A set of lines shares one array of points. A closed line does not repeat its first point. What encloses area runs
/// counter-clockwise (x to the right, y up) where it is filled and clockwise round a hole, so that areas add up by
/// sign.

#ifndef RLV_LINES_H
#define RLV_LINES_H

#include "error.h"

#include <stdbool.h>
#include <stdint.h>

/// A set of lines. A zeroed one is empty.
typedef struct rlv_lines
{
    size_t line_count;
    size_t* start; ///< line_count + 1 offsets into the points; NULL where there are no lines
    bool* closed;  ///< line_count
    size_t point_count;
    double* point; ///< 2 * point_count: x, y
} rlv_lines;

/// Free what lines own and zero them. Safe on zeroed lines and after a failure.
void rlv_lines_free(rlv_lines* lines);

/// A directed piece of a line, from one place to another. Places are the same where their keys are; a key's
/// coordinates must then be the same to the bit.
typedef struct rlv_link
{
    uint64_t from, to; ///< keys of its ends
    double from_at[2], to_at[2];
} rlv_link;

/// Join `count` links head to tail into lines, into zeroed `lines`. A line is closed where it comes back to its first
/// link. Where several links leave one place they are taken in the order they are given, so that the result is the
/// same every time. Points that coincide with the one before are dropped, and lines of a single point with them. The
/// links are sorted. Free with rlv_lines_free, which is safe after a failure.
rlv_status rlv_lines_join(rlv_lines* lines, size_t count, rlv_link* link, rlv_error* error);

/// How far a point lies from a straight stretch between two others, which may be one place.
double rlv_off_stretch(const double point[2], const double from[2], const double to[2]);

/// Drop points that lie within `tolerance` of the line without them (D. Douglas, T. Peucker, Cartographica 10, 1973).
/// Ends stay; of a closed line its first point and the one farthest from it stay. On RLV_SYSTEM lines are as they were.
rlv_status rlv_lines_simplify(rlv_lines* lines, double tolerance, rlv_error* error);

/// Drop closed lines that enclose less than `area`, and open ones shorter than `length`.
void rlv_lines_drop_small(rlv_lines* lines, double area, double length);

/// Carry every point: x' = origin[0] + scale_x * x, y' = origin[1] + scale_y * y.
void rlv_lines_carry(rlv_lines* lines, const double origin[2], double scale_x, double scale_y);

/// Signed area of one closed line, positive where it runs counter-clockwise (the shoelace formula, about its first
/// point); 0 of an open one.
double rlv_line_area(const rlv_lines* lines, size_t line);

/// Length of one line, with the side that closes it.
double rlv_line_length(const rlv_lines* lines, size_t line);

/// The sums over all lines: signed area of the closed ones, length of all.
double rlv_lines_area(const rlv_lines* lines);
double rlv_lines_length(const rlv_lines* lines);

/// The box of all points; false (and nothing filled) where there are none.
bool rlv_lines_box(const rlv_lines* lines, double low[2], double high[2]);

#endif
