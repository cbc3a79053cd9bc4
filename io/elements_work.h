/// What a command on a specimen's elements holds, and how it comes by them.

#ifndef RLV_ELEMENTS_WORK_H
#define RLV_ELEMENTS_WORK_H

#include "history_elements.h"
#include "specimen_work.h"

/// A zeroed one holds nothing. Free with elements_work_free.
typedef struct elements_work
{
    specimen_work of; ///< its tables and sheets stay empty
    history_elements elements;
} elements_work;

/// Read the specimen in `folder`, join its stages, and measure its elements; inputs and warnings go to the answer.
/// Without one alignment what lies on the stage of the frame is measured all the same. RLV_IMPOSSIBLE where the record
/// names no element (then no mesh is read, and `elements.count` is 0), or none can be measured.
rlv_status elements_work_measure(elements_work* work, const char* folder, rlv_answer* answer, rlv_error* error);
/// The same of a specimen that was read into `work->of` already.
rlv_status elements_work_measure_read(elements_work* work, rlv_answer* answer, rlv_error* error);
void elements_work_free(elements_work* work);

#endif
