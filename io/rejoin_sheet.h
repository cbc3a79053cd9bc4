/// The sheet of a joint: both faces laid open with their gap, sections across it, and the block with its piece closed.

#ifndef RLV_REJOIN_SHEET_H
#define RLV_REJOIN_SHEET_H

#include "rejoin_told.h"
#include "title.h"

/// A sheet and the words that go with it. Zeroed: none. Free with rejoin_sheet_free.
typedef struct rejoin_sheet
{
    rlv_sheet sheet;
    rlv_title title; ///< points into what follows: not to be moved
    rlv_title_stage stage[4];
    char subject[512], frame[320], specimen[128];
    char caption[800], alt[1200];
    size_t left_out;
} rejoin_sheet;

/// Draw the joint of a piece that was measured, into a zeroed `drawn`. `scale` is of the faces, paper over thing; 0:
/// fitted to A3.
rlv_status rejoin_sheet_draw(rejoin_sheet* drawn, const rejoin_told* told, double scale, rlv_error* error);
void rejoin_sheet_free(rejoin_sheet* drawn);

/// Draw it as `stem`.png and `stem`.pdf into the answer's folder.
rlv_status rejoin_sheet_keep(const rejoin_told* told, const char* stem, rlv_answer* answer, rlv_error* error);

#endif
