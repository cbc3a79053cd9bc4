/// Faces of any number of corners on their way to triangles. Internal to io.
///
/// A convex polygon is fanned from its first corner. Any other has its ears cut off, in the plane of its
/// Newell normal (G. H. Meisters, Polygons have ears, American Mathematical Monthly 82, 1975; the normal: I. E.
/// Sutherland, R. F. Sproull & R. A. Schumacker, A characterization of ten hidden-surface algorithms, Computing Surveys
/// 6(1), 1974). A polygon of n corners always gives n - 2 triangles, in the order of the faces.

#ifndef RLV_POLYGONS_H
#define RLV_POLYGONS_H

#include "error.h"
#include "mesh.h"

/// A face that is not convex may have this many corners: the work grows with their square.
#define RLV_MOST_CORNERS 4096

/// A face of more than three corners.
typedef struct rlv_ngon
{
    size_t face;  ///< its number among the faces
    size_t count; ///< of its corners
} rlv_ngon;

/// A list of faces: all corners one after another, and which faces are not triangles. A zeroed one is empty.
typedef struct rlv_polygons
{
    size_t face_count;
    size_t triangle_count; ///< that the faces will give
    size_t corner_count, corner_room;
    uint32_t* corner;
    size_t ngon_count, ngon_room;
    rlv_ngon* ngon; ///< in the order of the faces
} rlv_polygons;

/// Room for `count` more corners, to be filled by the caller, who then calls rlv_polygons_close with their count (three
/// or more). False where memory is not to be had.
bool rlv_polygons_room(rlv_polygons* polygons, size_t count);
bool rlv_polygons_close(rlv_polygons* polygons, size_t count);
void rlv_polygons_free(rlv_polygons* polygons);

/// Cut all faces into triangles: `triangle` takes 3 * triangle_count corners. `position` holds 3 floats a vertex, each
/// corner is below its count. Where `face_of` is not NULL it takes the face of each triangle. False with `bad_face` set
/// for a face that is not convex and has too many corners; with `bad_face` SIZE_MAX where memory is not to be had.
bool rlv_polygons_cut(const rlv_polygons* polygons, const float* position, uint32_t* triangle, uint32_t* face_of,
                      size_t* bad_face);

#endif
