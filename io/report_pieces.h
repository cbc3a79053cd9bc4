/// The meshes of pieces, read for the report: each with the scale that its record gives it.

#ifndef RLV_REPORT_PIECES_H
#define RLV_REPORT_PIECES_H

#include "given_mesh.h"
#include "specimen.h"

/// A mesh of a piece at a stage.
typedef struct report_piece
{
    const rlv_piece_record* piece;
    const rlv_piece_mesh_record* at;
    char* path;
    given_mesh given; ///< measured, in mm; the mesh itself is let go
    double scale_sd;  ///< relative; 0: exact
} report_piece;

typedef struct report_pieces
{
    size_t count;
    report_piece* one;
} report_pieces;

/// Read and measure all of them into zeroed `pieces`; inputs and warnings go to the answer. Free with
/// report_pieces_free, also after a failure.
rlv_status report_pieces_read(report_pieces* pieces, const rlv_specimen* specimen, rlv_answer* answer,
                              rlv_error* error);
void report_pieces_free(report_pieces* pieces);

#endif
