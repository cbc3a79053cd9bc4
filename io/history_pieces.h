/// The meshes of pieces: each with the scale that its record gives it.

#ifndef RLV_HISTORY_PIECES_H
#define RLV_HISTORY_PIECES_H

#include "given_mesh.h"
#include "specimen.h"

/// A mesh of a piece at a stage.
typedef struct history_piece
{
    const rlv_piece_record* piece;
    const rlv_piece_mesh_record* at;
    char* path;
    given_mesh given;   ///< in mm, in its own frame
    double mm_per_unit; ///< brings points.csv into its frame
    double scale_sd;    ///< relative; 0: exact
    double chord_mm3;   ///< how much its flat triangles may hold more or less than the surface that they stand for
} history_piece;

typedef struct history_pieces
{
    size_t count;
    history_piece* one;
} history_pieces;

/// Read and measure all of them into zeroed `pieces`; inputs and warnings go to the answer. Free with
/// history_pieces_free, also after a failure.
rlv_status history_pieces_read(history_pieces* pieces, const rlv_specimen* specimen, rlv_answer* answer,
                               rlv_error* error);
void history_pieces_free(history_pieces* pieces);

/// The mesh of a piece at one of its stages; NULL where it was not read.
const history_piece* history_pieces_find(const history_pieces* pieces, const rlv_piece_record* piece,
                                         const rlv_piece_mesh_record* at);

#endif
