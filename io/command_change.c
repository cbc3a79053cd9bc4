#include "command.h"

#include "change.h"
#include "change_record.h"
#include "change_words.h"
#include "depth_pictures.h"
#include "given_mesh.h"
#include "pose_words.h"
#include "specimen_command.h"
#include "table.h"

enum
{
    ROWS_TOLD = 20 ///< regions that the text tells; regions.csv has all
};

/// On two meshes alone nothing is known of bone and pieces.
static const char* class_name(rlv_change_class kind)
{
    return rlv_change_went(kind) ? "removed" : "added";
}

static void record_region(json_t* row, const rlv_change_region* region)
{
    record_text(row, "class", class_name(region->kind));
    record_interval(row, "volume", "mm3", region->volume_mm3);
    record_interval(row, "area", "mm2", region->area_mm2);
    record_real(row, "area_from_mm", region->area_from_mm);
    record_interval(row, "mean_depth", "mm", region->mean_depth_mm);
    record_interval(row, "max_depth", "mm", region->max_depth_mm);
    record_place(row, "centroid_mm", region->centroid_mm);
}

static void tell_part(FILE* text, const char* name, const rlv_interval* part, bool told)
{
    if (told)
        fprintf(text, "  %-11s %s mL   95 %% interval %s mL\n", name, words_right(words_value(*part, 1000.0), 10).text,
                words_ends(*part, 1000.0).text);
    else
        fprintf(
            text,
            "  %-11s nothing that can be told apart from noise; at most %s mL could lie below the detection limit\n",
            name, words_figures(part->high / 1000.0, 2).text);
}

static rlv_table regions_of(const rlv_change* change, size_t most)
{
    static const table_column column[] = {
        {"region", NULL, "region", TABLE_COUNT, "Number of the region."},
        {"class", NULL, "class", TABLE_TEXT, "What happened there: removed or added."},
        {"volume", "mm3", "volume", TABLE_INTERVAL, "Volume that went or came."},
        {"area", "mm2", "area", TABLE_INTERVAL, "Area on BEFORE's surface that went or came deeper than area_from."},
        {"area_from", "mm", NULL, TABLE_NUMBER,
         "How deep a change counts for the area: the detection limit, or half of the mean depth where that is less."},
        {"mean_depth", "mm", "mean depth", TABLE_INTERVAL, "Volume over area."},
        {"max_depth", "mm", "greatest depth", TABLE_INTERVAL, "Greatest depth in the region."},
        {"centroid", "mm", "centre", TABLE_PLACE, "Centroid of the region in BEFORE's frame."}};
    rlv_table rows = table_of("regions", "Regions that changed", sizeof column / sizeof column[0], column);
    for (size_t i = 0; i < change->region_count && i < most; i++)
    {
        const rlv_change_region* region = &change->region[i];
        table_count(&rows, i + 1);
        table_text(&rows, class_name(region->kind));
        table_interval(&rows, region->volume_mm3);
        table_interval(&rows, region->area_mm2);
        table_figures(&rows, region->area_from_mm, 2);
        table_interval(&rows, region->mean_depth_mm);
        table_interval(&rows, region->max_depth_mm);
        table_place(&rows, region->centroid_mm, 1.0);
    }
    return rows;
}

static void tell_regions(FILE* text, const rlv_change* change)
{
    if (change->region_count == 0)
        return;
    rlv_table rows = regions_of(change, ROWS_TOLD);
    fputs("\nregions, largest first; depth: how far the surface went down, straight into the block\n", text);
    table_tell(&rows, text);
    table_free(&rows);
    if (change->region_count > ROWS_TOLD)
        fprintf(text, "  and %s; --out DIR writes all to regions.csv\n",
                words_count(change->region_count - ROWS_TOLD, "smaller one").text);
}

static void tell_change(FILE* text, const rlv_change* change, const rlv_options* options, double size_mm)
{
    fprintf(text, "change from %s to %s\n\n", options->path[0], options->path[1]);
    tell_part(text, "removed", &change->went.volume_mm3, change->went.regions > 0);
    tell_part(text, "added", &change->came.volume_mm3, change->came.regions > 0);
    tell_part(text, "not told", &change->untold_mm3, true);
    fputs("  (not told: apart from noise, over the rest of the surface)\n"
          "  What went may be matrix, bone that was hidden, or bone that lay open: a mesh cannot tell. Check every "
          "region\n"
          "  against the specimen, the small ones first.\n",
          text);
    tell_regions(text, change);
    change_tell_limits(text, change);
    change_tell_check(text, change);
    if (!options->aligned)
    {
        fputs("\nalignment of AFTER to BEFORE\n", text);
        pose_tell(text, &change->alignment, size_mm);
    }
}

static void tell_next(rlv_answer* answer, const rlv_options* options)
{
    static const char* const spoil =
        "\n  Weigh the spoil: its grams over the density of a chip should come to the millilitres removed.";
    if (options->out != NULL)
        rlv_print(answer->next, sizeof answer->next,
                  "look at %.200s/depth.png; regions.csv there has the regions, change.json everything.%s",
                  options->out, spoil);
    else
        snprintf(answer->next, sizeof answer->next, "--out DIR writes pictures, regions.csv and change.json.%s", spoil);
}

static rlv_status keep_regions(rlv_answer* answer, const rlv_change* change, rlv_error* error)
{
    rlv_table rows = regions_of(change, SIZE_MAX);
    rlv_status status = table_keep(&rows, &answer->folder, NULL, error);
    table_free(&rows);
    return status;
}

/// Moves AFTER into BEFORE's frame for the pictures.
static rlv_status keep_files(rlv_answer* answer, const rlv_change* change, given_mesh pair[2], rlv_error* error)
{
    if (answer->folder.path == NULL)
        return RLV_DONE;
    rlv_status status = keep_regions(answer, change, error);
    if (status == RLV_DONE)
        status = answer_keep_record(answer, "change.json", error);
    if (status != RLV_DONE)
        return status;
    rlv_pose_move_mesh(&change->alignment.pose, &pair[1].mesh);
    return depth_pictures_keep(change, &pair[0], &pair[1], answer, error);
}

static rlv_status tell_all(rlv_answer* answer, const rlv_change* change, const rlv_options* options, given_mesh pair[2],
                           rlv_error* error)
{
    change_record_chosen(answer->parameters, change);
    change_record_volumes(answer->record, change);
    json_t* regions = record_list(answer->record, "regions");
    for (size_t i = 0; i < change->region_count; i++)
        record_region(record_row(regions), &change->region[i]);
    change_record_field(answer->record, change);
    if (!options->aligned)
    {
        pose_record(record_object(answer->record, "pose"), &change->alignment, true);
        pose_warn(answer, &change->alignment);
    }
    change_warn(answer, NULL, change);
    tell_change(answer->text, change, options, given_mesh_size_mm(&pair[0]));
    tell_next(answer, options);
    return keep_files(answer, change, pair, error);
}

static rlv_status change_meshes(const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    given_mesh pair[2] = {0};
    rlv_change change = {0};
    const rlv_change_options how = {.aligned = options->aligned,
                                    .before_scale_sd = options->scale_sd,
                                    .after_scale_sd = options->scale_sd_after,
                                    .progress = answer->progress};
    record_flag(answer->parameters, "aligned", how.aligned);
    record_real(answer->parameters, "scale_sd", how.before_scale_sd);
    record_real(answer->parameters, "scale_sd_after", how.after_scale_sd);
    record_count(answer->parameters, "seed", how.seed);
    change_record_chosen(answer->parameters, NULL);
    change_record_thresholds(record_object(answer->parameters, "thresholds"));
    rlv_status status = given_mesh_read_pair(pair, options, answer, error);
    if (status == RLV_DONE)
    {
        status = rlv_change_measure(&change, &pair[0].mesh, &pair[1].mesh, &how, error);
        if (status == RLV_DONE)
            status = tell_all(answer, &change, options, pair, error);
        else if (status == RLV_IMPOSSIBLE)
        {
            change_record_volumes(answer->record, NULL);
            record_null(answer->record, "regions");
            change_record_field(answer->record, NULL);
            if (!options->aligned)
                pose_record(record_object(answer->record, "pose"), &change.alignment, false);
        }
    }
    rlv_change_free(&change);
    given_mesh_free(&pair[0]);
    given_mesh_free(&pair[1]);
    return status;
}

rlv_status command_change(const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    if (specimen_command_is(options))
        return specimen_command_change(options, answer, error);
    const rlv_status status = specimen_command_not(options, error);
    return status == RLV_DONE ? change_meshes(options, answer, error) : status;
}
