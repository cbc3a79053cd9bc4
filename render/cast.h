/// What a camera sees of a mesh, pixel by pixel: which triangle, how high, how it faces, and how open it lies.
///
/// Of a pixel's middle the nearest triangle is kept (E. Catmull, A subdivision algorithm for computer display of curved
/// surfaces, University of Utah 1974). How open a place lies is its ambient exposure: the cosine-weighted share of
/// directions along which nothing stands near, with the weight of an obstacle falling linearly with its distance (S.
/// Zhukov, A. Iones, G. Kronin, An ambient light illumination model, Rendering Techniques 1998). Places look around
/// from a grid of their own, which may be coarser than the pixels: directions are the first points of J. Halton's
/// sequence (Numerische Mathematik 2, 1960), dealt to every 4 by 4 places, gathered again over the same window, and
/// spread to the pixels between, as far as these go on with the surface of a place.

#ifndef RLV_CAST_H
#define RLV_CAST_H

#include "camera.h"
#include "mesh.h"
#include "tree.h"

/// How far an obstacle is felt, as a share of the diagonal of the mesh's bounding box.
#define RLV_CAST_REACH 0.18

/// What is seen within a rectangle of a picture. All arrays are row by row, `width * height` long; vectors are in the
/// picture's axes: right, up, towards the eye.
typedef struct rlv_cast
{
    size_t left, top;     ///< of the rectangle in the picture, in pixels
    size_t width, height; ///< of the rectangle; 0 where nothing of the mesh is in the frame
    float pixel_mm;       ///< side of a pixel on the mesh
    uint32_t* triangle;   ///< RLV_TREE_NONE: the page
    float* weight;        ///< 2 a pixel: of the triangle's second and third corner
    float* height_mm;     ///< above the camera's target; -infinity: the page
    float* normal;        ///< 3 a pixel: of the surface as it is shaded, of length one, facing the eye
    float* open;          ///< 0 shut in to 1 open; 1 where no rays were asked for
    float* lit;           ///< the share of the key light that is not hidden by other parts; 1 likewise
    uint8_t* back;        ///< 1 where the inside of the surface is seen
    float* corner_normal; ///< 3 a vertex, in the mesh's axes: the mean of its triangles, weighted by angle
    rlv_mat3 to_picture;  ///< from the mesh's axes to the picture's
    rlv_vec3 eye_mm;      ///< the middle of the eye's plane in the mesh's local frame, clear of the mesh
    double reach_mm;      ///< how far from the eye's plane the mesh may lie
    rlv_vec3 middle_px;   ///< where eye_mm falls in the picture
    double eye_height_mm; ///< of the eye's plane above the target
} rlv_cast;

/// Half the angle under which the key light's disc is seen, in radians.
#define RLV_CAST_LAMP_RAD 0.14

/// How light is looked for.
typedef struct rlv_cast_light
{
    int rays;         ///< rays a place for occlusion, and a quarter as many for the lamp; 0: neither
    int apart;        ///< one place in every `apart` by `apart` pixels looks around; 0 or 1: every pixel
    rlv_vec3 towards; ///< the key light, in the picture's axes, of length one
} rlv_cast_light;

/// Cast a picture of `width` by `height` pixels into a zeroed `cast`.
/// Free with rlv_cast_free, which is safe after a failure.
rlv_status rlv_cast_make(rlv_cast* cast, size_t width, size_t height, rlv_frame frame, const rlv_mesh* mesh,
                         const rlv_tree* tree, const rlv_camera* camera, const rlv_cast_light* light, rlv_error* error);
void rlv_cast_free(rlv_cast* cast);

/// The ray from the eye through a place of the picture, in pixels.
rlv_ray rlv_cast_ray(const rlv_cast* cast, double x, double y);

/// The facing (of length one, towards the eye) of what a ray hit, smooth within the surface and broken at its creases;
/// `back` tells whether its inside was seen.
void rlv_cast_facing(const rlv_cast* cast, const rlv_mesh* mesh, const rlv_hit* hit, float normal[3], bool* back);

#endif
