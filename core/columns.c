/// Layered depth columns after J. Shade, S. Gortler, L. He, R. Szeliski, Layered depth images, SIGGRAPH 1998. From one
/// file to the next: a grid is laid (columns_grid), triangles are summed and sorted into bands (columns_sort), bands
/// are scanned (columns_scan) and walked (columns_walk), and tiles (columns_tiles) say which sums to trust.
///
/// Where sums are exact. Each crossing of a column ends one run. Where all runs end at crossings of their own label, a
/// label's signed volume is therefore the sum of the signed prisms under its triangles, whatever the pitch. Where the
/// ends of runs carry unlike labels, as along the rim of a region, that sum is off by the strip between the two rims
/// times the depth of the whole block, which is far more than what sampling misses there. So the grid is parted into
/// tiles of a few cells. A tile in or beside which unlike labels, an overlap or a left-out column is met is *sampled*;
/// in all others the triangles, clipped to the tile, are summed exactly. In a tile that is sampled for its labels
/// alone the sum over all labels is known all the same: what the columns missed of it is shared out among the tile's
/// labels by how much of each was sampled (a ratio estimator: W. G. Cochran, Sampling Techniques, 3rd ed. 1977,
/// chapter 6), so that the rows of closed meshes add up to the volumes' difference by the divergence theorem.
///
/// Depth is a whole number of 2^-31 of the common range (0.14 nm for 300 mm), and so are all sums of runs: they are
/// exact and do not depend on the order of threads. A sample's depth is interpolated between the corners of the snapped
/// triangle, so that it never leaves the triangle's own range, however steep; snapping moves a corner by no more than
/// the rounding of its float coordinates does.

#include "columns_parts.h"

#include <math.h>
#include <stdlib.h>

/// Sums on the way to the answer.
typedef struct gathering
{
    columns_grid grid;
    columns_surface surface[2];
    columns_tiling tiling;
    columns_worker sum;          ///< rows and counts only
    columns_band_shares* shares; ///< one a band
} gathering;

static void free_gathering(gathering* all)
{
    for (int64_t i = 0; i < all->grid.band_count && all->shares != NULL; i++)
        free(all->shares[i].share);
    free(all->shares);
    columns_worker_free(&all->sum);
    columns_tiling_free(&all->tiling);
    for (int i = 0; i < 2; i++)
        columns_surface_free(&all->surface[i]);
}

static double run_unit_mm3(const columns_grid* g)
{
    return g->pitch_mm * g->pitch_mm * g->depth_unit_mm;
}

static void add_exact_rows(rlv_columns_difference* difference, const columns_surface* s, int mesh)
{
    for (size_t i = 0; i < s->chunk_count; i++)
        for (size_t k = 0; k < s->chunk[i].row_count; k++)
        {
            const columns_exact_row* from = &s->chunk[i].row[k];
            rlv_columns_label* to = &difference->label[from->label];
            to->signed_mm3 += mesh == 0 ? from->prism_mm3 : -from->prism_mm3;
        }
}

/// Add what was sampled in a sampled tile; where the sum over its labels is known, share out what sampling missed.
static void add_tile(rlv_columns_difference* difference, gathering* all, const columns_tile_share* share, size_t count)
{
    columns_tiling* t = &all->tiling;
    const double unit_mm3 = run_unit_mm3(&all->grid);
    int64_t sampled = 0, lengths = 0;
    for (size_t i = 0; i < count; i++)
    {
        sampled += share[i].only[0] - share[i].only[1];
        lengths += share[i].only[0] + share[i].only[1];
    }
    double missed_mm3 = t->exact_unit_mm3 * (double)t->exact[share->tile] - unit_mm3 * (double)sampled;
    if ((t->sampled[share->tile] & TILE_TWISTED) != 0)
        missed_mm3 = 0.0;
    t->sampled[share->tile] |= TILE_SHARED_OUT;
    for (size_t i = 0; i < count; i++)
    {
        double part = (double)(share[i].only[0] + share[i].only[1]);
        part = lengths > 0 ? part / (double)lengths : i == 0 ? 1.0 : 0.0;
        difference->label[share[i].label].signed_mm3 +=
            unit_mm3 * (double)(share[i].only[0] - share[i].only[1]) + part * missed_mm3;
    }
}

/// Add all sampled tiles, in the order of bands. Where no run was met in one, no label claims what it holds.
static void add_tiles(rlv_columns_difference* difference, gathering* all)
{
    columns_tiling* t = &all->tiling;
    for (int64_t band = 0; band < all->grid.band_count; band++)
    {
        const columns_band_shares* shares = &all->shares[band];
        for (size_t i = 0, end = 0; i < shares->count; i = end)
        {
            while (end < shares->count && shares->share[end].tile == shares->share[i].tile)
                end++;
            if (t->sampled[shares->share[i].tile] != 0)
                add_tile(difference, all, shares->share + i, end - i);
        }
    }
    for (size_t tile = 0; tile < tile_count(&all->grid); tile++)
        if (t->sampled[tile] != 0 && (t->sampled[tile] & (TILE_SHARED_OUT | TILE_TWISTED)) == 0)
            difference->label[0].signed_mm3 += t->exact_unit_mm3 * (double)t->exact[tile];
}

/// What one solid fills alone, so that first less second is the signed sum: what sampling missed is shared between the
/// two by their size.
static void settle_label(rlv_columns_label* label)
{
    double sum = label->first_only_mm3 + label->second_only_mm3;
    double missed = label->signed_mm3 - (label->first_only_mm3 - label->second_only_mm3);
    if (fabs(missed) < sum)
    {
        label->first_only_mm3 += missed * (label->first_only_mm3 / sum);
        label->second_only_mm3 -= missed * (label->second_only_mm3 / sum);
        return;
    }
    label->first_only_mm3 = fmax(label->signed_mm3, 0.0);
    label->second_only_mm3 = fmax(-label->signed_mm3, 0.0);
}

static void tell(rlv_columns_difference* difference, gathering* all)
{
    const columns_grid* g = &all->grid;
    const double cell_mm2 = g->pitch_mm * g->pitch_mm;
    for (int mesh = 0; mesh < 2; mesh++)
        add_exact_rows(difference, &all->surface[mesh], mesh);
    add_tiles(difference, all);
    for (size_t i = 0; i < difference->label_count; i++)
    {
        rlv_columns_label* to = &difference->label[i];
        const columns_sampled_row* from = &all->sum.row[i];
        to->first_only_mm3 = run_unit_mm3(g) * (double)from->only[0];
        to->second_only_mm3 = run_unit_mm3(g) * (double)from->only[1];
        to->max_run_mm = g->depth_unit_mm * (double)from->longest;
        settle_label(to);
        difference->signed_mm3 += to->signed_mm3;
    }
    difference->left_out_mm2 = cell_mm2 * (double)all->sum.left_out;
    difference->overlap_mm2 = cell_mm2 * (double)all->sum.overlap;
    difference->open = all->sum.open != 0;
}

static rlv_status gather(gathering* all, const rlv_columns_difference* difference, const rlv_solid* const solid[2],
                         rlv_error* error)
{
    columns_grid* g = &all->grid;
    columns_tiling* t = &all->tiling;
    const size_t labels = difference->label_count;
    rlv_status status = columns_grid_lay(g, solid, difference->axis, difference->pitch_mm, error);
    if (status == RLV_DONE)
        status = columns_tiling_lay(t, g, labels, error);
    for (int i = 0; i < 2 && status == RLV_DONE; i++)
        status = columns_surface_lay(&all->surface[i], g, solid[i], error);
    for (int i = 0; i < 2 && status == RLV_DONE; i++)
        status = columns_surface_sort(&all->surface[i], g, t, labels, error);
    if (status == RLV_DONE && ((all->sum.row = rlv_reserve(labels, sizeof *all->sum.row, error)) == NULL ||
                               (all->shares = rlv_reserve((size_t)g->band_count, sizeof *all->shares, error)) == NULL))
        status = RLV_SYSTEM;
    if (status == RLV_DONE)
        status = columns_walk(&all->sum, all->shares, all->surface, g, t, labels, error);
    if (status == RLV_DONE)
        columns_tiles_choose(t, g, labels);
    for (int i = 0; i < 2 && status == RLV_DONE; i++)
        status = columns_surface_take_out(&all->surface[i], g, t, i == 0 ? 1.0 : -1.0, labels, error);
    return status;
}

rlv_status rlv_columns_compare(rlv_columns_difference* difference, const rlv_solid* first, const rlv_solid* second,
                               size_t label_count, rlv_axis axis, double pitch_mm, rlv_error* error)
{
    *difference = (rlv_columns_difference){.axis = axis, .pitch_mm = pitch_mm};
    if (!(pitch_mm > 0.0) || !isfinite(pitch_mm))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give the side of a column in mm", "a pitch of %g mm", pitch_mm);
    if (label_count == 0 || label_count > 65536)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "count from 1 (for what no label claims) to 65536", "%zu labels",
                        label_count);
    difference->label = rlv_reserve(label_count, sizeof *difference->label, error);
    if (difference->label == NULL)
        return RLV_SYSTEM;
    difference->label_count = label_count;
    gathering all = {0};
    const rlv_solid* const solid[2] = {first, second};
    rlv_status status = gather(&all, difference, solid, error);
    if (status == RLV_DONE)
        tell(difference, &all);
    else
        rlv_columns_difference_free(difference);
    free_gathering(&all);
    return status;
}

void rlv_columns_difference_free(rlv_columns_difference* difference)
{
    free(difference->label);
    *difference = (rlv_columns_difference){0};
}
