/// Places for labels: beside what they name, never over each other, never outside their panel.
///
/// Labels are placed one after another, those given first with the first choice. Of all free places, on rings of
/// growing radius, the cheapest is taken: near, its leader crossing nothing, covering no line (an outline, an arrow)
/// and no other anchor, nearer to none than to its own, and on the side where its anchor has no neighbours: labels of
/// a row then stand all on its outer side. Where no ring has room the nearest free place of the panel is taken. When
/// all have a place, each is looked for once more among the others. The same labels always get the same places.

#ifndef RLV_LABELS_H
#define RLV_LABELS_H

#include "error.h"

#include <stdbool.h>

/// A box on the sheet, from its upper left corner.
typedef struct rlv_box2
{
    double left, top, width, height;
} rlv_box2;

typedef struct rlv_label
{
    double anchor[2];     ///< what it names
    double width, height; ///< of its box
    double clear;         ///< radius round the anchor that boxes keep off, its own always and others where they can
    bool fixed;           ///< in: `left` and `top` are given and stay
    size_t own_first;     ///< in: its own outline is so many of the lines that labels are placed among, from
    size_t own_count;     ///< that one on; none: a circle of `clear` round the anchor
    bool placed;          ///< out
    double left, top;     ///< out
    bool led;             ///< out: it stands so far off, or nearer to another's outline, that it needs a leader
    double foot[2];       ///< out: where the leader meets the box
} rlv_label;

/// A stretch of a line on the sheet.
typedef struct rlv_stretch
{
    double from[2], to[2];
} rlv_stretch;

/// What labels are placed among.
typedef struct rlv_label_place
{
    rlv_box2 within; ///< the panel
    size_t obstacle_count;
    const rlv_box2* obstacle; ///< scale bar, legend: no label ever touches them
    size_t line_count;
    const rlv_stretch* line; ///< outlines and arrows: a label covers one only where it would else stand far off
    double gap;              ///< between labels
} rlv_label_place;

/// Whether two boxes come nearer than a gap to one another.
bool rlv_boxes_overlap(rlv_box2 a, rlv_box2 b, double gap);

/// Place `count` labels within a panel.
/// Returns how many found no room: those are not placed.
size_t rlv_labels_place(size_t count, rlv_label* label, const rlv_label_place* among);

/// A name as a label shows it, by value.
typedef struct rlv_short_name
{
    char text[160];
} rlv_short_name;

/// A name as it is shown where there is room for `most` letters (one at least): whole, or what it begins with and "…".
/// It is counted, and cut, in letters as people see them, with the marks that sit on them, and not in bytes: an id has
/// up to 100 of these in any script, and four of them may be one letter (RFC 3629).
rlv_short_name rlv_shorten_name(const char* name, size_t most);

/// How many of the lines a box covers.
size_t rlv_labels_covered(rlv_box2 box, size_t line_count, const rlv_stretch* line);

#endif
