/// What every mesh reader stands on: the bytes of a file, its digest, words for what is wrong in it, and the way from
/// its coordinates to a mesh's. Internal to io.
///
/// A file is read whole into memory rather than mapped: a file cut short while it is mapped kills its reader, and with
/// huge pages the copy costs 0.12 ms a megabyte on two cores. The digest is taken by one thread while the others parse.

#ifndef RLV_READING_H
#define RLV_READING_H

#include "error.h"
#include "mesh.h"
#include "mesh_file.h"

#include <locale.h>
#include <stddef.h>
#include <stdint.h>

/// Zero bytes after the last of a file, so that text can be scanned without asking for the end at each character.
#define RLV_READING_PADDING 64

/// A coordinate is at most this far from zero, in mm: a million kilometres. Beyond it a number is taken for damage, and
/// a double no longer holds a tenth of a micron.
#define RLV_REACH_MM 1e12

typedef struct rlv_reading
{
    const char* path;
    uint8_t* data;      ///< the whole file, and RLV_READING_PADDING zeros; NULL for a file that is read by Assimp
    size_t size;        ///< bytes of the file
    double unit_mm;     ///< of one unit of the file's coordinates
    locale_t plain;     ///< the C locale, for numbers
    char* sha256;       ///< where the digest goes, 65 characters; NULL where it is not wanted or has been taken
    bool digest_failed; ///< the library for digests failed
    const rlv_progress* progress;
    rlv_error* error;
} rlv_reading;

/// Open and read the whole of `path` into a zeroed `reading`; folders, pipes, devices and empty files are refused
/// without waiting. `sha256` may be NULL. Close with rlv_reading_close, which is safe after a failure.
rlv_status rlv_reading_open(rlv_reading* reading, const char* path, char* sha256, const rlv_progress* progress,
                            rlv_error* error);
void rlv_reading_close(rlv_reading* reading);

/// Do `work` for the blocks 0 to `count` - 1 on all threads. The first of these calls takes the digest beside it.
/// `step` names the work.
void rlv_reading_run(rlv_reading* reading, const char* step, size_t count, void (*work)(void* context, size_t block),
                     void* context);

/// Fill the error: at the file, at an element of it ("face", 17), or at the line that `offset` is on. RLV_BAD_INPUT.
rlv_status rlv_refuse(const rlv_reading* reading, const char* mend, const char* format, ...)
    __attribute__((format(printf, 3, 4)));
rlv_status rlv_refuse_item(const rlv_reading* reading, const char* kind, size_t number, const char* mend,
                           const char* format, ...) __attribute__((format(printf, 5, 6)));
rlv_status rlv_refuse_line(const rlv_reading* reading, size_t offset, const char* mend, const char* format, ...)
    __attribute__((format(printf, 4, 5)));

/// Name the file in an error that was filled without knowing it; returns `status`.
rlv_status rlv_reading_place_error(const rlv_reading* reading, rlv_status status);

/// Memory that is read or written once from end to end: ask the system for large pages where it has them.
void rlv_large_pages(void* block, size_t bytes);

/// A bounding box in the file's own coordinates.
typedef struct rlv_box
{
    double low[3], high[3];
} rlv_box;

rlv_box rlv_box_empty(void);
void rlv_box_join(rlv_box* box, const rlv_box* other);

static inline void rlv_box_add(rlv_box* box, const double at[3])
{
    for (int i = 0; i < 3; i++)
    {
        box->low[i] = at[i] < box->low[i] ? at[i] : box->low[i];
        box->high[i] = at[i] > box->high[i] ? at[i] : box->high[i];
    }
}

/// The way from a file's coordinates to a mesh's: times the unit, less the origin, in double.
typedef struct rlv_frame
{
    double unit_mm;
    double origin_mm[3];
    double reach; ///< RLV_REACH_MM in the file's unit
} rlv_frame;

/// Choose the origin of a mesh whose vertices lie in `box`: zero, unless some coordinate is more than four times as far
/// from zero as the box is long; then the middle of the box, rounded to what a float holds.
rlv_frame rlv_frame_choose(const rlv_box* box, double unit_mm);

static inline void rlv_frame_place(const rlv_frame* frame, const double at[3], float* position_mm)
{
    for (int i = 0; i < 3; i++)
        position_mm[i] = (float)(at[i] * frame->unit_mm - frame->origin_mm[i]);
}

/// The greater of two parts of colours; NaN wins over all, so that it can be refused.
static inline double rlv_brighter(double a, double b)
{
    return a > b || a != a ? a : b;
}

/// Whether a coordinate is a number within reach: false for NaN, infinity and damage.
static inline bool rlv_within(double at, double reach)
{
    return at >= -reach && at <= reach;
}

#endif
