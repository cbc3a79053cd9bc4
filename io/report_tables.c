#include "report_tables.h"

#include "change_words.h"
#include "report_region.h"
#include "report_words.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define COLUMNS(columns) sizeof(columns) / sizeof *(columns), columns

#define FROM_TO                                                                                                        \
    {"from", NULL, "from", TABLE_TEXT, "Stage that the step begins with."},                                            \
    {                                                                                                                  \
        "to", NULL, "to", TABLE_TEXT, "Stage that it ends with."                                                       \
    }

static const double ml = 1000.0; // in mm³

static const char* stage_id(const rlv_history* history, size_t stage)
{
    return history->stage[stage].record->id;
}

static void put_step(rlv_table* t, const rlv_history* history, size_t step)
{
    table_text(t, stage_id(history, history->step[step].before));
    table_text(t, stage_id(history, history->step[step].after));
}

// --- Stages ----------------------------------------------------------------------------------------------------------

static const table_column stage_columns[] = {
    {"stage", NULL, "stage", TABLE_TEXT, "Id of the stage."},
    {"date", NULL, "date", TABLE_TEXT, "Date of the stage, as recorded."},
    {"triangles", NULL, "triangles", TABLE_COUNT, "Triangles of its mesh file."},
    {"closed", NULL, "closed", TABLE_FLAG, "Whether the mesh is closed, so that its volume can be told."},
    {"open_edges", NULL, "open edges", TABLE_COUNT, "Edges with one triangle only."},
    {"volume", "mm3", "volume", TABLE_INTERVAL,
     "Volume of the block as its own mesh has it, with scale, noise and slow warp of that scan in its interval: what "
     "changed between two stages is told far more surely by the steps. Empty where the mesh is open."},
    {"mass", "g", "mass weighed", TABLE_NUMBER, "Mass of the block as it was weighed."},
    {"mass_sd", "g", NULL, TABLE_NUMBER, "Standard deviation of that mass."},
    {"scale", NULL, "mm per unit", TABLE_NUMBER, "Millimetres that one unit of the mesh file is."},
    {"scale_sd_in_1_m", "mm", "scale, sd in 1 m", TABLE_NUMBER,
     "Standard deviation of the scale, as millimetres in a metre; 0 where it was said to be exact."},
    {"title", NULL, "what it shows", TABLE_TEXT, "Title of the stage, as recorded."}};

/// A scale is there to be used: a length of a metre times it must not be off by a micron.
static const int scale_figures = 6;

static rlv_table stages_table(const rlv_history* history)
{
    rlv_table t = table_of("stages", "The stages and their meshes", COLUMNS(stage_columns));
    for (size_t i = 0; i < history->stage_count; i++)
    {
        const history_stage* stage = &history->stage[i];
        const rlv_mass_record* mass = stage->record->mass;
        bool closed = stage->given.health.closed;
        table_text(&t, stage->record->id);
        table_text(&t, stage->record->date);
        table_count(&t, stage->given.triangles);
        table_flag(&t, closed);
        table_count(&t, stage->given.health.open_edges);
        if (closed)
            table_interval(&t, history_stage_volume(history, i));
        else
            table_none(&t);
        table_recorded(&t, mass != NULL ? mass->grams : (double)NAN);
        table_number(&t, mass != NULL ? mass->sd_g : (double)NAN, 0.0);
        if (stage->scale_sd > 0.0)
            table_figures(&t, stage->mm_per_unit, scale_figures);
        else
            table_recorded(&t, stage->mm_per_unit);
        table_figures(&t, 1000.0 * stage->scale_sd, 2);
        table_text(&t, stage->record->title);
    }
    return t;
}

static const table_column bar_columns[] = {
    {"stage", NULL, "stage", TABLE_TEXT, "Id of the stage."},
    {"bar", NULL, "scale bar", TABLE_TEXT, "Name of the bar."},
    {"certified", "mm", "certified", TABLE_NUMBER, "Its certified length."},
    {"residual", "mm", "residual", TABLE_NUMBER,
     "Its length at the scale that all bars of the stage give together, less the certified one."},
    {"sd", "mm", "expected sd", TABLE_NUMBER,
     "Standard deviation of the bar’s length, from its points and certificate."},
    {"sds", NULL, "in sds", TABLE_NUMBER,
     "The residual over its own standard deviation, were the bar left out of the scale; empty for a single bar."},
    {"alarm", NULL, "alarm", TABLE_FLAG, "Whether the bar does not fit the others."}};

static rlv_table bars_table(const rlv_history* history)
{
    rlv_table t = table_of("scale_bars", "What each scale bar says", COLUMNS(bar_columns));
    for (size_t i = 0; i < history->stage_count; i++)
        for (size_t k = 0; k < history->stage[i].record->mesh.bar_count; k++)
        {
            const rlv_scale_bar_record* bar = &history->stage[i].record->mesh.bar[k];
            const rlv_scale_residual* residual = &history->stage[i].residual[k];
            table_text(&t, stage_id(history, i));
            table_text(&t, bar->bar);
            table_number(&t, bar->length_mm, bar->sd_mm);
            table_number(&t, residual->residual_mm, residual->sd_mm / 10.0);
            table_figures(&t, residual->sd_mm, 2);
            table_figures(&t, residual->sds, 2);
            table_flag(&t, residual->alarm);
        }
    return t;
}

// --- Poses -----------------------------------------------------------------------------------------------------------

static const table_column pose_columns[] = {
    {"stage", NULL, "stage", TABLE_TEXT, "Id of the stage."},
    {"alignments", NULL, "alignments away", TABLE_COUNT,
     "Alignments between it and the stage of the block’s frame, by the surest chain of them."},
    {"position_sd", "mm", "position, sd", TABLE_NUMBER,
     "Standard deviation of where the stage lies in the block’s frame, all three directions together."},
    {"rotation_sd", "deg", "turn, sd", TABLE_NUMBER,
     "Standard deviation of how it is turned, all three axes together."},
    {"scale", NULL, "scale", TABLE_NUMBER,
     "Its scale in the block’s frame: what its own millimetres are multiplied by."}};

static rlv_table poses_table(const rlv_history* history)
{
    rlv_table t = table_of("poses", "How surely each stage lies in the block’s frame", COLUMNS(pose_columns));
    for (size_t i = 0; i < history->stage_count && history->joined; i++)
    {
        const rlv_pose* pose = &history->stages.pose[i];
        double position = rlv_pose_position_sd_mm(pose), turn = rlv_pose_rotation_sd_deg(pose);
        table_text(&t, stage_id(history, i));
        table_count(&t, history->stages.chain[i]);
        table_figures(&t, position, 2);
        table_figures(&t, turn, 2);
        table_number(&t, pose->scale, sqrt(fmax(pose->covariance[48], 0.0)));
    }
    return t;
}

#define MATRIX_MEANING                                                                                                 \
    "Entry of the 4 by 4 matrix that carries the stage’s own mm into the block’s frame, by row and column."
#define MATRIX(row, column)                                                                                            \
    {                                                                                                                  \
        "m" #row #column, NULL, #row #column, TABLE_NUMBER, MATRIX_MEANING                                             \
    }

static const table_column transform_columns[] = {{"stage", NULL, "stage", TABLE_TEXT, "Id of the stage."},
                                                 MATRIX(1, 1),
                                                 MATRIX(1, 2),
                                                 MATRIX(1, 3),
                                                 MATRIX(1, 4),
                                                 MATRIX(2, 1),
                                                 MATRIX(2, 2),
                                                 MATRIX(2, 3),
                                                 MATRIX(2, 4),
                                                 MATRIX(3, 1),
                                                 MATRIX(3, 2),
                                                 MATRIX(3, 3),
                                                 MATRIX(3, 4),
                                                 MATRIX(4, 1),
                                                 MATRIX(4, 2),
                                                 MATRIX(4, 3),
                                                 MATRIX(4, 4)};

static rlv_table transforms_table(const rlv_history* history)
{
    rlv_table t = table_of("transforms", "The motions into the block’s frame", COLUMNS(transform_columns));
    for (size_t i = 0; i < history->stage_count && history->joined; i++)
    {
        double matrix[16];
        rlv_pose_matrix(&history->stages.pose[i], matrix);
        table_text(&t, stage_id(history, i));
        for (size_t k = 0; k < 16; k++)
            table_number(&t, matrix[k], 0.0);
    }
    return t;
}

static const table_column edge_columns[] = {
    {"into", NULL, "into", TABLE_TEXT, "Stage that the other was aligned to."},
    {"aligned", NULL, "aligned", TABLE_TEXT, "Stage that was aligned."},
    {"stable_share", "percent", "held still", TABLE_NUMBER, "Share of its surface that held still between the two."},
    {"rms", "mm", "rms", TABLE_NUMBER, "Root mean square of the distances between the surfaces that held still."},
    {"shift", "mm", "does not close by", TABLE_NUMBER,
     "How far the alignment lies from what all of them together say, at the middle of the surface that held still."},
    {"turn", "deg", "nor by", TABLE_NUMBER, "And by what angle."},
    {"p", NULL, "p", TABLE_NUMBER,
     "Probability of so much or more, were the alignments as sure as they say; empty where nothing else joins the "
     "two."},
    {"ties", NULL, "tie points", TABLE_COUNT, "Points with one name on both."},
    {"ties_rms", "mm", "rms of ties", TABLE_NUMBER,
     "Root mean square of what is left between them; the surfaces rule."},
    {"used", NULL, "used", TABLE_TEXT, "Whether it was used to join the stages; else why not."}};

/// Two figures are shown of a probability, down to a millionth.
static double p_sd(double p)
{
    return fmax(p / 10.0, 1e-6);
}

static const char* use_of_edge(const rlv_edge_closure* closure)
{
    return closure == NULL     ? "yes"
           : closure->rejected ? "no: it contradicts the others"
           : closure->suspect  ? "yes, but one of these is wrong, and which cannot be told"
                               : "yes";
}

static void put_edge(rlv_table* t, const rlv_history* history, const history_edge* edge,
                     const rlv_edge_closure* closure)
{
    double rms = edge->alignment.rms_mm;
    table_text(t, stage_id(history, edge->into));
    table_text(t, stage_id(history, edge->from));
    table_number(t, edge->done ? 100.0 * edge->alignment.stable_fraction : (double)NAN, 1.0);
    table_figures(t, edge->done ? rms : (double)NAN, 2);
    table_number(t, closure != NULL ? closure->closure.shift_mm : (double)NAN, 0.01);
    table_number(t, closure != NULL ? closure->closure.turn_deg : (double)NAN, 0.001);
    table_number(t, closure != NULL ? closure->closure.p : (double)NAN,
                 p_sd(closure != NULL ? closure->closure.p : 0.0));
    const bool tied = edge->done && edge->ties.count > 0;
    table_count(t, edge->ties.count);
    table_number(t, tied ? edge->ties.rms_mm : (double)NAN, edge->ties.rms_mm / 10.0);
    table_text(t, edge->done ? use_of_edge(closure) : edge->why);
}

/// What the graph says of edge `edge`, or NULL.
static const rlv_edge_closure* closure_of(const rlv_history* history, size_t edge)
{
    for (size_t k = 0; history->joined && k < history->stages.edge_count; k++)
        if (history->graph_edge[k] == edge)
            return &history->stages.edge[k];
    return NULL;
}

static rlv_table edges_table(const rlv_history* history)
{
    rlv_table t =
        table_of("alignments", "The alignments between stages, and how well they agree", COLUMNS(edge_columns));
    for (size_t i = 0; i < history->edge_count; i++)
        put_edge(&t, history, &history->edge[i], closure_of(history, i));
    return t;
}

static const table_column loop_columns[] = {
    {"stages", NULL, "round the stages", TABLE_TEXT, "The stages of the loop in order, from the first back to it."},
    {"shift", "mm", "does not close by", TABLE_NUMBER, "How far the way round ends from where it began."},
    {"turn", "deg", "nor by", TABLE_NUMBER, "And by what angle."},
    {"scale", NULL, "scale, parts in a million", TABLE_NUMBER, "And by how much scale, as parts in a million."},
    {"p", NULL, "p", TABLE_NUMBER, "Probability of so much or more, were the alignments as sure as they say."}};

static void put_loop_stages(rlv_table* t, const rlv_history* history, const rlv_loop_closure* loop)
{
    char words[1024];
    size_t used = 0;
    for (size_t k = 0; k <= loop->stage_count && used < sizeof words; k++)
        used += (size_t)snprintf(words + used, sizeof words - used, "%s%s", k > 0 ? " → " : "",
                                 stage_id(history, loop->stage[k % loop->stage_count]));
    table_text(t, words);
}

static rlv_table loops_table(const rlv_history* history)
{
    rlv_table t = table_of("loops", "Loops of alignments, and how well they close", COLUMNS(loop_columns));
    for (size_t i = 0; history->joined && i < history->stages.loop_count; i++)
    {
        const rlv_loop_closure* loop = &history->stages.loop[i];
        put_loop_stages(&t, history, loop);
        table_number(&t, loop->closure.shift_mm, 0.01);
        table_number(&t, loop->closure.turn_deg, 0.001);
        table_number(&t, 1e6 * loop->closure.log_scale, 1.0);
        table_number(&t, loop->closure.p, p_sd(loop->closure.p));
    }
    return t;
}

// --- Regions ---------------------------------------------------------------------------------------------------------

static const table_column region_columns[] = {
    FROM_TO,
    {"region", NULL, "region", TABLE_COUNT, "Number of the region within its step, by falling volume."},
    {"class", NULL, "class", TABLE_TEXT,
     "What happened there. Matrix removed may hold bone that had never shown: a mesh cannot tell."},
    {"square", NULL, "square", TABLE_TEXT,
     "Square of the maps that its middle lies in; empty where no frame is common."},
    {"volume", "mm3", "volume", TABLE_INTERVAL,
     "Volume that went or came. Of a piece: that of its own mesh where it has a closed one, else what its outline "
     "held, with what crumbled out of its joint or the gap there. Its interval is that of what was found in the "
     "region; "
     "that of the step (volumes.csv) may end higher, since it has room for what is spread too thin to be found."},
    {"nearest_bone", "mm", "nearest bone", TABLE_NUMBER,
     "Least distance from the surface before, where it changed deeper than area_from, to bone that shows before or "
     "after the step and was marked there; bone that came to light later is not among it. Empty where none is known."},
    {"mass", "g", "mass", TABLE_INTERVAL, "Volume times the recorded density of matrix or bone."},
    {"weighed", "g", "weighed", TABLE_NUMBER,
     "Spoil of the region’s area, or the piece, as it was weighed; told once, at the largest region of the area."},
    {"area", "mm2", "area", TABLE_INTERVAL, "Area of the surface before that went, or came, deeper than area_from."},
    {"area_from", "mm", NULL, TABLE_NUMBER,
     "How deep a change counts for the area: the detection limit of the smallest patch, or half of the mean depth "
     "where "
     "that is less; 0 for a piece, whose outline was drawn."},
    {"mean_depth", "mm", "mean depth", TABLE_INTERVAL,
     "Volume over area: how far the surface went down on the mean. Empty where most of the region is on the surface "
     "after."},
    {"max_depth", "mm", "greatest depth", TABLE_INTERVAL,
     "Greatest depth in the region: how far the surface went down, or rose where material came, by the shortest way "
     "to the surface before, of means over cells of a few samples."},
    {"deepest_square", NULL, "deepest in", TABLE_TEXT, "Square of the maps in which that depth is reached."},
    {"tool", NULL, "tool", TABLE_TEXT,
     "Tools recorded for the region’s area, or for the step where no area was named."},
    {"hours", "h", "hours", TABLE_NUMBER, "Hours of those tools; told once, at the largest region of the area."},
    {"rate", "mm3_per_h", "rate", TABLE_NUMBER,
     "Matrix removed in all regions of that area over those hours; told once, at the largest of them."},
    {"work_area", NULL, "area of work", TABLE_TEXT, "Recorded area of work that the region lies in."},
    {"piece", NULL, "piece", TABLE_TEXT, "Piece that came off or went back there."},
    {"centroid", "mm", "centre", TABLE_PLACE, "Centroid of the region on the surface before, in the block’s frame."},
    {"deepest", "mm", "deepest at", TABLE_PLACE,
     "Place of the surface after that lies farthest from the surface before, in the block’s frame."}};

enum
{
    REGION_STEP = 2, ///< columns that name the step
    REGION_WALL = 15 ///< columns of the wall, after those
};

static void put_square(rlv_table* t, const rlv_history* history, rlv_vec3 at_mm)
{
    const history_square square = history_grid_square(&history->grid, at_mm);
    table_text(t, square.name[0] != '\0' ? square.name : NULL);
}

static void put_measures(rlv_table* t, const rlv_history* history, const history_step* step, size_t number)
{
    const rlv_change_region* region = &step->change.region[number];
    table_count(t, number + 1);
    table_text(t, history_class_name(region->kind));
    put_square(t, history, step->region[number].place_mm);
    table_found(t, region->volume_mm3);
    table_number(t, step->region[number].nearest_bone_mm, step->change.noise_sd_mm);
    table_found(t, report_region_grams(history->specimen, region));
    table_recorded(t, report_region_weighed_g(history, step, number));
    table_found(t, region->area_mm2);
    table_figures(t, region->area_from_mm, 2);
    table_interval(t, region->mean_depth_mm);
    table_interval(t, region->max_depth_mm);
    put_square(t, history, step->region[number].deepest_mm);
}

static void put_work(rlv_table* t, const rlv_history* history, const history_step* step, size_t number)
{
    const report_work work = report_region_work(history, step, number);
    table_text(t, work.tool[0] != '\0' ? work.tool : NULL);
    table_recorded(t, work.hours);
    table_number(t, work.rate.value, words_sd(work.rate));
}

static void put_region(rlv_table* t, const rlv_history* history, const history_step* step, size_t number, bool wall)
{
    const history_region* beside = &step->region[number];
    put_measures(t, history, step, number);
    put_work(t, history, step, number);
    if (wall)
        return;
    table_text(t, beside->area);
    table_text(t, beside->piece != SIZE_MAX ? history->specimen->piece[beside->piece].id : NULL);
    table_place(t, beside->centroid_mm, 1.0);
    table_place(t, beside->deepest_mm, 1.0);
}

/// What a piece's own mesh parts from its region: a row without a number, so that regions add up to their classes.
static void put_joint(rlv_table* t, const rlv_history* history, const char* what, rlv_interval mm3, bool is_matrix)
{
    const rlv_change_region joint = {.kind = RLV_CHANGE_REMOVED, .volume_mm3 = mm3};
    if (!isfinite(mm3.value))
        return;
    table_none(t);
    table_text(t, what);
    table_none(t);
    table_interval(t, mm3);
    table_none(t);
    table_interval(t, is_matrix ? report_region_grams(history->specimen, &joint) : (rlv_interval){NAN, NAN, NAN});
    while (t->cell_count % t->column_count != 0 && !t->out_of_memory)
        table_none(t);
}

static size_t region_count(const history_step* step)
{
    return step->measured ? step->change.region_count : 0;
}

#define REGION_DASH "A dash: not recorded or not known."

#define MASS_DASH                                                                                                      \
    "A dash: not measured, or a volume of what no density is recorded of; of material added nobody knows which lies "  \
    "where, so that it has none."

rlv_table report_regions_of_step(const rlv_history* history, size_t step, bool wall, const char* caption)
{
    static const char* const beneath[] = {"class", "deepest_square", "rate"};
    const size_t all = sizeof region_columns / sizeof *region_columns - REGION_STEP;
    rlv_table t = table_of("regions", caption, wall ? REGION_WALL : all, region_columns + REGION_STEP);
    t.dash = REGION_DASH;
    if (wall)
        for (size_t i = 0; i < sizeof beneath / sizeof *beneath; i++)
            table_beneath(&t, beneath[i]);
    for (size_t i = 0; i < region_count(&history->step[step]); i++)
        put_region(&t, history, &history->step[step], i, wall);
    if (!wall)
        return t;
    put_joint(&t, history, "matrix removed: crumbs of a joint", history->step[step].crumbled_mm3, true);
    put_joint(&t, history, "gap of a joint: no material", history->step[step].gap_mm3, false);
    return t;
}

static rlv_table regions_table(const rlv_history* history)
{
    rlv_table t = table_of("regions", "Regions that changed, step by step", COLUMNS(region_columns));
    for (size_t i = 0; i < history->step_count; i++)
        for (size_t k = 0; k < region_count(&history->step[i]); k++)
        {
            put_step(&t, history, i);
            put_region(&t, history, &history->step[i], k, false);
        }
    return t;
}

static const table_column limit_columns[] = {
    FROM_TO,
    {"area", "mm2", "area", TABLE_NUMBER, "Area of a patch."},
    {"depth", "mm", "depth", TABLE_NUMBER, "How deep a change over such a patch must be to be told from noise."}};

static rlv_table limits_table(const rlv_history* history)
{
    rlv_table t =
        table_of("detection_limits", "How deep a change must be to be told from noise", COLUMNS(limit_columns));
    for (size_t i = 0; i < history->step_count; i++)
        for (size_t k = 0; k < RLV_CHANGE_LIMITS && history->step[i].measured; k++)
        {
            const rlv_detection_limit* limit = &history->step[i].change.limit[k];
            put_step(&t, history, i);
            table_figures(&t, limit->area_mm2, 2);
            table_figures(&t, limit->depth_mm, 2);
        }
    return t;
}

// --- Ledger ----------------------------------------------------------------------------------------------------------

#define IN_STEP                                                                                                        \
    ", in this step. Where some may be spread too thin to be found the upper end has room for that, and is a bound; "  \
    "the "                                                                                                             \
    "regions (regions.csv) have the interval of what was found alone. 0 with an upper end: looked for, and not "       \
    "found. "                                                                                                          \
    "0 from 0 to 0: the record has no such piece. "

#define NO_GRAMS "Empty: not measured, or a volume of what no density is recorded of."

#define VOLUME_COLUMNS(meaning)                                                                                        \
    FROM_TO, {"matrix_removed", "mm3", "matrix removed", TABLE_INTERVAL, "Matrix removed" meaning},                    \
        {"bone_lost", "mm3", "bone lost", TABLE_INTERVAL, "Bone lost: gone from bone that showed" meaning},            \
        {"piece_detached", "mm3", "piece detached", TABLE_INTERVAL, "What went with pieces that came off" meaning},    \
        {"material_added", "mm3", "material added", TABLE_INTERVAL, "Resin, gap fill, dust: what came" meaning},       \
    {                                                                                                                  \
        "piece_joined", "mm3", "piece joined", TABLE_INTERVAL, "What came with pieces that went back" meaning          \
    }

#define MASS_COLUMNS(meaning)                                                                                          \
    FROM_TO,                                                                                                           \
        {"matrix_removed", "g", "matrix removed", TABLE_INTERVAL, "Matrix removed, volume times density" meaning},     \
        {"bone_lost", "g", "bone lost", TABLE_INTERVAL, "Bone lost, volume times density" meaning},                    \
        {"piece_detached", "g", "piece detached", TABLE_INTERVAL,                                                      \
         "Pieces that came off, volume times density" meaning},                                                        \
        {"material_added", "g", "material added", TABLE_INTERVAL, "What came, volume times density" meaning},          \
    {                                                                                                                  \
        "piece_joined", "g", "piece joined", TABLE_INTERVAL, "Pieces that went back, volume times density" meaning     \
    }

static const table_column volume_columns[] = {
    VOLUME_COLUMNS(IN_STEP "Empty: not measured."),
    {"untold", "mm3", "not told apart", TABLE_INTERVAL,
     "What changed over the rest of the surface, not told apart from noise; signed, what went is positive."},
    {"hours", "h", "hours", TABLE_NUMBER, "Hours of all work in this step."},
    {"crumbled", "mm3", NULL, TABLE_INTERVAL,
     "What went with pieces that came off and is none of them, by their own closed meshes: crumbs of the joint, or an "
     "opening that no scan saw. It is in matrix removed, and in no region: the regions of matrix and this add up to "
     "matrix removed. Empty: no such piece."},
    {"gap", "mm3", NULL, TABLE_INTERVAL,
     "What the block gained with pieces that went back and is none of them, by their own closed meshes: the gap of the "
     "joint. It is in no class and no region. Matrix, bone and pieces that went, less material and pieces that came, "
     "less this, with what was not told apart, are the block’s volume before less that after (volume_check). Empty: no "
     "such piece."}};

static const table_column mass_columns[] = {MASS_COLUMNS(IN_STEP NO_GRAMS)};
static const table_column volume_so_far_columns[] = {
    VOLUME_COLUMNS(", in all steps up to this one in which it was measured."),
    {"untold", "mm3", "not told apart", TABLE_INTERVAL,
     "What changed over the rest of the surface, not told apart from noise, in all steps up to this one; signed, what "
     "went is positive. Empty where one of them was not measured."}};
static const table_column mass_so_far_columns[] = {
    MASS_COLUMNS(", in all steps up to this one in which it was measured. " NO_GRAMS)};

/// The classes of a step, or of all up to it: volumes in mm³, or grams.
static void put_classes(rlv_table* t, const rlv_history* history, size_t step, bool so_far, bool grams)
{
    for (rlv_change_class kind = 0; kind < RLV_CHANGE_CLASSES; kind++)
    {
        const report_class found =
            so_far ? report_class_so_far(history, kind, step) : report_class_of(history, kind, step);
        table_interval(t, grams ? found.g : rlv_interval_times(found.ml, ml));
    }
}

static rlv_table ledger_table(const rlv_history* history, bool so_far, bool grams)
{
    rlv_table t =
        so_far
            ? grams ? table_of("masses_so_far", "In all, up to each step: grams", COLUMNS(mass_so_far_columns))
                    : table_of("volumes_so_far", "In all, up to each step: millilitres", COLUMNS(volume_so_far_columns))
        : grams ? table_of("masses", "What went and came in each step: grams", COLUMNS(mass_columns))
                : table_of("volumes", "What went and came in each step: millilitres", COLUMNS(volume_columns));
    rlv_interval untold = {0};
    for (size_t i = 0; history->row != NULL && i < history->step_count; i++)
    {
        const history_step* step = &history->step[i];
        table_text(&t, stage_id(history, so_far ? 0 : step->before));
        table_text(&t, stage_id(history, step->after));
        put_classes(&t, history, i, so_far, grams);
        const rlv_interval own = step->measured ? step->change.untold_mm3 : (rlv_interval){NAN, NAN, NAN};
        untold = i > 0 && so_far ? rlv_interval_add(untold, own) : own;
        if (grams)
            continue;
        table_interval(&t, untold);
        if (so_far)
            continue;
        table_recorded(&t, step->hours);
        table_interval(&t, step->crumbled_mm3);
        table_interval(&t, step->gap_mm3);
    }
    return t;
}

static const table_column check_columns[] = {
    FROM_TO,
    {"parts", "mm3", "by its parts", TABLE_NUMBER,
     "What went, less what came, with what was not told apart: all classes, and the gap of a joint."},
    {"volumes", "mm3", "by the two volumes", TABLE_NUMBER,
     "Volume of the mesh before less that of the mesh after, as it lies in the frame of the one before, by the "
     "divergence theorem; empty where a mesh is open."},
    {"difference", "mm3", "difference", TABLE_NUMBER, "The one less the other."},
    {"axis_spread", "mm3", "between axes", TABLE_NUMBER,
     "Greatest difference between the volumes measured along three axes."},
    {"allowed", "mm3", "alarm beyond", TABLE_NUMBER,
     "Half the interval of what was not told apart: more than that in either of the two raises an alarm."},
    {"scale", NULL, "scale of the step", TABLE_NUMBER,
     "What the millimetres of the mesh after are multiplied by in the frame of the one before, by the step’s own "
     "alignment: the volume before, less the volume after (both as the table of stages has them) times the third power "
     "of this, is what the two volumes differ by."}};

/// The two ways to a volume agree far better than either is known: they are shown as far as they differ.
static rlv_table check_table(const rlv_history* history)
{
    rlv_table t = table_of("volume_check", "Volumes added up two ways", COLUMNS(check_columns));
    for (size_t i = 0; i < history->step_count; i++)
    {
        const rlv_change* change = &history->step[i].change;
        if (!history->step[i].measured)
            continue;
        const double parts = change_sum_of_parts_mm3(change), difference = parts - change->divergence_mm3;
        const int decimals = isfinite(difference) && difference != 0.0 ? words_decimals(fabs(difference) / ml) : 0;
        put_step(&t, history, i);
        table_number_to(&t, parts, decimals);
        table_number_to(&t, change->divergence_mm3, decimals);
        table_number_to(&t, difference, decimals);
        table_figures(&t, change->axis_spread_mm3, 2);
        table_figures(&t, change_allowed_mm3(change), 2);
        table_number(&t, change->alignment.pose.scale, sqrt(fmax(change->alignment.pose.covariance[48], 0.0)));
    }
    return t;
}

static const table_column mass_balance_columns[] = {
    FROM_TO,
    {"block_lost", "g", "block before less after", TABLE_NUMBER,
     "What the block weighed before, less what it weighed after."},
    {"accounted", "g", "accounted for", TABLE_NUMBER,
     "Spoil and pieces off, less pieces back, with water lost by drying and less resin that stayed."},
    {"spoil", "g", "spoil", TABLE_NUMBER, "Spoil, all its bags together."},
    {"pieces_off", "g", "pieces off", TABLE_NUMBER, "Pieces that came off."},
    {"pieces_back", "g", "pieces back", TABLE_NUMBER, "Pieces that went back."},
    {"drying", "g", "drying", TABLE_NUMBER,
     "Water that the block lost by drying, as far as it was recorded; empty: none was recorded, and the balance takes "
     "it for 0."},
    {"resin", "g", "resin", TABLE_NUMBER, "Dry mass of treatments that stayed in the block."},
    {"unexplained", "g", "unexplained", TABLE_INTERVAL, "The one less the other."},
    {"closes", NULL, "closes", TABLE_TEXT, "Whether nothing lies within the interval; else what is missing."},
    {"damp", NULL, "damp spoil", TABLE_FLAG, "Whether a bag was weighed damp, so that its water counts as spoil."},
    {"block_before_sd", "g", NULL, TABLE_NUMBER,
     "Standard deviation of the block’s mass before. The interval of what is unexplained is 1.96 times this and the "
     "sds that follow, in quadrature; a mass that was recorded without one adds 0."},
    {"block_after_sd", "g", NULL, TABLE_NUMBER, "Standard deviation of the block’s mass after."},
    {"spoil_sd", "g", NULL, TABLE_NUMBER, "Standard deviation of the spoil: of its bags, in quadrature."},
    {"pieces_off_sd", "g", NULL, TABLE_NUMBER, "Standard deviation of the pieces that came off."},
    {"pieces_back_sd", "g", NULL, TABLE_NUMBER, "Standard deviation of the pieces that went back."},
    {"drying_sd", "g", NULL, TABLE_NUMBER, "Standard deviation of the water lost by drying."},
    {"resin_sd", "g", NULL, TABLE_NUMBER, "Standard deviation of the resin; it is recorded without one, which is 0."}};

static const table_column spoil_balance_columns[] = {
    FROM_TO,
    {"measured", "g", "by volume", TABLE_NUMBER, "Matrix and bone, measured volume times density."},
    {"weighed", "g", "by weight", TABLE_NUMBER, "Spoil as it was weighed."},
    {"unexplained", "g", "unexplained", TABLE_INTERVAL, "The one less the other."},
    {"closes", NULL, "closes", TABLE_TEXT, "Whether nothing lies within the interval; else what is missing."},
    {"damp", NULL, "damp spoil", TABLE_FLAG, "Whether a bag was weighed damp, so that its water counts as spoil."}};

static void put_terms(rlv_table* t, const rlv_weighed* weighed)
{
    table_recorded(t, weighed->spoil.grams);
    table_recorded(t, weighed->off.grams);
    table_recorded(t, weighed->back.grams);
    table_recorded(t, weighed->drying.grams);
    table_recorded(t, weighed->resin.grams);
}

static void put_term_sds(rlv_table* t, const rlv_weighed* weighed)
{
    table_number(t, weighed->before.sd_g, 0.0);
    table_number(t, weighed->after.sd_g, 0.0);
    table_number(t, weighed->spoil.sd_g, 0.0);
    table_number(t, weighed->off.sd_g, 0.0);
    table_number(t, weighed->back.sd_g, 0.0);
    table_number(t, weighed->drying.sd_g, 0.0);
    table_number(t, weighed->resin.sd_g, 0.0);
}

/// The balance of a step, or of all steps together.
static void put_balance(rlv_table* t, const rlv_history* history, size_t first, size_t last, bool spoil)
{
    const rlv_ledger_row* row = first == last ? &history->row[first] : &history->cumulative[last];
    const rlv_balance* balance = spoil ? &row->spoil : &row->mass;
    const int decimals = report_balance_decimals(balance, spoil);
    char words[200];
    snprintf(words, sizeof words, "not known: %s", balance->missing_words);
    table_text(t, stage_id(history, history->step[first].before));
    table_text(t, stage_id(history, history->step[last].after));
    table_number_to(t, balance->left_g, decimals);
    table_number_to(t, balance->right_g, decimals);
    if (!spoil)
        put_terms(t, &row->weighed);
    table_interval_to(t, balance->unexplained_g, decimals);
    const char* closes = balance->holds_drying ? "yes; drying is in it, which was not recorded" : "yes";
    table_text(t, balance->closed ? balance->within ? closes : "no" : words);
    table_flag(t, balance->damp);
    if (!spoil)
        put_term_sds(t, &row->weighed);
}

/// A row a step, and one for all where there are several.
static rlv_table balance_table(const rlv_history* history, bool spoil)
{
    rlv_table t = spoil ? table_of("spoil_balance", "Spoil: measured volume against what was weighed",
                                   COLUMNS(spoil_balance_columns))
                        : table_of("mass_balance", "The block’s mass: what it lost against what was kept",
                                   COLUMNS(mass_balance_columns));
    if (history->row == NULL)
        return t;
    for (size_t i = 0; i < history->step_count; i++)
        put_balance(&t, history, i, i, spoil);
    if (history->step_count > 1)
        put_balance(&t, history, 0, history->step_count - 1, spoil);
    return t;
}

// --- Rates -----------------------------------------------------------------------------------------------------------

static const table_column rate_columns[] = {
    {"tool", NULL, "tool", TABLE_TEXT, "Tool, or all work together."},
    {"hours", "h", "hours recorded", TABLE_NUMBER, "Hours recorded with it."},
    {"steps", NULL, "steps", TABLE_COUNT, "Steps in which it was used."},
    {"rate", "mm3_per_h", "matrix removed", TABLE_INTERVAL,
     "Matrix removed in an hour, as the recorded steps tell it; empty where they do not."}};

static const table_column left_columns[] = {
    {"tool", NULL, "at the rate of", TABLE_TEXT, "Tool, or all work together."},
    {"rate", "mm3_per_h", "rate", TABLE_INTERVAL, "Its recorded rate."},
    {"hours", "h", "hours for the whole volume", TABLE_INTERVAL,
     "Volume of the last stage over that rate: arithmetic, not advice. It holds the bone too. The upper end is empty "
     "where the rate is not told apart from nothing."}};

static double hours_of(const rlv_history* history, const char* tool, size_t* steps)
{
    double hours = 0.0;
    *steps = 0;
    for (size_t i = 0; i < history->step_count; i++)
    {
        const rlv_stage_record* after = history->stage[history->step[i].after].record;
        bool used = false;
        for (size_t k = 0; k < after->work_count; k++)
            if (tool == NULL || strcmp(after->work[k].tool, tool) == 0)
            {
                hours += after->work[k].hours;
                used = true;
            }
        *steps += used;
    }
    return hours;
}

static const rlv_interval not_known = {NAN, NAN, NAN};

static void put_rate(rlv_table* t, const rlv_history* history, const char* tool, const rlv_rate* rate)
{
    size_t steps;
    double hours = hours_of(history, tool, &steps);
    table_text(t, tool != NULL ? tool : "all work together");
    table_recorded(t, hours);
    table_count(t, steps);
    table_interval(t, rate->determined ? rlv_interval_times(rate->ml_per_h, ml) : not_known);
}

static rlv_table rates_table(const rlv_history* history)
{
    rlv_table t = table_of("rates", "Matrix removed in an hour, by tool", COLUMNS(rate_columns));
    for (size_t i = 0, steps; i < history->tool_count; i++)
        if (hours_of(history, history->tool[i], &steps) > 0.0) // of two steps of a record not all tools need have worked
            put_rate(&t, history, history->tool[i], &history->rate[i]);
    if (history->tool_count > 1)
        put_rate(&t, history, NULL, &history->all_tools);
    return t;
}

static void put_left(rlv_table* t, const char* tool, const rlv_rate* rate, rlv_interval volume_mm3)
{
    table_text(t, tool);
    table_interval(t, rlv_interval_times(rate->ml_per_h, ml));
    table_interval(t, rlv_ledger_hours(rate, volume_mm3));
}

static rlv_table left_table(const rlv_history* history)
{
    rlv_table t =
        table_of("left", "Hours that the block’s whole volume would take at the recorded rates", COLUMNS(left_columns));
    const history_stage* last = &history->stage[history->stage_count - 1];
    if (!last->given.health.closed)
        return t;
    const rlv_interval volume = history_stage_volume(history, history->stage_count - 1);
    for (size_t i = 0; i < history->tool_count; i++)
        if (history->rate[i].determined)
            put_left(&t, history->tool[i], &history->rate[i], volume);
    if (history->tool_count > 1 && history->all_tools.determined)
        put_left(&t, "all work together", &history->all_tools, volume);
    return t;
}

// --- All -------------------------------------------------------------------------------------------------------------

/// What a dash in a table of what was measured stands for.
static const char* const dashes[REPORT_TABLES] = {
    [REPORT_STAGES] = "A dash: not recorded; of a volume, the mesh is open.",
    [REPORT_SCALE_BARS] = "A dash: a single bar has no other that it could be held against.",
    [REPORT_EDGES] = "A dash: the two could not be aligned, nothing else joins them, or they have no tie points.",
    [REPORT_REGIONS] = REGION_DASH,
    [REPORT_VOLUMES] = "A dash: not measured, or no hours recorded.",
    [REPORT_MASSES] = MASS_DASH,
    [REPORT_VOLUMES_SO_FAR] = "A dash: not measured; of what was not told apart, in one step at least.",
    [REPORT_MASSES_SO_FAR] = MASS_DASH,
    [REPORT_VOLUME_CHECK] = "A dash: one of the two meshes is open.",
    [REPORT_MASS_BALANCE] = "A dash: not weighed, or not recorded; ‘closes’ tells what a balance lacks. Drying that "
                            "was not recorded is taken for 0.",
    [REPORT_SPOIL_BALANCE] = "A dash: not measured, or not weighed; ‘closes’ tells what a balance lacks.",
    [REPORT_RATES] = "A dash: the recorded steps do not tell this rate.",
    [REPORT_LEFT] = "A dash: the recorded steps do not tell this rate.",
};

report_tables report_tables_measured(const rlv_history* history)
{
    report_tables tables = {.table = {[REPORT_STAGES] = stages_table(history),
                                      [REPORT_SCALE_BARS] = bars_table(history),
                                      [REPORT_POSES] = poses_table(history),
                                      [REPORT_TRANSFORMS] = transforms_table(history),
                                      [REPORT_EDGES] = edges_table(history),
                                      [REPORT_LOOPS] = loops_table(history),
                                      [REPORT_REGIONS] = regions_table(history),
                                      [REPORT_LIMITS] = limits_table(history),
                                      [REPORT_VOLUMES] = ledger_table(history, false, false),
                                      [REPORT_MASSES] = ledger_table(history, false, true),
                                      [REPORT_VOLUMES_SO_FAR] = ledger_table(history, true, false),
                                      [REPORT_MASSES_SO_FAR] = ledger_table(history, true, true),
                                      [REPORT_VOLUME_CHECK] = check_table(history),
                                      [REPORT_MASS_BALANCE] = balance_table(history, false),
                                      [REPORT_SPOIL_BALANCE] = balance_table(history, true),
                                      [REPORT_RATES] = rates_table(history),
                                      [REPORT_LEFT] = left_table(history)}};
    for (size_t i = 0; i < REPORT_WORK; i++)
        tables.table[i].dash = dashes[i];
    return tables;
}

report_tables report_tables_of(const rlv_history* history, const rlv_answer* answer)
{
    report_tables tables = report_tables_measured(history);
    for (report_table i = REPORT_WORK; i < REPORT_TABLES; i++)
    {
        tables.table[i] = report_recorded(i, history, answer);
        if (i != REPORT_ELEMENTS && i != REPORT_ROWS && i != REPORT_INPUTS) // not all of theirs was recorded
            tables.table[i].dash = i == REPORT_PIECES
                                       ? "A dash: not recorded; of a volume, the piece’s mesh is open, or it has none."
                                       : "A dash: not recorded.";
    }
    return tables;
}

void report_tables_free(report_tables* tables)
{
    for (size_t i = 0; i < REPORT_TABLES; i++)
        table_free(&tables->table[i]);
}

report_path report_table_path(const rlv_table* t)
{
    report_path path;
    snprintf(path.text, sizeof path.text, "tables/%s.csv", t->name);
    return path;
}

rlv_status report_tables_keep(const report_tables* tables, size_t more, const rlv_table* other, out_folder* out,
                              rlv_error* error)
{
    rlv_table* all = rlv_reserve(REPORT_TABLES + more, sizeof *all, error); // what they hold stays theirs
    if (all == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < REPORT_TABLES + more; i++)
        all[i] = i < REPORT_TABLES ? tables->table[i] : other[i - REPORT_TABLES];
    const rlv_status status = table_keep_all(all, REPORT_TABLES + more, false, out, "tables", error);
    free(all);
    return status;
}
