/// What was recorded of a specimen, on the report's page.

#include "report_page_parts.h"

#include "report_words.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

typedef report_page_source source_of;

// --- The specimen ----------------------------------------------------------------------------------------------------

static void put_specimen(rlv_page* p, const rlv_specimen* specimen)
{
    const char* const fact[][2] = {{"Specimen", specimen->id},           {"Title", specimen->title},
                                   {"Taxon", specimen->taxon},           {"Institution", specimen->institution},
                                   {"Collection", specimen->collection}, {"Locality", specimen->locality},
                                   {"Stratum", specimen->stratum},       {"Collector", specimen->collector},
                                   {"Collected", specimen->collected},   {"Preparator", specimen->preparator},
                                   {"Rights", specimen->rights},         {"Note", specimen->note}};
    char missing[256] = "";
    page_section(p, "record", "The specimen, as recorded");
    for (size_t i = 0; i < sizeof fact / sizeof *fact; i++)
        if (fact[i][1] != NULL)
            page_fact(p, fact[i][0], fact[i][1]);
        else
            snprintf(missing + strlen(missing), sizeof missing - strlen(missing), "%s%s",
                     missing[0] != '\0' ? ", " : "", fact[i][0]);
    if (missing[0] != '\0')
        page_fact(p, "Not recorded", missing);
}

/// "0.430541, 0.475512, 0.767152, a direction in the mesh of ‘field’", as it was recorded.
static void put_direction(rlv_page* p, const char* name, const rlv_direction_record* of)
{
    if (of == NULL)
        page_fact(p, name, "not recorded");
    else
        report_page_tell(p, name, "%s, %s, %s, a direction in the mesh of ‘%.100s’", words_recorded(of->vector[0]).text,
                         words_recorded(of->vector[1]).text, words_recorded(of->vector[2]).text, of->stage);
}

/// The plane of bedding through its points, as far as it was fitted: by compass where that is known, and its pole.
static void add_fitted(report_text* words, const history_elements* e)
{
    const elements_bedding of = elements_bedding_of(e);
    report_add(words, ":");
    if (e->compass_known)
        report_add(words, " strike %03d°, dip %s° towards %03d°;", (int)lround(of.strike.strike_deg) % 360,
                   words_known(of.strike.dip_deg, of.sd_deg).text, (int)lround(of.dip_direction_deg) % 360);
    report_add(words, " pole %s, %s, %s in the block’s frame, its direction known to %s° (sd)",
               words_number(of.pole.x, 3).text, words_number(of.pole.y, 3).text, words_number(of.pole.z, 3).text,
               words_figures(of.sd_deg, 2).text);
}

static void put_bedding(rlv_page* p, const rlv_bedding_record* bedding, const report_skeleton* skeleton)
{
    report_text words = {"not recorded"};
    if (bedding != NULL && bedding->points != NULL)
    {
        words = report_say("the plane through the points ‘%.100s’ of ‘%.100s’", bedding->points, bedding->stage);
        if (skeleton->elements.bedding_known)
            add_fitted(&words, &skeleton->elements);
    }
    else if (bedding != NULL)
    {
        words = report_say("strike %s°, dip %s° towards %s°", words_recorded(*bedding->strike_deg).text,
                           words_recorded(*bedding->dip_deg).text,
                           words_recorded(fmod(*bedding->strike_deg + 90.0, 360.0)).text);
        if (bedding->sd_deg != NULL)
            report_add(&words, ", each way known to %s° (sd)", words_recorded(*bedding->sd_deg).text);
    }
    page_fact(p, "Bedding", words.text);
}

static void put_setting(rlv_page* p, const source_of* s)
{
    const rlv_specimen* specimen = s->history->specimen;
    char text[512];
    rlv_print(text, sizeof text, "that of the mesh of ‘%.200s’: right-handed, in millimetres",
              s->history->stage[s->history->frame].record->id);
    page_fact(p, "The block’s frame", text);
    put_direction(p, "Up in the rock", specimen->up);
    put_direction(p, "North", specimen->north);
    put_bedding(p, specimen->bedding, s->skeleton);
    report_page_table_or(p, s, REPORT_DENSITIES, "Densities: not recorded, so that volumes are not told in grams.");
}

// --- Display and advice ----------------------------------------------------------------------------------------------

/// "900 × 700 × 500 mm", with a dash for a side that is not recorded.
static void put_case(rlv_page* p, const rlv_display_record* display)
{
    const double* const side[] = {display->case_length_mm, display->case_width_mm, display->case_height_mm};
    char text[200] = "";
    if (side[0] == NULL && side[1] == NULL && side[2] == NULL)
        return;
    for (size_t i = 0; i < 3; i++)
        snprintf(text + strlen(text), sizeof text - strlen(text), "%s%s", i > 0 ? " × " : "",
                 side[i] != NULL ? words_recorded(*side[i]).text : "–");
    report_page_tell(p, "Case, inside", "%s mm, length × width × height", text);
}

static void put_millimetres(rlv_page* p, const char* name, const double* mm, const char* what)
{
    if (mm != NULL)
        report_page_tell(p, name, "%s mm%s", words_recorded(*mm).text, what);
}

static void put_untouchable(rlv_page* p, const rlv_display_record* display)
{
    char text[1000] = "";
    for (size_t i = 0; i < display->untouchable_count; i++)
        rlv_print(text + strlen(text), sizeof text - strlen(text), "%s‘%.100s’", i > 0 ? ", " : "",
                  display->untouchable[i]);
    if (display->untouchable_count > 0)
        report_page_tell(p, "What nothing may touch", "what lies in %s", text);
}

static void put_display(rlv_page* p, const rlv_history* history, const rlv_display_record* display)
{
    const rlv_direction_record* up = display->up;
    const report_text way = report_way_up(history);
    if (up != NULL && way.text[0] != '\0')
        report_page_tell(p, "Up in the case", "%s", way.text);
    else if (up != NULL)
        put_direction(p, "Up in the case", up);
    if (display->rise != NULL)
        report_page_tell(p, "Rise of the matrix to the bone", "%s, height over distance: %s°",
                         words_recorded(*display->rise).text,
                         words_number(atan(*display->rise) * 180.0 / M_PI, 0).text);
    put_millimetres(p, "Edge of a bone", display->edge_height_mm, " above the matrix at most");
    if (display->rests_on != NULL)
        report_page_tell(p, "What a cradle may touch", "what lies in ‘%.100s’", display->rests_on);
    put_untouchable(p, display);
    put_case(p, display);
    put_millimetres(p, "Plinth", display->plinth_height_mm, " from floor to floor");
    if (display->note != NULL)
        page_fact(p, "Note on the display", display->note);
}

static void put_advice(rlv_page* p, const rlv_advice_record* advice)
{
    put_millimetres(p, "Clearance", advice->clearance_mm, " kept from every known or expected element");
    put_millimetres(p, "Margin of a field block", advice->margin_mm, " around what shows");
    put_millimetres(p, "Stitch holes, diameter", advice->hole_diameter_mm, "");
    put_millimetres(p, "Stitch holes, spacing", advice->hole_spacing_mm, "");
    if (advice->joints != NULL)
        report_page_tell(p, "Joints, where a slab is cut", "%s them", advice->joints);
    if (advice->lift_limit_kg != NULL)
        report_page_tell(p, "Lifting by one person", "up to %s kg, by your own rules",
                         words_recorded(*advice->lift_limit_kg).text);
}

/// How it will be shown, and what advice is to hold to.
static void put_wishes(rlv_page* p, const rlv_history* history)
{
    const rlv_specimen* specimen = history->specimen;
    page_part(p, "display", "Display and advice");
    if (specimen->display == NULL && specimen->advice == NULL)
    {
        page_paragraph(p, "Display and advice: not recorded.");
        return;
    }
    // True as long as no other figure of the report is made with them; what comes to use one says so here.
    page_paragraph(
        p,
        "As recorded. The block’s mass and size are held against the lifting limit and the case; no measurement uses "
        "what else stands here, and nothing on this page holds the surface against a rise or an edge.");
    if (specimen->display != NULL)
        put_display(p, history, specimen->display);
    if (specimen->advice != NULL)
        put_advice(p, specimen->advice);
    if (specimen->advice != NULL && specimen->advice->lift_limit_kg != NULL)
        report_page_caution(p, history, REPORT_CAUTION_LIFTING);
}

// --- Work, treatments, spoil, pieces, elements -----------------------------------------------------------------------

static void put_work(rlv_page* p, const source_of* s)
{
    page_section(p, "treatments", "Treatments, decisions, work");
    page_paragraph(p, "As they were recorded. Nothing here is recommended.");
    report_page_caution(p, s->history, REPORT_CAUTION_DUST);
    report_page_table_or(p, s, REPORT_TREATMENTS, "Treatments: not recorded.");
    report_page_table_or(p, s, REPORT_DECISIONS, "Decisions: not recorded.");
    report_page_table_or(p, s, REPORT_WORK, "Hours: not recorded.");
}

/// A section that is one table, or one line.
static void put_recorded(rlv_page* p, const source_of* s, const char* id, const char* heading, report_table which)
{
    page_section(p, id, heading);
    report_page_table_or(p, s, which, "Not recorded.");
}

static void put_elements(rlv_page* p, const source_of* s)
{
    page_section(p, "elements", "Elements");
    report_page_table_or(p, s, REPORT_ELEMENTS, "Elements: not recorded.");
    report_page_table_or(p, s, REPORT_ROWS, "Rows of life positions: not recorded.");
    report_page_table_or(p, s, REPORT_JOINTS, "Joints: not recorded.");
}

void report_page_recorded(rlv_page* p, const source_of* s)
{
    put_specimen(p, s->history->specimen);
    put_setting(p, s);
    put_wishes(p, s->history);
    put_work(p, s);
    put_recorded(p, s, "spoil", "Spoil", REPORT_SPOIL);
    put_recorded(p, s, "pieces", "Pieces", REPORT_PIECES);
    put_elements(p, s);
}
