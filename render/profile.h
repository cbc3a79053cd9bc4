/// Profiles: the same plane cut through a block before and after, drawn over each other.
///
/// What was removed lies between the two lines and is tinted; the line of before is dashed, that of after solid, and
/// where it runs along bone it is heavy. Areas are told apart by their lines, and what was added by dots, so that the
/// tint carries nothing alone. Of before only what departs from after is drawn, where that is told. Only where a region
/// of change was told is anything tinted: two scans of one surface never lie on each other quite. An open mesh's lines
/// are closed straight across for the tint, and not drawn there.

#ifndef RLV_PROFILE_H
#define RLV_PROFILE_H

#include "key.h"
#include "section.h"

typedef struct rlv_profile
{
    rlv_lines before, after; ///< in mm, in the plane's frame
    rlv_lines bone;          ///< stretches of `after` along bone
    const char* within;      ///< as of the stage after
    bool parted;             ///< a limit was given: of `before` only what `apart` holds is drawn
    rlv_lines apart; ///< its stretches in the regions' boxes, where there are regions, beyond the limit of `after`
    bool regions;    ///< regions were given: tints keep to their boxes
    size_t box_count;
    double (*box)[4]; ///< lowest x and y, highest x and y round each stretch of both lines that lies in a region
    uint8_t* kind;    ///< box_count: what is tinted there: 1 what went, 2 what came, 3 either
} rlv_profile;

/// A stage of a profile: its mesh, and one a triangle (each may be NULL): not 0 where it is bone; 0, or the number of a
/// region of change (as rlv_change labels them).
typedef struct rlv_profile_stage
{
    const rlv_mesh* mesh;
    const uint8_t* bone;
    const uint16_t* region;
    const bool* came; ///< one a region: whether material came there, and did not go; NULL: that is not told
    double limit_mm; ///< of BEFORE: how far it lies from AFTER where it is told apart from noise; 0: not known, and all
                     ///< of it is drawn
    const char* within; ///< of AFTER: what is in it that a section shows no border of, for the key; NULL: nothing
} rlv_profile_stage;

/// Cut both stages (in one frame) along a plane, into a zeroed `profile`; bone is drawn of AFTER. Free with
/// rlv_profile_free, which is safe after a failure.
rlv_status rlv_profile_cut(rlv_profile* profile, const rlv_profile_stage* before, const rlv_profile_stage* after,
                           const rlv_plane* plane, rlv_error* error);
void rlv_profile_free(rlv_profile* profile);

/// The box of both lines, in mm of the plane's frame; false where the plane misses both.
bool rlv_profile_box(const rlv_profile* profile, double low[2], double high[2]);

/// Which tints of a profile are large enough to be seen on paper, at a scale.
typedef struct rlv_profile_tints
{
    bool went, came;
} rlv_profile_tints;
rlv_profile_tints rlv_profile_tints_at(const rlv_profile* profile, double scale);

/// Draw a profile with the plane's origin at a place, at a scale and with the tints that are seen there. Lines are
/// simplified to a third of their width on paper.
rlv_status rlv_profile_draw(rlv_sheet* sheet, const rlv_profile* profile, double x_mm, double y_mm, double scale,
                            rlv_profile_tints tints, rlv_error* error);

/// Add to a key what a profile shows: its lines, and the tints that are seen.
void rlv_profile_key(rlv_key* key, const rlv_profile* profile, rlv_profile_tints tints);

#endif
