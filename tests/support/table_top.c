#include "table_top.h"

#include <criterion/criterion.h>
#include <string.h>

const rlv_camera_axes table_top_from_above = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}};

void table_top_lay(table_top* t, double side_mm, const rlv_camera_axes* axes, double scale, double panel_mm)
{
    const float s = (float)side_mm;
    const float at[12] = {0, 0, 0, s, 0, 0, s, s, 0, 0, s, 0};
    const uint32_t corner[6] = {0, 1, 2, 0, 2, 3};
    *t = (table_top){.mesh = {.vertex_count = 4, .triangle_count = 2}};
    memcpy(t->at, at, sizeof at);
    memcpy(t->corner, corner, sizeof corner);
    t->mesh.position_mm = t->at;
    t->mesh.corner = t->corner;
    cr_assert_eq(rlv_tree_build(&t->tree, &t->mesh, NULL), RLV_DONE);
    t->surface = (rlv_panel_surface){.mesh = &t->mesh, .tree = t->tree};
    const rlv_mesh* mesh = &t->mesh;
    const rlv_panel_view view = rlv_panel_view_of(1, &mesh, axes, scale);
    cr_assert_eq(rlv_panel_make(&t->panel, &t->surface, &view, panel_mm, panel_mm, NULL), RLV_DONE);
}

void table_top_clear(table_top* t)
{
    rlv_panel_free(&t->panel);
    rlv_tree_free(t->tree);
}
