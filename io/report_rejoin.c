#include "report_rejoin.h"

#include "rejoin_pieces_record.h"
#include "rejoin_words.h"
#include "report_page_parts.h"
#include "report_record.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

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
    r->history = history;
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
    {
        const report_text back = rejoin_back(&r->one[i].told);
        fprintf(text, "  %-20s  %s%s%s\n", r->one[i].told.piece.name, back.text, back.text[0] != '\0' ? "; " : "",
                rejoin_verdict(&r->one[i].told).text);
    }
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

/// The step at which a piece came off, or went `back`, with its region there; NULL where none was told.
static const history_step* step_of(const rlv_history* history, const rlv_piece_record* piece, bool back,
                                   const rlv_change_region** region)
{
    const size_t which = (size_t)(piece - history->specimen->piece);
    const rlv_change_class kind = back ? RLV_CHANGE_JOINED : RLV_CHANGE_DETACHED;
    for (size_t i = 0; i < history->step_count; i++)
    {
        const history_step* step = &history->step[i];
        for (size_t k = 0; step->measured && k < step->change.region_count; k++)
            if (step->change.region[k].kind == kind && step->region[k].piece == which)
            {
                *region = &step->change.region[k];
                return step;
            }
    }
    return NULL;
}

static report_text cm2_of(rlv_interval mm2)
{
    return report_interval((rlv_interval){mm2.value / 100.0, mm2.low / 100.0, mm2.high / 100.0}, "cm²");
}

static report_text ml_of(rlv_interval mm3)
{
    return report_interval(report_in_ml(mm3), "mL");
}

/// The step's figures of a piece against the joint's: which of them are of one thing, and which are not.
static void put_against_steps(rlv_page* p, const report_rejoin* r, const rejoin_told* told)
{
    const rlv_rejoin* of = &told->of;
    const rlv_change_region *off = NULL, *on = NULL;
    const history_step *came_off = step_of(r->history, told->record, false, &off),
                       *went_back = step_of(r->history, told->record, true, &on);
    report_text words = {""};
    if (came_off != NULL && isfinite(came_off->crumbled_mm3.value))
        report_add(&words, "At the step in which it came off %s went beside it, which counts as matrix removed. ",
                   ml_of(came_off->crumbled_mm3).text);
    if (went_back != NULL && isfinite(went_back->gap_mm3.value))
        report_add(&words,
                   "At that in which it went back the block gained %s beside it, which is the gap and no material. ",
                   ml_of(went_back->gap_mm3).text);
    if (words.text[0] != '\0')
    {
        report_add(&words, "The gap between the two faces holds ");
        if (of->found_known)
            report_add(&words, "%s as found, ", ml_of(of->gap_before.volume_mm3).text);
        report_add(&words, "%s closed", ml_of(of->gap_after.volume_mm3).text);
        if (of->back_known)
            report_add(&words, ", %s as it went back", ml_of(of->gap_back.volume_mm3).text);
        report_add(&words, ". What went or came beside it is what the block’s meshes show less the piece’s "
                           "own, rim and all; the gap is measured face to face");
        page_fact(p, "Volumes", words.text);
    }
    words = (report_text){""};
    if (off != NULL)
        report_add(&words, "%.80s of the block’s surface went with it, its outside. ", cm2_of(off->area_mm2).text);
    if (on != NULL)
        report_add(&words, "%.80s were covered as it went back, the face that it left. ", cm2_of(on->area_mm2).text);
    if (words.text[0] != '\0')
    {
        report_add(
            &words,
            "The joint’s outline is %s cm² of the block’s face, all that looks across at the piece, and %s cm² of it "
            "have the other face straight across",
            words_figures(of->joint_mm2 / 100.0, 3).text, words_figures(of->gap_after.area_mm2 / 100.0, 3).text);
        page_fact(p, "Areas", words.text);
    }
}

static void put_piece(rlv_page* p, const report_rejoin* r, const rejoin_told* told, const history_sheets* sheets)
{
    char id[160], terms[400], caption[400], contacts[400];
    const char* title = told->record->title != NULL ? told->record->title : told->record->id;
    rlv_print(id, sizeof id, "rejoin-%.120s", told->record->id);
    page_part(p, id, title);
    if (!told->measured)
    {
        page_fact(p, "Today", rejoin_back(told).text);
        page_fact(p, "Verdict", rejoin_verdict(told).text);
        return;
    }
    const report_lines lines = rejoin_lines(told);
    for (size_t i = 0; i < lines.count; i++)
        page_fact(p, lines.line[i].name, lines.line[i].words.text);
    for (size_t i = 0; i < told->run_count; i++)
        page_fact(p, rejoin_run_name(&told->run[i]).text, rejoin_run_words(told, &told->run[i]).text);
    put_against_steps(p, r, told);
    put_treatments(p, told);
    report_page_pictures(p, sheets, HISTORY_SHEET_JOINT, (size_t)(told->record - told->specimen->piece));
    rlv_print(terms, sizeof terms, "The areas of the joint of %.100s, and what the words stand for", told->piece.name);
    put_table(p, rejoin_terms_wall(told), terms);
    rlv_print(caption, sizeof caption, "The gap between %.100s and %.100s", told->piece.name, told->block.name);
    put_table(p, rejoin_gaps_wall(told), caption);
    rlv_print(contacts, sizeof contacts, "Where %.100s touches %.100s, hardest first", told->piece.name,
              told->block.name);
    put_table(p, rejoin_contacts_wall(told), contacts);
    char across[400];
    rlv_print(across, sizeof across, "What runs over the joint of %.100s", told->piece.name);
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
        put_piece(p, r, &r->one[i].told, sheets);
    page_box(p, PAGE_CAUTION, REJOIN_CAUTION "\n" REJOIN_CAUTION_HANDS);
}
