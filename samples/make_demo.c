/// Makes the demo specimen: six scans of a block in preparation, and the truth of them.

#include "mesh_file.h"
#include "safe_file.h"
#include "scan.h"
#include "solid.h"
#include "truth.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char* const help =
    "make_demo --out DIR [--size N] [--seed S]\n"
    "\n"
    "Makes the demo specimen LQ-0417, an invented armoured fish in a block of marl: DIR/stage0.ply (the field block)\n"
    "to DIR/stage5.ply (cleaned), in millimetres, each scanned with noise, warp, a scale error and a pose of its own,\n"
    "and DIR/truth.json, what is true of them.\n"
    "\n"
    "  --out DIR   where to write; made when it is missing\n"
    "  --size N    triangles a stage, 40000 to 5000000 (default 200000)\n"
    "  --seed S    another specimen of the same plan (default 417)\n"
    "  --help      this\n";

typedef struct demo_order
{
    const char* out;
    size_t triangles;
    uint64_t seed;
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

static rlv_status write_stage(truth_scan* scan, const demo_specimen* specimen, int stage, const demo_order* order,
                              rlv_error* error)
{
    char path[4096];
    snprintf(scan->file, sizeof scan->file, "stage%d.ply", stage);
    snprintf(path, sizeof path, "%s/%s", order->out, scan->file);
    scan->noise = scans[stage];
    scan->noise.any_pose = true;
    scan->noise.place_mm = 400.0;
    scan->noise.seed = noise_hash(order->seed, 100 + (uint64_t)stage);
    rlv_mesh mesh = {0};
    rlv_status status =
        solid_mesh(&mesh, specimen, stage, order->triangles, noise_hash(order->seed, 200 + (uint64_t)stage), error);
    if (status == RLV_DONE)
    {
        scan->triangles = mesh.triangle_count;
        scan->true_volume_mm3 = rlv_mesh_measure(&mesh).volume_mm3;
        status = scan_mesh(&mesh, &scan->noise, &scan->pose, error);
    }
    if (status == RLV_DONE)
        status = rlv_mesh_file_write(&mesh, path, error);
    if (status == RLV_DONE)
        printf("%s: %s, %zu triangles\n", path, specimen_stage_name(stage), scan->triangles);
    rlv_mesh_free(&mesh);
    return status;
}

static rlv_status write_truth(const demo_specimen* specimen, const truth_scan* scan, const demo_order* order,
                              rlv_error* error)
{
    char path[4096];
    snprintf(path, sizeof path, "%s/truth.json", order->out);
    json_t* truth = truth_json(specimen, scan, order->seed);
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

static rlv_status make(const demo_order* order, rlv_error* error)
{
    char made[4096];
    demo_specimen specimen = {0};
    truth_scan scan[SPECIMEN_STAGES] = {0};
    rlv_status status = rlv_folder_make(order->out, made, sizeof made, error);
    if (status == RLV_DONE)
        status = specimen_make(&specimen, order->seed, error);
    for (int stage = 0; stage < SPECIMEN_STAGES && status == RLV_DONE; stage++)
        status = write_stage(&scan[stage], &specimen, stage, order, error);
    if (status == RLV_DONE)
        status = write_truth(&specimen, scan, order, error);
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
