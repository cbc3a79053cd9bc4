#include "command.h"

#include "given_mesh.h"
#include "history_rejoin_pieces.h"
#include "rejoin_pieces_record.h"
#include "rejoin_record.h"
#include "rejoin_tell.h"
#include "specimen_inputs.h"
#include "specimen_work.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

static bool is_folder(const char* path)
{
    struct stat about;
    return stat(path, &about) == 0 && S_ISDIR(about.st_mode);
}

static double film_of(const rlv_options* options)
{
    return options->film_mm > 0.0 ? options->film_mm : REJOIN_FILM_MM;
}

/// What became of several pieces, told where it was measured well, and recorded where it could be measured at all.
static rlv_status tell_pieces(const rejoin_pieces* pieces, rlv_status status, rlv_answer* answer, rlv_error* error)
{
    if (status == RLV_DONE || status == RLV_IMPOSSIBLE)
        rejoin_pieces_record(answer->record, pieces, pieces->of.body_count > 0);
    if (status != RLV_DONE)
        return status;
    rejoin_tell_pieces(answer, pieces);
    return rejoin_keep_pieces(answer, pieces, error);
}

static rlv_status tell_piece(const rejoin_told* told, rlv_status status, rlv_answer* answer, rlv_error* error)
{
    if (status == RLV_DONE || status == RLV_IMPOSSIBLE)
        rejoin_record(answer->record, told);
    if (status != RLV_DONE)
        return status;
    rejoin_tell(answer, told);
    return rejoin_keep(answer, told, error);
}

// --- Meshes ----------------------------------------------------------------------------------------------------------

/// The meshes that are given: the block, its pieces, and the one from before.
typedef struct given_parts
{
    size_t count; ///< pieces
    given_mesh* mesh;
    rejoin_told* told; ///< one a piece
    rejoin_told** list;
} given_parts;

static given_mesh* block_of(const given_parts* g)
{
    return &g->mesh[0];
}

static given_mesh* before_of(const given_parts* g)
{
    return &g->mesh[g->count + 1];
}

static void free_parts(given_parts* g)
{
    for (size_t k = 0; g->mesh != NULL && k < g->count + 2; k++)
        given_mesh_free(&g->mesh[k]);
    for (size_t k = 0; g->told != NULL && k < g->count; k++)
        rejoin_told_free(&g->told[k]);
    free(g->mesh);
    free(g->told);
    free(g->list);
}

/// A piece is no larger than the block that it came off, and not so much smaller that it was read in another unit.
static rlv_status check_size(const given_mesh* block, const given_mesh* piece, rlv_error* error)
{
    const double block_mm = given_mesh_size_mm(block), piece_mm = given_mesh_size_mm(piece);
    if (piece_mm <= 5.0 * block_mm && block_mm <= 500.0 * piece_mm)
        return RLV_DONE;
    return rlv_fail(error, RLV_BAD_INPUT, piece->path, "give both in one unit, and the block first",
                    "it is %s mm across and %s is %s mm: not a block and a piece of it",
                    words_figures(piece_mm, 3).text, given_name(block->path), words_figures(block_mm, 3).text);
}

static rlv_status check_twins(const given_parts* g, rlv_error* error)
{
    for (size_t b = 1; b < g->count + 2; b++)
        for (size_t a = 0; a < b && g->mesh[b].path != NULL; a++)
            if (strcmp(g->mesh[a].source.sha256, g->mesh[b].source.sha256) == 0)
                return rlv_fail(error, RLV_BAD_INPUT, g->mesh[b].path,
                                b > g->count ? "name the mesh from before the piece came off"
                                : a > 0      ? "name each piece once"
                                             : "name the mesh of the piece",
                                "it is the same, byte for byte, as %s", g->mesh[a].path);
    return RLV_DONE;
}

static rlv_status read_meshes(given_parts* g, const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    rlv_status status = RLV_DONE;
    for (size_t k = 0; k < g->count + 2 && status == RLV_DONE; k++)
    {
        const char* path = k <= g->count ? options->path[k] : options->before;
        if (path != NULL)
            status = given_mesh_read(&g->mesh[k], path, options->unit, answer, error);
    }
    if (status == RLV_DONE)
        status = check_twins(g, error);
    for (size_t k = 1; k <= g->count && status == RLV_DONE; k++)
        status = check_size(block_of(g), &g->mesh[k], error);
    if (status == RLV_DONE && options->before != NULL)
        status = given_mesh_same_unit(before_of(g), block_of(g), options->unit, options->unit, answer, error);
    return status;
}

static rejoin_part part_of(const given_mesh* given)
{
    return given->path != NULL ? (rejoin_part){.mesh = &given->mesh,
                                               .name = given_name(given->path),
                                               .file = given->path,
                                               .sha256 = given->source.sha256}
                               : (rejoin_part){0};
}

static rlv_status take_parts(given_parts* g, const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    g->count = options->path_count - 1;
    if (g->count == 0)
        return rlv_fail(error, RLV_BAD_INPUT, options->path[0], "name the block and its piece, or a specimen's folder",
                        "it is no folder of a specimen, and no piece is named");
    if ((g->mesh = rlv_reserve(g->count + 2, sizeof *g->mesh, error)) == NULL ||
        (g->told = rlv_reserve(g->count, sizeof *g->told, error)) == NULL ||
        (g->list = rlv_reserve(g->count, sizeof *g->list, error)) == NULL)
        return RLV_SYSTEM;
    const rlv_status status = read_meshes(g, options, answer, error);
    for (size_t k = 0; k < g->count && status == RLV_DONE; k++)
    {
        g->list[k] = &g->told[k];
        g->told[k] = (rejoin_told){.film_mm = film_of(options),
                                   .block = part_of(block_of(g)),
                                   .piece = part_of(&g->mesh[k + 1]),
                                   .before = part_of(before_of(g))};
        rejoin_name_axes(&g->told[k]);
    }
    return status;
}

/// Whoever gives a mesh from before wants to know where the piece was found.
static rlv_status need_found(const rejoin_told* told, rlv_error* error)
{
    if (told->before.mesh == NULL || told->of.found_known)
        return RLV_DONE;
    return rlv_fail(
        error, RLV_IMPOSSIBLE, told->before.file,
        "see that it is of this block, from before the piece came off; or leave it out, and the piece is put "
        "back by the two faces alone",
        "the two parts were not both found on it");
}

static rlv_status rejoin_one(rejoin_told* told, rlv_answer* answer, rlv_error* error)
{
    rlv_status status = rejoin_told_measure(told, answer, error);
    if (status == RLV_DONE)
        status = need_found(told, error);
    return tell_piece(told, status, answer, error);
}

static rlv_status rejoin_several(given_parts* g, rlv_answer* answer, rlv_error* error)
{
    rejoin_pieces pieces = {.count = g->count, .told = g->list};
    rlv_status status = rejoin_pieces_measure(&pieces, answer, error);
    status = tell_pieces(&pieces, status, answer, error);
    rejoin_pieces_free(&pieces);
    return status;
}

static rlv_status rejoin_meshes(const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    given_parts g = {0};
    rejoin_record_parameters(answer->parameters, film_of(options));
    rlv_status status = take_parts(&g, options, answer, error);
    if (status == RLV_DONE)
        status = g.count == 1 ? rejoin_one(&g.told[0], answer, error) : rejoin_several(&g, answer, error);
    free_parts(&g);
    return status;
}

// --- Pieces of a specimen --------------------------------------------------------------------------------------------

/// What is said of meshes does not hold for a specimen, whose record says it.
static rlv_status check_call(const rlv_options* options, rlv_error* error)
{
    const char* said = options->unit != RLV_UNIT_NONE ? "--unit" : options->before != NULL ? "--before" : NULL;
    if (said == NULL)
        return RLV_DONE;
    return rlv_fail(error, RLV_BAD_INPUT, NULL,
                    "leave it out: units, and the stage before a piece came off, stand in its specimen.yaml",
                    "%s is for meshes that are given directly", said);
}

/// All that the command holds of a specimen.
typedef struct work
{
    specimen_work of;
    size_t count; ///< pieces that are put back
    const rlv_piece_record** piece;
    history_rejoin one;
    history_rejoin_pieces several;
} work;

static rlv_status read_poses(work* w, rlv_answer* answer, rlv_error* error)
{
    const history_options how = {.poses_only = true, .pieces = true};
    specimen_inputs(answer, &w->of.specimen);
    const rlv_status status = history_measure(&w->of.history, &w->of.specimen, &how, answer, error);
    if (status != RLV_IMPOSSIBLE)
        return status;
    // Where no two stages could be aligned the piece is put back in its own stage's frame.
    answer_warn(answer, "%s", error->what);
    *error = (rlv_error){0};
    return RLV_DONE;
}

static rlv_status rejoin_recorded(work* w, const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    rlv_status status = read_poses(w, answer, error);
    if (status != RLV_DONE)
        return status;
    if (options->path_count == 2)
    {
        status = history_rejoin_measure(&w->one, &w->of.history, w->piece[0], film_of(options), answer, error);
        specimen_inputs_within(answer, &w->of.specimen);
        return tell_piece(&w->one.told, status, answer, error);
    }
    status =
        history_rejoin_pieces_measure(&w->several, &w->of.history, w->count, w->piece, film_of(options), answer, error);
    specimen_inputs_within(answer, &w->of.specimen);
    return tell_pieces(&w->several.of, status, answer, error);
}

static rlv_status rejoin_specimen(const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    work w = {0};
    rejoin_record_parameters(answer->parameters, film_of(options));
    rlv_status status = check_call(options, error);
    if (status == RLV_DONE)
        status = rlv_specimen_read(&w.of.specimen, options->path[0], error);
    if (status == RLV_DONE)
        status = history_rejoin_choose_pieces(&w.piece, &w.count, &w.of.specimen, options->path_count - 1,
                                              options->path + 1, error);
    if (status == RLV_DONE)
        status = rejoin_recorded(&w, options, answer, error);
    history_rejoin_free(&w.one);
    history_rejoin_pieces_free(&w.several);
    free(w.piece);
    specimen_work_free(&w.of);
    return status;
}

rlv_status command_rejoin(const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    return is_folder(options->path[0]) ? rejoin_specimen(options, answer, error)
                                       : rejoin_meshes(options, answer, error);
}
