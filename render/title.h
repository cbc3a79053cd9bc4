/// The words round a sheet: what it shows at its head; what it rests on, and how to print it, at its foot.

#ifndef RLV_TITLE_H
#define RLV_TITLE_H

#include "sheet.h"

/// A stage as a sheet names it.
typedef struct rlv_title_stage
{
    const char* id;
    const char* date;   ///< ISO 8601; may be NULL
    const char* file;   ///< of its mesh; may be NULL
    const char* sha256; ///< of that file, in hexadecimal; its first 12 digits are printed; may be NULL
} rlv_title_stage;

/// What a sheet is called and rests on. Whatever is NULL is left out.
typedef struct rlv_title
{
    const char* specimen;       ///< its id
    const char* specimen_title; ///< what it is
    const char* subject;        ///< what the sheet shows
    size_t stage_count;
    const rlv_title_stage* stage;
    const char* detection_limit; ///< in words, with its unit
    const char* frame;           ///< whose coordinates, and what is up
    const char* software;        ///< name and version
    const char* date;            ///< of the specimen, ISO 8601: goes into the files' metadata
    size_t note_count;
    const char* const* note; ///< small print
} rlv_title;

#define RLV_SHEET_MARGIN 15.0 ///< on A3

/// Write the head; where what is beneath it may begin, in mm from the top.
double rlv_title_head(rlv_sheet* sheet, const rlv_title* title);
#define RLV_TITLE_HEAD_MM 28.5 ///< the same on A3, before there is a sheet

/// How wide the head's words are where nothing cuts them, in mm in a sheet's letters.
double rlv_title_head_wide(const rlv_sheet* sheet, const rlv_title* title);

/// How tall the foot is on a sheet of a width and a unit, the lower margin included.
double rlv_title_foot_mm(const rlv_title* title, double width_mm, double unit);

/// Write the foot. `scale` (0: none to tell) is of all views, `pixel_mm` (0: none) of the pictures among them.
void rlv_title_foot(rlv_sheet* sheet, const rlv_title* title, const rlv_paper* paper, double scale, double pixel_mm);

/// What every sheet with slopes on it says in small print, and every one with colours of depth.
#define RLV_NOTE_PROJECTION                                                                                            \
    "Parallel projection: a length on a slope is printed shortened by the cosine of its slope, at 60\xc2\xb0 by "      \
    "half. "                                                                                                           \
    "Measure depths on sections."
#define RLV_NOTE_COLOURS                                                                                               \
    "Colours of depth: lajolla (removed) and devon (added, dotted), F. Crameri, Scientific colour maps 7.0.1, 2021, "  \
    "doi:10.5281/zenodo.5501399."

/// A title with `count` notes of the sheet's own after its own. `room` is what must be freed when the sheet stands;
/// NULL, with `error` filled, where there is no memory.
rlv_title rlv_title_noted(const rlv_title* title, size_t count, const char* const* note, const char*** room,
                          rlv_error* error);

/// A title with the notes of pictures after its own: that of projection, and with `colours` that of depth.
rlv_title rlv_title_with(const rlv_title* title, bool colours, const char*** room, rlv_error* error);

/// The fields of a file's own record, from a title. The texts in it live as long as `source`, which is filled with the
/// stages' files and sums.
rlv_sheet_info rlv_title_info(const rlv_title* title, char source[1024]);

#endif
