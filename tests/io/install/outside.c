// A program that knows only an installed tree: it fills a mesh by hand and measures it.

#include <rilievo/change.h>
#include <rilievo/mesh.h>
#include <rilievo/mesh_file.h>
#include <rilievo/view.h>

#include <math.h>
#include <stdio.h>
#include <string.h>

/// A box of 2 x 3 x 4 mm: 24 mm3 and 52 mm2, by hand.
static rlv_status fill_box(rlv_mesh* mesh, rlv_error* error)
{
    static const uint32_t corner[36] = {0, 2, 1, 1, 2, 3, 4, 5, 6, 5, 7, 6, 0, 1, 4, 1, 5, 4,
                                        2, 6, 3, 3, 6, 7, 0, 4, 2, 2, 4, 6, 1, 3, 5, 3, 7, 5};
    rlv_status status = rlv_mesh_reserve(mesh, 8, 12, false, false, error);
    if (status != RLV_DONE)
        return status;
    for (size_t i = 0; i < 8; i++)
    {
        mesh->position_mm[3 * i] = (i & 1) != 0 ? 2.0f : 0.0f;
        mesh->position_mm[3 * i + 1] = (i & 2) != 0 ? 3.0f : 0.0f;
        mesh->position_mm[3 * i + 2] = (i & 4) != 0 ? 4.0f : 0.0f;
    }
    memcpy(mesh->corner, corner, sizeof corner);
    return RLV_DONE;
}

int main(void)
{
    rlv_mesh mesh = {0};
    rlv_mesh_health health = {0};
    rlv_error error = {0};
    rlv_status status = fill_box(&mesh, &error);
    if (status == RLV_DONE)
        status = rlv_mesh_mend(&mesh, &health, &error);
    rlv_mesh_measures measures = rlv_mesh_measure(&mesh);
    rlv_mesh_free(&mesh);
    bool right = status == RLV_DONE && health.closed && fabs(measures.volume_mm3 - 24.0) < 1e-9 &&
                 fabs(measures.area_mm2 - 52.0) < 1e-9 && rlv_unit_from_name("in") == RLV_UNIT_IN;
    printf("%s\n", right ? "right" : "wrong");
    return right ? 0 : 1;
}
