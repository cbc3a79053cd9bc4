#include "report_skeleton.h"

#include "history_articulation_sheets.h"
#include "report_articulation_parts.h"
#include "report_page_parts.h"

#include "report_place.h"
#include "report_record.h"
#include "report_tables.h"

#include <stdio.h>
#include <stdlib.h>

/// What elements, stretches and the rest are judged by.
static void record_thresholds(json_t* parameters)
{
    json_t* of = record_object(parameters, "skeleton_thresholds");
    record_real(of, "displaced_p", RLV_ARTICULATION_LEVEL);
    record_real(of, "stretch_p", RLV_ARTICULATION_GROUP_LEVEL);
    record_count(of, "row_least", RLV_ARTICULATION_LEAST);
    record_count(of, "row_least_compared", RLV_COMPARED_LEAST);
    record_real(of, "compared_drift", RLV_COMPARED_DRIFT);
    record_count(of, "directions_least", RLV_DISTURBANCE_LEAST);
    record_real(of, "stray_none", RLV_STRAY_NONE);
    record_real(of, "carried_scatter", RLV_CARRIED_SCATTER);
}

rlv_status report_skeleton_measure(report_skeleton* s, const rlv_history* history, rlv_answer* answer, rlv_error* error)
{
    if (history->specimen->element_count == 0)
        return RLV_DONE;
    rlv_status status = history_elements_measure(&s->elements, history, answer, error);
    s->measured = status == RLV_DONE;
    if (s->measured)
        status = history_articulation_measure(&s->articulation, &s->elements, answer, error);
    s->judged = s->measured && status == RLV_DONE;
    if (status == RLV_IMPOSSIBLE)
    {
        snprintf(s->why, sizeof s->why, "%s; %s", error->what, error->mend);
        answer_warn(answer, "%s: %s", s->measured ? "the skeleton cannot be judged" : "no element can be measured",
                    s->why);
        *error = (rlv_error){0};
        status = RLV_DONE;
    }
    if (status != RLV_DONE || !s->measured)
        return status;
    if (s->judged)
        record_thresholds(answer->parameters);
    const elements_tables elements = elements_tables_of(&s->elements);
    const articulation_tables articulation = articulation_tables_of(&s->articulation);
    for (size_t i = 0; i < SKELETON_TABLES; i++)
        s->table[i] = i < ELEMENTS_TABLES ? elements.table[i] : articulation.table[i - ELEMENTS_TABLES];
    return RLV_DONE;
}

void report_skeleton_free(report_skeleton* s)
{
    for (size_t i = 0; i < SKELETON_TABLES; i++)
        table_free(&s->table[i]);
    history_articulation_free(&s->articulation);
    history_elements_free(&s->elements);
    *s = (report_skeleton){0};
}

// --- JSON ------------------------------------------------------------------------------------------------------------

static void put_covariances(json_t* rows, const history_articulation* a)
{
    for (size_t i = 0; i < a->fit.unfilled_count; i++)
        record_reals(json_array_get(rows, i), "covariance_mm2", 9, a->fit.unfilled[i].covariance_mm2);
}

static void record_untold(json_t* record, const history_articulation* a)
{
    json_t* list = record_list(record, "could_not_be_told");
    report_text words;
    for (size_t next = 0; articulation_untold(a, &next, &words);)
        record_line(list, words.text);
}

/// The one row of a table, as an object; null where it has none.
static void record_only(json_t* record, const char* key, const rlv_table* t)
{
    json_t* rows = report_rows(t);
    json_t* row = json_array_get(rows, 0);
    if (row != NULL)
        json_object_set(record, key, row);
    else
        record_null(record, key);
    json_decref(rows);
}

void report_articulation_record(json_t* record, const history_articulation* a, const rlv_table* table)
{
    static const struct
    {
        const char* key;
        size_t table;
    } lists[] = {{"groups", ARTICULATION_GROUPS},
                 {"unfilled", ARTICULATION_UNFILLED},
                 {"candidates", ARTICULATION_CANDIDATES},
                 {"share_in_place", ARTICULATION_SHARES},
                 {"gaps", ARTICULATION_GAPS},
                 {"ahead", ARTICULATION_AHEAD},
                 {"motions", ARTICULATION_OWN + DISTURBANCE_MOTIONS},
                 {"motions_level", ARTICULATION_OWN + DISTURBANCE_LEVEL},
                 {"motions_space", ARTICULATION_OWN + DISTURBANCE_SPACE},
                 {"displaced_axes", ARTICULATION_OWN + DISTURBANCE_AXES}};
    record_only(record, "skeleton", &table[ARTICULATION_SKELETON]);
    json_object_set_new(record, "elements", report_rows(&table[ARTICULATION_ELEMENTS]));
    for (size_t i = 0; i < sizeof lists / sizeof *lists; i++)
        if (a->fitted)
            json_object_set_new(record, lists[i].key, report_rows(&table[lists[i].table]));
        else
            record_null(record, lists[i].key);
    if (a->fitted)
        put_covariances(json_object_get(record, "unfilled"), a);
    json_object_set_new(record, "rows", report_rows(&table[ARTICULATION_ROWS]));
    record_only(record, "carried", &table[ARTICULATION_OWN + DISTURBANCE_CARRIED]);
    record_untold(record, a);
}

// --- the page --------------------------------------------------------------------------------------------------------

static void put_table(rlv_page* p, rlv_table t, const rlv_table* whole, const char* dash, const char* none)
{
    char csv[128];
    snprintf(csv, sizeof csv, "tables/%s.csv", whole->name);
    t.dash = dash;
    if (table_rows(&t) > 0)
        page_table(p, &t, csv);
    else if (none != NULL)
        page_paragraph(p, none);
    table_free(&t);
}

static void put_note(rlv_page* p, const char* words)
{
    if (words != NULL)
        page_paragraph(p, words);
}

static const rlv_table* whole(const report_skeleton* s, size_t which)
{
    return &s->table[ELEMENTS_TABLES + which];
}

/// The words of this section, before any of them is used.
static void put_terms(rlv_page* p)
{
    page_part(p, "terms", "How to read this section");
    page_fact(
        p, "Row",
        "Elements of one kind that follow each other along the body, as the record names them: LR, say, for those "
        "of the right side. Its places are counted from the head.");
    page_fact(p, "Life position",
              "Where the animal’s own order says that an element belongs. It is known by its row and its place: LR09 "
              "is an element, place 9 of LR is where one belongs, and the two need not be together.");
    page_fact(
        p, "State",
        "In place; shifted (it lies off its life position by more than the row scatters); rotated (it is turned by "
        "more); inverted (its external face looks the other way). The first that holds of inverted, rotated, "
        "shifted is told. Unassigned: none of these is told, since it is loose, or the others do not tell where it "
        "belongs.");
    page_fact(p, "Stretch", "Neighbours in one row that moved together, as one.");
    page_fact(p, "Shift",
              "How far an element lies from its life position: in millimetres, and in pitches, the distance "
              "from one place of its row to the next. What errors add to a distance is taken off (Methods, ‘What has "
              "moved’), so that it is shorter than the two places lie apart.");
    page_fact(p, "Towards",
              "Which way on the body: head or tail, the animal’s left or right, out (away from the body "
              "wall) or in. Only what is sure is told.");
    page_fact(
        p, "Trend/plunge",
        "144/−20 ± 9: the azimuth from true north, clockwise, and the angle below the horizon, in degrees; a plunge "
        "below zero points upwards. In brackets where nothing tells which end of an axis is meant. ±: half of the "
        "95 % interval of that direction, an angle in space along the way that it is least sure in. Directions in "
        "the level (of the bedding, where that is known), as in the rose and motions.csv, have an uncertainty of "
        "their own: of the azimuth there alone, however steeply it went.");
    page_fact(
        p, "p",
        "How often chance alone, in a row that nothing has disturbed, would make an element look as far off, "
        "or a stretch as clearly moved. Adjusted: of all elements that are told as displaced for a p below "
        "0.05, 5 % at most, on the mean, are in place after all. Barely: it is within a factor of ten of that level.");
    page_fact(p, "Judged",
              "An element whose place is known or was found, so that its state is told. An element off its "
              "row has left every free place of its row: it is displaced, and no figure says how far.");
    page_fact(p, "Loose", "An element without a place: from the spoil, off its row, or never measured.");
}

static void put_moved(rlv_page* p, const report_skeleton* s)
{
    static const char dash[] =
        "A dash: too unsure to be told (a direction that may be any in the level), not known, or in no "
        "stretch.";
    const history_articulation* a = &s->articulation;
    page_part(p, "moved", "What has left its life position");
    put_table(p, articulation_groups_wall(a), whole(s, ARTICULATION_GROUPS), NULL,
              "No stretch of a row was found that moved together.");
    put_note(p, articulation_group_words(a));
    put_table(p, articulation_moved_wall(a), whole(s, ARTICULATION_ELEMENTS), dash,
              "No single element was found to have moved.");
    if (articulation_has_off_row(a))
        page_paragraph(p, "An element whose place is open lies off its row where each free place that it may have had, "
                          "by the record, leaves it outside the 95 % region of that place, its own errors in it. There "
                          "is no p of that.");
    put_table(p, articulation_off_row_wall(a), whole(s, ARTICULATION_ELEMENTS),
              "A dash: its row has no free place that it may have had.", NULL);
}

static void put_open(rlv_page* p, const history_articulation* a)
{
    for (size_t r = 0; r < a->row_count; r++)
    {
        char name[112];
        rlv_print(name, sizeof name, "Row %.100s", a->elements->history->specimen->row[r].id);
        page_fact(p, name, articulation_open_words(a, r).text);
    }
}

/// Where the rows go on, if they do.
static void put_ahead(rlv_page* p, const report_skeleton* s)
{
    const history_articulation* a = &s->articulation;
    if (a->ahead_count == 0)
        return;
    page_part(p, "ahead", "Where the rows go on");
    page_paragraph(p, articulation_ahead_words(a).text);
    put_table(p, articulation_ahead_table(a), whole(s, ARTICULATION_AHEAD),
              "A dash: the last stage, or north and up, are not known.", NULL);
}

/// What each row's judgement is good for.
static void put_rows(rlv_page* p, const report_skeleton* s)
{
    const history_articulation* a = &s->articulation;
    page_part(p, "rows", "What would have been found");
    page_paragraph(p,
                   "In place means that no shift was found, and not that there is none: below the shift that is told "
                   "here most would have been missed.");
    for (size_t r = 0; r < a->row_count; r++)
    {
        const report_text words = articulation_row_words(a, r);
        char name[112];
        rlv_print(name, sizeof name, "Row %.100s", a->elements->history->specimen->row[r].id);
        if (words.text[0] != '\0')
            page_fact(p, name, words.text);
    }
    page_link(p, report_table_path(whole(s, ARTICULATION_ROWS)).text, "Rows (CSV)");
}

static void put_expected(rlv_page* p, const report_skeleton* s)
{
    const history_articulation* a = &s->articulation;
    page_part(p, "expected", "Where bone may still lie");
    page_paragraph(p, "Where a place has no element, bone may lie, or may have been carried off before it was buried. "
                      "First, row by row, how many places are free, and how many elements are loose that may have come "
                      "from them.");
    put_open(p, a);
    const report_text found = report_place_meaning(a->elements->history);
    if (found.text[0] != '\0')
        page_paragraph(p, found.text);
    page_paragraph(p,
                   "Depth is how far the middle of a life position lies below the nearest place of today’s surface. "
                   "Above zero it is inside the rock. Below zero it is above the surface, where no rock is any more. "
                   "Of where it lies: " ARTICULATION_WHERE_MEANING
                   ". ‘Of none known’ is how likely it is that no loose element belonged there, so that its bone is "
                   "still to be found.");
    put_table(
        p, articulation_unfilled_wall(a), whole(s, ARTICULATION_UNFILLED),
        "A dash: the rock there is gone, its number was recorded, no loose element is likely to have been there, or "
        "nothing can be said.",
        "Every life position has its element.");
    put_note(p, articulation_corridor_words(a));
    put_ahead(p, s);
    if (a->stray_count == 0)
        return;
    page_part(p, "strays", "Which loose elements belong where");
    page_paragraph(
        p, "Loose elements of a row are held against its free places all at once, since no two had one place: "
           "by the places that the record leaves them, by where they lie, and those from the spoil by size. A "
           "place that a loose element surely had is none to look for bone in. That several may have been carried one "
           "way is in the figures, by how likely it is.");
    put_table(p, articulation_loose_wall(a), whole(s, ARTICULATION_CANDIDATES), NULL, NULL);
    if (articulation_carried_words(a).text[0] != '\0')
        page_paragraph(p, articulation_carried_words(a).text);
}

static void put_statistics(rlv_page* p, const report_skeleton* s)
{
    const history_articulation* a = &s->articulation;
    const rlv_table* motions = whole(s, ARTICULATION_OWN + DISTURBANCE_MOTIONS);
    page_part(p, "ways", "Which way they went, and how they lie");
    page_paragraph(p,
                   "A stretch counts as one motion. What lies off its row counts as none, since it is not known from "
                   "where it came: only ‘Carried one way’ weighs it, at each place that it may have had, and rests on "
                   "what is held likely beforehand (Methods, ‘Loose elements’).");
    const report_lines lines = disturbance_lines(a);
    for (size_t k = 0; k < lines.count; k++)
        page_fact(p, lines.line[k].name, lines.line[k].words.text);
    if (table_rows(motions) > 0)
        page_link(p, report_table_path(motions).text, "Each motion (CSV)");
    const rlv_table* carried = whole(s, ARTICULATION_OWN + DISTURBANCE_CARRIED);
    if (table_rows(carried) > 0)
        page_link(p, report_table_path(carried).text, "Carried one way (CSV)");
    put_table(p, articulation_shares_wall(a), whole(s, ARTICULATION_SHARES),
              "A dash: no element’s life position is there.", NULL);
    page_paragraph(p,
                   "Elements off their rows are in no part, since theirs is not known; and here each element counts by "
                   "itself, so that where a stretch moved together the interval looks surer than it is. The parts end "
                   "where the places between the first and the last elements end; the length of the body goes on to "
                   "the last place of all rows, which may lie beyond them.");
}

/// In one box, a line with a bullet each.
static void put_untold(rlv_page* p, const history_articulation* a)
{
    char* text = NULL;
    size_t size = 0;
    report_text words;
    FILE* stream = open_memstream(&text, &size);
    page_part(p, "untold", "What could not be told");
    if (stream != NULL)
        fputs("Of the skeleton could not be told:", stream);
    for (size_t next = 0; stream != NULL && articulation_untold(a, &next, &words);)
        fprintf(stream, "\n• %s.", words.text);
    if (stream != NULL && fclose(stream) == 0)
        page_box(p, PAGE_NOTE, text);
    else
        p->out_of_memory = true;
    free(text);
}

static void put_judged(rlv_page* p, const report_skeleton* s, const history_sheets* sheets)
{
    const report_lines lines = articulation_summary(&s->articulation);
    for (size_t k = 0; k < lines.count; k++)
        page_fact(p, lines.line[k].name, lines.line[k].words.text);
    page_paragraph(p, articulation_verdict_meaning(&s->articulation).text);
    page_paragraph(p, articulation_verdict_counted(&s->articulation).text);
    put_terms(p);
    const size_t stage = articulation_sheet_stage(s->elements.history);
    report_page_pictures(p, sheets, HISTORY_SHEET_BONES, stage);
    report_page_pictures(p, sheets, HISTORY_SHEET_PLAN, stage);
    put_moved(p, s);
    put_rows(p, s);
    put_expected(p, s);
    put_statistics(p, s);
    report_page_pictures(p, sheets, HISTORY_SHEET_DIRECTIONS, stage);
    put_untold(p, &s->articulation);
}

/// "in place", "shifted, barely", "unassigned: off its row", by the words of the CSV's states; with how its place is
/// known, and from what shift on it would have been told.
static elements_judged judged_of(const void* user, size_t element)
{
    const report_skeleton* s = user;
    elements_judged of = {.state = report_say("%s", rlv_articulation_state_word(RLV_UNASSIGNED)),
                          .told_mm = (double)NAN};
    if (!s->judged)
        return of;
    const history_articulation* a = &s->articulation;
    const rlv_articulation_state state = history_state(a, element);
    const history_left_out why = a->why[element];
    of.place = articulation_place_told(a, element);
    of.place_known = articulation_place_known(a, element);
    if (state != RLV_UNASSIGNED)
    {
        const rlv_articulated* told = history_told(a, element);
        of.state =
            report_say("%s%s", rlv_articulation_state_word(state), articulation_is_barely(told) ? ", barely" : "");
        of.told_mm = told->detectable_mm[0];
    }
    else if (why == HISTORY_OFF_ROW || why == HISTORY_SPOIL)
        report_add(&of.state, ": %s", articulation_loose_name(why));
    return of;
}

void report_skeleton_put(rlv_page* p, const report_skeleton* s, const history_sheets* sheets)
{
    page_section(p, "skeleton", "The skeleton");
    if (s->judged)
        put_judged(p, s, sheets);
    else
        page_paragraph(p, s->why[0] != '\0' ? s->why : "Elements: not recorded.");
    if (!s->measured)
        return;
    page_part(p, "where", "Where each element lies");
    if (s->judged)
        page_paragraph(p,
                       "Place: as recorded, or as counted along the row, with how sure that number is. Shift found in "
                       "80 %: the shift of an element, whichever way, that would have been told in 80 % of cases. In "
                       "place is no more than that none was found.");
    put_table(p, elements_wall(&s->elements, judged_of, s), &s->table[ELEMENTS_MEASURED],
              "A dash: not known, or not recorded.", NULL);
}
