/// A specimen folder with two stages of an invented block, on which all classes of change happened at once.

#ifndef RLV_TEST_TWO_STAGES_H
#define RLV_TEST_TWO_STAGES_H

#include "change.h"

/// Write it into `folder`: stages `field` and `second`, made by a seed (preparing.h). `extra` (may be NULL) stands in
/// specimen.yaml, `points` (may be NULL) in points.csv after its header. BEFORE's bone and piece are objects of its
/// mesh.
void two_stages_write(const char* folder, unsigned long long seed, const char* extra, const char* points);

/// What truly went and came between the stages of a seed, before noise.
void two_stages_truth(unsigned long long seed, double truth_mm3[RLV_CHANGE_CLASSES]);

#endif
