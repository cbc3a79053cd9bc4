/// What `align` and `change` do where they are given a specimen: in the place of two meshes the stages of a record.

#ifndef RLV_SPECIMEN_COMMAND_H
#define RLV_SPECIMEN_COMMAND_H

#include "answer.h"
#include "options.h"

/// Whether a pair's command was given something else than two meshes. Two operands are two meshes.
bool specimen_command_is(const rlv_options* options);

/// RLV_BAD_INPUT where the first of two operands is a folder.
rlv_status specimen_command_not(const rlv_options* options, rlv_error* error);

/// All stages into the block's frame: how surely each lies there, and whether their alignments agree.
rlv_status specimen_command_align(const rlv_options* options, rlv_answer* answer, rlv_error* error);

/// What changed from stage to stage, or between two that are named: by class, with hours and grams.
rlv_status specimen_command_change(const rlv_options* options, rlv_answer* answer, rlv_error* error);

#endif
