#include "short_life.h"

#include <math.h>
#include <stdlib.h>

static void fill_record(short_life* life)
{
    static const char* const id[] = {"field", "skull", "cleaned"};
    static const char* const date[] = {"2031-05-12", "2031-06-27", "2031-12-18"};
    static const double grams[] = {28340.0, 25098.5, 24700.0};
    rlv_specimen* s = &life->specimen;
    for (size_t i = 0; i < 3; i++)
    {
        life->mass[i] = (rlv_mass_record){grams[i], 2.0};
        life->stage[i] = (rlv_stage_record){.id = (char*)id[i], .date = (char*)date[i], .mass = &life->mass[i]};
        life->stage[i].mesh = (rlv_mesh_record){.mesh = (char*)"meshes/block.ply"};
    }
    life->bar[0] = (rlv_scale_bar_record){(char*)"rod 1", 600.076, 0.15};
    life->bar[1] = (rlv_scale_bar_record){(char*)"rod 2", 450.104, 0.15};
    life->stage[0].mesh = (rlv_mesh_record){.mesh = (char*)"meshes/field.ply", .bar_count = 2, .bar = life->bar};
    life->stage[0].note = (char*)"keep off <b>bone</b> & wait";
    life->work[0] = (rlv_work_record){.tool = (char*)"scribe", .hours = 8.0, .area = (char*)"skull roof"};
    life->work[1] = (rlv_work_record){.tool = (char*)"needle", .hours = 2.0, .area = (char*)"skull roof"};
    life->work[2] = (rlv_work_record){.tool = (char*)"scribe", .hours = 10.0};
    life->stage[1].work_count = 2;
    life->stage[1].work = life->work;
    life->stage[2].work_count = 1;
    life->stage[2].work = &life->work[2];
    life->density[0] = (rlv_density_record){(char*)"matrix", 2.32, 0.03, (char*)"a weighed chip"};
    life->density[1] = (rlv_density_record){(char*)"bone", 2.96, 0.05, NULL};
    life->bag_mass[0] = (rlv_mass_record){420.0, 1.0};
    life->bag_mass[1] = (rlv_mass_record){700.0, 1.0};
    life->bag[0] = (rlv_spoil_record){
        .bag = (char*)"S1", .stage = (char*)"skull", .area = (char*)"skull roof", .mass = &life->bag_mass[0]};
    life->bag[1] = (rlv_spoil_record){.bag = (char*)"S2", .stage = (char*)"cleaned", .mass = &life->bag_mass[1]};
    life->slab_mass = (rlv_mass_record){108.5, 0.2};
    life->piece = (rlv_piece_record){.id = (char*)"slab A", .detached = (char*)"cleaned", .mass = &life->slab_mass};
    *s = (rlv_specimen){.id = (char*)"LQ-0417",
                        .title = (char*)"Armoured fish",
                        .folder = (char*)"LQ-0417",
                        .stage_count = 3,
                        .stage = life->stage,
                        .density_count = 2,
                        .density = life->density,
                        .spoil_count = 2,
                        .spoil = life->bag,
                        .piece_count = 1,
                        .piece = &life->piece};
}

static void fill_stages(short_life* life)
{
    for (size_t i = 0; i < 3; i++)
        life->read[i] = (history_stage){.record = &life->stage[i],
                                        .given = {.triangles = 38166,
                                                  .health = {.closed = i != 1, .open_edges = i == 1},
                                                  .measures = {.volume_mm3 = 1.2e7 - 2e6 * (double)i}},
                                        .mm_per_unit = 1.0,
                                        .scale_sd = 2e-4};
    life->read[0].scale = (rlv_scale){.mm_per_unit = 1.0, .relative_sd = 2e-4, .chi_square = 0.4, .p = 0.5};
    life->read[0].residual = life->residual;
    life->residual[0] = (rlv_scale_residual){.residual_mm = 0.07, .sd_mm = 0.38, .sds = 0.5};
    life->residual[1] = (rlv_scale_residual){.residual_mm = -0.09, .sd_mm = 0.38, .sds = -0.5};
}

static rlv_interval around(double value, double half)
{
    return (rlv_interval){value, value - half, value + half};
}

static rlv_change_region region(rlv_change_class kind, double mm3, double half, double mm2, double greatest)
{
    return (rlv_change_region){.kind = kind,
                               .part = kind == RLV_CHANGE_DETACHED ? 2 : 0,
                               .volume_mm3 = around(mm3, half),
                               .area_mm2 = around(mm2, 0.05 * mm2),
                               .area_from_mm = 0.4,
                               .mean_depth_mm = around(mm3 / mm2, 0.1 * mm3 / mm2),
                               .max_depth_mm = around(greatest, 0.16),
                               .centroid_mm = {1.0, 2.0, 3.0}};
}

static void fill_step(short_life* life, size_t i)
{
    history_step* step = &life->step[i];
    *step = (history_step){.before = i, .after = i + 1, .measured = true, .region = life->beside[i], .hours = 10.0};
    rlv_change* change = &step->change;
    change->region = life->region[i];
    change->region_count = 3;
    change->noise_sd_mm = 0.08;
    change->noise_length_mm = 4.0;
    change->untold_mm3 = around(-2500.0, 9000.0);
    change->divergence_mm3 = NAN;
    step->crumbled_mm3 = step->gap_mm3 = (rlv_interval){NAN, NAN, NAN};
    for (size_t k = 0; k < RLV_CHANGE_LIMITS; k++)
        change->limit[k] = (rlv_detection_limit){100.0 * pow(10.0, (double)k / 2.0), 0.4 / (double)(k + 1)};
    for (size_t k = 0; k < 3; k++)
    {
        life->beside[i][k] =
            (history_region){.piece = SIZE_MAX, .nearest_bone_mm = 3.2, .centroid_mm = {1.0, 2.0, 3.0}};
        rlv_change_total* total = &change->total[change->region[k].kind];
        total->regions++;
        total->volume_mm3 = around(total->volume_mm3.value + change->region[k].volume_mm3.value, 1200.0);
    }
    for (size_t k = 0; k < RLV_CHANGE_CLASSES; k++)
    {
        rlv_change_total* total = &change->total[k];
        total->known = k != RLV_CHANGE_JOINED && (k != RLV_CHANGE_DETACHED || i == 1);
        if (total->regions == 0)
            total->volume_mm3 = (rlv_interval){0.0, 0.0, 340.0};
        step->seen_mm3[k] = total->volume_mm3;
        double value = total->known ? total->volume_mm3.value / 1000.0 : (double)NAN;
        const bool none = total->known && total->regions == 0; // looked for, and not found
        life->row[i].ml[k] = none ? (rlv_interval){0.0, 0.0, 0.34} : around(value, 1.2);
        life->row[i].g[k] = around(2.32 * value, 5.0);
        life->cumulative[i].ml[k] = around(value + (i > 0 ? life->row[0].ml[k].value : 0.0), 1.7);
        if (none && (i == 0 || life->row[0].ml[k].high == 0.34))
            life->cumulative[i].ml[k] = (rlv_interval){0.0, 0.0, 0.34 * (double)(i + 1)};
        life->cumulative[i].g[k] = around(2.32 * life->cumulative[i].ml[k].value, 9.0);
    }
    const rlv_balance open = {.missing = RLV_TERM_RESIN,
                              .missing_words = "resin",
                              .left_g = NAN,
                              .right_g = NAN,
                              .unexplained_g = {NAN, NAN, NAN}};
    life->row[i].mass = life->cumulative[i].mass = open;
    life->row[i].spoil = life->cumulative[i].spoil = (rlv_balance){
        .closed = true, .left_g = 425.0, .right_g = 420.0, .unexplained_g = around(5.0, 12.0), .within = true};
}

static void fill_graph(short_life* life)
{
    rlv_history* h = &life->history;
    for (size_t i = 0; i < 3; i++)
    {
        life->pose[i] = rlv_pose_identity();
        life->chain[i] = i;
    }
    for (size_t i = 0; i < 2; i++)
    {
        life->edge[i] = (history_edge){
            .into = i, .from = i + 1, .done = true, .alignment = {.rms_mm = 0.11, .stable_fraction = 0.7}};
        life->graph_edge[i] = i;
        life->closure[i].closure.distance = life->closure[i].closure.p = NAN;
    }
    h->joined = true;
    h->edge_count = 2;
    h->edge = life->edge;
    h->graph_edge = life->graph_edge;
    h->stages = (rlv_stages){
        .stage_count = 3, .edge_count = 2, .pose = life->pose, .chain = life->chain, .edge = life->closure, .p = NAN};
}

void short_life_fill(short_life* life)
{
    *life = (short_life){0};
    fill_record(life);
    fill_stages(life);
    life->region[0][0] = region(RLV_CHANGE_REMOVED, 120000.0, 900.0, 9000.0, 31.0);
    life->region[0][1] = region(RLV_CHANGE_REMOVED, 60000.0, 700.0, 8000.0, 20.0);
    life->region[0][2] = region(RLV_CHANGE_BONE, 420.0, 100.0, 90.0, 6.2);
    life->region[1][0] = region(RLV_CHANGE_REMOVED, 300000.0, 1200.0, 30000.0, 18.0);
    life->region[1][1] = region(RLV_CHANGE_DETACHED, 47000.0, 500.0, 7000.0, 9.0);
    life->region[1][2] = region(RLV_CHANGE_REMOVED, 9000.0, 400.0, 2000.0, 7.0);
    for (size_t i = 0; i < 2; i++)
        fill_step(life, i);
    life->beside[0][0].area = life->beside[0][1].area = life->beside[0][2].area = "skull roof";
    life->beside[1][1].piece = 0;
    life->step[1].piece_count = 1;
    life->tool[0] = "scribe";
    life->tool[1] = "needle";
    life->rate[0] = (rlv_rate){
        .determined = true, .ml_per_h = around(21.0, 4.0), .low_half_ml_per_h = 4.0, .high_half_ml_per_h = 4.0};
    life->rate[1] = (rlv_rate){.ml_per_h = {NAN, NAN, NAN}};
    life->history = (rlv_history){.specimen = &life->specimen,
                                  .stage_count = 3,
                                  .stage = life->read,
                                  .step_count = 2,
                                  .step = life->step,
                                  .row = life->row,
                                  .cumulative = life->cumulative,
                                  .tool_count = 2,
                                  .tool = life->tool,
                                  .rate = life->rate,
                                  .all_tools = life->rate[0]};
    fill_graph(life);
}
