/// The tables of what was recorded, and of the inputs.

#include "report_tables.h"
#include "report_words.h"

#include <math.h>

#define COLUMNS(columns) sizeof(columns) / sizeof *(columns), columns

static double or_nan(const double* value)
{
    return value != NULL ? *value : (double)NAN;
}

static void put_mass(rlv_table* t, const rlv_mass_record* mass)
{
    table_recorded(t, mass != NULL ? mass->grams : (double)NAN);
}

// --- Work, treatments, decisions -------------------------------------------------------------------------------------

static const table_column work_columns[] = {
    {"stage", NULL, "stage", TABLE_TEXT, "Stage that the work led to."},
    {"tool", NULL, "tool", TABLE_TEXT, "Tool."},
    {"hours", "h", "hours", TABLE_NUMBER, "Hours with it."},
    {"area", NULL, "area", TABLE_TEXT, "Area of work; empty where none was named."},
    {"person", NULL, "person", TABLE_TEXT, "Who did it."},
    {"note", NULL, "note", TABLE_TEXT, "Note."}};

static rlv_table work_table(const rlv_specimen* s)
{
    rlv_table t = table_of("work", "Work as recorded", COLUMNS(work_columns));
    for (size_t i = 0; i < s->stage_count; i++)
        for (size_t k = 0; k < s->stage[i].work_count; k++)
        {
            const rlv_work_record* work = &s->stage[i].work[k];
            table_text(&t, s->stage[i].id);
            table_text(&t, work->tool);
            table_recorded(&t, work->hours);
            table_text(&t, work->area);
            table_text(&t, work->person);
            table_text(&t, work->note);
        }
    return t;
}

static const table_column treatment_columns[] = {
    {"stage", NULL, "stage", TABLE_TEXT, "Stage that it led to."},
    {"what", NULL, "what", TABLE_TEXT, "What it was, in the recorder’s words."},
    {"material", NULL, "material", TABLE_TEXT, "Material."},
    {"solvent", NULL, "solvent", TABLE_TEXT, "Solvent."},
    {"concentration", "percent", "conc.", TABLE_NUMBER, "Concentration."},
    {"basis", NULL, "basis", TABLE_TEXT, "What it is of: w/v grams in 100 mL of solution, w/w grams in 100 g."},
    {"volume", "mm3", "volume", TABLE_NUMBER, "Volume of solution."},
    {"dry_mass", "g", "dry mass", TABLE_NUMBER, "Mass that stayed once it was dry."},
    {"area", "mm2", "area", TABLE_NUMBER, "Area treated."},
    {"coats", NULL, "coats", TABLE_COUNT, "Coats."},
    {"where", NULL, "where", TABLE_TEXT, "Outline that was treated."},
    {"untreated_sample", NULL, "untreated sample", TABLE_TEXT, "Where an untreated sample is kept."},
    {"note", NULL, "note", TABLE_TEXT, "Note."}};

static void put_treatment(rlv_table* t, const char* stage, const rlv_treatment_record* treatment)
{
    table_text(t, stage);
    table_text(t, treatment->what);
    table_text(t, treatment->material);
    table_text(t, treatment->solvent);
    table_recorded(t, or_nan(treatment->concentration_percent));
    table_text(t, treatment->basis);
    table_recorded(t, 1000.0 * or_nan(treatment->volume_ml));
    table_recorded(t, or_nan(treatment->dry_g));
    table_recorded(t, 100.0 * or_nan(treatment->area_cm2));
    if (treatment->coats != NULL)
        table_count(t, (size_t)*treatment->coats);
    else
        table_none(t);
    table_text(t, treatment->area);
    table_text(t, treatment->untreated_sample);
    table_text(t, treatment->note);
}

static rlv_table treatments_table(const rlv_specimen* s)
{
    rlv_table t = table_of("treatments", "Treatments as recorded", COLUMNS(treatment_columns));
    for (size_t i = 0; i < s->stage_count; i++)
        for (size_t k = 0; k < s->stage[i].treatment_count; k++)
            put_treatment(&t, s->stage[i].id, &s->stage[i].treatment[k]);
    return t;
}

static const table_column decision_columns[] = {{"stage", NULL, "stage", TABLE_TEXT, "Stage that it was taken for."},
                                                {"what", NULL, "what", TABLE_TEXT, "What was decided."},
                                                {"why", NULL, "why", TABLE_TEXT, "Why."},
                                                {"who", NULL, "who", TABLE_TEXT, "By whom."}};

static rlv_table decisions_table(const rlv_specimen* s)
{
    rlv_table t = table_of("decisions", "Decisions as recorded", COLUMNS(decision_columns));
    for (size_t i = 0; i < s->stage_count; i++)
        for (size_t k = 0; k < s->stage[i].decision_count; k++)
        {
            table_text(&t, s->stage[i].id);
            table_text(&t, s->stage[i].decision[k].what);
            table_text(&t, s->stage[i].decision[k].why);
            table_text(&t, s->stage[i].decision[k].who);
        }
    return t;
}

// --- Spoil, pieces ---------------------------------------------------------------------------------------------------

static const table_column spoil_columns[] = {
    {"bag", NULL, "bag", TABLE_TEXT, "Bag."},
    {"stage", NULL, "stage", TABLE_TEXT, "Stage that it was taken off for."},
    {"area", NULL, "area", TABLE_TEXT, "Area that it came from; empty where none was named."},
    {"mass", "g", "mass", TABLE_NUMBER, "Mass as weighed."},
    {"mass_sd", "g", "sd", TABLE_NUMBER, "Standard deviation of that mass."},
    {"state", NULL, "weighed", TABLE_TEXT, "Dry or damp when it was weighed."},
    {"note", NULL, "note", TABLE_TEXT, "Note."}};

static rlv_table spoil_table(const rlv_specimen* s)
{
    rlv_table t = table_of("spoil", "Bags of spoil as recorded", COLUMNS(spoil_columns));
    for (size_t i = 0; i < s->spoil_count; i++)
    {
        const rlv_spoil_record* bag = &s->spoil[i];
        table_text(&t, bag->bag);
        table_text(&t, bag->stage);
        table_text(&t, bag->area);
        put_mass(&t, bag->mass);
        table_recorded(&t, bag->mass != NULL ? bag->mass->sd_g : (double)NAN);
        table_text(&t, bag->state);
        table_text(&t, bag->note);
    }
    return t;
}

static const table_column piece_columns[] = {
    {"piece", NULL, "piece", TABLE_TEXT, "Id of the piece."},
    {"title", NULL, "what it is", TABLE_TEXT, "Title."},
    {"of", NULL, "part of", TABLE_TEXT, "The piece that it came off, or the block."},
    {"detached", NULL, "off at", TABLE_TEXT, "Stage at which it is off first; empty: it never belonged."},
    {"joined", NULL, "back at", TABLE_TEXT, "Stage at which it is back first; empty: it is not."},
    {"counterpart", NULL, "counterpart", TABLE_FLAG, "Whether it is a counterpart."},
    {"mass", "g", "mass weighed", TABLE_NUMBER, "Mass as weighed."},
    {"mesh_stage", NULL, "mesh at", TABLE_TEXT, "Stage of the mesh that was made of it."},
    {"triangles", NULL, "triangles", TABLE_COUNT, "Triangles of that mesh."},
    {"volume", "mm3", "volume", TABLE_INTERVAL, "Its volume; empty where the mesh is open."},
    {"note", NULL, "note", TABLE_TEXT, "Note."}};

static void put_piece(rlv_table* t, const rlv_history* history, const rlv_piece_record* piece,
                      const history_piece* mesh)
{
    table_text(t, piece->id);
    table_text(t, piece->title);
    table_text(t, piece->parent != NULL ? piece->parent : "block");
    table_text(t, piece->detached);
    table_text(t, piece->joined);
    table_flag(t, piece->counterpart);
    put_mass(t, piece->mass);
    table_text(t, mesh != NULL ? mesh->at->stage : NULL);
    if (mesh != NULL)
        table_count(t, mesh->given.triangles);
    else
        table_none(t);
    if (mesh != NULL && mesh->given.health.closed)
        table_interval(t, history_piece_volume(history, mesh));
    else
        table_none(t);
    table_text(t, piece->note);
}

/// A row a mesh of a piece; one where it has none.
static rlv_table pieces_table(const rlv_history* history)
{
    const rlv_specimen* s = history->specimen;
    const history_pieces* pieces = &history->pieces;
    rlv_table t = table_of("pieces", "Pieces", COLUMNS(piece_columns));
    for (size_t i = 0; i < s->piece_count; i++)
    {
        if (s->piece[i].mesh_count == 0)
            put_piece(&t, history, &s->piece[i], NULL);
        for (size_t k = 0; k < pieces->count; k++)
            if (pieces->one[k].piece == &s->piece[i])
                put_piece(&t, history, &s->piece[i], &pieces->one[k]);
    }
    return t;
}

// --- Elements, rows, joints, densities -------------------------------------------------------------------------------

static const table_column element_columns[] = {
    {"element", NULL, "element", TABLE_TEXT, "Id of the element."},
    {"kind", NULL, "kind", TABLE_TEXT, "What it is, in the recorder’s words."},
    {"row", NULL, "row", TABLE_TEXT, "Row of life positions."},
    {"place", NULL, "place", TABLE_TEXT, "Place in the row, or a range of places."},
    {"side", NULL, "side", TABLE_TEXT, "Side of the body."},
    {"stage", NULL, "first seen", TABLE_TEXT, "Stage at which it was seen first."},
    {"bag", NULL, "bag", TABLE_TEXT, "Bag of spoil that it was found in."},
    {"note", NULL, "note", TABLE_TEXT, "Note."}};

static rlv_table elements_table(const rlv_specimen* s)
{
    rlv_table t = table_of("elements_recorded", "Elements as recorded", COLUMNS(element_columns));
    for (size_t i = 0; i < s->element_count; i++)
    {
        const rlv_element_record* element = &s->element[i];
        table_text(&t, element->id);
        table_text(&t, element->kind);
        table_text(&t, element->row);
        table_text(&t, element->place_known ? report_place_in_row(element).text : NULL);
        table_text(&t, element->side);
        table_text(&t, element->stage);
        table_text(&t, element->bag);
        table_text(&t, element->note);
    }
    return t;
}

static const table_column row_columns[] = {
    {"row", NULL, "row", TABLE_TEXT, "Id of the row."},
    {"title", NULL, "title", TABLE_TEXT, "Title."},
    {"side", NULL, "side", TABLE_TEXT, "Side of the body."},
    {"kind", NULL, "of", TABLE_TEXT, "Kind of its elements."},
    {"first_place", NULL, "first place", TABLE_COUNT, "First place, counted from the head."},
    {"last_place", NULL, "last place", TABLE_COUNT, "Last place."},
    {"elements", NULL, "elements recorded", TABLE_COUNT, "Elements recorded in it."},
    {"pitch", "mm", "pitch at its head", TABLE_NUMBER, "Spacing at its head, as recorded."}};

static rlv_table rows_table(const rlv_specimen* s)
{
    rlv_table t = table_of("rows", "Rows of life positions as recorded", COLUMNS(row_columns));
    for (size_t i = 0; i < s->row_count; i++)
    {
        size_t elements = 0;
        for (size_t k = 0; k < s->element_count; k++)
            elements += rlv_specimen_row(s, s->element[k].row) == &s->row[i];
        table_text(&t, s->row[i].id);
        table_text(&t, s->row[i].title);
        table_text(&t, s->row[i].side);
        table_text(&t, s->row[i].kind);
        table_count(&t, (size_t)s->row[i].first_place);
        table_count(&t, (size_t)s->row[i].last_place);
        table_count(&t, elements);
        table_recorded(&t, or_nan(s->row[i].pitch_mm));
    }
    return t;
}

static const table_column joint_columns[] = {
    {"joint", NULL, "joint", TABLE_TEXT, "Id of the joint."},
    {"stage", NULL, "stage", TABLE_TEXT, "Stage that it was drawn on."},
    {"aperture", "mm", "aperture", TABLE_NUMBER, "How wide it stands open, as recorded."},
    {"crosses_bone", NULL, "crosses bone", TABLE_FLAG, "Whether it crosses bone; empty where that is not known."},
    {"note", NULL, "note", TABLE_TEXT, "Note."}};

static rlv_table joints_table(const rlv_specimen* s)
{
    rlv_table t = table_of("joints", "Joints as recorded", COLUMNS(joint_columns));
    for (size_t i = 0; i < s->joint_count; i++)
    {
        table_text(&t, s->joint[i].id);
        table_text(&t, s->joint[i].stage);
        table_recorded(&t, or_nan(s->joint[i].aperture_mm));
        if (s->joint[i].crosses_bone != NULL)
            table_flag(&t, *s->joint[i].crosses_bone);
        else
            table_none(&t);
        table_text(&t, s->joint[i].note);
    }
    return t;
}

static const table_column density_columns[] = {
    {"material", NULL, "material", TABLE_TEXT, "Material."},
    {"density", "g_cm3", "density", TABLE_NUMBER, "Its density."},
    {"density_sd", "g_cm3", "sd", TABLE_NUMBER, "Standard deviation of that."},
    {"basis", NULL, "known from", TABLE_TEXT, "How it is known."}};

static rlv_table densities_table(const rlv_specimen* s)
{
    rlv_table t = table_of("densities", "Densities that grams are worked out with", COLUMNS(density_columns));
    for (size_t i = 0; i < s->density_count; i++)
    {
        table_text(&t, s->density[i].material);
        table_number(&t, s->density[i].g_cm3, s->density[i].sd_g_cm3);
        table_recorded(&t, s->density[i].sd_g_cm3);
        table_text(&t, s->density[i].basis);
    }
    return t;
}

// --- Inputs ----------------------------------------------------------------------------------------------------------

static const table_column input_columns[] = {
    {"path", NULL, "file", TABLE_TEXT, "Path within the specimen’s folder."},
    {"bytes", NULL, "bytes", TABLE_COUNT, "Its size; empty for the record’s own files."},
    {"format", NULL, "format", TABLE_TEXT, "Format of a mesh."},
    {"sha256", NULL, "SHA-256", TABLE_TEXT, "SHA-256 of the file as it was read."}};

static const char* text_of(const json_t* row, const char* key)
{
    return json_string_value(json_object_get(row, key));
}

static rlv_table inputs_table(const rlv_answer* answer)
{
    rlv_table t = table_of("inputs", "Files that this report was made from", COLUMNS(input_columns));
    for (size_t i = 0; i < json_array_size(answer->inputs); i++)
    {
        const json_t *row = json_array_get(answer->inputs, i), *bytes = json_object_get(row, "bytes");
        table_text(&t, text_of(row, "path"));
        if (json_is_integer(bytes))
            table_count(&t, (size_t)json_integer_value(bytes));
        else
            table_none(&t);
        table_text(&t, text_of(row, "format"));
        table_text(&t, text_of(row, "sha256"));
    }
    return t;
}

rlv_table report_recorded(report_table which, const rlv_history* history, const rlv_answer* answer)
{
    const rlv_specimen* s = history->specimen;
    switch (which)
    {
    case REPORT_WORK:
        return work_table(s);
    case REPORT_TREATMENTS:
        return treatments_table(s);
    case REPORT_DECISIONS:
        return decisions_table(s);
    case REPORT_SPOIL:
        return spoil_table(s);
    case REPORT_PIECES:
        return pieces_table(history);
    case REPORT_ELEMENTS:
        return elements_table(s);
    case REPORT_ROWS:
        return rows_table(s);
    case REPORT_JOINTS:
        return joints_table(s);
    case REPORT_DENSITIES:
        return densities_table(s);
    default:
        return inputs_table(answer);
    }
}
