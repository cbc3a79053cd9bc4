/// Invented blocks and their scans, for tests: a test without its scenery proves nothing, so that what cannot be made
/// ends the program.

#ifndef RLV_TESTS_SCENE_H
#define RLV_TESTS_SCENE_H

#include "rock.h"
#include "scan.h"

/// The mesh of a rock, of about so many triangles. Free with rlv_mesh_free.
rlv_mesh scene_mesh(const rock* block, size_t triangles, uint64_t seed);

/// Turn a mesh into a scan of it, from the next seed of `random`. Returns the motion that carries it home.
rlv_pose scene_scan(rlv_mesh* mesh, scan_noise noise, scan_random* random);

/// What a scan of a bench is like at random: noise of 0.1 mm over 2 mm, warp of 0.05 to 0.28 mm (0.07 to 0.4 between
/// two scans) over 30 to 160 mm, scale known to 1 in 10,000 to 1 in 2,000.
scan_noise scene_draw_noise(scan_random* random);

/// How many of a long test's `all` trials to run: all, or as many as the environment's RLV_TRIALS says, for a quick
/// look; bounds then widen with the sample.
int scene_trials(int all);

#endif
