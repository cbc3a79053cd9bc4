/// What has left its life position, and where bone may still lie, as tables and sentences: what is pinned on the wall,
/// and all figures behind it.

#ifndef RLV_REPORT_ARTICULATION_H
#define RLV_REPORT_ARTICULATION_H

#include "report_disturbance.h"

/// What the words for where a place lies mean, where the interval of its depth holds 0.
#define ARTICULATION_WHERE_MEANING                                                                                     \
    "where the 95 % interval of the depth holds 0, probably in the rock: the depth is half of what it is unsure by, "  \
    "at "                                                                                                              \
    "least, so that it lies below the surface five times in six; within its error of the surface: on either side of "  \
    "it; near the surface, or above it: as far above as that, and at the most just beneath"

typedef enum articulation_table
{
    ARTICULATION_ELEMENTS,   ///< a row an element: its state and its motion
    ARTICULATION_GROUPS,     ///< a row a stretch that moved together
    ARTICULATION_UNFILLED,   ///< a row a life position without an element
    ARTICULATION_CANDIDATES, ///< a row a loose element and a life position that it may have had
    ARTICULATION_ROWS,       ///< a row a row of life positions
    ARTICULATION_SHARES,     ///< a row a part of the body
    ARTICULATION_GAPS,       ///< a row a natural gap in the spacing of a row
    ARTICULATION_AHEAD,      ///< a row a distance ahead of the last element of the body
    ARTICULATION_SKELETON,   ///< one row: the whole
    ARTICULATION_OWN,        ///< from there on those of its disturbance, as disturbance_table has them
    ARTICULATION_TABLES = ARTICULATION_OWN + DISTURBANCE_TABLES,
} articulation_table;

typedef struct articulation_tables
{
    rlv_table table[ARTICULATION_TABLES];
} articulation_tables;

/// Fill them: of one that could not be fitted only those of elements and of rows. `articulation` must outlive them.
/// Free with articulation_tables_free.
articulation_tables articulation_tables_of(const history_articulation* articulation);
void articulation_tables_free(articulation_tables* tables);

/// What people read: the stretches that moved together; the elements that are not in place; those that lie off their
/// row, and have moved from a place that is not known; the life positions without an element, and the rows of which
/// none can be told; the loose elements, and which of those they may have had; the share in place along the body. Free
/// with table_free.
rlv_table articulation_groups_wall(const history_articulation* articulation);
rlv_table articulation_moved_wall(const history_articulation* articulation);
rlv_table articulation_off_row_wall(const history_articulation* articulation);
rlv_table articulation_unfilled_wall(const history_articulation* articulation);
rlv_table articulation_loose_wall(const history_articulation* articulation);
rlv_table articulation_shares_wall(const history_articulation* articulation);

/// The body beyond its last element, at a few distances ahead; no rows where every row's last place is held. And what
/// stands below it: how far the rows go on; empty where there is none (in report_ahead.c).
rlv_table articulation_ahead_table(const history_articulation* articulation);
report_text articulation_ahead_words(const history_articulation* articulation);

/// Steps of a row's spacing that are too wide or too narrow for chance (in report_ahead.c).
rlv_table articulation_gaps_table(const history_articulation* articulation);

/// What a row's judgement is good for: which shift would have been found; where its spacing has a gap; and how it
/// agrees with a comparative specimen. Empty for one that is left out (in report_ahead.c).
report_text articulation_row_words(const history_articulation* articulation, size_t row);

/// How likely it is that what lies off its row was carried one way, and which; empty where nothing lies off its row.
report_text articulation_carried_words(const history_articulation* articulation);

/// What stands below the table of what has moved where some moved together, and below that of unfilled life positions
/// where some are in a corridor; else NULL.
const char* articulation_group_words(const history_articulation* articulation);
const char* articulation_corridor_words(const history_articulation* articulation);

/// "articulated, 52 of 66 elements are in place (79 %, 67 to 88 %); without the 9 in place that could not be tested, 43
/// of 57 (75 %, 62 to 86 %); 4 of the others lie off their rows".
report_text articulation_verdict(const history_articulation* articulation);

/// What the word means and how sure it is; and which elements are counted in it, which of them could not be tested, and
/// of how many the external face is known.
report_text articulation_verdict_meaning(const history_articulation* articulation);
report_text articulation_verdict_counted(const history_articulation* articulation);

/// The figures that everybody wants first, without full stops: the word; what is displaced; where bone may lie.
report_lines articulation_summary(const history_articulation* articulation);

/// What has left its life position: a stretch, elements, or one of them, and what is said of it, without a full stop.
/// One after another, by state; `next` begins at 0. False where there is none any more. The summary says the same in
/// one line (both in report_displaced.c).
typedef struct articulation_said
{
    report_text of, words;
    report_text at; ///< its elements, each with its square of the map; empty: it is not of single elements
} articulation_said;
bool articulation_displaced(const history_articulation* articulation, size_t* next, articulation_said* said);
report_text articulation_displaced_words(const history_articulation* articulation);

/// Whether an element that is told to have left its life position is so barely: its adjusted p is near the level.
bool articulation_is_barely(const rlv_articulated* told);

/// A life position that bone may still lie at, and the chance that none of the loose elements came from there, in per
/// cent, as it is told.
typedef struct articulation_target
{
    size_t unfilled; ///< index into fit.unfilled
    double unclaimed;
} articulation_target;

/// Those in the rock or at today's surface, the likeliest first; what is told as alike stays in the order of its row.
/// Those that are known no better than to the next place are not among them. Free with articulation_targets_free.
typedef struct articulation_targets
{
    size_t count;
    size_t pointed; ///< to these people are pointed; a loose element probably came from the others
    articulation_target* one;
    bool out_of_memory; ///< none is there
} articulation_targets;
articulation_targets articulation_targets_of(const history_articulation* articulation);
void articulation_targets_free(articulation_targets* targets);

/// What is said of one; what holds of all of them, said once; and all in one line, with what is in the block no more
/// and the rows of which nothing can be said (in report_targets.c).
report_text articulation_target_words(const history_articulation* articulation, const articulation_target* target);
report_text articulation_targets_head(const history_articulation* articulation, const articulation_targets* targets);
report_text articulation_targets_brief(const history_articulation* articulation);

/// What is open in a row: its free life positions against its loose elements, and how sure its numbers are; of one that
/// is left out, that nothing can be said.
report_text articulation_open_words(const history_articulation* articulation, size_t row);

/// "place 12 of LR"
report_text articulation_place_name(const history_articulation* articulation, const rlv_unfilled* life);

/// "in the spoil", "off its row": where a loose element was found.
const char* articulation_loose_name(history_left_out why);

/// Whether an element is in place and could not be tested: no shift of it under half a pitch would have been told in
/// 80 % of cases. How many of all are; of a row; and of a part of the body.
bool articulation_is_untested(const history_articulation* articulation, size_t element);
size_t articulation_untested(const history_articulation* articulation);
size_t articulation_untested_in_row(const history_articulation* articulation, size_t row);
size_t articulation_untested_in_part(const history_articulation* articulation, size_t part);

/// "position too unsure to tell less than 8.2 mm": of an element that could not be tested; else empty.
report_text articulation_unsure_words(const history_articulation* articulation, size_t element);

/// "LL12, LL21": the elements in place of its row that are nearest to its life position, or to the free place that one
/// off its row is nearest to; towards the head and the tail. Empty where there are none.
report_text articulation_neighbours(const history_articulation* articulation, size_t element);

/// "5": the place that an element is judged at, and "counted, 88 %" or "found", how that is known; both empty where the
/// record tells it.
report_text articulation_place_told(const history_articulation* articulation, size_t element);
report_text articulation_place_known(const history_articulation* articulation, size_t element);

/// How many of the elements in place have an external face that is known.
size_t articulation_in_place_faced(const history_articulation* articulation);

/// What could not be told, a sentence each without a full stop; `next` begins at 0. False where there is none any more.
bool articulation_untold(const history_articulation* articulation, size_t* next, report_text* words);

/// "in the rock", "probably in the rock; its depth is not sure", "matrix taken", "not collected"; NULL where it is not
/// known. One wording for the page, the sheets, CSV and JSON.
const char* articulation_where_name(history_where where);

#endif
