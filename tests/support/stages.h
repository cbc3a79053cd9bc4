/// Pairs of stages of an invented block at random: what was there, and what is left of it, as two scans in two places.

#ifndef RLV_TESTS_STAGES_H
#define RLV_TESTS_STAGES_H

#include "rock.h"
#include "scan.h"

/// Two scans and the truth between them.
typedef struct stage_pair
{
    rlv_mesh before, after;
    rlv_pose truth; ///< carries `after` home
    double carved;  ///< share of BEFORE's surface (of its directions) that is gone
} stage_pair;

/// What a random pair is made of. Zeroed fields mean what their comment says.
typedef struct stage_wish
{
    uint64_t seed;
    size_t triangles;   ///< of each mesh; 0: 30,000 to 150,000 at random
    double most_carved; ///< share of the surface that cuts may take in all
    double scale_sd;    ///< sd of the log of AFTER's scale
    double noise_sd_mm; ///< 0: 0.1
    double relief_mm;   ///< sd of the relief; 0: 1.5 to 5 at random
    bool any_pose;
} stage_wish;

/// Make a random pair into a zeroed `pair`. Noise is correlated over 1 to 3 mm. Free with stage_pair_free.
void stage_pair_make(stage_pair* pair, const stage_wish* wish);
void stage_pair_free(stage_pair* pair);

/// A random rock of about 200 mm.
rock stage_random_rock(scan_random* random);

double stage_uniform(scan_random* random, double low, double high);
rlv_vec3 stage_direction(scan_random* random);

/// Greatest distance between where two poses put the vertices of a mesh.
double stage_farthest_mm(const rlv_mesh* mesh, const rlv_pose* a, const rlv_pose* b);

/// Keep only the triangles whose middle lies beyond `distance_mm` along `direction`: an open scan of one side.
void stage_keep_side(rlv_mesh* mesh, rlv_vec3 direction, double distance_mm);

/// The distance along `direction` beyond which `share` of the mesh's area lies.
double stage_quantile_mm(const rlv_mesh* mesh, rlv_vec3 direction, double share);

#endif
