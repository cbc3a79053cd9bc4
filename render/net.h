/// Directions on paper: nets of the lower hemisphere, and roses.
///
/// A net is the lower half of a sphere seen from above, in the equal-area projection of J. H. Lambert (1772), which
/// W. Schmidt brought to structural geology (1925): a line of plunge P and trend T falls at sqrt(2) sin(45 deg - P / 2)
/// of the radius, T clockwise from the top. Equal numbers of directions cover equal areas, so that a cluster is what it
/// looks like. A line has no sense, and is drawn where its lower end falls. A motion has one: one that points upwards
/// falls at its opposite, and is drawn open.
///
/// A rose counts azimuths by even sectors. A petal's area is its number: its radius goes with the square root of it,
/// for a radius that went with the number would show four where there are two. Beside petals each azimuth is
/// also a dot outside the rim, since few of them make any petals; where there are no petals each is an arrow, by name.

#ifndef RLV_NET_H
#define RLV_NET_H

#include "articulation.h"
#include "directions.h"
#include "key.h"
#include "state.h"
#include "title.h"

/// Where a direction (any length) falls on a net about (0, 0), x to the right and y down the page; true where it points
/// down or is level, false where its opposite is drawn.
bool rlv_net_place(const rlv_compass* compass, rlv_vec3 direction, double radius, double at[2]);

/// Whether azimuths are counted by petals. Fewer than five are arrows: petals would look like more than there is.
bool rlv_rose_has_petals(size_t count);

/// Sectors of a rose: 30 degrees wide for fewer than 24 azimuths, 20 for fewer than 60, else 10 (common practice, no
/// source); how many fall into each, from north on, each sector with its lower end; and how far a petal reaches, where
/// `most` reach the rim.
double rlv_rose_width_deg(size_t count);
void rlv_rose_count(size_t count, const double* azimuth_deg, double width_deg, size_t* petal);
double rlv_rose_radius(size_t count, size_t most, double radius);

typedef struct rlv_net_point
{
    rlv_vec3 way; ///< any length above zero
    rlv_articulation_state state;
    const char* label; ///< may be NULL
    rlv_open_why open; ///< why it has no state, where it has none
} rlv_net_point;

typedef struct rlv_net
{
    const char* name;
    bool directed; ///< motions, which have a sense; else lines, such as poles
    size_t count;
    const rlv_net_point* point;
    const rlv_vec3* mean;          ///< their mean direction; NULL: none to draw
    double cone_deg;               ///< half angle of its 95 % cone; NaN: none to draw
    const rlv_orientation* tensor; ///< its three axes; NULL: none to draw
    const char* words;             ///< beneath, on RLV_NET_LINES lines at most; may be NULL
} rlv_net;

/// An arc of a rose beside what it counts: the 95 % interval of a current, outside the rim, or the range of directions
/// that one motion has over the stretch that made it, inside.
typedef struct rlv_rose_arc
{
    double middle_deg;       ///< of a current, marked
    double from_deg, to_deg; ///< clockwise, to >= from; a turn at the most
    bool current;            ///< else a range
} rlv_rose_arc;

typedef struct rlv_rose
{
    const char* name;
    size_t count;
    const double* azimuth_deg;
    const char* const* label;  ///< one an azimuth, beside its arrow where there are no petals; may be NULL
    double mean_deg, half_deg; ///< the mean and half its 95 % interval; NaN: none to draw
    size_t likely_count;       ///< motions from places that are only likely: dashed arrows, which are not counted
    const double* likely_deg;
    const char* const* likely_label; ///< one each; may be NULL
    size_t arc_count;
    const rlv_rose_arc* arc;
    const char* words;
} rlv_rose;

enum
{
    RLV_NET_MOST = 3,  ///< nets on a sheet
    RLV_NET_LINES = 4, ///< beneath each
};

/// Nets, and a rose, side by side.
typedef struct rlv_net_sheet
{
    rlv_title title;
    rlv_compass compass;
    bool north_known;        ///< else the compass is of the frame's own axes: x for east, y for north, z for up
    const rlv_vec3* bedding; ///< its pole; NULL: not known
    size_t net_count;        ///< RLV_NET_MOST at most
    const rlv_net* net;
    const rlv_rose* rose; ///< NULL: none
    int paper;            ///< the least size of the A series
} rlv_net_sheet;

/// What signs and lines are on such a sheet, for its key.
rlv_key rlv_net_key(const rlv_net_sheet* nets);

/// Draw them into a zeroed `sheet`. `left_out` (may be NULL): labels that found no room. RLV_BAD_INPUT where there is
/// nothing to draw. Free with rlv_sheet_free, which is safe after a failure.
rlv_status rlv_sheet_of_nets(rlv_sheet* sheet, const rlv_net_sheet* nets, size_t* left_out, rlv_error* error);

#endif
