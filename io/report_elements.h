/// The elements of a specimen as tables: what is pinned on the wall, and all figures behind it.

#ifndef RLV_REPORT_ELEMENTS_H
#define RLV_REPORT_ELEMENTS_H

#include "history_elements.h"
#include "report_words.h"
#include "table.h"

typedef enum elements_table
{
    ELEMENTS_MEASURED,  ///< a row an element
    ELEMENTS_ATTITUDES, ///< how each is turned, as axes
    ELEMENTS_SIGHTINGS, ///< a row an element and stage
    ELEMENTS_BEDDING,   ///< one row, where it is known: the plane that was bedding
    ELEMENTS_TABLES,
} elements_table;

typedef struct elements_tables
{
    rlv_table table[ELEMENTS_TABLES];
} elements_tables;

/// Fill them. `elements` must outlive them. Free with elements_tables_free.
elements_tables elements_tables_of(const history_elements* elements);
void elements_tables_free(elements_tables* tables);

/// What was judged of an element, for the table that people read.
typedef struct elements_judged
{
    report_text state;       ///< empty: not known
    report_text place;       ///< "5"; empty: as recorded
    report_text place_known; ///< "counted, 88 %": how that is known; empty: recorded
    double told_mm;          ///< a shift of it would have been told from so far on; NaN: not known
} elements_judged;

/// The row an element that people read: fewer columns, with size, trend and plunge in words; with what
/// `judged(user, element)` tells, where that is not NULL. Free with table_free.
typedef elements_judged (*elements_judge)(const void* user, size_t element);
rlv_table elements_wall(const history_elements* elements, elements_judge judged, const void* user);

/// The pole of bedding, to its upper side where up is known, and its strike and dip; NaN where not known.
typedef struct elements_bedding
{
    rlv_vec3 pole;
    rlv_strike strike;
    double dip_direction_deg, sd_deg; ///< sd: of the pole's direction, along the way that it is least sure in
} elements_bedding;
elements_bedding elements_bedding_of(const history_elements* elements);

/// "up", "down", "on edge"; NULL where it is not known.
const char* elements_face_name(history_face face);

/// Half of the 95 % interval of the place along the axis on which it is least sure.
double elements_half_mm(const rlv_element* element);

#endif
