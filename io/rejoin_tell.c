#include "rejoin_tell.h"

#include "rejoin_pieces_record.h"
#include "rejoin_record.h"
#include "rejoin_sheet.h"
#include "rejoin_words.h"
#include "specimen_work.h"

#include <math.h>
#include <stdlib.h>

// --- To people -------------------------------------------------------------------------------------------------------

static void tell_table(FILE* text, const char* heading, rlv_table t)
{
    table_tell_under(&t, text, heading, NULL);
    table_free(&t);
}

static void tell_terms(FILE* text, const rejoin_told* told)
{
    rejoin_term term;
    fputs("\nthe joint’s areas, and what the words stand for\n", text);
    for (size_t next = 0; rejoin_term_next(told, &next, &term);)
    {
        char area[60] = "";
        if (!isnan(term.area_mm2))
            rlv_print(area, sizeof area, "%.40s cm\xc2\xb2", words_figures(term.area_mm2 / 100.0, term.figures).text);
        // By columns, not bytes.
        const size_t own = words_width(area), wide = 10;
        fprintf(text, "  %-16s  %*s%s  %s\n", term.word, (int)(own < wide ? wide - own : 0), "", area, term.is.text);
    }
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

static void tell_piece(FILE* text, const rejoin_told* told)
{
    const report_lines lines = rejoin_lines(told);
    fprintf(text, "%s\n\n", rejoin_name(told).text);
    specimen_tell_lines(text, &lines);
    tell_terms(text, told);
    tell_table(text, "the gap between the two faces", rejoin_gaps_wall(told));
    tell_table(text, "where the faces touch, hardest first", rejoin_contacts_wall(told));
    tell_runs(text, told);
    tell_treatments(text, told);
    tell_untold(text, told);
}

static void tell_next(rlv_answer* answer, bool bone_touches, const char* with_files, const char* without)
{
    fputs("\n  " REJOIN_CAUTION "\n  " REJOIN_CAUTION_HANDS "\n", answer->text);
    if (bone_touches)
        fputs("  " REJOIN_CAUTION_BONE "\n", answer->text);
    snprintf(answer->next, sizeof answer->next, "%s", answer->folder.path != NULL ? with_files : without);
}

void rejoin_tell(rlv_answer* answer, const rejoin_told* told)
{
    tell_piece(answer->text, told);
    tell_next(answer, rejoin_bone_touches(told),
              "look at the picture of the joint; rejoined.ply is the piece in its closed place.",
              "--out DIR writes the picture of the joint, its tables, and the piece in its closed place.");
}

static void tell_rings(FILE* text, const rejoin_pieces* pieces)
{
    report_text words;
    fputs("\nrings\n", text);
    for (size_t next = 0; rejoin_rings_words(pieces, &next, &words);)
        fprintf(text, "  %s\n", words.text);
}

void rejoin_tell_pieces(rlv_answer* answer, const rejoin_pieces* pieces)
{
    FILE* text = answer->text;
    fprintf(text, "%s put back on %s\n", words_count(pieces->count, "piece").text, pieces->block[0].name);
    tell_table(text, "the joints", rejoin_joints_table(pieces));
    tell_rings(text, pieces);
    bool bone_touches = false;
    for (size_t k = 0; k < pieces->count; k++)
    {
        fputs("\n", text);
        bone_touches |= pieces->told[k]->measured && rejoin_bone_touches(pieces->told[k]);
        if (pieces->told[k]->measured)
            tell_piece(text, pieces->told[k]);
        else
            fprintf(text, "%s: %s\n", pieces->told[k]->piece.name, rejoin_verdict(pieces->told[k]).text);
    }
    tell_next(answer, bone_touches,
              "look at the pictures of the joints; rejoined-1.ply… are the pieces in their places.",
              "--out DIR writes the pictures of the joints, their tables, and the pieces in their places.");
}

// --- Files -----------------------------------------------------------------------------------------------------------

static rlv_status keep_mesh(rlv_answer* answer, const rejoin_told* told, const char* name, rlv_error* error)
{
    rlv_mesh moved = {0};
    rlv_status status = rlv_mesh_copy(&moved, told->piece.mesh, error);
    if (status == RLV_DONE)
    {
        rlv_pose_move_mesh(&told->of.closed, &moved);
        status = out_folder_add_mesh(&answer->folder, name, &moved, error);
    }
    rlv_mesh_free(&moved);
    return status;
}

rlv_status rejoin_keep(rlv_answer* answer, const rejoin_told* told, rlv_error* error)
{
    if (answer->folder.path == NULL)
        return RLV_DONE;
    // The picture first: what it warns of stands in the record.
    rlv_status status = rejoin_sheet_keep(told, "joint", answer, error);
    rejoin_tables tables = rejoin_tables_of(1, &told);
    if (status == RLV_DONE)
        status = table_keep_all(tables.table, REJOIN_TABLES, false, &answer->folder, NULL, error);
    rejoin_tables_free(&tables);
    if (status == RLV_DONE)
        status = answer_keep_record(answer, "rejoin.json", error);
    return status == RLV_DONE ? keep_mesh(answer, told, "rejoined.ply", error) : status;
}

static rlv_status keep_tables(rlv_answer* answer, const rejoin_pieces* pieces, size_t count,
                              const rejoin_told* const* placed, rlv_error* error)
{
    enum
    {
        ALL = REJOIN_TABLES + 2,
    };
    const rejoin_tables of_pieces = rejoin_tables_of(count, placed);
    rlv_table table[ALL];
    for (size_t i = 0; i < REJOIN_TABLES; i++)
        table[i] = of_pieces.table[i];
    table[REJOIN_TABLES] = rejoin_joints_table(pieces);
    table[REJOIN_TABLES + 1] = rejoin_rings_table(pieces);
    const rlv_status status = table_keep_all(table, ALL, false, &answer->folder, NULL, error);
    for (size_t i = 0; i < ALL; i++)
        table_free(&table[i]);
    return status;
}

rlv_status rejoin_keep_pieces(rlv_answer* answer, const rejoin_pieces* pieces, rlv_error* error)
{
    char name[64];
    size_t count = 0;
    if (answer->folder.path == NULL)
        return RLV_DONE;
    const rejoin_told** placed = rlv_reserve(pieces->count, sizeof *placed, error);
    rlv_status status = placed != NULL ? RLV_DONE : RLV_SYSTEM;
    for (size_t k = 0; k < pieces->count && status == RLV_DONE; k++)
    {
        const rejoin_told* told = pieces->told[k];
        if (!told->measured)
            continue;
        placed[count++] = told;
        snprintf(name, sizeof name, "joint-%zu", k + 1);
        status = rejoin_sheet_keep(told, name, answer, error);
        snprintf(name, sizeof name, "rejoined-%zu.ply", k + 1);
        if (status == RLV_DONE)
            status = keep_mesh(answer, told, name, error);
    }
    if (status == RLV_DONE)
        status = keep_tables(answer, pieces, count, placed, error);
    free(placed);
    return status == RLV_DONE ? answer_keep_record(answer, "rejoin.json", error) : status;
}
