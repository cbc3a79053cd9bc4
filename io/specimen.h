/// A specimen's own record: `specimen.yaml`, `points.csv` and `elements.csv` in one folder, read and checked.
///
/// What a person wrote is kept as it was written; nothing is computed here. YAML is read by libcyaml against one schema
/// that knows every key (an unknown one is refused, with its line); the two tables by libcsv. docs/specimen.md says
/// what each key means. Units are in the keys' names. What was not recorded is NULL or an empty list.

#ifndef RLV_SPECIMEN_H
#define RLV_SPECIMEN_H

#include "error.h"
#include "mesh_file.h"

#include <stdbool.h>
#include <stddef.h>

/// A certified length between the points `a` and `b` of an object in points.csv.
typedef struct rlv_scale_bar_record
{
    char* bar;
    double length_mm;
    double sd_mm;
} rlv_scale_bar_record;

/// A mesh file and what brings its coordinates to millimetres: a unit or scale bars, never neither.
typedef struct rlv_mesh_record
{
    char* mesh;       ///< path within the folder
    rlv_unit* unit;   ///< `mesh_unit`; NULL: scale bars
    double* scale_sd; ///< relative sd of the scale, where a unit is said; NULL: exact
    size_t bar_count;
    rlv_scale_bar_record* bar; ///< `scale_bars`
} rlv_mesh_record;

/// A measured mass.
typedef struct rlv_mass_record
{
    double grams, sd_g;
} rlv_mass_record;

/// Hours with one tool.
typedef struct rlv_work_record
{
    char* tool;
    double hours;
    char* area;   ///< an outline in points.csv, on the stage before; NULL: anywhere
    char* person; ///< NULL: not recorded
    char* note;
} rlv_work_record;

/// A decision and its reason.
typedef struct rlv_decision_record
{
    char *what, *why, *who;
} rlv_decision_record;

/// What was brought into the specimen. Recorded and computed with, never recommended.
typedef struct rlv_treatment_record
{
    char* what; ///< consolidant, adhesive, gap fill, coating, …: the user's own word
    char* material;
    char* solvent;
    double* concentration_percent;
    char* basis; ///< "w/v" or "w/w"; required with a concentration
    double *volume_ml, *dry_g, *area_cm2;
    int* coats;
    char* area;             ///< an outline in points.csv, on this stage or the one before; NULL: not recorded
    char* untreated_sample; ///< where an untreated sample is kept
    char* note;
} rlv_treatment_record;

typedef struct rlv_stage_record
{
    char* id;
    char* title;
    char* date; ///< ISO 8601, as written; NULL: not recorded
    rlv_mesh_record mesh;
    rlv_mass_record* mass;   ///< of the block as it was then, without support; NULL: not weighed
    rlv_mass_record* drying; ///< water that it lost since the stage before, where known from elsewhere
    size_t work_count;       ///< what was done between the stage before and this one
    rlv_work_record* work;
    size_t decision_count;
    rlv_decision_record* decision;
    size_t treatment_count;
    rlv_treatment_record* treatment;
    char* note;
} rlv_stage_record;

typedef enum rlv_mask_kind
{
    RLV_MASK_SUPPORT, ///< not of the block: cradle, sandbag, turntable, jacket
    RLV_MASK_BONE,
    RLV_MASK_PIECE, ///< what comes off with a piece, on the stage before it does; or came with it, on the stage where
                    ///< it is back
} rlv_mask_kind;

/// Which faces of a stage's mesh are something: exactly one of object, colour and outline.
typedef struct rlv_mask_record
{
    char* stage;
    rlv_mask_kind kind; ///< `is`
    char* piece;        ///< with RLV_MASK_PIECE; with RLV_MASK_BONE: the mask is of that piece's own mesh there
    char* object;       ///< a named object of the mesh
    int colour_count;   ///< 3 or 0
    int* colour;        ///< exact 8-bit red, green, blue, on two of a face's three vertices
    char* outline;      ///< an outline in points.csv: it encloses its smaller side
} rlv_mask_record;

/// A mesh of a piece, at a stage.
typedef struct rlv_piece_mesh_record
{
    char* stage;
    rlv_mesh_record mesh;
} rlv_piece_mesh_record;

typedef struct rlv_piece_record
{
    char* id;
    char* title;
    char* parent;   ///< another piece, or NULL: the block
    char* detached; ///< the stage at which it is off first; NULL: it never belonged (a counterpart found apart)
    char* joined;   ///< the stage at which it is back first; NULL: it is not
    bool counterpart;
    char* face; ///< an outline in points.csv, on the block, on the piece's own mesh, or on both: the face of its joint
    rlv_mass_record* mass;
    size_t mesh_count;
    rlv_piece_mesh_record* mesh; ///< `meshes`
    char* note;
} rlv_piece_record;

/// A bag of spoil.
typedef struct rlv_spoil_record
{
    char* bag;
    char* stage;
    char* area; ///< an outline in points.csv, on the stage before; NULL: anywhere
    rlv_mass_record* mass;
    char* state; ///< `dry` or `damp`
    char* note;
} rlv_spoil_record;

/// A vector in the coordinates of a stage's mesh file.
typedef struct rlv_direction_record
{
    char* stage;
    int count; ///< 3
    double* vector;
} rlv_direction_record;

/// The bedding: by points, or by strike and dip (then north and up must be known).
typedef struct rlv_bedding_record
{
    char* stage;                  ///< of the points
    char* points;                 ///< an object in points.csv, three points or more
    double *strike_deg, *dip_deg; ///< by the right-hand rule
    double* sd_deg;
} rlv_bedding_record;

typedef struct rlv_joint_record
{
    char* id;
    char* stage;
    char* trace; ///< a line of points in points.csv
    double* aperture_mm;
    bool* crosses_bone;
    char* note;
} rlv_joint_record;

/// The density of a material, in grams a cubic centimetre.
typedef struct rlv_density_record
{
    char* material; ///< `matrix`, `bone`, or a treatment's material
    double g_cm3, sd_g_cm3;
    char* basis; ///< how it is known: a weighed chip, a handbook…
} rlv_density_record;

/// A row of life positions.
typedef struct rlv_row_record
{
    char* id;
    char* title;
    char* side; ///< `left`, `right` or `median`
    char* kind; ///< of its elements, in the user's own words
    int first_place, last_place;
    bool places_known;              ///< places of found elements are counted from the head; else they are sought
    double *pitch_mm, *pitch_sd_mm; ///< what is known of spacing at its head
    double* taper;                  ///< pitch at its tail over pitch at its head
    char* life_positions;           ///< a table measured on a comparative specimen; NULL: none. One for several rows:
                                    ///< they were measured on one specimen, in one frame
} rlv_row_record;

/// How it will be shown.
typedef struct rlv_display_record
{
    rlv_direction_record* up;
    double* rise;           ///< how the matrix surface rises to the bone, as a slope
    double* edge_height_mm; ///< how far below a bone edge the matrix may end
    char* rests_on;         ///< an outline that the cradle may touch
    size_t untouchable_count;
    char** untouchable; ///< outlines that nothing may touch
    double *case_length_mm, *case_width_mm, *case_height_mm;
    double* plinth_height_mm;
    char* note;
} rlv_display_record;

/// What advice is to hold to.
typedef struct rlv_advice_record
{
    double* clearance_mm; ///< kept from every known or expected element
    double* margin_mm;    ///< of a field block around what shows
    double *hole_diameter_mm, *hole_spacing_mm;
    char* joints; ///< `use` or `avoid`
    double* lift_limit_kg;
} rlv_advice_record;

/// A point that a person placed, in the coordinates of the mesh file that it was placed on.
typedef struct rlv_point_record
{
    char* stage;
    char* mesh; ///< `block` or a piece
    char* object;
    char* point;  ///< its name, or its number along an outline
    double at[3]; ///< in the file's own unit
    double* sd_mm;
    size_t line; ///< of points.csv
} rlv_point_record;

/// An element as it was written down.
typedef struct rlv_element_record
{
    char *id, *kind, *row;
    bool place_known;
    int first_place, last_place; ///< a range; equal where it is one
    char* side;
    char* stage; ///< at which it was first seen
    char* part;  ///< a named object of the mesh, or a colour as #rrggbb; NULL: its points
    char* bag;   ///< of spoil that it was found in
    char* note;
    size_t line;
} rlv_element_record;

/// A life position measured on a comparative specimen.
typedef struct rlv_compared_record
{
    size_t row, file; ///< of `row` and of `compared_file`
    int place;
    double at_mm[3];
    double sd_mm; ///< 0: not recorded
    size_t line;
} rlv_compared_record;

/// A table of such.
typedef struct rlv_compared_file
{
    const char* within; ///< its path within the folder: that of the row
    char sha256[65];
} rlv_compared_file;

typedef struct rlv_specimen
{
    char* folder;
    char *id, *title, *taxon, *institution, *collection, *locality, *stratum, *collector, *collected, *preparator,
        *rights, *note;
    char* frame_stage; ///< whose frame is the block's; NULL: the first stage's
    rlv_direction_record *north, *up;
    rlv_bedding_record* bedding;
    bool between; ///< two stages of a longer record (specimen_between.h)
    size_t stage_count;
    rlv_stage_record* stage;
    size_t mask_count;
    rlv_mask_record* mask;
    size_t piece_count;
    rlv_piece_record* piece;
    size_t spoil_count;
    rlv_spoil_record* spoil;
    size_t joint_count;
    rlv_joint_record* joint;
    size_t density_count;
    rlv_density_record* density;
    size_t row_count;
    rlv_row_record* row;
    rlv_display_record* display;
    rlv_advice_record* advice;
    size_t point_count;
    rlv_point_record* point; ///< as in the file
    size_t* point_order;     ///< `point_count` indices: by stage, mesh and object, then as rlv_specimen_points has them
    size_t element_count;
    rlv_element_record* element;
    size_t compared_count;
    rlv_compared_record* compared;
    size_t compared_file_count;
    rlv_compared_file* compared_file;
    char yaml_sha256[65], points_sha256[65], elements_sha256[65]; ///< empty where there is no such table
} rlv_specimen;

/// Read and check the specimen in `folder`, and the tables of comparative specimens that it names, into a zeroed
/// `specimen`; its meshes are not opened, but must be there. RLV_BAD_INPUT names file and line, or for a fault of
/// meaning the key's path (`specimen.yaml: stages[2].id`). Free with rlv_specimen_free, also after a failure.
rlv_status rlv_specimen_read(rlv_specimen* specimen, const char* folder, rlv_error* error);
void rlv_specimen_free(rlv_specimen* specimen);

/// The stage of an id, or NULL; and its number among all, SIZE_MAX where there is none. No id (NULL) is none's.
const rlv_stage_record* rlv_specimen_stage(const rlv_specimen* specimen, const char* id);
size_t rlv_specimen_stage_number(const rlv_specimen* specimen, const char* id);

/// The piece, the row and the bag of spoil of an id, and the density of a material; NULL where there is none, or the id
/// is NULL.
const rlv_piece_record* rlv_specimen_piece(const rlv_specimen* specimen, const char* id);
const rlv_row_record* rlv_specimen_row(const rlv_specimen* specimen, const char* id);
const rlv_spoil_record* rlv_specimen_bag(const rlv_specimen* specimen, const char* id);
const rlv_density_record* rlv_specimen_density(const rlv_specimen* specimen, const char* material);

/// Whether what a piece came off, or what that came off, is itself off the block at a stage (its number).
bool rlv_specimen_is_aside(const rlv_specimen* specimen, const rlv_piece_record* piece, size_t stage);

/// Whether a piece was put back at a stage (its number) or before, and is in the block there: not while what it belongs
/// to is aside.
bool rlv_specimen_is_back(const rlv_specimen* specimen, const rlv_piece_record* piece, size_t stage);

/// Whether a piece comes off the block, or goes `back` to it, at the step that leads to a stage (its number): at that
/// stage, and not while what it belongs to is aside.
bool rlv_specimen_piece_moves(const rlv_specimen* specimen, const rlv_piece_record* piece, size_t stage, bool back);

/// The mesh of `block`, or of a piece, at a stage; NULL where there is none. Its path within the folder becomes one
/// that can be opened with rlv_specimen_path (free()).
const rlv_mesh_record* rlv_specimen_mesh(const rlv_specimen* specimen, const char* stage, const char* mesh);
char* rlv_specimen_path(const rlv_specimen* specimen, const char* within);

/// The stage whose frame is the block's: `frame_stage`, or the first.
const rlv_stage_record* rlv_specimen_frame(const rlv_specimen* specimen);

/// The points of one object on one mesh of one stage, in the order of an outline's numbers (others: as in the file), as
/// indices into `specimen->point`: `*count` of them, 0 where there are none. They belong to the specimen.
const size_t* rlv_specimen_points(const rlv_specimen* specimen, const char* stage, const char* mesh, const char* object,
                                  size_t* count);

/// A point of an object by its name; NULL where there is none.
const rlv_point_record* rlv_specimen_point(const rlv_specimen* specimen, const char* stage, const char* mesh,
                                           const char* object, const char* point);

/// The number of a point along an outline: 0 where its name is no whole number above zero.
size_t rlv_specimen_point_number(const rlv_point_record* point);

/// Whether the `count` points of `index` are numbered, as those of an outline or a line are.
bool rlv_specimen_numbered(const rlv_specimen* specimen, const size_t* index, size_t count);

#endif
