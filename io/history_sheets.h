/// The sheets of a specimen's measured life: of each step its comparison and its map of depth, of all stages their
/// history, of one stage its portrait.
///
/// All sheets of a specimen are seen from one side unless another is asked for (history_view.h). Regions bear the
/// numbers of the tables: region i of a change is number i + 1.

#ifndef RLV_HISTORY_SHEETS_H
#define RLV_HISTORY_SHEETS_H

#include "history.h"
#include "sheet.h"

typedef enum history_sheet_kind
{
    HISTORY_SHEET_COMPARISON, ///< of a step: before, after, and the depth between them
    HISTORY_SHEET_DEPTH,      ///< of a step: the map of depth, with two sections and the table of regions
    HISTORY_SHEET_HISTORY,    ///< all stages
    HISTORY_SHEET_STAGE,      ///< one stage, with its bone outlined
    HISTORY_SHEET_PLAIN,      ///< the same with nothing drawn over it: for a panel
    HISTORY_SHEET_STANDING,   ///< the last stage as it stands, with its case (history_standing.h)
    HISTORY_SHEET_BONES,      ///< of a skeleton: the bone map (history_articulation_sheets.h)
    HISTORY_SHEET_PLAN,       ///< its unrolled body plan
    HISTORY_SHEET_DIRECTIONS, ///< how displaced elements lie, and which way they went
    HISTORY_SHEET_JOINT,      ///< of a piece that is put back: the joint laid open (history_rejoin_sheets.h)
    HISTORY_SHEET_KINDS,
} history_sheet_kind;

/// "comparison", "depth", "history", "stage", "plain", "standing", "bone-map", "body-plan", "directions", "joint".
const char* history_sheet_name(history_sheet_kind kind);

/// A sheet that was drawn.
typedef struct history_sheet
{
    history_sheet_kind kind;
    size_t stage;          ///< the stage, or the one after the step; of a history the last; of a joint its piece
    char* path;            ///< of the PNG, or of the one format asked for: within the out folder, parted by slashes
    char* print;           ///< of the same as PDF, at its true scale; NULL: none
    size_t width, height;  ///< of the PNG, in pixels; 0 where there is none
    double paper_mm[2];    ///< width and height of the sheet
    double views_mm[2][2]; ///< upper left and lower right corner of what holds all its views; equal: none
    double scale;          ///< paper over thing; 0: fitted to the paper, as the sheet itself tells
    char *caption, *alt;   ///< for a page: what it is; what it shows, for whoever does not see it
} history_sheet;

/// Zeroed: none yet. Free with history_sheets_free, also after a failure.
typedef struct history_sheets
{
    size_t count;
    history_sheet* sheet;
} history_sheets;
void history_sheets_free(history_sheets* sheets);

/// One sheet, as somebody asks for it.
typedef struct history_sheet_order
{
    history_sheet_kind kind;
    size_t stage;     ///< the stage, or the one after the step; of a joint its piece, an index into specimen->piece
    const char* view; ///< as history_view_find takes it; NULL: the usual one
    double scale;     ///< paper over thing; 0: 1 : 1 for a map of depth, and fitted for all others
    bool fit;         ///< with a scale of 0: as large as A3 holds, a map of depth too
    rlv_sheet_format format;
} history_sheet_order;

/// Draw one sheet of stages or steps into the answer's folder and a zeroed `list`, as `STAGE-KIND[-VIEW].png`.
/// RLV_IMPOSSIBLE where its step was not measured or its stages are not joined; as history_view_find where the view
/// cannot be had.
rlv_status history_sheet_draw(history_sheets* list, const rlv_history* history, const history_sheet_order* order,
                              rlv_answer* answer, rlv_error* error);

typedef struct drawn_sheet drawn_sheet;

enum
{
    HISTORY_SHEETS_A_JOB = 2,
};

/// All sheets of one subject, as jobs that know nothing of each other. Job `index` of `count` draws up to
/// HISTORY_SHEETS_A_JOB into zeroed `drawn`, and none where there is nothing that they could show.
typedef struct history_sheets_plan
{
    size_t count;
    rlv_status (*draw)(drawn_sheet* drawn, const void* of, size_t index, rlv_error* error);
    const void* of;
} history_sheets_plan;

/// Those of stages and steps: of every measured step `STAGE-comparison` and `STAGE-depth`, `history` where the stages
/// are joined (a warning where they are not), `standing` where it is known what is up, and the last stage `plain`.
/// `history` must stay.
history_sheets_plan history_sheets_of_all(const rlv_history* history, rlv_answer* answer);

/// Draw what some subjects have into `pictures/` of the answer's folder, each sheet as PNG and as PDF, into a zeroed
/// `list` in the plans' order.
rlv_status history_sheets_draw(history_sheets* list, size_t count, const history_sheets_plan* plan, rlv_answer* answer,
                               rlv_error* error);

/// A stage's id as the beginning of a file's name, unlike that of any other stage in any case or composition of its
/// letters; and a piece's. Free with free(); NULL with `error` filled where there is no memory.
char* history_stage_file(const rlv_specimen* specimen, size_t stage, rlv_error* error);
char* history_piece_file(const rlv_specimen* specimen, size_t piece, rlv_error* error);

#endif
