/// What a record says of the time between two of its stages, as if they were neighbours.
///
/// Work, decisions, treatments, drying and spoil of all stages after the first of the two, up to the second, count as
/// the second's; a piece that came off and went back in between did neither. What is placed on the mesh of a stage in
/// between is left out: areas of work, where the two are no neighbours, and north and up, where they are recorded on
/// another. So are the mask and the meshes of a piece that neither came off nor went back between the two.

#ifndef RLV_SPECIMEN_BETWEEN_H
#define RLV_SPECIMEN_BETWEEN_H

#include "specimen.h"

/// A record of two stages. It borrows all texts from the record that it was made of, which must stay.
typedef struct specimen_between
{
    rlv_specimen specimen; ///< frame_stage is as it was where that is one of the two; else the first of them
    rlv_stage_record stage[2];
    rlv_mass_record drying;
    char nowhere[1]; ///< the stage of a mask that is left out: masks keep their numbers, which errors tell
} specimen_between;

/// Fill a zeroed `between` with stages `before` and `after` (indices, the former smaller) of `whole`. It must not be
/// moved. RLV_BAD_INPUT where a piece is masked at one of the two, and that means nothing in the whole record. Free
/// with specimen_between_free, also after a failure.
rlv_status specimen_between_make(specimen_between* between, const rlv_specimen* whole, size_t before, size_t after,
                                 rlv_error* error);
void specimen_between_free(specimen_between* between);

#endif
