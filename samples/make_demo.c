/// Makes the demo specimen: a folder with six scans of a block in preparation and one of a piece of it, the workshop's
/// record of them, and the truth.

#include "folder.h"
#include "mesh_file.h"
#include "safe_file.h"
#include "scan.h"
#include "solid.h"
#include "support.h"
#include "truth.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char* const help =
    "make_demo --out DIR [--size N] [--seed S] [--support]\n"
    "\n"
    "Makes the demo specimen LQ-0417, an invented armoured fish in a block of marl: DIR/meshes/field.ply (the field\n"
    "block), overburden, skull, left-flank, tail and cleaned.ply, and slab.ply (a piece that was off at left-flank), "
    "in\n"
    "millimetres, each scanned with noise, warp, a scale error and a pose of its own; DIR/specimen.yaml, points.csv "
    "and\n"
    "elements.csv, what the workshop wrote down; and DIR/truth.json, what is true of it all.\n"
    "\n"
    "  --out DIR   where to write; made when it is missing\n"
    "  --size N    triangles a stage, 40000 to 5000000 (default 200000)\n"
    "  --seed S    another specimen of the same plan (default 417)\n"
    "  --support   leave the sandbags that the field block lies between in its mesh, as the object support\n"
    "  --help      this\n";

typedef struct demo_order
{
    const char* out;
    size_t triangles;
    uint64_t seed;
    bool support;
    bool help;
} demo_order;

/// How each stage is scanned: the field block by hand in daylight, the others on the bench.
static const scan_noise scans[SPECIMEN_STAGES] = {
    {.noise_sd_mm = 0.30, .noise_length_mm = 1.6, .warp_sd_mm = 0.35, .warp_length_mm = 130, .scale_sd = 5e-4},
    {.noise_sd_mm = 0.12, .noise_length_mm = 1.2, .warp_sd_mm = 0.18, .warp_length_mm = 110, .scale_sd = 2e-4},
    {.noise_sd_mm = 0.10, .noise_length_mm = 1.0, .warp_sd_mm = 0.15, .warp_length_mm = 100, .scale_sd = 2e-4},
    {.noise_sd_mm = 0.08, .noise_length_mm = 1.0, .warp_sd_mm = 0.12, .warp_length_mm = 100, .scale_sd = 2e-4},
    {.noise_sd_mm = 0.08, .noise_length_mm = 1.0, .warp_sd_mm = 0.12, .warp_length_mm = 90, .scale_sd = 2e-4},
    {.noise_sd_mm = 0.07, .noise_length_mm = 0.9, .warp_sd_mm = 0.10, .warp_length_mm = 100, .scale_sd = 1e-4},
};

static rlv_status read_number(const char* option, const char* text, uint64_t* value, rlv_error* error)
{
    char* end;
    errno = 0;
    *value = strtoull(text, &end, 10);
    if (errno != 0 || *end != '\0' || text[0] < '0' || text[0] > '9')
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give a whole number", "%s %s", option, text);
    return RLV_DONE;
}

static rlv_status read_order(demo_order* order, int count, char** word, rlv_error* error)
{
    for (int i = 1; i < count; i += 2)
    {
        if (strcmp(word[i], "--support") == 0)
        {
            order->support = true;
            i--;
            continue;
        }
        const char* value = i + 1 < count ? word[i + 1] : NULL;
        bool out = strcmp(word[i], "--out") == 0, size = strcmp(word[i], "--size") == 0;
        bool seed = strcmp(word[i], "--seed") == 0;
        uint64_t number = 0;
        if (strcmp(word[i], "--help") == 0)
        {
            order->help = true;
            return RLV_DONE;
        }
        if (!out && !size && !seed)
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "see --help", "unknown option %s", word[i]);
        if (value == NULL)
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "see --help", "%s needs a value", word[i]);
        if (!out && read_number(word[i], value, &number, error) != RLV_DONE)
            return RLV_BAD_INPUT;
        order->out = out ? value : order->out;
        order->triangles = size ? (size_t)number : order->triangles;
        order->seed = seed ? number : order->seed;
    }
    if (order->out == NULL)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "add --out DIR", "no folder to write to");
    if (order->triangles < SOLID_LEAST || order->triangles > SOLID_MOST)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give 40000 to 5000000", "--size %zu", order->triangles);
    return RLV_DONE;
}

/// Make a scan of a true mesh and write it; the mesh is freed.
static rlv_status write_scan(rlv_mesh* mesh, truth_scan* scan, const char* name, const demo_order* order,
                             rlv_error* error)
{
    char path[4096];
    snprintf(scan->file, sizeof scan->file, "meshes/%s.ply", name);
    snprintf(path, sizeof path, "%s/%s", order->out, scan->file);
    scan->noise.any_pose = true;
    scan->noise.place_mm = 400.0;
    rlv_status status = scan_mesh(mesh, &scan->noise, &scan->pose, error);
    if (status == RLV_DONE)
        status = rlv_mesh_file_write(mesh, path, error);
    if (status == RLV_DONE)
        printf("%s: %zu triangles\n", path, mesh->triangle_count);
    rlv_mesh_free(mesh);
    return status;
}

static rlv_status write_stage(truth_plan* plan, int stage, const demo_order* order, rlv_error* error)
{
    truth_scan* scan = &plan->scan[stage];
    scan->noise = scans[stage];
    scan->noise.seed = noise_hash(order->seed, 100 + (uint64_t)stage);
    rlv_mesh mesh = {0};
    rlv_status status = solid_mesh(&mesh, plan->specimen, stage, order->triangles,
                                   noise_hash(order->seed, 200 + (uint64_t)stage), error);
    if (status == RLV_DONE)
        scan->true_volume_mm3 = rlv_mesh_measure(&mesh).volume_mm3;
    scan->triangles = mesh.triangle_count;
    if (status == RLV_DONE && stage == 0 && order->support)
        status = support_add(&mesh, &plan->specimen->block, order->seed, &plan->support_mm3, error);
    if (status == RLV_DONE)
        status = write_scan(&mesh, scan, specimen_stage_id(stage), order, error);
    rlv_mesh_free(&mesh);
    return status;
}

/// The slab by itself, scanned on the bench as its block was.
static rlv_status write_slab(truth_plan* plan, const demo_order* order, rlv_error* error)
{
    truth_scan* scan = &plan->slab;
    scan->noise = scans[SPECIMEN_SLAB_OFF];
    scan->noise.seed = noise_hash(order->seed, 120);
    rlv_mesh mesh = {0};
    rlv_status status = slab_mesh(&mesh, &plan->specimen->slab, &plan->specimen->block, order->triangles / 5,
                                  noise_hash(order->seed, 220), error);
    if (status == RLV_DONE)
        scan->true_volume_mm3 = rlv_mesh_measure(&mesh).volume_mm3;
    scan->triangles = mesh.triangle_count;
    if (status == RLV_DONE)
        status = write_scan(&mesh, scan, "slab", order, error);
    rlv_mesh_free(&mesh);
    return status;
}

static rlv_status write_truth(const truth_plan* plan, const demo_order* order, rlv_error* error)
{
    char path[4096];
    snprintf(path, sizeof path, "%s/truth.json", order->out);
    json_t* truth = truth_json(plan);
    if (truth == NULL)
        return rlv_fail(error, RLV_SYSTEM, path, "close other programs", "no memory for the truth");
    rlv_safe_file file = {0};
    rlv_status status = rlv_safe_file_open(&file, path, error);
    if (status == RLV_DONE)
    {
        if (json_dumpf(truth, file.stream, JSON_INDENT(1) | JSON_REAL_PRECISION(10)) == 0 &&
            fputc('\n', file.stream) != EOF)
            status = rlv_safe_file_commit(&file, error);
        else
            status = rlv_fail(error, RLV_SYSTEM, path, "free some space on the disk", "the truth cannot be written");
    }
    rlv_safe_file_abandon(&file);
    json_decref(truth);
    if (status == RLV_DONE)
        printf("%s\n", path);
    return status;
}

/// What the workshop wrote down, once all scans lie where they do.
static rlv_status write_record(truth_plan* plan, placed_points* placed, demo_book* book, const demo_order* order,
                               rlv_error* error)
{
    folder_plan folder = {.specimen = plan->specimen,
                          .placed = placed,
                          .book = book,
                          .slab_scale_sd = plan->slab.noise.scale_sd,
                          .support = order->support};
    for (int stage = 0; stage < SPECIMEN_STAGES; stage++)
        folder.to_true[stage] = plan->scan[stage].pose;
    *book = book_make(plan->specimen, order->seed);
    rlv_status status = placed_make(placed, plan->specimen, folder.to_true, order->seed, error);
    if (status == RLV_DONE)
        status = folder_write(&folder, order->out, error);
    return status;
}

static rlv_status make(const demo_order* order, rlv_error* error)
{
    char made[4096], meshes[4096];
    demo_specimen specimen = {0};
    placed_points placed = {0};
    demo_book book = {0};
    truth_plan plan = {.specimen = &specimen, .placed = &placed, .book = &book, .seed = order->seed};
    snprintf(meshes, sizeof meshes, "%s/meshes", order->out);
    rlv_status status = rlv_folder_make(meshes, made, sizeof made, error);
    if (status == RLV_DONE)
        status = specimen_make(&specimen, order->seed, error);
    for (int stage = 0; stage < SPECIMEN_STAGES && status == RLV_DONE; stage++)
        status = write_stage(&plan, stage, order, error);
    if (status == RLV_DONE)
        status = write_slab(&plan, order, error);
    if (status == RLV_DONE)
        status = write_record(&plan, &placed, &book, order, error);
    if (status == RLV_DONE)
        status = write_truth(&plan, order, error);
    placed_free(&placed);
    specimen_free(&specimen);
    return status;
}

int main(int count, char** word)
{
    demo_order order = {.triangles = 200000, .seed = 417};
    rlv_error error = {0};
    rlv_status status = read_order(&order, count, word, &error);
    if (status == RLV_DONE && order.help)
        return fputs(help, stdout) == EOF ? RLV_SYSTEM : RLV_DONE;
    if (status == RLV_DONE)
        status = make(&order, &error);
    if (status == RLV_DONE && fflush(stdout) != 0)
        status =
            rlv_fail(&error, RLV_SYSTEM, NULL, "look at where the output goes", "standard output cannot be written");
    if (status != RLV_DONE)
        fprintf(stderr, "make_demo: %s%s%s; %s\n", error.where, error.where[0] != '\0' ? ": " : "", error.what,
                error.mend);
    return (int)status;
}
