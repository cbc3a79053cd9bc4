/// What the faces of a stage's mesh are, by the masks of its specimen: support, bone, or of a piece.
///
/// A mask names faces in one of three ways. By object: those of every object of that name. By colour: those that have
/// this very 8-bit colour on two of their three vertices. By outline: those that it encloses (outline.h). Support wins
/// over all else: a face of the cradle is no bone and of no piece. Bone and piece are kept apart, for a piece may carry
/// bone. Where the masks of two pieces overlap, a piece wins over the one it is part of, and else the mask that is
/// written first.

#ifndef RLV_MASKS_H
#define RLV_MASKS_H

#include "named_outline.h"

/// Bits of rlv_parts.is.
enum
{
    RLV_IS_SUPPORT = 1,
    RLV_IS_BONE = 2,
};

/// One entry a triangle of the mesh that they were found on.
typedef struct rlv_parts
{
    size_t triangle_count;
    uint8_t* is;     ///< RLV_IS_SUPPORT, RLV_IS_BONE or 0
    uint32_t* piece; ///< 0, or 1 + index into specimen->piece; NULL where no mask of the stage is a piece
    size_t support_count, bone_count; ///< triangles
} rlv_parts;

/// Whether the mask of a piece, one of `specimen->mask`, means something: on the last stage before the piece comes off,
/// and where it is back. RLV_BAD_INPUT, with the key's path, on another stage, and where there is no such piece.
rlv_status rlv_mask_check_piece(const rlv_specimen* specimen, const rlv_mask_record* mask, rlv_error* error);

/// Find the parts of the block's mended mesh at a stage, into zeroed `parts`. `mm_per_unit` brings the coordinates of
/// points.csv, which are the mesh file's, into the mesh's frame. `surface` is the mesh made ready for outlines, or
/// NULL: it is made where a mask is an outline. Memory is 1 byte a triangle, 4 more where there are pieces, and what
/// outlines need. RLV_BAD_INPUT, with the key's path, where the mesh has no such object; no face has the colour; an
/// outline is refused or its points are missing; a piece's mask means nothing; or all of the mesh is support. Free with
/// rlv_parts_free, which is safe after a failure.
rlv_status rlv_parts_find(rlv_parts* parts, const rlv_specimen* specimen, const char* stage, const rlv_mesh* mesh,
                          double mm_per_unit, const rlv_surface* surface, rlv_error* error);
/// The same of a piece's own mesh there, which only bone is masked on.
rlv_status rlv_parts_find_on_piece(rlv_parts* parts, const rlv_specimen* specimen, const char* stage, const char* piece,
                                   const rlv_mesh* mesh, double mm_per_unit, rlv_error* error);
void rlv_parts_free(rlv_parts* parts);

/// The mesh that a mask is of: `block`, or the piece on whose own mesh it is bone.
const char* rlv_mask_mesh(const rlv_mask_record* mask);

/// The faces of every object of a name, or those that have one colour on two of their three vertices. Say the first
/// three members; what the mesh does not have, no face is of.
typedef struct rlv_faces
{
    const rlv_mesh* mesh;
    const char* object; ///< NULL: by colour
    const int* colour;  ///< red, green and blue
    size_t walked;      ///< triangles so far
    bool in_object;     ///< whether the last of them is of such an object
} rlv_faces;

/// The next of them. False where there is none any more.
bool rlv_faces_next(rlv_faces* faces, size_t* triangle);

/// Take the support out of the mesh and out of its parts: what is left is mended (as rlv_mesh_drop has it), has its
/// parts, and is open where the support was. On RLV_SYSTEM both are as they were.
rlv_status rlv_parts_drop_support(rlv_parts* parts, rlv_mesh* mesh, rlv_error* error);

#endif
