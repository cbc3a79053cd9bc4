/// A sheet while it is drawn: its order, its words, and its way into files. Internal to the sheets of a history.

#ifndef RLV_HISTORY_SHEET_JOB_H
#define RLV_HISTORY_SHEET_JOB_H

#include "history_scene.h"
#include "history_sheets.h"
#include "history_view.h"
#include "sheets.h"

enum
{
    SHEET_LINES = 16, ///< beneath a view, at the most
    SHEET_LINE = 256, ///< bytes of one
    SHEET_PAPER = 3,  ///< A3, the least
    SHEET_SMALL = 4,  ///< A4, the least where a scale is asked for
};

/// A sheet with its files as they are to be written.
struct drawn_sheet
{
    history_sheet entry;
    char* bytes[2]; ///< of entry.path, and of entry.print
    size_t size[2];
    size_t left_out; ///< labels that found no room
};

/// What is the same for a sheet in all its formats.
typedef struct sheet_job
{
    drawn_sheet* drawn;
    const rlv_history* history;
    history_sheet_order order;
    bool all; ///< into pictures/, as PNG and PDF
    history_view view;
    rlv_title title;
    rlv_title_stage* title_stage;
    char subject[640], limit[384], hatched[112], frame[320], date[40];
    size_t left_out;
} sheet_job;

/// Words beneath a view. A line that is too long, and the last one where there are too many, end with " …".
typedef struct sheet_lines
{
    size_t count;
    bool full; ///< there were more than SHEET_LINES
    char text[SHEET_LINES][SHEET_LINE];
    const char* at[SHEET_LINES];
} sheet_lines;

#if defined(__GNUC__)
__attribute__((format(printf, 2, 3)))
#endif
void sheet_line(sheet_lines* lines, const char* format, ...);

/// Words as letters are set: a hyphen that stands for minus becomes one, and the space before a per cent sign the
/// narrow one of all units on sheets.
void sheet_letters(char* into, size_t size, const char* words);

/// What a stage is called, "2031-06-02, overburden off (overburden)": its date and title, as far as they are recorded,
/// and its id. Of two, to follow "from": "2031-05-12, field block (field), to 2031-06-02, overburden off
/// (overburden)", or "field to overburden" where the first has an id alone. And beside a view: its title, or its id
/// where it has none; its date, and the id where that is not told.
void sheet_stage_words(char* into, size_t size, const rlv_stage_record* stage);
void sheet_from_to(char* into, size_t size, const rlv_stage_record* from, const rlv_stage_record* to);
const char* sheet_stage_title(const rlv_stage_record* stage);
void sheet_stage_date(char* into, size_t size, const rlv_stage_record* stage);

/// The view in the frame of a stage, and the title without its stages and subject. Free title_stage.
rlv_status sheet_begin(sheet_job* job, size_t stage, rlv_error* error);

/// A stage that the sheet rests on; the last one's date is the sheet's.
void sheet_add_stage(sheet_job* job, const history_stage* stage);

/// Put the sheet into `drawn`, in the formats that the order asks for.
rlv_status sheet_keep(sheet_job* job, const rlv_sheet* sheet, const char* caption, const char* alt, rlv_error* error);

/// A stage as a sheet of stages shows it.
typedef struct stage_look
{
    rlv_mesh moved; ///< in the frame of the sheet; empty where the stage's own mesh serves
    rlv_tree* tree; ///< of that
    uint8_t* bone;
    rlv_panel_outline outline;
    char date[200];
    sheet_lines lines;
} stage_look;

/// A stage's view, from a zeroed `look`, which must stay; with `move` its mesh is carried into the block frame. Free
/// with sheet_free_look, also after a failure.
rlv_status sheet_look_at(stage_look* look, rlv_sheet_view* view, const rlv_history* history, size_t index, bool move,
                         rlv_error* error);
void sheet_free_look(stage_look* look);

/// Write a sheet's files and put it at the end of the list; `drawn` is emptied. And free one that was not kept.
rlv_status sheet_keep_drawn(history_sheets* list, drawn_sheet* drawn, rlv_answer* answer, rlv_error* error);
void sheet_free_drawn(drawn_sheet* drawn);

/// Draw a sheet of a step, and one of stages, into a zeroed `drawn`. The job is used up.
rlv_status sheet_of_step(sheet_job job, const history_scene* scene, rlv_error* error);
rlv_status sheet_of_stages(sheet_job job, rlv_error* error);

/// What is said beside the block as it stands; `north`: an arrow to it is drawn.
struct rlv_standing;
void sheet_standing_lines(sheet_lines* lines, const rlv_history* history, const struct rlv_standing* standing,
                          bool north);

/// Outlines on the block as it stands, in the frame of the last stage: of the display, where they are recorded on that,
/// what a support may touch and what nothing may; and of pieces that were put back, what it is not to be lifted by.
typedef struct standing_outlines
{
    size_t count;
    struct rlv_standing_outline* outline;
    rlv_vec3** ring_mm;
    char (*label)[192];
} standing_outlines;

/// Into a zeroed `outlines`. Free with sheet_free_outlines, also after a failure.
rlv_status sheet_find_outlines(standing_outlines* outlines, const rlv_history* history, rlv_error* error);
void sheet_free_outlines(standing_outlines* outlines);

/// And that of the last stage as it stands. RLV_IMPOSSIBLE where no way up is known.
rlv_status sheet_of_standing(sheet_job job, rlv_error* error);

#endif
