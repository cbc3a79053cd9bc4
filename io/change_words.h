/// A change in words: what two meshes and a step of a specimen share.

#ifndef RLV_CHANGE_WORDS_H
#define RLV_CHANGE_WORDS_H

#include "answer.h"
#include "change.h"

/// Warn of what makes a change less sure than its intervals say. `step` names it, and then only what its intervals do
/// not hold is worth a warning; NULL: there is only one, of two meshes whose every flaw is told.
void change_warn(rlv_answer* answer, const char* step, const rlv_change* change);

/// The detection limit, noise and warp; and the check of the parts against the meshes' own volumes.
void change_tell_limits(FILE* text, const rlv_change* change);
void change_tell_check(FILE* text, const rlv_change* change);

#endif
