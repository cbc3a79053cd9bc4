#include "masks.h"

#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/// What the masks of a stage are found with.
typedef struct masking
{
    rlv_parts* parts;
    const rlv_specimen* specimen;
    const char* stage;
    const char* piece; ///< whose own mesh it is; NULL: the block's
    const rlv_mesh* mesh;
    double mm_per_unit;
    const rlv_surface* surface;
    rlv_surface* own_surface; ///< where none was given and one was needed
    rlv_error* error;
} masking;

/// The path of a key of a mask, by value.
typedef struct mask_key
{
    char path[100];
} mask_key;

static mask_key key_of(const rlv_specimen* specimen, const rlv_mask_record* mask, const char* name)
{
    mask_key key;
    snprintf(key.path, sizeof key.path, "specimen.yaml: masks[%zu].%s", (size_t)(mask - specimen->mask), name);
    return key;
}

// --- pieces ----------------------------------------------------------------------------------------------------------

static size_t piece_index(const rlv_specimen* specimen, const char* id)
{
    const rlv_piece_record* piece = rlv_specimen_piece(specimen, id);
    return piece != NULL ? (size_t)(piece - specimen->piece) : SIZE_MAX;
}

/// Whether piece `part` is a sub-piece of `whole`, over any number of parents.
static bool is_part_of(const rlv_specimen* specimen, size_t part, size_t whole)
{
    // As many steps as there are pieces: parents may not run in a circle, but nor must this.
    for (size_t step = 0; part != SIZE_MAX && step < specimen->piece_count; step++)
    {
        part = piece_index(specimen, specimen->piece[part].parent);
        if (part == whole)
            return part != SIZE_MAX;
    }
    return false;
}

/// Say on which stages a piece may be masked.
static rlv_status fail_stage(const rlv_specimen* s, const rlv_mask_record* mask, const rlv_piece_record* piece,
                             rlv_error* error)
{
    const size_t off = rlv_specimen_stage_number(s, piece->detached);
    const bool before = off != SIZE_MAX && off > 0;
    char mend[300] = "no stage's mesh shows it on the block: leave the mask out";
    if (before && piece->joined != NULL)
        rlv_print(mend, sizeof mend,
                  "mask it at '%.80s', the last stage before it comes off, or at '%.80s', where it is back",
                  s->stage[off - 1].id, piece->joined);
    else if (before)
        rlv_print(mend, sizeof mend, "mask it at '%.80s', the last stage before it comes off", s->stage[off - 1].id);
    else if (piece->joined != NULL)
        rlv_print(mend, sizeof mend, "mask it at '%.80s', where it is back", piece->joined);
    return rlv_fail(error, RLV_BAD_INPUT, key_of(s, mask, "stage").path, mend,
                    "the piece '%.80s' is masked at '%.80s', where the mask means nothing", piece->id, mask->stage);
}

rlv_status rlv_mask_check_piece(const rlv_specimen* specimen, const rlv_mask_record* mask, rlv_error* error)
{
    const rlv_piece_record* piece = rlv_specimen_piece(specimen, mask->piece);
    if (piece == NULL)
        return rlv_fail(error, RLV_BAD_INPUT, key_of(specimen, mask, "piece").path, "name one of the pieces by its id",
                        "there is no piece '%.80s'", mask->piece != NULL ? mask->piece : "");
    const size_t at = rlv_specimen_stage_number(specimen, mask->stage),
                 off = rlv_specimen_stage_number(specimen, piece->detached),
                 back = rlv_specimen_stage_number(specimen, piece->joined);
    return at != SIZE_MAX && (at + 1 == off || at == back) ? RLV_DONE : fail_stage(specimen, mask, piece, error);
}

/// Check a piece's mask, and have an array for pieces. `*piece` is its index.
static rlv_status begin_piece(masking* work, const rlv_mask_record* mask, size_t* piece)
{
    const rlv_status status = rlv_mask_check_piece(work->specimen, mask, work->error);
    if (status != RLV_DONE)
        return status;
    *piece = piece_index(work->specimen, mask->piece);
    rlv_parts* parts = work->parts;
    if (parts->piece == NULL)
        parts->piece = rlv_reserve(parts->triangle_count, sizeof *parts->piece, work->error);
    return parts->piece != NULL ? RLV_DONE : RLV_SYSTEM;
}

// --- faces -----------------------------------------------------------------------------------------------------------

/// Mark a triangle as what a mask says; `piece` is the index of the mask's piece, if it is one's.
static void mark(const masking* work, const rlv_mask_record* mask, size_t piece, size_t triangle)
{
    rlv_parts* parts = work->parts;
    if (mask->kind == RLV_MASK_SUPPORT)
        parts->is[triangle] |= RLV_IS_SUPPORT;
    else if (mask->kind == RLV_MASK_BONE)
        parts->is[triangle] |= RLV_IS_BONE;
    else if (parts->piece[triangle] == 0 || is_part_of(work->specimen, piece, parts->piece[triangle] - 1))
        parts->piece[triangle] = (uint32_t)piece + 1;
}

static bool is_object(const rlv_mesh* mesh, size_t object, const char* name)
{
    return object < mesh->object_count && mesh->object_name[object] != NULL &&
           strcmp(mesh->object_name[object], name) == 0;
}

/// The names of a mesh's objects, as many as fit.
static void list_objects(char* text, size_t size, const rlv_mesh* mesh)
{
    size_t length = 0;
    text[0] = '\0';
    for (size_t i = 0; i < mesh->object_count; i++)
    {
        const char* name = mesh->object_name[i] != NULL ? mesh->object_name[i] : "(unnamed)";
        // Room is kept for the end: a name is never cut, for it may be in any script.
        if (length + strlen(name) + 30 > size)
        {
            snprintf(text + length, size - length, " and %zu more", mesh->object_count - i);
            return;
        }
        length += (size_t)snprintf(text + length, size - length, "%s%s", i != 0 ? ", " : "", name);
    }
}

/// A mesh in words, by value: whose it is, and its file.
typedef struct mesh_words
{
    char text[400];
} mesh_words;

static mesh_words whose_mesh(const masking* work)
{
    mesh_words words;
    const char* own = work->piece != NULL ? work->piece : "block";
    const rlv_mesh_record* at = rlv_specimen_mesh(work->specimen, work->stage, own);
    char file[200] = "", of[100] = "";
    if (at != NULL && at->mesh != NULL)
        rlv_print(file, sizeof file, " (%.190s)", at->mesh);
    if (work->piece != NULL)
        rlv_print(of, sizeof of, " of '%.80s'", work->piece);
    rlv_print(words.text, sizeof words.text, "the mesh%.90s at '%.80s'%.195s", of, work->stage, file);
    return words;
}

static rlv_status fail_object(const masking* work, const rlv_mask_record* mask)
{
    const rlv_mesh* mesh = work->mesh;
    bool known = false;
    for (size_t i = 0; mesh->object != NULL && i < mesh->object_count; i++)
        known |= is_object(mesh, i, mask->object);
    char list[300], mend[sizeof list + 60];
    list_objects(list, sizeof list, mesh);
    snprintf(mend, sizeof mend, "the mesh has %s %s", mesh->object_count == 1 ? "the object" : "objects", list);
    const bool none = mesh->object == NULL || mesh->object_count == 0;
    return rlv_fail(work->error, RLV_BAD_INPUT, key_of(work->specimen, mask, "object").path,
                    none ? "the mesh has no named objects: mask by colour or by outline" : mend,
                    known ? "the object '%.100s' of %s has no faces" : "there is no object '%.100s' in %s",
                    mask->object, whose_mesh(work).text);
}

/// The colour that two of a face's vertices have, or NULL.
static const uint8_t* face_colour(const rlv_mesh* mesh, size_t triangle)
{
    const uint8_t* c[3];
    for (size_t i = 0; i < 3; i++)
        c[i] = mesh->colour + 3 * (size_t)mesh->corner[3 * triangle + i];
    if (memcmp(c[0], c[1], 3) == 0 || memcmp(c[0], c[2], 3) == 0)
        return c[0];
    return memcmp(c[1], c[2], 3) == 0 ? c[1] : NULL;
}

static bool has_colour(const uint8_t* is, const int* wanted)
{
    return is[0] == wanted[0] && is[1] == wanted[1] && is[2] == wanted[2];
}

/// Whether the face after those that were walked is one. Names are compared once a run of faces of one object.
static bool is_next(rlv_faces* faces)
{
    const rlv_mesh* mesh = faces->mesh;
    if (faces->object == NULL)
    {
        const uint8_t* is = mesh->colour != NULL ? face_colour(mesh, faces->walked) : NULL;
        return is != NULL && has_colour(is, faces->colour);
    }
    if (mesh->object == NULL)
        return false;
    const uint32_t object = mesh->object[faces->walked];
    if (faces->walked == 0 || object != mesh->object[faces->walked - 1])
        faces->in_object = is_object(mesh, object, faces->object);
    return faces->in_object;
}

bool rlv_faces_next(rlv_faces* faces, size_t* triangle)
{
    for (; faces->walked < faces->mesh->triangle_count; faces->walked++)
        if (is_next(faces))
        {
            *triangle = faces->walked++;
            return true;
        }
    return false;
}

/// Say that no face has a colour, and which comes nearest: a picture format that loses may have shifted it by one.
static rlv_status fail_colour(const masking* work, const rlv_mask_record* mask)
{
    const uint8_t* nearest = NULL;
    int least = INT_MAX;
    for (size_t t = 0; t < work->mesh->triangle_count; t++)
    {
        const uint8_t* is = face_colour(work->mesh, t);
        int apart = 0;
        for (int i = 0; is != NULL && i < 3; i++)
            apart += (is[i] - mask->colour[i]) * (is[i] - mask->colour[i]);
        if (is != NULL && apart < least)
            least = apart, nearest = is;
    }
    char mend[200] = "no face has one colour on two of its vertices: mask by object or by outline";
    if (nearest != NULL)
        snprintf(mend, sizeof mend, "the nearest colour that a face has is [%d, %d, %d]", nearest[0], nearest[1],
                 nearest[2]);
    return rlv_fail(work->error, RLV_BAD_INPUT, key_of(work->specimen, mask, "colour").path, mend,
                    "no face of %s has [%d, %d, %d] on two of its vertices", whose_mesh(work).text, mask->colour[0],
                    mask->colour[1], mask->colour[2]);
}

/// Mark the faces that a mask names by object or by colour.
static rlv_status mark_faces(const masking* work, const rlv_mask_record* mask, size_t piece)
{
    if (mask->object == NULL && work->mesh->colour == NULL)
        return rlv_fail(work->error, RLV_BAD_INPUT, key_of(work->specimen, mask, "colour").path,
                        "mask by object or by outline, or write the mesh with its vertex colours",
                        "%s has no vertex colours", whose_mesh(work).text);
    rlv_faces faces = {.mesh = work->mesh, .object = mask->object, .colour = mask->colour};
    size_t found = 0;
    for (size_t t; rlv_faces_next(&faces, &t); found++)
        mark(work, mask, piece, t);
    if (found > 0)
        return RLV_DONE;
    return mask->object != NULL ? fail_object(work, mask) : fail_colour(work, mask);
}

static rlv_status mark_outline(masking* work, const rlv_mask_record* mask, size_t piece)
{
    rlv_status status = RLV_DONE;
    if (work->surface == NULL)
        status = rlv_surface_prepare(&work->own_surface, work->mesh, NULL, work->error);
    if (status != RLV_DONE)
        return status;
    if (work->surface == NULL)
        work->surface = work->own_surface;
    const mask_key key = key_of(work->specimen, mask, "outline");
    const rlv_named_points named = {mask->stage, work->piece != NULL ? work->piece : "block", mask->outline,
                                    work->mm_per_unit, key.path};
    rlv_outline outline = {0};
    status = rlv_named_outline_find(&outline, work->surface, work->specimen, &named, work->error);
    for (size_t i = 0; i < outline.triangle_count; i++)
        mark(work, mask, piece, outline.triangle[i]);
    rlv_outline_free(&outline);
    return status;
}

static rlv_status mark_mask(masking* work, const rlv_mask_record* mask)
{
    size_t piece = SIZE_MAX;
    rlv_status status = mask->kind == RLV_MASK_PIECE ? begin_piece(work, mask, &piece) : RLV_DONE;
    if (status != RLV_DONE)
        return status;
    return mask->outline != NULL ? mark_outline(work, mask, piece) : mark_faces(work, mask, piece);
}

// --- parts -----------------------------------------------------------------------------------------------------------

/// Let support win, and count.
static void settle(rlv_parts* parts)
{
    for (size_t t = 0; t < parts->triangle_count; t++)
    {
        const bool support = (parts->is[t] & RLV_IS_SUPPORT) != 0;
        if (support)
            parts->is[t] = RLV_IS_SUPPORT;
        if (support && parts->piece != NULL)
            parts->piece[t] = 0;
        parts->support_count += support;
        parts->bone_count += (parts->is[t] & RLV_IS_BONE) != 0;
    }
}

const char* rlv_mask_mesh(const rlv_mask_record* mask)
{
    return mask->kind == RLV_MASK_BONE && mask->piece != NULL ? mask->piece : "block";
}

/// Mark what the masks of one mesh say.
static rlv_status find(masking* work)
{
    rlv_parts* parts = work->parts;
    const rlv_specimen* specimen = work->specimen;
    const char* own = work->piece != NULL ? work->piece : "block";
    parts->triangle_count = work->mesh->triangle_count;
    parts->is = rlv_reserve(parts->triangle_count, 1, work->error);
    rlv_status status = parts->is != NULL ? RLV_DONE : RLV_SYSTEM;
    for (size_t i = 0; status == RLV_DONE && i < specimen->mask_count; i++)
        if (strcmp(specimen->mask[i].stage, work->stage) == 0 && strcmp(rlv_mask_mesh(&specimen->mask[i]), own) == 0)
            status = mark_mask(work, &specimen->mask[i]);
    rlv_surface_free(work->own_surface);
    if (status == RLV_DONE)
        settle(parts);
    else
        rlv_parts_free(parts);
    return status;
}

rlv_status rlv_parts_find_on_piece(rlv_parts* parts, const rlv_specimen* specimen, const char* stage, const char* piece,
                                   const rlv_mesh* mesh, double mm_per_unit, rlv_error* error)
{
    return find(&(masking){.parts = parts,
                           .specimen = specimen,
                           .stage = stage,
                           .piece = piece,
                           .mesh = mesh,
                           .mm_per_unit = mm_per_unit,
                           .error = error});
}

rlv_status rlv_parts_find(rlv_parts* parts, const rlv_specimen* specimen, const char* stage, const rlv_mesh* mesh,
                          double mm_per_unit, const rlv_surface* surface, rlv_error* error)
{
    rlv_status status = find(&(masking){.parts = parts,
                                        .specimen = specimen,
                                        .stage = stage,
                                        .mesh = mesh,
                                        .mm_per_unit = mm_per_unit,
                                        .surface = surface,
                                        .error = error});
    if (status == RLV_DONE && parts->support_count != 0 && parts->support_count == mesh->triangle_count)
        status = rlv_fail(error, RLV_BAD_INPUT, "specimen.yaml: masks", "mask only what is not of the block",
                          "all of the mesh at '%.80s' is support: no block is left", stage);
    if (status != RLV_DONE)
        rlv_parts_free(parts);
    return status;
}

void rlv_parts_free(rlv_parts* parts)
{
    free(parts->is);
    free(parts->piece);
    memset(parts, 0, sizeof *parts);
}

rlv_status rlv_parts_drop_support(rlv_parts* parts, rlv_mesh* mesh, rlv_error* error)
{
    if (parts->support_count == 0)
        return RLV_DONE;
    uint8_t* drop = rlv_reserve(parts->triangle_count, 1, error);
    if (drop == NULL)
        return RLV_SYSTEM;
    for (size_t t = 0; t < parts->triangle_count; t++)
        drop[t] = parts->is[t] & RLV_IS_SUPPORT;
    const rlv_status status = rlv_mesh_drop(mesh, drop, error);
    size_t kept = 0;
    for (size_t t = 0; status == RLV_DONE && t < parts->triangle_count; t++)
    {
        if (drop[t])
            continue;
        parts->is[kept] = parts->is[t];
        if (parts->piece != NULL)
            parts->piece[kept] = parts->piece[t];
        kept++;
    }
    free(drop);
    if (status != RLV_DONE)
        return status;
    parts->triangle_count = kept;
    parts->support_count = 0;
    return RLV_DONE;
}
