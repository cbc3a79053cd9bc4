/// A level square at z = 0 in the middle of a square panel: what is drawn on it is where it was put.

#ifndef RLV_TABLE_TOP_H
#define RLV_TABLE_TOP_H

#include "panel.h"

typedef struct table_top
{
    float at[12];
    uint32_t corner[6];
    rlv_mesh mesh;
    rlv_tree* tree;
    rlv_panel_surface surface;
    rlv_panel panel;
} table_top;

/// Seen from above, with x to the right and y upwards.
extern const rlv_camera_axes table_top_from_above;

/// Lay one from the origin to `side_mm` along x and y, on a panel of `panel_mm`. It must stay where it is. Free with
/// table_top_clear.
void table_top_lay(table_top* t, double side_mm, const rlv_camera_axes* axes, double scale, double panel_mm);
void table_top_clear(table_top* t);

#endif
