#include "mesh_file.h"
#include "rejoin_several.h"
#include "support/expecting.h"
#include "support/program.h"
#include "support/rejoining.h"
#include "support/told.h"

#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

TestSuite(rejoin_pieces, .init = program_enter, .fini = program_leave, .timeout = 1800);

static const size_t triangles = 14000;

static void write_mesh(const rlv_mesh* mesh, const char* folder, const char* name)
{
    char path[64];
    rlv_error error = {0};
    snprintf(path, sizeof path, "%s%s", folder, name);
    cr_assert_eq(rlv_mesh_file_write(mesh, path, &error), RLV_DONE, "%s", error.what);
}

/// Write a block in three parts as block.ply, lid.ply and plug.ply, and before.ply, into a folder ("" or "meshes/").
static breaking_parts write_parts(uint64_t seed, const char* folder)
{
    const breaking_plan plan = breaking_draw(seed, triangles);
    breaking_parts made = breaking_make_parts(&plan, 3, 3);
    static const char* const name[] = {"block.ply", "lid.ply", "plug.ply"};
    for (size_t k = 0; k < 3; k++)
        write_mesh(&made.part[k], folder, name[k]);
    write_mesh(&made.before, folder, "before.ply");
    return made;
}

static double number_at(const json_t* list, size_t at)
{
    return json_number_value(json_array_get(list, at));
}

/// A piece of the answer lies where it truly does, within what one joint without a stage from before may miss by
/// (tests/core/rejoin.c).
static void expect_place(const json_t* piece, const rlv_pose* truth)
{
    const json_t *m = json_object_get(piece, "transform"), *centre = json_object_get(piece, "centre_mm");
    double mm, deg;
    cr_assert_eq(json_array_size(m), 16);
    rlv_pose pose = rlv_pose_identity();
    for (size_t i = 0; i < 9; i++)
        pose.rotation.m[i] = number_at(m, 4 * (i / 3) + i % 3);
    pose.translation_mm = rlv_vec3_of(number_at(m, 3), number_at(m, 7), number_at(m, 11));
    pose.centre_mm = rlv_vec3_of(number_at(centre, 0), number_at(centre, 1), number_at(centre, 2));
    rejoining_apart(&pose, truth, &mm, &deg);
    cr_expect(mm < 0.5 && deg < 1.0, "%s: %.3f mm, %.3f degrees off", told_text(piece, "piece"), mm, deg);
}

Test(rejoin_pieces, several_pieces_go_back_and_their_ring_is_told)
{
    static const char *const of_piece[] = {"piece",          "block",           "verdict",   "transform", "covariance",
                                           "position_sd_mm", "rotation_sd_deg", "gap_after", "contacts",  "joint",
                                           "approach",       "quantities",      "why",       NULL},
                             *const of_joint[] = {"piece",   "block",  "carries",   "counted",   "rejected",
                                                  "suspect", "fit",    "verdict",   "middle_mm", "area_mm2",
                                                  "reason",  "normal", "gap_alone", NULL};
    breaking_parts made = write_parts(5001, "");
    json_t* told = told_by("rejoin block.ply lid.ply plug.ply --unit mm --json --out out", 0);
    const json_t *pieces = json_object_get(told, "pieces"), *joints = json_object_get(told, "joints"),
                 *rings = json_object_get(told, "rings");
    cr_assert_eq(json_array_size(pieces), 2);
    cr_assert_eq(json_array_size(joints), 3);
    cr_assert_eq(json_array_size(rings), 1);
    cr_expect_eq(json_array_size(json_object_get(told, "inputs")), 3);
    for (size_t k = 0; k < 2; k++)
    {
        told_has_keys(json_array_get(pieces, k), of_piece);
        expect_place(json_array_get(pieces, k), &made.in_block[k + 1]);
    }
    for (size_t j = 0; j < 3; j++)
    {
        told_has_keys(json_array_get(joints, j), of_joint);
        cr_expect_gt(told_number(json_object_get(json_array_get(joints, j), "gap_together"), "area_mm2"), 0.0);
    }
    const json_t* ring = json_array_get(rings, 0);
    cr_expect(json_is_true(json_object_get(ring, "closes")));
    cr_expect_eq(json_array_size(json_object_get(ring, "bodies")), 3);
    cr_expect_gt(told_number(ring, "p"), RLV_SEVERAL_WRONG_P);
    cr_expect_gt(told_number(ring, "expected_mm"), 0.0);
    expect_in_file("out/rejoin.csv", "\nplug.ply,");
    expect_in_file("out/rejoin_gaps.csv", "\nlid.ply,closed,");
    expect_in_file("out/rejoin_joints.csv", "piece,block,carries,counted,rejected,suspect,verdict,fit,joint_mm2");
    expect_in_file("out/rejoin_rings.csv", "block.ply");
    expect_in_file("out/meanings.csv", "rejoin_rings.csv,miss_mm,");
    expect_in_file("out/rejoin.json", "\"rings\"");
    expect_in_file("out/rejoined-1.ply", "ply");
    expect_in_file("out/rejoined-2.ply", "ply");
    expect_in_file("out/joint-2.pdf", "%PDF");
    expect_in_file("out/joint-1.png", "PNG");
    json_decref(told);
    breaking_parts_free(&made);
}

Test(rejoin_pieces, people_read_the_joints_the_rings_and_each_piece)
{
    breaking_parts made = write_parts(5001, "");
    program_run run = program_call("rejoin block.ply lid.ply plug.ply --unit mm", NULL);
    cr_assert_eq(run.status, 0, "%s", run.err);
    static const char* const words[] = {"2 pieces put back on block.ply",
                                        "the joints",
                                        "counted",
                                        "rings",
                                        "it closes: at the joint of",
                                        "are to be expected (p ",
                                        "it fits: the two faces repeat",
                                        "No gap fill, adhesive or consolidant is recommended"};
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        cr_expect_not_null(strstr(run.out, words[i]), "lacks '%s':\n%s", words[i], run.out);
    program_free(&run);
    breaking_parts_free(&made);
}

Test(rejoin_pieces, a_piece_that_cannot_be_placed_ends_with_what_is_known)
{
    breaking_parts made = write_parts(5001, "");
    const breaking_plan plan = breaking_draw(5003, triangles);
    breaking_parts other = breaking_make_parts(&plan, 3, 3);
    write_mesh(&other.part[1], "", "stray.ply");
    program_run run = program_call("rejoin block.ply lid.ply stray.ply --unit mm --json --out out", NULL);
    cr_assert_eq(run.status, 3, "%s", run.err);
    cr_expect_not_null(strstr(run.err, "'stray.ply' could not be placed"), "%s", run.err);
    cr_expect_not_null(strstr(run.err, "leave it out"), "%s", run.err);
    json_t* told = told_in(run.out);
    program_free(&run);
    const json_t *pieces = json_object_get(told, "pieces"), *lid = json_array_get(pieces, 0),
                 *stray = json_array_get(pieces, 1);
    cr_expect_str_neq(told_text(lid, "verdict"), "none");
    expect_place(lid, &made.in_block[1]);
    cr_expect(json_is_null(json_object_get(lid, "why")) && json_is_null(json_object_get(stray, "transform")));
    cr_expect_gt(strlen(told_text(stray, "why")), 0);
    cr_expect_eq(json_array_size(json_object_get(told, "joints")), 1);
    cr_expect_null(program_read("out/rejoin.json", NULL));
    json_decref(told);
    breaking_parts_free(&other);
    breaking_parts_free(&made);
}

Test(rejoin_pieces, a_call_that_names_no_pieces_of_a_block_is_refused)
{
    breaking_parts made = write_parts(5001, "");
    write_mesh(&made.part[1], "", "again.ply");
    expect_failure("rejoin block.ply", 2, "no piece is named", "name the block and its piece");
    expect_failure("rejoin block.ply lid.ply plug.ply", 2, "unit", "--unit mm");
    expect_failure("rejoin block.ply lid.ply again.ply --unit mm", 2, "the same, byte for byte, as lid.ply",
                   "each piece once");
    expect_failure("rejoin block.ply lid.ply block.ply --unit mm", 2, "the same, byte for byte, as block.ply",
                   "of the piece");
    expect_failure("rejoin block.ply lid.ply missing.ply --unit mm", 2, "missing.ply", "no such file");
    program_write("none.ply", "ply\nformat ascii 1.0\nelement vertex 0\nproperty float x\nproperty float y\n"
                              "property float z\nelement face 0\nproperty list uchar int vertex_indices\nend_header\n");
    expect_failure("rejoin block.ply lid.ply none.ply --unit mm", 2, "none.ply", "");
    breaking_parts_free(&made);
}

// --- Of a specimen ---------------------------------------------------------------------------------------------------

/// A specimen of a block in three parts: the lid came off the block, and the plug off the lid; a chip has no mesh.
static breaking_parts write_specimen(void)
{
    cr_assert_eq(mkdir("rock", 0777), 0);
    cr_assert_eq(mkdir("rock/meshes", 0777), 0);
    breaking_parts made = write_parts(5001, "rock/meshes/");
    program_write("rock/specimen.yaml",
                  "specimen: LQ-0417\n"
                  "stages:\n"
                  "  - {id: whole, mesh: meshes/before.ply, mesh_unit: mm}\n"
                  "  - {id: broken, mesh: meshes/block.ply, mesh_unit: mm}\n"
                  "pieces:\n"
                  "  - {id: plug, parent: lid, detached: broken, meshes: [{stage: broken, mesh: meshes/plug.ply, "
                  "mesh_unit: mm}]}\n"
                  "  - {id: chip, detached: broken}\n"
                  "  - {id: lid, detached: broken, meshes: [{stage: broken, mesh: meshes/lid.ply, mesh_unit: mm}]}\n");
    return made;
}

Test(rejoin_pieces, all_pieces_of_a_specimen_go_back_by_their_parents_in_the_blocks_frame)
{
    breaking_parts made = write_specimen();
    json_t* told = told_by("rejoin rock --json", 0);
    const json_t *pieces = json_object_get(told, "pieces"), *plug = told_row(pieces, "piece", "plug"),
                 *lid = told_row(pieces, "piece", "lid");
    cr_assert_eq(json_array_size(pieces), 2);
    cr_expect_str_eq(told_text(lid, "block"), "broken");
    cr_expect_str_eq(told_text(lid, "before"), "whole");
    cr_expect_str_eq(told_text(plug, "block"), "lid");
    // The block's frame is that of `whole`.
    const rlv_pose of_lid = rlv_pose_compose(&made.from_block, &made.in_block[1]),
                   of_plug = rlv_pose_compose(&made.from_block, &made.in_block[2]);
    expect_place(lid, &of_lid);
    expect_place(plug, &of_plug);
    cr_assert_eq(json_array_size(json_object_get(told, "rings")), 1);
    json_decref(told);
    breaking_parts_free(&made);
}

Test(rejoin_pieces, a_report_tells_of_several_pieces_what_rejoin_tells)
{
    breaking_parts made = write_specimen();
    json_t *told = told_by("rejoin rock --json", 0), *report = told_by("report rock --json", 0);
    const json_t *together = json_object_get(report, "rejoin_together"), *tables = json_object_get(report, "tables");
    cr_expect(json_equal(json_object_get(told, "pieces"), json_object_get(report, "rejoin")));
    cr_expect_eq(json_array_size(json_object_get(together, "rings")), 1);
    static const char* const keys[] = {"joints", "rings", "contradictory", "widened"};
    for (size_t k = 0; k < sizeof keys / sizeof *keys; k++)
        cr_expect(json_equal(json_object_get(told, keys[k]), json_object_get(together, keys[k])), "%s", keys[k]);
    cr_expect_eq(json_array_size(json_object_get(tables, "rejoin_joints")), 3);
    cr_expect_eq(json_array_size(json_object_get(tables, "rejoin_rings")), 1);
    expect_in_file("rock/out/report.html", "All pieces together");
    expect_in_file("rock/out/report.html", "it closes: at the joint of");
    expect_in_file("rock/out/tables/rejoin_rings.csv", "plug");
    expect_in_file("rock/out/pictures/plug-joint.png", "PNG");
    json_decref(report);
    json_decref(told);
    breaking_parts_free(&made);
}

/// Pieces that came off at stages which have no common frame: each is put back by itself.
Test(rejoin_pieces, a_report_puts_pieces_back_by_themselves_where_their_stages_have_no_common_frame)
{
    breaking_parts made = write_specimen();
    const breaking_plan plan = breaking_draw(5003, triangles);
    breaking_parts other = breaking_make_parts(&plan, 3, 3);
    write_mesh(&other.part[0], "rock/meshes/", "other.ply");
    write_mesh(&other.part[1], "rock/meshes/", "cork.ply");
    program_write("rock/specimen.yaml",
                  "specimen: LQ-0417\n"
                  "stages:\n"
                  "  - {id: broken, mesh: meshes/block.ply, mesh_unit: mm}\n"
                  "  - {id: other, mesh: meshes/other.ply, mesh_unit: mm}\n"
                  "pieces:\n"
                  "  - {id: lid, detached: broken, meshes: [{stage: broken, mesh: meshes/lid.ply, mesh_unit: mm}]}\n"
                  "  - {id: cork, detached: other, meshes: [{stage: other, mesh: meshes/cork.ply, mesh_unit: mm}]}\n");
    program_run run = program_call("report rock --json", NULL);
    json_t* report = told_in(run.out);
    program_free(&run);
    const json_t* list = json_object_get(report, "rejoin");
    cr_expect(json_is_null(json_object_get(report, "rejoin_together")));
    for (size_t k = 0; k < json_array_size(list); k++)
        cr_expect(json_is_array(json_object_get(json_array_get(list, k), "transform")));
    json_decref(report);
    breaking_parts_free(&other);
    breaking_parts_free(&made);
}

Test(rejoin_pieces, pieces_that_a_specimen_has_not_are_refused)
{
    breaking_parts made = write_specimen();
    expect_failure("rejoin rock lid lid", 2, "'lid' is named twice", "each piece once");
    expect_failure("rejoin rock lid cork", 2, "there is no piece 'cork'", "say one of plug, lid");
    expect_failure("rejoin rock lid chip", 2, "'chip' has no mesh of its own", "meshes");
    program_change("rock/specimen.yaml", "{id: lid, detached", "{id: lid, parent: plug, detached");
    expect_failure("rejoin rock", 2, "is its own ancestor", "leave the parent out");
    program_change("rock/specimen.yaml", ", meshes: [{stage: broken, mesh: meshes/plug.ply, mesh_unit: mm}]", "");
    program_change("rock/specimen.yaml", "parent: plug, ", "");
    program_change("rock/specimen.yaml", ", meshes: [{stage: broken, mesh: meshes/lid.ply, mesh_unit: mm}]", "");
    expect_failure("rejoin rock", 3, "no piece with a mesh of its own is recorded", "under pieces in specimen.yaml");
    breaking_parts_free(&made);
}
