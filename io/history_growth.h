/// Whether a block grew where it was carved: what came at a step, held against what the record says was brought.
///
/// Meshes that stand at each other's stage measure as soundly as any: everything that went is told as having come. What
/// gives them away is the record. The most that treatments can have left is known where each has a dry mass with the
/// density of its material, or a volume; a piece that went back and that no mesh tells of could be of any size.

#ifndef RLV_HISTORY_GROWTH_H
#define RLV_HISTORY_GROWTH_H

#include "history.h"

/// The most that the record's treatments and pieces can have brought at a step, beside the pieces that the change tells
/// of, mm³. 0: nothing is recorded. INFINITY: no figure can be made of what is.
double history_brought_mm3(const rlv_history* history, size_t step);

/// Warn of every step at which the block grew by more than was brought, or by whatever amount while it lost weight;
/// and of stages that are dated before the one that they follow.
void history_warn_of_growth(const rlv_history* history, rlv_answer* answer);

#endif
