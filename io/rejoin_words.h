/// A piece put back, in sentences: terminal and page say the same.

#ifndef RLV_REJOIN_WORDS_H
#define RLV_REJOIN_WORDS_H

#include "rejoin_told.h"
#include "report_words.h"

/// "slab A on left-flank, as skull shows them together"
report_text rejoin_name(const rejoin_told* told);

/// "it fits: the two faces repeat 97 % of each other's relief"
report_text rejoin_verdict(const rejoin_told* told);

/// Whether the piece is back by the record, since when, and how it lies there against closed. Empty for meshes that
/// were given directly.
report_text rejoin_back(const rejoin_told* told);

/// The motion as two hands make it, from as found to closed: what is pressed home, slid, twisted and rocked, as far as
/// each is told apart from none. Of a piece that is back it is told as what was found, not as what is to be done.
report_text rejoin_hands(const rejoin_told* told);

/// All that is told of a piece that was measured, but for what the tables hold.
report_lines rejoin_lines(const rejoin_told* told);

/// A word that the figures of a joint go by: each is told once, and everywhere by that word.
typedef struct rejoin_term
{
    const char* word; ///< "shared"
    double area_mm2;  ///< with the piece closed; NaN: it is no area
    int figures;      ///< of it that are told
    report_text is;   ///< what it stands for
} rejoin_term;

/// The next of them, `next` begins at 0. False where there is none any more.
bool rejoin_term_next(const rejoin_told* told, size_t* next, rejoin_term* term);

/// Whether bone on the joint touches first: where the nearest is, and how clear it stands. Empty where none is masked.
report_text rejoin_bone(const rejoin_told* told);

/// How a bone or a row goes on over the joint: "straight on, as far as can be told…".
report_text rejoin_run_words(const rejoin_told* told, const rejoin_run* run);

/// "scute D07, broken", "row LL".
report_text rejoin_run_name(const rejoin_run* run);

/// A treatment of the joint as it was recorded, and what it comes to.
report_text rejoin_treatment_words(const rejoin_told* told, const rejoin_treatment* treatment);

/// What is uncertain, a sentence each without a full stop; `next` begins at 0. False where there is none any more.
bool rejoin_untold(const rejoin_told* told, size_t* next, report_text* words);

/// What stands beside all quantities, and beside all motions.
#define REJOIN_CAUTION                                                                                                 \
    "No gap fill, adhesive or consolidant is recommended, nor how much of it: quantities are reckoned from the "       \
    "meshes, "                                                                                                         \
    "and from what was recorded. Data sheets decide, for the person and for the fossil."
#define REJOIN_CAUTION_HANDS                                                                                           \
    "What has been taken off a contact cannot be put back, and a piece that is forced breaks: whoever holds the two "  \
    "parts feels more than two meshes show."

#define REJOIN_CAUTION_BONE                                                                                            \
    "Where bone touches first it takes the load: do not press the two parts home on it. A conservator who has both "   \
    "in "                                                                                                              \
    "hand decides what keeps them apart there."

#endif
