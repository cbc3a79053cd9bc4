/// An alignment in words and in JSON: what `align` tells of its answer, and `change` of the motion that it used.

#ifndef RLV_POSE_WORDS_H
#define RLV_POSE_WORDS_H

#include "align.h"
#include "answer.h"

/// Put the keys of an alignment into `object`. Where `known` is false the motion is null: no pose is credible, or
/// several are.
void pose_record(json_t* object, const rlv_alignment* alignment, bool known);

/// Tell it to people, in lines that start with two spaces. `size_mm` is how far the block reaches (it bounds the
/// figures of the matrix).
void pose_tell(FILE* text, const rlv_alignment* alignment, double size_mm);

/// Warn where less than half of the surface held still.
void pose_warn(rlv_answer* answer, const rlv_alignment* alignment);

#endif
