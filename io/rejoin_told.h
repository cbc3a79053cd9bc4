/// A piece put back, as it is told: what was measured of two parts, under the names that people know them by, with what
/// the record says of their joint.
///
/// All is in one frame, that of the block's mesh: of a specimen that is the block's own, as everywhere.

#ifndef RLV_REJOIN_TOLD_H
#define RLV_REJOIN_TOLD_H

#include "answer.h"
#include "handling.h"
#include "marks.h"
#include "rejoin.h"
#include "rejoin_across.h"
#include "specimen.h"

/// A piece that touches at fewer places rocks.
#define REJOIN_CARRYING 3

/// One of the meshes that a piece is put back by.
typedef struct rejoin_part
{
    const rlv_mesh* mesh; ///< in the frame of the answer, but for the piece; NULL: there is none
    const char* name;     ///< a file's name, a stage's id, or a piece's
    const char* file;     ///< within the specimen's folder, or as it was given
    const char* date;     ///< may be NULL
    const char* sha256;
    double scale_sd; ///< relative; 0: exact
} rejoin_part;

enum
{
    REJOIN_WAYS = 10, ///< most directions with a name
};

/// How thick a film of adhesive is reckoned with where nobody says: the middle of 0.05 to 0.2 mm (from memory).
#define REJOIN_FILM_MM 0.1

/// What would happen by chance more seldom than this, if a run went straight on, is said not to.
#define REJOIN_RUN_LEVEL 0.05

/// A contact that presses by less does so by no more than a film, and is no hindrance.
#define REJOIN_PRESSES_MM 0.1

/// A broken bone, or a row, that runs over the joint.
typedef struct rejoin_run
{
    const char* name; ///< of the element, or of the row
    bool row;
    const char* stage; ///< at which the block's side was placed
    bool measured;
    char why[512]; ///< where not
    rlv_across of;
} rejoin_run;

typedef struct rejoin_told
{
    rejoin_part block, piece, before;
    rejoin_part after;                      ///< the stage at which the piece is back
    const rlv_piece_record* record;         ///< NULL: meshes that were given directly
    const rlv_specimen* specimen;           ///< whose record that is
    const uint8_t *block_face, *piece_face; ///< as recorded, one a triangle; may be NULL
    const uint8_t *block_bone, *piece_bone; ///< the same of bone
    bool placed; ///< all meshes but the piece are in one frame; else the block's place in `before` must be found
    size_t way_count;
    rlv_direction way[REJOIN_WAYS]; ///< in the frame of the answer, each with words as a sentence says them
    double film_mm;

    bool judged;    ///< `of.verdict`, `of.reason` and `of.fit` are
    bool measured;  ///< and all the rest
    char why[1056]; ///< where not: what is wrong and what would mend it
    rlv_rejoin of;
    rlv_handling motion; ///< from as found to closed, where `of.found_known`
    bool runs_sought;    ///< what runs over the joint was looked for
    size_t run_count;
    rejoin_run* run; ///< owned; their names are the record's
} rejoin_told;

/// Measure how the piece goes back, into `told` with its parts and names filled and the rest zeroed; warnings go to the
/// answer. RLV_IMPOSSIBLE where it does not fit or no place can be tried: `judged` then tells whether there is a
/// verdict. Free with rejoin_told_free, also after a failure; it leaves meshes and names alone.
rlv_status rejoin_told_measure(rejoin_told* told, rlv_answer* answer, rlv_error* error);
void rejoin_told_free(rejoin_told* told);

/// Tell what follows from `of`, which was measured: the motion, and warnings to the answer.
void rejoin_told_finish(rejoin_told* told, rlv_answer* answer);

/// A direction by the one or two of the named ones that lie nearest: "up as it lay and towards the head".
rlv_words rejoin_way(const rejoin_told* told, rlv_vec3 way);

/// Name the axes of the block's mesh: "towards +x", "towards −x"…
void rejoin_name_axes(rejoin_told* told);

/// A treatment that was recorded of the joint.
typedef struct rejoin_treatment
{
    const rlv_stage_record* stage;
    const rlv_treatment_record* record;
    rlv_interval dry_mm3; ///< of what stays, by the recorded density of its material; NaN where that is not known
} rejoin_treatment;

/// The next treatment of the joint: at the stage at which the piece is back, or came off, on an area that is the
/// outline of the piece's own mask or the face's. `next` begins at 0; false where there is none any more.
bool rejoin_treatment_next(const rejoin_told* told, size_t* next, rejoin_treatment* treatment);

/// Whether a run goes straight on, bends or steps aside, or cannot be told to do either.
typedef enum rejoin_straight
{
    REJOIN_STRAIGHT_UNTOLD,
    REJOIN_STRAIGHT,
    REJOIN_NOT_STRAIGHT,
} rejoin_straight;
rejoin_straight rejoin_run_straight(const rejoin_run* run);

/// Whether bone is the first to touch, or may be.
bool rejoin_bone_touches(const rejoin_told* told);

/// Whether a contact presses, and does not only touch.
bool rejoin_presses(const rlv_rejoin_contact* contact);

/// Volume of a film over the whole joint, mm3.
double rejoin_film_mm3(const rejoin_told* told);

#endif
