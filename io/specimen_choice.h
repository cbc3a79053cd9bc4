/// A stage that somebody named.

#ifndef RLV_SPECIMEN_CHOICE_H
#define RLV_SPECIMEN_CHOICE_H

#include "specimen.h"

/// The number of the stage of that id. RLV_BAD_INPUT where there is none, or it comes before stage `first` (1: a step
/// must lead to it); the error lists those that would do.
rlv_status specimen_choose_stage(size_t* stage, const rlv_specimen* specimen, const char* id, size_t first,
                                 rlv_error* error);

#endif
