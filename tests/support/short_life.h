/// A measured life filled by hand: three stages of LQ-0417, two steps, one of which cost some bone. No mesh is read.

#ifndef RLV_TEST_SHORT_LIFE_H
#define RLV_TEST_SHORT_LIFE_H

#include "history.h"

typedef struct short_life
{
    rlv_specimen specimen;
    rlv_stage_record stage[3];
    rlv_scale_bar_record bar[2];
    rlv_mass_record mass[3], bag_mass[2], slab_mass;
    rlv_work_record work[3];
    rlv_density_record density[2];
    rlv_spoil_record bag[2];
    rlv_piece_record piece;
    rlv_history history;
    history_stage read[3];
    rlv_scale_residual residual[2];
    history_step step[2];
    rlv_change_region region[2][3];
    history_region beside[2][3];
    rlv_ledger_row row[2], cumulative[2];
    history_edge edge[2];
    size_t graph_edge[2];
    rlv_pose pose[3];
    size_t chain[3];
    rlv_edge_closure closure[2];
    const char* tool[2];
    rlv_rate rate[2];
} short_life;

/// Fill it. It points into itself: keep it where it is. Nothing is to be freed.
void short_life_fill(short_life* life);

#endif
