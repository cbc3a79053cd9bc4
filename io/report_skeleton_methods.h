/// How a skeleton was judged, on the report's page: model, tests, states, and their sources.

#ifndef RLV_REPORT_SKELETON_METHODS_H
#define RLV_REPORT_SKELETON_METHODS_H

#include "history_articulation.h"
#include "page.h"

/// Put a fact a method, of a fitted articulation, into the part that is open.
void report_skeleton_methods(rlv_page* p, const history_articulation* articulation);

#endif
