#include "command.h"

#include "given_mesh.h"
#include "history_rejoin.h"
#include "rejoin_record.h"
#include "rejoin_sheet.h"
#include "rejoin_words.h"
#include "specimen_inputs.h"
#include "specimen_work.h"

#include <string.h>
#include <sys/stat.h>

static bool is_folder(const char* path)
{
    struct stat about;
    return stat(path, &about) == 0 && S_ISDIR(about.st_mode);
}

static double film_of(const rlv_options* options)
{
    return options->film_mm > 0.0 ? options->film_mm : REJOIN_FILM_MM;
}

// --- What is told ----------------------------------------------------------------------------------------------------

static void tell_table(FILE* text, const char* heading, rlv_table t)
{
    table_tell_under(&t, text, heading, NULL);
    table_free(&t);
}

static void tell_treatments(FILE* text, const rejoin_told* told)
{
    rejoin_treatment one;
    size_t count = 0;
    for (size_t next = 0; rejoin_treatment_next(told, &next, &one); count++)
        fprintf(text, "%s  %s\n", count == 0 ? "\nrecorded of the joint\n" : "",
                rejoin_treatment_words(told, &one).text);
}

static void tell_runs(FILE* text, const rejoin_told* told)
{
    for (size_t i = 0; i < told->run_count; i++)
        fprintf(text, "%s  %s: %s\n", i == 0 ? "\nwhat runs over the joint\n" : "", rejoin_run_name(&told->run[i]).text,
                rejoin_run_words(told, &told->run[i]).text);
}

static void tell_untold(FILE* text, const rejoin_told* told)
{
    report_text words;
    fputs("\nwhat is uncertain, or could not be told\n", text);
    for (size_t next = 0; rejoin_untold(told, &next, &words);)
        fprintf(text, "  - %s\n", words.text);
}

static void tell(rlv_answer* answer, const rejoin_told* told, const rlv_options* options)
{
    const report_lines lines = rejoin_lines(told);
    fprintf(answer->text, "%s\n\n", rejoin_name(told).text);
    specimen_tell_lines(answer->text, &lines);
    tell_table(answer->text, "the gap between the two faces", rejoin_gaps_wall(told));
    tell_table(answer->text, "where the faces touch, hardest first", rejoin_contacts_wall(told));
    tell_runs(answer->text, told);
    tell_treatments(answer->text, told);
    tell_untold(answer->text, told);
    fputs("\n  " REJOIN_CAUTION "\n  " REJOIN_CAUTION_HANDS "\n", answer->text);
    if (rejoin_bone_touches(told))
        fputs("  " REJOIN_CAUTION_BONE "\n", answer->text);
    snprintf(answer->next, sizeof answer->next, "%s",
             options->out != NULL
                 ? "look at the picture of the joint; rejoined.ply is the piece in its closed place."
                 : "--out DIR writes the picture of the joint, its tables, and the piece in its closed "
                   "place.");
}

static rlv_status keep_piece(rlv_answer* answer, const rejoin_told* told, rlv_error* error)
{
    rlv_mesh moved = {0};
    rlv_status status = rlv_mesh_copy(&moved, told->piece.mesh, error);
    if (status == RLV_DONE)
    {
        rlv_pose_move_mesh(&told->of.closed, &moved);
        status = out_folder_add_mesh(&answer->folder, "rejoined.ply", &moved, error);
    }
    rlv_mesh_free(&moved);
    return status;
}

static rlv_status keep_files(rlv_answer* answer, const rejoin_told* told, rlv_error* error)
{
    if (answer->folder.path == NULL)
        return RLV_DONE;
    // The picture first: what it warns of stands in the record.
    rlv_status status = rejoin_sheet_keep(told, answer, error);
    rejoin_tables tables = rejoin_tables_of(1, &told);
    if (status == RLV_DONE)
        status = table_keep_all(tables.table, REJOIN_TABLES, false, &answer->folder, NULL, error);
    rejoin_tables_free(&tables);
    if (status == RLV_DONE)
        status = answer_keep_record(answer, "rejoin.json", error);
    return status == RLV_DONE ? keep_piece(answer, told, error) : status;
}

// --- Two meshes ------------------------------------------------------------------------------------------------------

typedef enum role
{
    BLOCK,
    PIECE,
    BEFORE,
    ROLES,
} role;

/// A piece is no larger than the block that it came off, and not so much smaller that it was read in another unit.
static rlv_status check_sizes(const given_mesh given[ROLES], rlv_error* error)
{
    const double block_mm = given_mesh_size_mm(&given[BLOCK]), piece_mm = given_mesh_size_mm(&given[PIECE]);
    if (piece_mm <= 5.0 * block_mm && block_mm <= 500.0 * piece_mm)
        return RLV_DONE;
    return rlv_fail(error, RLV_BAD_INPUT, given[PIECE].path, "give both in one unit, and the block first",
                    "it is %s mm across and %s is %s mm: not a block and a piece of it",
                    words_figures(piece_mm, 3).text, given_name(given[BLOCK].path), words_figures(block_mm, 3).text);
}

static rlv_status check_twins(const given_mesh given[ROLES], rlv_error* error)
{
    for (int a = 0; a < ROLES; a++)
        for (int b = a + 1; b < ROLES; b++)
            if (given[b].path != NULL && strcmp(given[a].source.sha256, given[b].source.sha256) == 0)
                return rlv_fail(error, RLV_BAD_INPUT, given[b].path,
                                b == PIECE ? "name the mesh of the piece"
                                           : "name the mesh from before the piece came off",
                                "it is the same, byte for byte, as %s", given[a].path);
    return RLV_DONE;
}

static rlv_status read_meshes(given_mesh given[ROLES], const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    const char* const path[ROLES] = {options->path[0], options->path[1], options->before};
    rlv_status status = RLV_DONE;
    for (int k = 0; k < ROLES && status == RLV_DONE; k++)
        if (path[k] != NULL)
            status = given_mesh_read(&given[k], path[k], options->unit, answer, error);
    if (status == RLV_DONE)
        status = check_twins(given, error);
    if (status == RLV_DONE)
        status = check_sizes(given, error);
    if (status == RLV_DONE && options->before != NULL)
        status = given_mesh_same_unit(&given[BEFORE], &given[BLOCK], options->unit, options->unit, answer, error);
    return status;
}

static rejoin_part part_of(const given_mesh* given)
{
    return given->path != NULL ? (rejoin_part){.mesh = &given->mesh,
                                               .name = given_name(given->path),
                                               .file = given->path,
                                               .sha256 = given->source.sha256}
                               : (rejoin_part){0};
}

/// Whoever gives a mesh from before wants to know where the piece was found.
static rlv_status need_found(const rejoin_told* told, rlv_error* error)
{
    if (told->before.mesh == NULL || told->of.found_known)
        return RLV_DONE;
    return rlv_fail(
        error, RLV_IMPOSSIBLE, told->before.file,
        "see that it is of this block, from before the piece came off; or leave it out, and the piece is put "
        "back by the two faces alone",
        "the two parts were not both found on it");
}

static rlv_status rejoin_meshes(const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    given_mesh given[ROLES] = {0};
    rejoin_told told = {.film_mm = film_of(options)};
    rejoin_record_parameters(answer->parameters, told.film_mm);
    rlv_status status = read_meshes(given, options, answer, error);
    if (status == RLV_DONE)
    {
        told.block = part_of(&given[BLOCK]);
        told.piece = part_of(&given[PIECE]);
        told.before = part_of(&given[BEFORE]);
        rejoin_name_axes(&told);
        status = rejoin_told_measure(&told, answer, error);
        if (status == RLV_DONE)
            status = need_found(&told, error);
        if (status == RLV_DONE || status == RLV_IMPOSSIBLE)
            rejoin_record(answer->record, &told);
    }
    if (status == RLV_DONE)
    {
        tell(answer, &told, options);
        status = keep_files(answer, &told, error);
    }
    rejoin_told_free(&told);
    for (int k = 0; k < ROLES; k++)
        given_mesh_free(&given[k]);
    return status;
}

// --- A piece of a specimen -------------------------------------------------------------------------------------------

/// What is said of meshes does not hold for a specimen, whose record says it.
static rlv_status check_call(const rlv_options* options, rlv_error* error)
{
    const char* said = options->unit != RLV_UNIT_NONE ? "--unit" : options->before != NULL ? "--before" : NULL;
    if (said == NULL)
        return RLV_DONE;
    return rlv_fail(error, RLV_BAD_INPUT, NULL,
                    "leave it out: units, and the stage before a piece came off, stand in its specimen.yaml",
                    "%s is for meshes that are given directly", said);
}

/// All that the command holds of a specimen.
typedef struct work
{
    specimen_work of;
    history_rejoin rejoin;
} work;

static rlv_status measure(work* w, const rlv_piece_record* piece, const rlv_options* options, rlv_answer* answer,
                          rlv_error* error)
{
    const history_options how = {.poses_only = true, .pieces = true};
    specimen_inputs(answer, &w->of.specimen);
    rlv_status status = history_measure(&w->of.history, &w->of.specimen, &how, answer, error);
    if (status == RLV_IMPOSSIBLE)
    {
        // Where no two stages could be aligned the piece is put back in its own stage's frame.
        answer_warn(answer, "%s", error->what);
        *error = (rlv_error){0};
        status = RLV_DONE;
    }
    if (status == RLV_DONE)
        status = history_rejoin_measure(&w->rejoin, &w->of.history, piece, film_of(options), answer, error);
    specimen_inputs_within(answer, &w->of.specimen);
    return status;
}

static rlv_status rejoin_piece(const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    work w = {0};
    const rlv_piece_record* piece = NULL;
    rejoin_record_parameters(answer->parameters, film_of(options));
    rlv_status status = check_call(options, error);
    if (status == RLV_DONE)
        status = rlv_specimen_read(&w.of.specimen, options->path[0], error);
    if (status == RLV_DONE)
        status = history_rejoin_choose(&piece, &w.of.specimen, options->path[1], error);
    const bool called_well = status == RLV_DONE;
    if (called_well)
        status = measure(&w, piece, options, answer, error);
    if (called_well && (status == RLV_DONE || status == RLV_IMPOSSIBLE))
        rejoin_record(answer->record, &w.rejoin.told);
    if (status == RLV_DONE)
    {
        tell(answer, &w.rejoin.told, options);
        status = keep_files(answer, &w.rejoin.told, error);
    }
    history_rejoin_free(&w.rejoin);
    specimen_work_free(&w.of);
    return status;
}

rlv_status command_rejoin(const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    return is_folder(options->path[0]) ? rejoin_piece(options, answer, error) : rejoin_meshes(options, answer, error);
}
