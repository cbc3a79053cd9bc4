#include "report_rejoin.h"

#include "rejoin_pieces_record.h"
#include "rejoin_words.h"
#include "report_page_parts.h"
#include "report_record.h"

#include <stdio.h>
#include <stdlib.h>

// --- Measuring -------------------------------------------------------------------------------------------------------

static rlv_status measure_one(history_rejoin* one, const rlv_history* history, const rlv_piece_record* piece,
                              rlv_answer* answer, rlv_error* error)
{
    const rlv_status status = history_rejoin_measure(one, history, piece, REJOIN_FILM_MM, answer, error);
    if (status != RLV_IMPOSSIBLE)
        return status;
    answer_warn(answer, "%s cannot be put back: %s", piece->id, error->what);
    *error = (rlv_error){0};
    return RLV_DONE;
}

static rlv_status measure_each(report_rejoin* r, const rlv_history* history, size_t count,
                               const rlv_piece_record* const* piece, rlv_answer* answer, rlv_error* error)
{
    if ((r->one = rlv_reserve(count, sizeof *r->one, error)) == NULL)
        return RLV_SYSTEM;
    rlv_status status = RLV_DONE;
    for (size_t i = 0; i < count && status == RLV_DONE; i++)
        status = measure_one(&r->one[r->count++], history, piece[i], answer, error);
    return status;
}

/// All at once. Where a piece finds no place it says so itself; where nothing could be tried `together` stays false.
static rlv_status measure_together(report_rejoin* r, const rlv_history* history, size_t count,
                                   const rlv_piece_record* const* piece, rlv_answer* answer, rlv_error* error)
{
    rlv_status status =
        history_rejoin_pieces_measure(&r->several, history, count, piece, REJOIN_FILM_MM, answer, error);
    if (status != RLV_DONE && status != RLV_IMPOSSIBLE)
        return status;
    r->together = r->several.of.of.body_count > 0;
    if (r->together)
    {
        r->one = r->several.one;
        r->count = count;
    }
    else
        answer_warn(answer, "the pieces are put back each by itself: %s", error->what);
    *error = (rlv_error){0};
    return RLV_DONE;
}

static rlv_status make_tables(report_rejoin* r, rlv_error* error)
{
    const rejoin_told** told = rlv_reserve(r->count, sizeof *told, error);
    size_t count = 0;
    if (told == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < r->count; i++)
        if (r->one[i].told.measured)
            told[count++] = &r->one[i].told;
    const rejoin_tables of_pieces = rejoin_tables_of(count, told);
    for (size_t i = 0; i < REJOIN_TABLES; i++)
        r->table[r->table_count++] = of_pieces.table[i];
    if (r->together)
    {
        r->table[r->table_count++] = rejoin_joints_table(&r->several.of);
        r->table[r->table_count++] = rejoin_rings_table(&r->several.of);
    }
    free(told);
    return RLV_DONE;
}

rlv_status report_rejoin_measure(report_rejoin* r, const rlv_history* history, rlv_answer* answer, rlv_error* error)
{
    const rlv_specimen* specimen = history->specimen;
    const rlv_piece_record** piece = rlv_reserve(specimen->piece_count, sizeof *piece, error);
    size_t count = 0;
    if (piece == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < specimen->piece_count; i++)
        if (specimen->piece[i].mesh_count > 0)
            piece[count++] = &specimen->piece[i];
    rlv_status status = count > 1 ? measure_together(r, history, count, piece, answer, error) : RLV_DONE;
    if (status == RLV_DONE && !r->together)
        status = measure_each(r, history, count, piece, answer, error);
    free(piece);
    return status == RLV_DONE && r->count > 0 ? make_tables(r, error) : status;
}

void report_rejoin_free(report_rejoin* r)
{
    for (size_t i = 0; i < r->table_count; i++)
        table_free(&r->table[i]);
    for (size_t i = 0; i < r->count && !r->together; i++)
        history_rejoin_free(&r->one[i]);
    if (!r->together)
        free(r->one);
    history_rejoin_pieces_free(&r->several);
    *r = (report_rejoin){0};
}

void report_rejoin_record(json_t* record, const report_rejoin* r)
{
    json_t* list = record_list(record, "rejoin");
    for (size_t i = 0; i < r->count; i++)
        rejoin_pieces_record_piece(record_row(list), &r->one[i].told);
    if (r->together)
        rejoin_pieces_record_whole(record_object(record, "rejoin_together"), &r->several.of);
    else
        record_null(record, "rejoin_together");
    json_t* rows = json_object_get(record, "tables");
    for (size_t i = 0; i < r->table_count; i++)
        json_object_set_new(rows, r->table[i].name, report_rows(&r->table[i]));
}

void report_rejoin_tell(FILE* text, const report_rejoin* r)
{
    for (size_t i = 0; i < r->count; i++)
        fprintf(text, "  %-20s  %s\n", r->one[i].told.piece.name, rejoin_verdict(&r->one[i].told).text);
    report_text words;
    for (size_t next = 0; r->together && rejoin_rings_words(&r->several.of, &next, &words);)
        fprintf(text, "  %-20s  %s\n", "Pieces together", words.text);
}

// --- The page --------------------------------------------------------------------------------------------------------

static void put_table(rlv_page* p, rlv_table t, const char* caption)
{
    char csv[128];
    snprintf(csv, sizeof csv, "tables/%s.csv", t.name);
    t.caption = caption;
    if (table_rows(&t) > 0)
        page_table(p, &t, csv);
    table_free(&t);
}

static void put_treatments(rlv_page* p, const rejoin_told* told)
{
    rejoin_treatment one;
    for (size_t next = 0; rejoin_treatment_next(told, &next, &one);)
        page_fact(p, "Recorded", rejoin_treatment_words(told, &one).text);
}

/// In one box, a line with a bullet each.
static void put_untold(rlv_page* p, const rejoin_told* told)
{
    char* text = NULL;
    size_t size = 0;
    report_text words;
    FILE* stream = open_memstream(&text, &size);
    if (stream != NULL)
        fputs("What is uncertain, or could not be told:", stream);
    for (size_t next = 0; stream != NULL && rejoin_untold(told, &next, &words);)
        fprintf(stream, "\n\xe2\x80\xa2 %s.", words.text);
    if (stream != NULL && fclose(stream) == 0)
        page_box(p, PAGE_NOTE, text);
    else
        p->out_of_memory = true;
    free(text);
}

static void put_piece(rlv_page* p, const rejoin_told* told, const history_sheets* sheets)
{
    char id[160], terms[400], caption[400], contacts[400];
    const char* title = told->record->title != NULL ? told->record->title : told->record->id;
    snprintf(id, sizeof id, "rejoin-%.120s", told->record->id);
    page_part(p, id, title);
    if (!told->measured)
    {
        page_fact(p, "Verdict", rejoin_verdict(told).text);
        return;
    }
    const report_lines lines = rejoin_lines(told);
    for (size_t i = 0; i < lines.count; i++)
        page_fact(p, lines.line[i].name, lines.line[i].words.text);
    for (size_t i = 0; i < told->run_count; i++)
        page_fact(p, rejoin_run_name(&told->run[i]).text, rejoin_run_words(told, &told->run[i]).text);
    put_treatments(p, told);
    report_page_pictures(p, sheets, HISTORY_SHEET_JOINT, (size_t)(told->record - told->specimen->piece));
    snprintf(terms, sizeof terms, "The areas of the joint of %.100s, and what the words stand for", told->piece.name);
    put_table(p, rejoin_terms_wall(told), terms);
    snprintf(caption, sizeof caption, "The gap between %.100s and %.100s", told->piece.name, told->block.name);
    put_table(p, rejoin_gaps_wall(told), caption);
    snprintf(contacts, sizeof contacts, "Where %.100s touches %.100s, hardest first", told->piece.name,
             told->block.name);
    put_table(p, rejoin_contacts_wall(told), contacts);
    char across[400];
    snprintf(across, sizeof across, "What runs over the joint of %.100s", told->piece.name);
    put_table(p, rejoin_across_wall(told), across);
    put_untold(p, told);
    if (rejoin_bone_touches(told))
        page_box(p, PAGE_CAUTION, REJOIN_CAUTION_BONE);
}

/// The joints of several pieces, and whether they close rings.
static void put_together(rlv_page* p, const report_rejoin* r)
{
    report_text words;
    page_part(p, "rejoin-together", "All pieces together");
    for (size_t next = 0; rejoin_rings_words(&r->several.of, &next, &words);)
        page_fact(p, "Rings", words.text);
    put_table(p, rejoin_joints_table(&r->several.of), "The joints between the pieces");
}

void report_rejoin_put(rlv_page* p, const report_rejoin* r, const history_sheets* sheets)
{
    page_section(p, "rejoin", "Pieces put back");
    if (r->count == 0)
    {
        page_paragraph(p, "Pieces with a mesh of their own: not recorded.");
        return;
    }
    if (r->together)
        put_together(p, r);
    for (size_t i = 0; i < r->count; i++)
        put_piece(p, &r->one[i].told, sheets);
    page_box(p, PAGE_CAUTION, REJOIN_CAUTION "\n" REJOIN_CAUTION_HANDS);
}
