/// The files of a specimen's record among the inputs of an answer.

#ifndef RLV_SPECIMEN_INPUTS_H
#define RLV_SPECIMEN_INPUTS_H

#include "answer.h"
#include "specimen.h"

/// Add the record's own files to the inputs, by their names within the folder.
void specimen_inputs(rlv_answer* answer, const rlv_specimen* specimen);

/// Name every input that lies in the specimen's folder by its path within it: so the same specimen gives the same
/// answer wherever it lies.
void specimen_inputs_within(rlv_answer* answer, const rlv_specimen* specimen);

#endif
