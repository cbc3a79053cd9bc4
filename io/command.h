/// The commands of the program: each measures what it was asked and leaves it in an answer.
///
/// A command prints nothing itself. RLV_DONE and RLV_IMPOSSIBLE leave an answer that is worth telling; after
/// RLV_BAD_INPUT and RLV_SYSTEM the answer is thrown away.

#ifndef RLV_COMMAND_H
#define RLV_COMMAND_H

#include "answer.h"
#include "options.h"

rlv_status command_new(const rlv_options* options, rlv_answer* answer, rlv_error* error);
rlv_status command_inspect(const rlv_options* options, rlv_answer* answer, rlv_error* error);
rlv_status command_align(const rlv_options* options, rlv_answer* answer, rlv_error* error);
rlv_status command_change(const rlv_options* options, rlv_answer* answer, rlv_error* error);
rlv_status command_elements(const rlv_options* options, rlv_answer* answer, rlv_error* error);
rlv_status command_articulation(const rlv_options* options, rlv_answer* answer, rlv_error* error);
rlv_status command_rejoin(const rlv_options* options, rlv_answer* answer, rlv_error* error);
rlv_status command_render(const rlv_options* options, rlv_answer* answer, rlv_error* error);
rlv_status command_report(const rlv_options* options, rlv_answer* answer, rlv_error* error);

#endif
