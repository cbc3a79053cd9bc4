/// A change in words: what two meshes and a step of a specimen share.

#ifndef RLV_CHANGE_WORDS_H
#define RLV_CHANGE_WORDS_H

#include "answer.h"
#include "change.h"

/// What two meshes' own volumes must differ by: removed, less added, with what was not told apart.
double change_sum_of_parts_mm3(const rlv_change* change);

/// By how much two ways to a volume may differ before it is an alarm: half the width of what was not told apart. The
/// intervals of what was told may hold the detection limit's room, and an alarm must not.
double change_allowed_mm3(const rlv_change* change);

/// Warn of what makes a change less sure than its intervals say. `step` names it, and then only what its intervals do
/// not hold is worth a warning; NULL: there is only one, of two meshes whose every flaw is told.
void change_warn(rlv_answer* answer, const char* step, const rlv_change* change);

/// How deep a change must be, over what area: "0.84 mm over 1.2 cm²".
rlv_words change_limit_words(const rlv_detection_limit* limit);

/// The detection limit, noise and warp; and the check of the parts against the meshes' own volumes.
void change_tell_limits(FILE* text, const rlv_change* change);
void change_tell_check(FILE* text, const rlv_change* change);

#endif
