#include "rejoin_record.h"

#include "rejoin_words.h"

#include <math.h>

const char* rejoin_verdict_name(rlv_rejoin_verdict verdict)
{
    static const char* const name[] = {
        [RLV_REJOIN_FITS] = "fits", [RLV_REJOIN_LOOSE] = "loose", [RLV_REJOIN_NONE] = "none"};
    return name[verdict];
}

/// Whose bone; NULL: nobody's.
static const char* bone_name(unsigned bone)
{
    static const char* const name[] = {NULL, "block", "piece", "both"};
    return name[bone & 3u];
}

static const char* touch_name(rlv_rejoin_bone_touch touch)
{
    static const char* const name[] = {[RLV_REJOIN_BONE_UNKNOWN] = NULL,
                                       [RLV_REJOIN_BONE_NONE] = "none",
                                       [RLV_REJOIN_BONE_CLEAR] = "clear",
                                       [RLV_REJOIN_BONE_MAY] = "may",
                                       [RLV_REJOIN_BONE_FIRST] = "first"};
    return name[touch];
}

// --- Tables ----------------------------------------------------------------------------------------------------------

/// A place, or nothing.
static void put_place(rlv_table* t, bool known, rlv_vec3 place)
{
    if (known)
        table_place(t, place, 0.0);
    else
        table_none(t);
}

static void put_interval(rlv_table* t, bool known, rlv_interval interval)
{
    if (known)
        table_interval(t, interval);
    else
        table_none(t);
}

static void put_motion(rlv_table* t, const rlv_rejoin* of, const rlv_handling* m)
{
    const bool found = of->found_known;
    const rlv_interval part[] = {of->closing_length_mm, of->closing_turn_deg, m->press_mm,
                                 m->slide_mm,           m->twist_deg,         m->rock_deg};
    const rlv_vec3* const way[] = {&of->closing_mm, NULL, NULL, &m->slide, NULL, &m->rock};
    for (size_t k = 0; k < sizeof part / sizeof *part; k++)
    {
        put_interval(t, found, part[k]);
        if (way[k] != NULL)
            put_place(t, found, *way[k]);
    }
}

static void put_joint(rlv_table* t, const rlv_rejoin* of)
{
    const double before[] = {rlv_pose_position_sd_mm(&of->closed), rlv_pose_rotation_sd_deg(&of->closed),
                             of->joint_mm2},
                 after[] = {of->across_mm, of->relief_mm, of->noise_mm,   of->touching_mm,
                            of->touching,  of->worn,      of->partner[0], of->partner[1]};
    for (size_t k = 0; k < sizeof before / sizeof *before; k++)
        table_number(t, before[k], 0.0);
    table_place(t, of->joint_mm, 0.0);
    table_place(t, of->joint_normal, 0.0);
    for (size_t k = 0; k < sizeof after / sizeof *after; k++)
        table_number(t, after[k], 0.0);
    table_text(t, touch_name(of->bone_touch));
    table_number(t, of->relieve_mm3, 0.0);
}

static void put_edge_and_way(rlv_table* t, const rlv_rejoin* of)
{
    const bool steps = of->step_count > 0, comes = of->approach_known;
    const double step[] = {of->step_median_mm, of->step_p95_mm, of->step_max_mm};
    table_count(t, of->step_count);
    for (size_t k = 0; k < sizeof step / sizeof *step; k++)
        table_number(t, steps ? step[k] : (double)NAN, 0.0);
    put_place(t, steps, of->step_max_at_mm);
    put_place(t, comes, of->approach);
    table_number(t, comes ? of->approach_deg : (double)NAN, 0.0);
    table_number(t, of->approach_share, 0.0);
}

static rlv_table pieces_table(size_t count, const rejoin_told* const* told)
{
    static const table_column column[] = {
        {"piece", NULL, NULL, TABLE_TEXT, "The piece."},
        {"block", NULL, NULL, TABLE_TEXT, "What it goes back to."},
        {"before", NULL, NULL, TABLE_TEXT, "The mesh that shows both together, from before they were apart."},
        {"verdict", NULL, NULL, TABLE_TEXT,
         "fits; loose: it goes there, but the joint hardly holds it; none: the two faces do not belong together."},
        {"fit", NULL, NULL, TABLE_NUMBER, "How much of one face’s relief the other repeats, 0 to 1."},
        {"stood_open", NULL, NULL, TABLE_FLAG, "Whether the joint stood open in the rock."},
        {"closing", "mm", NULL, TABLE_INTERVAL, "How far the joint’s middle moves from as found to closed."},
        {"closing", "mm", NULL, TABLE_PLACE, "That motion, in the frame of the answer."},
        {"turn", "deg", NULL, TABLE_INTERVAL, "How far the piece turns on the way."},
        {"press", "mm", NULL, TABLE_INTERVAL, "Of the motion, towards the block along the joint’s normal."},
        {"slide", "mm", NULL, TABLE_INTERVAL, "Of the motion, along the joint."},
        {"slide_way", NULL, NULL, TABLE_PLACE, "Which way it slides, of length one."},
        {"twist", "deg", NULL, TABLE_INTERVAL, "Of the turn, clockwise as one looks at the block’s face."},
        {"rock", "deg", NULL, TABLE_INTERVAL, "Of the turn, about a line in the joint."},
        {"rock_way", NULL, NULL, TABLE_PLACE, "Towards the side of the joint that goes in, of length one."},
        {"closed_sd", "mm", NULL, TABLE_NUMBER, "How surely the closed place is known: root of the trace."},
        {"closed_sd", "deg", NULL, TABLE_NUMBER, "The same of its attitude."},
        {"joint", "mm2", NULL, TABLE_NUMBER,
         "Area of the outline: the block’s whole face, all that looks across at the piece."},
        {"joint_middle", "mm", NULL, TABLE_PLACE, "Middle of the joint."},
        {"joint_normal", NULL, NULL, TABLE_PLACE, "Its normal out of the block, of length one."},
        {"across", "mm", NULL, TABLE_NUMBER, "Least width of the joint over its plane."},
        {"relief", "mm", NULL, TABLE_NUMBER, "Standard deviation of its relief over stretches of 16 mm."},
        {"noise", "mm", NULL, TABLE_NUMBER, "Standard deviation of a width where the two faces are one."},
        {"touching_limit", "mm", NULL, TABLE_NUMBER, "What stands no farther apart touches: 3 sds of noise."},
        {"touching", NULL, NULL, TABLE_NUMBER,
         "Share that touches, of the block’s face that has the other straight across."},
        {"worn", NULL, NULL, TABLE_NUMBER, "Share that stands farther apart: open, worn or broken away."},
        {"partner_block", NULL, NULL, TABLE_NUMBER, "Share of the block’s outlined face that has a partner."},
        {"partner_piece", NULL, NULL, TABLE_NUMBER, "Share of the piece’s outlined face that has a partner."},
        {"bone_touch", NULL, NULL, TABLE_TEXT,
         "Bone on the joint: none; clear: it stands clear, and rock is nearer; may: not told apart from touching; "
         "first: "
         "it is the first to touch. Empty: none is masked."},
        {"relieve", "mm3", NULL, TABLE_NUMBER,
         "What would have to go for the piece to lie as closed without pressing."},
        {"step_places", NULL, NULL, TABLE_COUNT, "Places along the edge where both outer surfaces are there."},
        {"step_median", "mm", NULL, TABLE_NUMBER, "How far the outer surface steps there, without sign: the median."},
        {"step_p95", "mm", NULL, TABLE_NUMBER, "95 % of the places step less."},
        {"step_max", "mm", NULL, TABLE_NUMBER, "The greatest step."},
        {"step_max_at", "mm", NULL, TABLE_PLACE, "Where that is."},
        {"approach", NULL, NULL, TABLE_PLACE, "The freest way to come in: the piece moves so. Of length one."},
        {"approach_free", "deg", NULL, TABLE_NUMBER, "Half the angle of the cone about it that is free."},
        {"approach_share", NULL, NULL, TABLE_NUMBER, "Share of all ways that are free."},
        {"film", "mm", NULL, TABLE_NUMBER, "Thickness of the film of adhesive that is reckoned with."},
        {"film", "mm3", NULL, TABLE_NUMBER, "Its volume over the outline."},
        {"piece", "g", NULL, TABLE_NUMBER, "What the piece weighed, as recorded."},
    };
    rlv_table t = table_of("rejoin", "Pieces put back", sizeof column / sizeof *column, column);
    for (size_t i = 0; i < count; i++)
    {
        const rejoin_told* one = told[i];
        table_text(&t, one->piece.name);
        table_text(&t, one->block.name);
        table_text(&t, one->before.name);
        table_text(&t, rejoin_verdict_name(one->of.verdict));
        table_number(&t, one->of.fit, 0.0);
        table_flag(&t, one->of.stood_open);
        put_motion(&t, &one->of, &one->motion);
        put_joint(&t, &one->of);
        put_edge_and_way(&t, &one->of);
        table_recorded(&t, one->film_mm);
        table_number(&t, rejoin_film_mm3(one), 0.0);
        table_recorded(&t, one->record != NULL && one->record->mass != NULL ? one->record->mass->grams : (double)NAN);
    }
    return t;
}

static rlv_table terms_table(size_t count, const rejoin_told* const* told)
{
    static const table_column column[] = {
        {"piece", NULL, NULL, TABLE_TEXT, "The piece."},
        {"word", NULL, "word", TABLE_TEXT, "A word that the figures of the joint go by."},
        {"area", "mm2", "area", TABLE_NUMBER, "Its area with the piece closed; empty: it is none."},
        {"is", NULL, "stands for", TABLE_TEXT, "What it stands for."},
    };
    rlv_table t = table_of("rejoin_terms", "The areas of a joint, and what the words stand for",
                           sizeof column / sizeof *column, column);
    t.dash = "A dash: it is a place of the piece, not an area.";
    for (size_t i = 0; i < count; i++)
    {
        rejoin_term term;
        for (size_t next = 0; rejoin_term_next(told[i], &next, &term);)
        {
            table_text(&t, told[i]->piece.name);
            table_text(&t, term.word);
            table_figures(&t, term.area_mm2, term.figures);
            table_text(&t, term.is.text);
        }
    }
    return t;
}

static void put_gap(rlv_table* t, const rejoin_told* told, const char* trial, const rlv_rejoin_gap* gap)
{
    table_text(t, told->piece.name);
    table_text(t, trial);
    table_interval(t, gap->median_mm);
    table_interval(t, gap->p95_mm);
    table_interval(t, gap->max_mm);
    table_interval(t, gap->volume_mm3);
    table_number(t, gap->area_mm2, 0.005 * gap->area_mm2);
    table_number(t, gap->open_mm2, 0.005 * gap->area_mm2);
    table_figures(t, gap->wedge_deg, 2);
    table_place(t, gap->wedge_towards, 0.0);
    const bool bone = gap->bone != 0;
    table_text(t, bone_name(gap->bone));
    put_interval(t, bone, gap->bone_mm);
    put_place(t, bone, gap->bone_at_mm);
    table_number(t, bone ? gap->bone_rim_mm : (double)NAN, 0.5);
    table_number(t, bone ? gap->bone_mm2 : (double)NAN, 0.005 * gap->area_mm2);
}

static rlv_table gaps_table(size_t count, const rejoin_told* const* told)
{
    static const table_column column[] = {
        {"piece", NULL, NULL, TABLE_TEXT, "The piece."},
        {"trial", NULL, "trial", TABLE_TEXT, "Where it lies: as found, closed, or as it went back."},
        {"median", "mm", "median", TABLE_INTERVAL, "Width of the gap, positive where it is open: the median by area."},
        {"p95", "mm", "95 %", TABLE_INTERVAL, "95 % of the joint is no wider."},
        {"max", "mm", "greatest", TABLE_INTERVAL, "The greatest width."},
        {"volume", "mm3", "fill", TABLE_INTERVAL, "Signed volume of the gap over the whole outline."},
        {"area", "mm2", "shared", TABLE_NUMBER, "What both faces share: where either has the other across from it."},
        {"open", "mm2", "open", TABLE_NUMBER, "Of that, what stands farther apart than what touches."},
        {"wedge", "deg", "wedge", TABLE_NUMBER, "How the gap opens, as a wedge."},
        {"wedge_towards", NULL, NULL, TABLE_PLACE, "Towards this way along the joint, of length one."},
        {"bone_of", NULL, NULL, TABLE_TEXT, "Whose bone stands nearest to the other part: block or piece."},
        {"bone", "mm", "over bone", TABLE_INTERVAL, "The least width over bone."},
        {"bone_at", "mm", NULL, TABLE_PLACE, "Where that is."},
        {"bone_rim", "mm", NULL, TABLE_NUMBER, "How far from the joint’s rim."},
        {"bone", "mm2", NULL, TABLE_NUMBER, "Bone on both faces of the joint."},
    };
    rlv_table t = table_of("rejoin_gaps", "The gap between the two faces", sizeof column / sizeof *column, column);
    for (size_t i = 0; i < count; i++)
    {
        if (told[i]->of.found_known)
            put_gap(&t, told[i], "as found", &told[i]->of.gap_before);
        put_gap(&t, told[i], "closed", &told[i]->of.gap_after);
        if (told[i]->of.back_known)
            put_gap(&t, told[i], "as it went back", &told[i]->of.gap_back);
    }
    return t;
}

static rlv_table contacts_table(size_t count, const rejoin_told* const* told)
{
    static const table_column column[] = {
        {"piece", NULL, NULL, TABLE_TEXT, "The piece."},
        {"contact", NULL, "contact", TABLE_TEXT,
         "Name of the contact, as on the sheet of the joint: c1 is the hardest."},
        {"at", "mm", "at", TABLE_PLACE,
         "Where the two faces touch, with the piece closed: no farther apart than the touching limit."},
        {"pressed", "mm", "pressed", TABLE_NUMBER,
         "How far the one would lie in the other, beyond what noise explains; 0: they touch."},
        {"area", "mm2", "area", TABLE_NUMBER, "Area of the touching spot, on the block’s face."},
        {"bone", NULL, "bone", TABLE_TEXT, "Whose bone lies in it: block, piece or both; empty: none that is masked."},
    };
    rlv_table t = table_of("rejoin_contacts", "Where the two faces touch", sizeof column / sizeof *column, column);
    for (size_t i = 0; i < count; i++)
        for (size_t k = 0; k < told[i]->of.contact_count; k++)
        {
            const rlv_rejoin_contact* contact = &told[i]->of.contact[k];
            table_text(&t, told[i]->piece.name);
            table_text(&t, report_say("c%zu", k + 1).text);
            table_place(&t, contact->at_mm, 1.0);
            table_figures(&t, contact->pressed_mm, 2);
            table_figures(&t, contact->area_mm2, 2);
            table_text(&t, bone_name(contact->bone));
        }
    return t;
}

static rlv_table treatments_table(size_t count, const rejoin_told* const* told)
{
    static const table_column column[] = {
        {"piece", NULL, NULL, TABLE_TEXT, "The piece."},
        {"stage", NULL, "stage", TABLE_TEXT, "The stage that it was recorded at."},
        {"what", NULL, "what", TABLE_TEXT, "What it was, in the record’s own word."},
        {"material", NULL, "material", TABLE_TEXT, "Of what."},
        {"dry", "g", "dry", TABLE_NUMBER, "What stays when it is dry, as recorded."},
        {"dry", "mm3", "volume", TABLE_INTERVAL, "Volume of that, by the recorded density of its material."},
        {"film", "mm", "film", TABLE_NUMBER, "How thick that is, spread evenly over the outline."},
    };
    rlv_table t =
        table_of("rejoin_treatments", "What was recorded of the joint", sizeof column / sizeof *column, column);
    for (size_t i = 0; i < count; i++)
    {
        rejoin_treatment one;
        for (size_t next = 0; rejoin_treatment_next(told[i], &next, &one);)
        {
            table_text(&t, told[i]->piece.name);
            table_text(&t, one.stage->id);
            table_text(&t, one.record->what);
            table_text(&t, one.record->material);
            table_recorded(&t, one.record->dry_g != NULL ? *one.record->dry_g : (double)NAN);
            put_interval(&t, !isnan(one.dry_mm3.value), one.dry_mm3);
            table_figures(&t, one.dry_mm3.value / told[i]->of.joint_mm2, 2);
        }
    }
    return t;
}

static void put_run(rlv_table* t, const rejoin_run* run)
{
    const rlv_across* a = &run->of;
    const bool known = run->measured;
    const rlv_interval part[] = {a->offset_mm,  a->across_mm,       a->out_mm,       a->gap_mm,
                                 a->bend_deg,   a->bend_across_deg, a->bend_out_deg, a->twist_deg,
                                 a->spacing_mm, a->pitch_mm,        a->step_mm};
    const rlv_vec3 way[] = {a->at_mm, a->along, a->across, a->out};
    for (int k = 0; k < 2; k++)
        if (known)
            table_count(t, a->used[k]);
        else
            table_none(t);
    for (size_t k = 0; k < sizeof part / sizeof *part; k++)
        put_interval(t, known && !isnan(part[k].value), part[k]);
    table_figures(t, known ? a->p : (double)NAN, 2);
    table_figures(t, known ? a->step_p : (double)NAN, 2);
    if (known && run->row)
        table_count(t, (size_t)a->places);
    else
        table_none(t);
    for (size_t k = 0; k < sizeof way / sizeof *way; k++)
        put_place(t, known, way[k]);
    table_number(t, known ? a->carried_mm[0] : (double)NAN, 0.5);
    table_number(t, known ? a->carried_mm[1] : (double)NAN, 0.5);
    table_text(t, run->measured ? NULL : run->why);
}

static rlv_table across_table(size_t count, const rejoin_told* const* told)
{
    static const table_column column[] = {
        {"piece", NULL, NULL, TABLE_TEXT, "The piece."},
        {"run", NULL, "run", TABLE_TEXT, "Id of the element that is broken, or of the row."},
        {"is", NULL, "is", TABLE_TEXT, "bone: broken at the joint; row: of elements on both parts."},
        {"stage", NULL, NULL, TABLE_TEXT, "The stage that the block’s side was placed at."},
        {"on_block", NULL, NULL, TABLE_COUNT, "Points, or elements, that the block’s side is told by."},
        {"on_piece", NULL, NULL, TABLE_COUNT, "The same of the piece’s."},
        {"offset", "mm", "offset", TABLE_INTERVAL, "How far the piece’s side lies off the block’s at the joint."},
        {"across", "mm", NULL, TABLE_INTERVAL,
         "Of that, to the left as seen from outside, looking from block to piece."},
        {"out", "mm", NULL, TABLE_INTERVAL, "Of that, outward."},
        {"gap", "mm", "gap", TABLE_INTERVAL, "Of a bone: along it, from one broken end to the other."},
        {"bend", "deg", "bend", TABLE_INTERVAL, "How far the piece’s side bends from the block’s."},
        {"bend_across", "deg", NULL, TABLE_INTERVAL, "Of that, to the left."},
        {"bend_out", "deg", NULL, TABLE_INTERVAL, "Of that, outward."},
        {"twist", "deg", "twist", TABLE_INTERVAL, "Of a bone with two outlines: about itself, as a right hand turns."},
        {"spacing", "mm", NULL, TABLE_INTERVAL, "Of a row: over the joint."},
        {"pitch", "mm", NULL, TABLE_INTERVAL, "Of a row: its own there, from one place to the next."},
        {"step", "mm", "step", TABLE_INTERVAL, "Of a row: spacing over the joint less as many pitches as places."},
        {"p", NULL, "p", TABLE_NUMBER, "Of as much offset and bend or more, if it went straight on."},
        {"step_p", NULL, "p step", TABLE_NUMBER, "Of as great a step or greater, if there were none."},
        {"places", NULL, NULL, TABLE_COUNT, "Places that the spacing goes over; 1 where they are not recorded."},
        {"at", "mm", NULL, TABLE_PLACE, "Where it crosses the joint’s plane."},
        {"along_way", NULL, NULL, TABLE_PLACE, "Along it, from the block to the piece, of length one."},
        {"across_way", NULL, NULL, TABLE_PLACE, "To the left, of length one."},
        {"out_way", NULL, NULL, TABLE_PLACE, "Outward, of length one."},
        {"carried_block", "mm", NULL, TABLE_NUMBER, "How far the block’s side was carried on to the joint."},
        {"carried_piece", "mm", NULL, TABLE_NUMBER, "The same of the piece’s."},
        {"why", NULL, NULL, TABLE_TEXT, "Where it could not be told: why, and what would mend it."},
    };
    rlv_table t = table_of("rejoin_across", "What runs over the joint", sizeof column / sizeof *column, column);
    for (size_t i = 0; i < count; i++)
        for (size_t k = 0; k < told[i]->run_count; k++)
        {
            const rejoin_run* run = &told[i]->run[k];
            table_text(&t, told[i]->piece.name);
            table_text(&t, run->name);
            table_text(&t, run->row ? "row" : "bone");
            table_text(&t, run->stage);
            put_run(&t, run);
        }
    return t;
}

rejoin_tables rejoin_tables_of(size_t count, const rejoin_told* const* told)
{
    return (rejoin_tables){{[REJOIN_PIECES] = pieces_table(count, told),
                            [REJOIN_TERMS] = terms_table(count, told),
                            [REJOIN_GAPS] = gaps_table(count, told),
                            [REJOIN_CONTACTS] = contacts_table(count, told),
                            [REJOIN_TREATMENTS] = treatments_table(count, told),
                            [REJOIN_ACROSS] = across_table(count, told)}};
}

void rejoin_tables_free(rejoin_tables* tables)
{
    for (size_t i = 0; i < REJOIN_TABLES; i++)
        table_free(&tables->table[i]);
}

rlv_table rejoin_terms_wall(const rejoin_told* told)
{
    return terms_table(1, &told);
}

rlv_table rejoin_gaps_wall(const rejoin_told* told)
{
    return gaps_table(1, &told);
}

rlv_table rejoin_across_wall(const rejoin_told* told)
{
    return across_table(1, &told);
}

rlv_table rejoin_contacts_wall(const rejoin_told* told)
{
    return contacts_table(1, &told);
}

// --- JSON ------------------------------------------------------------------------------------------------------------

void rejoin_record_pose(json_t* object, const rlv_pose* pose)
{
    double matrix[16];
    rlv_pose_matrix(pose, matrix);
    record_reals(object, "transform", 16, matrix);
    record_real(object, "position_sd_mm", rlv_pose_position_sd_mm(pose));
    record_real(object, "rotation_sd_deg", rlv_pose_rotation_sd_deg(pose));
    record_place(object, "centre_mm", pose->centre_mm);
    record_reals(object, "covariance", 49, pose->covariance);
}

void rejoin_record_gap(json_t* object, const char* key, bool known, const rlv_rejoin_gap* gap)
{
    if (!known)
    {
        record_null(object, key);
        return;
    }
    json_t* of = record_object(object, key);
    record_interval(of, "median", "mm", gap->median_mm);
    record_interval(of, "p95", "mm", gap->p95_mm);
    record_interval(of, "max", "mm", gap->max_mm);
    record_interval(of, "volume", "mm3", gap->volume_mm3);
    record_real(of, "area_mm2", gap->area_mm2);
    record_real(of, "open_mm2", gap->open_mm2);
    record_real(of, "wedge_deg", gap->wedge_deg);
    record_place(of, "wedge_towards", gap->wedge_towards);
    if (gap->bone == 0)
    {
        record_null(of, "bone");
        return;
    }
    json_t* bone = record_object(of, "bone");
    record_text(bone, "of", bone_name(gap->bone));
    record_interval(bone, "width", "mm", gap->bone_mm);
    record_place(bone, "at_mm", gap->bone_at_mm);
    record_real(bone, "rim_mm", gap->bone_rim_mm);
    record_real(bone, "area_mm2", gap->bone_mm2);
}

static void record_motion(json_t* object, const rejoin_told* told)
{
    const rlv_rejoin* of = &told->of;
    const rlv_handling* m = &told->motion;
    static const char* const keys[] = {"found", "closing_mm", "closing", "handling"};
    for (size_t k = 0; !of->found_known && k < 4; k++)
        record_null(object, keys[k]);
    if (!of->found_known)
        return;
    rejoin_record_pose(record_object(object, "found"), &of->found);
    record_place(object, "closing_mm", of->closing_mm);
    json_t* closing = record_object(object, "closing");
    record_interval(closing, "length", "mm", of->closing_length_mm);
    record_interval(closing, "turn", "deg", of->closing_turn_deg);
    record_place(closing, "axis", of->closing_axis);
    json_t* handling = record_object(object, "handling");
    record_interval(handling, "press", "mm", m->press_mm);
    record_interval(handling, "slide", "mm", m->slide_mm);
    record_place(handling, "slide", m->slide);
    record_interval(handling, "twist", "deg", m->twist_deg);
    record_interval(handling, "rock", "deg", m->rock_deg);
    record_place(handling, "rock", m->rock);
}

static void record_joint(json_t* object, const rlv_rejoin* of)
{
    json_t* joint = record_object(object, "joint");
    record_place(joint, "middle_mm", of->joint_mm);
    record_place(joint, "normal", of->joint_normal);
    record_real(joint, "area_mm2", of->joint_mm2);
    record_real(joint, "across_mm", of->across_mm);
    record_real(joint, "slope", of->slope);
    record_real(joint, "relief_mm", of->relief_mm);
    record_real(joint, "noise_mm", of->noise_mm);
    record_real(joint, "partner_block", of->partner[0]);
    record_real(joint, "partner_piece", of->partner[1]);
    record_real(joint, "touching_limit_mm", of->touching_mm);
    record_real(joint, "touching", of->touching);
    record_real(joint, "worn", of->worn);
}

static void record_contacts(json_t* object, const rlv_rejoin* of)
{
    json_t* contacts = record_list(object, "contacts");
    for (size_t k = 0; k < of->contact_count; k++)
    {
        json_t* row = record_row(contacts);
        record_place(row, "at_mm", of->contact[k].at_mm);
        record_real(row, "pressed_mm", of->contact[k].pressed_mm);
        record_real(row, "area_mm2", of->contact[k].area_mm2);
        record_text(row, "bone", bone_name(of->contact[k].bone));
    }
    record_text(object, "bone_touch", touch_name(of->bone_touch));
    record_real(object, "relieve_mm3", of->relieve_mm3);
}

static void record_known_place(json_t* object, const char* key, bool known, rlv_vec3 place)
{
    if (known)
        record_place(object, key, place);
    else
        record_null(object, key);
}

static void record_rest(json_t* object, const rlv_rejoin* of)
{
    json_t* step = record_object(object, "surface_step");
    const bool steps = of->step_count > 0, comes = of->approach_known;
    record_count(step, "places", of->step_count);
    record_real(step, "median_mm", steps ? of->step_median_mm : (double)NAN);
    record_real(step, "p95_mm", steps ? of->step_p95_mm : (double)NAN);
    record_real(step, "max_mm", steps ? of->step_max_mm : (double)NAN);
    record_known_place(step, "max_at_mm", steps, of->step_max_at_mm);
    json_t* approach = record_object(object, "approach");
    record_known_place(approach, "way", comes, of->approach);
    record_real(approach, "free_deg", comes ? of->approach_deg : (double)NAN);
    record_real(approach, "share", of->approach_share);
}

static void record_run(json_t* row, const rejoin_run* run)
{
    const rlv_across* a = &run->of;
    record_text(row, "run", run->name);
    record_text(row, "is", run->row ? "row" : "bone");
    record_text(row, "stage", run->stage);
    record_text(row, "why", run->measured ? NULL : run->why);
    if (!run->measured)
        return;
    const rejoin_straight straight = rejoin_run_straight(run);
    if (straight == REJOIN_STRAIGHT_UNTOLD)
        record_null(row, "straight");
    else
        record_flag(row, "straight", straight == REJOIN_STRAIGHT);
    record_real(row, "p", a->p);
    record_count(row, "on_block", a->used[0]);
    record_count(row, "on_piece", a->used[1]);
    record_place(row, "at_mm", a->at_mm);
    record_place(row, "along", a->along);
    record_place(row, "across", a->across);
    record_place(row, "out", a->out);
    record_interval(row, "offset", "mm", a->offset_mm);
    record_interval(row, "offset_across", "mm", a->across_mm);
    record_interval(row, "offset_out", "mm", a->out_mm);
    record_interval(row, "bend", "deg", a->bend_deg);
    record_interval(row, "bend_across", "deg", a->bend_across_deg);
    record_interval(row, "bend_out", "deg", a->bend_out_deg);
    record_real(row, "carried_block_mm", a->carried_mm[0]);
    record_real(row, "carried_piece_mm", a->carried_mm[1]);
    record_real(row, "rms_mm", a->rms_mm);
    if (!run->row)
    {
        record_interval(row, "gap", "mm", a->gap_mm);
        record_interval(row, "twist", "deg", a->twist_deg);
        return;
    }
    record_interval(row, "spacing", "mm", a->spacing_mm);
    record_interval(row, "pitch", "mm", a->pitch_mm);
    record_count(row, "places", (size_t)a->places);
    record_interval(row, "step", "mm", a->step_mm);
    record_real(row, "step_p", a->step_p);
}

static void record_across(json_t* object, const rejoin_told* told)
{
    if (!told->runs_sought)
    {
        record_null(object, "across");
        return;
    }
    json_t* list = record_list(object, "across");
    for (size_t i = 0; i < told->run_count; i++)
        record_run(record_row(list), &told->run[i]);
}

static void record_quantities(json_t* object, const rejoin_told* told)
{
    json_t* of = record_object(object, "quantities");
    record_real(of, "film_mm", told->film_mm);
    record_real(of, "film_mm3", rejoin_film_mm3(told));
    record_real(of, "piece_g",
                told->record != NULL && told->record->mass != NULL ? told->record->mass->grams : (double)NAN);
    json_t* list = record_list(of, "recorded");
    rejoin_treatment one;
    for (size_t next = 0; rejoin_treatment_next(told, &next, &one);)
    {
        json_t* row = record_row(list);
        record_text(row, "stage", one.stage->id);
        record_text(row, "what", one.record->what);
        record_text(row, "material", one.record->material);
        record_real(row, "dry_g", one.record->dry_g != NULL ? *one.record->dry_g : (double)NAN);
        record_interval(row, "dry", "mm3", one.dry_mm3);
        record_real(row, "film_mm", one.dry_mm3.value / told->of.joint_mm2);
    }
}

static void record_all(json_t* object, const rejoin_told* told)
{
    const rlv_rejoin* of = &told->of;
    rejoin_record_pose(object, &of->closed);
    record_motion(object, told);
    record_flag(object, "stood_open", of->stood_open);
    rejoin_record_gap(object, "gap_before", of->found_known, &of->gap_before);
    rejoin_record_gap(object, "gap_after", true, &of->gap_after);
    rejoin_record_gap(object, "gap_back", told->of.back_known, &told->of.gap_back);
    if (told->of.back_known)
        rejoin_record_pose(record_object(object, "back"), &told->of.back);
    else
        record_null(object, "back");
    record_contacts(object, of);
    record_joint(object, of);
    record_rest(object, of);
    record_quantities(object, told);
    record_across(object, told);
}

static void record_nothing(json_t* object)
{
    static const char* const keys[] = {"transform",   "position_sd_mm", "rotation_sd_deg", "centre_mm", "covariance",
                                       "found",       "closing_mm",     "closing",         "handling",  "stood_open",
                                       "gap_before",  "gap_after",      "gap_back",        "back",      "contacts",
                                       "relieve_mm3", "joint",          "surface_step",    "approach",  "quantities",
                                       "bone_touch",  "across"};
    for (size_t i = 0; i < sizeof keys / sizeof *keys; i++)
        record_null(object, keys[i]);
}

void rejoin_record(json_t* object, const rejoin_told* told)
{
    const rlv_rejoin* of = &told->of;
    record_text(object, "piece", told->piece.name);
    record_text(object, "block", told->block.name);
    record_text(object, "before", told->before.name);
    record_text(object, "verdict", told->judged ? rejoin_verdict_name(of->verdict) : NULL);
    record_text(object, "reason", of->reason[0] != '\0' ? of->reason : NULL);
    record_real(object, "fit", told->judged ? of->fit : (double)NAN);
    if (told->measured)
        record_all(object, told);
    else
        record_nothing(object);
}

void rejoin_record_parameters(json_t* parameters, double film_mm)
{
    record_count(parameters, "seed", 0);
    record_real(parameters, "film_mm", film_mm);
    json_t* with = record_object(parameters, "thresholds");
    record_real(with, "reach_mm", RLV_REJOIN_REACH_MM);
    record_real(with, "spot_mm", RLV_REJOIN_SPOT_MM);
    record_real(with, "offset_mm", RLV_REJOIN_OFFSET_MM);
    record_real(with, "least_fit", RLV_REJOIN_LEAST_FIT);
    record_real(with, "least_relief_mm", RLV_REJOIN_LEAST_RELIEF_MM);
    record_real(with, "loose_mm", RLV_REJOIN_LOOSE_MM);
    record_real(with, "loose_deg", RLV_REJOIN_LOOSE_DEG);
}
