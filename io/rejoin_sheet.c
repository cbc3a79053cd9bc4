#include "rejoin_sheet.h"

#include "given_mesh.h"
#include "joint_map.h"
#include "rejoin_words.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

void rejoin_sheet_free(rejoin_sheet* drawn)
{
    rlv_sheet_free(&drawn->sheet);
    memset(drawn, 0, sizeof *drawn);
}

// --- What is drawn ---------------------------------------------------------------------------------------------------

enum
{
    COLUMNS = 7,
    ROWS = 3,
};

/// What a joint's sheet is drawn from.
typedef struct scene
{
    const rejoin_told* told;
    rlv_tree *block_tree, *piece_tree, *whole_tree;
    rlv_mesh whole; ///< block and piece, closed
    uint8_t* in;    ///< one a triangle of that: 1 the piece
    rlv_panel_outline outline;
    rlv_joint_contact contact[RLV_REJOIN_CONTACTS];
    rlv_direction axis[3];
    char slide[96], caption[200];
    char text[ROWS][COLUMNS][48];
    const char* cell[ROWS * COLUMNS];
    size_t rows;
} scene;

static void free_scene(scene* s)
{
    rlv_tree_free(s->block_tree);
    rlv_tree_free(s->piece_tree);
    rlv_tree_free(s->whole_tree);
    rlv_mesh_free(&s->whole);
    free(s->in);
}

/// Block and piece as one mesh, about the block's origin.
static rlv_status put_together(scene* s, rlv_error* error)
{
    const rlv_mesh *block = s->told->block.mesh, *piece = s->told->piece.mesh;
    const size_t vertices = block->vertex_count, triangles = block->triangle_count;
    rlv_status status = rlv_mesh_reserve(&s->whole, vertices + piece->vertex_count, triangles + piece->triangle_count,
                                         false, false, error);
    if (status == RLV_DONE && (s->in = rlv_reserve(triangles + piece->triangle_count, 1, error)) == NULL)
        status = RLV_SYSTEM;
    if (status != RLV_DONE)
        return status;
    s->whole.origin_mm = block->origin_mm;
    memcpy(s->whole.position_mm, block->position_mm, 3 * vertices * sizeof(float));
    memcpy(s->whole.corner, block->corner, 3 * triangles * sizeof(uint32_t));
    for (size_t v = 0; v < piece->vertex_count; v++)
    {
        const rlv_vec3 at =
            rlv_vec3_sub(rlv_pose_apply(&s->told->of.closed, rlv_mesh_vertex(piece, v)), block->origin_mm);
        float* to = s->whole.position_mm + 3 * (vertices + v);
        to[0] = (float)at.x, to[1] = (float)at.y, to[2] = (float)at.z;
    }
    for (size_t c = 0; c < 3 * piece->triangle_count; c++)
        s->whole.corner[3 * triangles + c] = piece->corner[c] + (uint32_t)vertices;
    memset(s->in + triangles, 1, piece->triangle_count);
    return rlv_tree_build(&s->whole_tree, &s->whole, error);
}

static rlv_status make_scene(scene* s, rlv_error* error)
{
    rlv_status status = rlv_tree_build(&s->block_tree, s->told->block.mesh, error);
    if (status == RLV_DONE)
        status = rlv_tree_build(&s->piece_tree, s->told->piece.mesh, error);
    return status == RLV_DONE ? put_together(s, error) : status;
}

/// "0.42 (0.21 to 0.63)"
static void put_cell(char cell[48], rlv_interval interval, double unit)
{
    rlv_print(cell, 48, "%.16s (%.24s)", words_value(interval, unit).text, words_ends(interval, unit).text);
}

static void put_row(scene* s, const char* trial, const rlv_rejoin_gap* gap)
{
    char(*text)[48] = s->text[s->rows];
    snprintf(text[0], 48, "%s", trial);
    put_cell(text[1], gap->median_mm, 1.0);
    put_cell(text[2], gap->p95_mm, 1.0);
    put_cell(text[3], gap->max_mm, 1.0);
    put_cell(text[4], gap->volume_mm3, 1000.0);
    rlv_print(text[5], 48, "%.40s", words_number(gap->open_mm2 / 100.0, 1).text);
    rlv_print(text[6], 48, "%.40s", words_number(gap->area_mm2 / 100.0, 1).text);
    for (size_t k = 0; k < COLUMNS; k++)
        s->cell[s->rows * COLUMNS + k] = text[k];
    s->rows++;
}

static void put_table(scene* s, rlv_sheet_table* table)
{
    static const char* const heads[COLUMNS] = {"",        "median mm",       "95 % mm",          "greatest mm",
                                               "fill mL", "open cm\xc2\xb2", "shared cm\xc2\xb2"};
    static const bool right[COLUMNS] = {false, true, true, true, true, true, true};
    if (s->told->of.found_known)
        put_row(s, "as found", &s->told->of.gap_before);
    put_row(s, "closed", &s->told->of.gap_after);
    if (s->told->of.back_known)
        put_row(s, "as it went back", &s->told->of.gap_back);
    *table = (rlv_sheet_table){COLUMNS, s->rows, heads, s->cell, right};
}

static void put_trial(rlv_joint_map* map, const char* name, const rlv_pose* place, const float* block_mm,
                      const float* piece_mm)
{
    map->trial[map->trial_count++] = (rlv_joint_trial){name, *place, block_mm, piece_mm};
}

/// What was up when it lay; else the z of the mesh.
static rlv_vec3 up_of(const rejoin_told* told)
{
    for (size_t i = 0; i < told->way_count; i++)
        if (strncmp(told->way[i].name, "up ", 3) == 0)
            return told->way[i].way;
    return rlv_vec3_of(0.0, 0.01, 1.0); // y where the joint lies level
}

static void put_contacts(scene* s, rlv_joint_map* map)
{
    const rlv_rejoin* of = &s->told->of;
    for (size_t i = 0; i < of->contact_count; i++)
        s->contact[i] = (rlv_joint_contact){of->contact[i].at_mm, rejoin_presses(&of->contact[i])};
    map->contact_count = of->contact_count;
    map->contact = s->contact;
}

static void put_whole(scene* s, rlv_joint_map* map)
{
    s->outline = (rlv_panel_outline){.in = s->in, .words = "edge of the piece"};
    map->whole =
        (rlv_panel_surface){.mesh = &s->whole, .tree = s->whole_tree, .outline_count = 1, .outline = &s->outline};
    const rlv_camera_axes face = rlv_joint_axes(map);
    const rlv_vec3 towards = rlv_vec3_unit(rlv_vec3_along(face.towards, -0.8, face.up));
    map->whole_axes = (rlv_camera_axes){face.right, rlv_vec3_cross(towards, face.right), towards};
}

/// Whether the joint is drawn as it stands today: the piece is back, and its widths there are told.
static bool stands_back(const rlv_rejoin* of)
{
    return of->back_known && of->block_back_mm != NULL && of->piece_back_mm != NULL;
}

static void make_map(scene* s, rlv_joint_map* map)
{
    const rejoin_told* told = s->told;
    const rlv_rejoin* of = &told->of;
    map->block = told->block.mesh;
    map->piece = told->piece.mesh;
    map->block_tree = s->block_tree;
    map->piece_tree = s->piece_tree;
    map->block_bone = told->block_bone;
    map->piece_bone = told->piece_bone;
    map->middle_mm = of->joint_mm;
    map->normal = of->joint_normal;
    map->up = up_of(told);
    if (stands_back(of))
        put_trial(map, "As it went back", &of->back, of->block_back_mm, of->piece_back_mm);
    else if (of->found_known)
        put_trial(map, "As found", &of->found, of->block_before_mm, of->piece_before_mm);
    put_trial(map, "Closed", &of->closed, of->block_after_mm, of->piece_after_mm);
    map->touching_mm = of->touching_mm;
    put_contacts(s, map);
    if (of->found_known && !stands_back(of) && told->motion.slide_mm.low > 0.0)
    {
        map->slide = told->motion.slide;
        rlv_print(s->slide, sizeof s->slide, "the piece slides %.20s" RLV_THIN "mm this way",
                  words_value(told->motion.slide_mm, 1.0).text);
        map->slide_words = s->slide;
    }
    put_whole(s, map);
    static const char* const name[3] = {"x", "y", "z"};
    for (int k = 0; k < 3; k++)
        s->axis[k] = (rlv_direction){rlv_vec3_of(k == 0, k == 1, k == 2), name[k]};
    map->direction_count = 3;
    map->direction = s->axis;
    put_table(s, &map->table);
    rlv_print(s->caption, sizeof s->caption,
              "Widths of what both faces share; open: of that, what does not touch; fill over the outline, "
              "%.20s" RLV_THIN "cm\xc2\xb2; intervals of 95" RLV_THIN "%%",
              words_number(of->joint_mm2 / 100.0, 1).text);
    map->table_caption = s->caption;
}

// --- Its words -------------------------------------------------------------------------------------------------------

static void add_part(rejoin_sheet* drawn, const rejoin_part* part)
{
    if (part->mesh != NULL)
        drawn->stage[drawn->title.stage_count++] =
            (rlv_title_stage){part->name, part->date, given_name(part->file), part->sha256};
}

static void put_words(rejoin_sheet* drawn, const rejoin_told* told)
{
    const bool recorded = told->specimen != NULL;
    // Of two pieces that are out of the block together the block of the joint is the other's mesh.
    const bool on_piece =
        told->record != NULL && told->record->parent != NULL && strcmp(told->record->parent, told->block.name) == 0;
    if (recorded)
        rlv_print(drawn->subject, sizeof drawn->subject, "The joint of %.120s, %s%.120s: its gap", told->piece.name,
                  on_piece ? "on " : "in the block at stage ", told->block.name);
    else
        snprintf(drawn->subject, sizeof drawn->subject, "Put back: the gap of its joint");
    rlv_print(drawn->specimen, sizeof drawn->specimen, "%.60s on %.60s", told->piece.name, told->block.name);
    snprintf(drawn->frame, sizeof drawn->frame, "%s; faces seen against the joint’s normal",
             told->placed ? "the block’s" : "that of the block’s mesh");
    drawn->title = (rlv_title){.specimen = recorded ? told->specimen->id : drawn->specimen,
                               .specimen_title = recorded ? told->specimen->title : NULL,
                               .subject = drawn->subject,
                               .stage = drawn->stage,
                               .frame = drawn->frame,
                               .software = "rilievo " RLV_VERSION,
                               .date = told->piece.date};
    add_part(drawn, &told->before);
    add_part(drawn, &told->block);
    add_part(drawn, &told->piece);
    if (stands_back(&told->of))
        add_part(drawn, &told->after);
    rlv_print(
        drawn->caption, sizeof drawn->caption,
        "Both faces of the joint of %.120s laid open like a book, with the gap between them%s, the joint cut across, "
        "and the block with the piece closed.",
        told->piece.name,
        stands_back(&told->of) ? " as it went back and closed"
        : told->of.found_known ? " as found and closed"
                               : " where it is closed");
    rlv_print(drawn->alt, sizeof drawn->alt,
              "The two faces of a joint, side by side, coloured by the width of the gap; %s. %.700s.",
              words_count(told->of.contact_count, "numbered contact").text, rejoin_verdict(told).text);
}

rlv_status rejoin_sheet_draw(rejoin_sheet* drawn, const rejoin_told* told, double scale, rlv_error* error)
{
    scene s = {.told = told};
    rlv_joint_map map = {.scale = scale, .paper = scale > 0.0 ? 4 : 3};
    rlv_status status = make_scene(&s, error);
    if (status == RLV_DONE)
    {
        put_words(drawn, told);
        make_map(&s, &map);
        map.title = drawn->title;
        status = rlv_sheet_of_joint(&drawn->sheet, &map, &drawn->left_out, error);
    }
    free_scene(&s);
    return status;
}

static rlv_status write_as(const rejoin_sheet* drawn, rlv_sheet_format format, const char* name, rlv_answer* answer,
                           rlv_error* error)
{
    char source[1024];
    FILE* stream = NULL;
    const rlv_sheet_info info = rlv_title_info(&drawn->title, source);
    rlv_status status = out_folder_add(&answer->folder, name, &stream, error);
    return status == RLV_DONE ? rlv_sheet_write(&drawn->sheet, format, stream, &info, error) : status;
}

rlv_status rejoin_sheet_keep(const rejoin_told* told, const char* stem, rlv_answer* answer, rlv_error* error)
{
    rejoin_sheet drawn = {0};
    char png[64], pdf[64];
    rlv_print(png, sizeof png, "%.50s.png", stem);
    rlv_print(pdf, sizeof pdf, "%.50s.pdf", stem);
    rlv_tell(&answer->progress, "picture", 0.0);
    rlv_status status = rejoin_sheet_draw(&drawn, told, 0.0, error);
    if (status == RLV_DONE)
        status = write_as(&drawn, RLV_SHEET_PNG, png, answer, error);
    if (status == RLV_DONE)
        status = write_as(&drawn, RLV_SHEET_PDF, pdf, answer, error);
    if (status == RLV_DONE && drawn.left_out > 0)
        answer_warn(answer, "%s: %s found no room", png, words_count(drawn.left_out, "label").text);
    rejoin_sheet_free(&drawn);
    return status;
}
