#include "rejoin_words.h"

#include <math.h>
#include <stdarg.h>

report_text rejoin_name(const rejoin_told* told)
{
    report_text name;
    rlv_print(name.text, sizeof name.text, "%.200s on %.200s%s%.200s", told->piece.name, told->block.name,
              told->before.mesh != NULL ? ", as they lay together in " : "",
              told->before.mesh != NULL ? told->before.name : "");
    return name;
}

/// Where most of what both faces share stands open all the same; else nothing.
static report_text open_words(const rejoin_told* told)
{
    report_text words = {""};
    const rlv_rejoin_gap* gap = &told->of.gap_after;
    if (told->measured && gap->open_mm2 > 0.5 * gap->area_mm2)
        rlv_print(
            words.text, sizeof words.text,
            ". To fit is to repeat that relief, not to touch: %.20s of the %.20s cm\xc2\xb2 that they share stand "
            "open all the same, %.20s mm in the median, as faces do that wore since",
            words_figures(gap->open_mm2 / 100.0, 3).text, words_figures(gap->area_mm2 / 100.0, 3).text,
            words_figures(gap->median_mm.value, 2).text);
    return words;
}

report_text rejoin_verdict(const rejoin_told* told)
{
    report_text words;
    const rlv_rejoin* of = &told->of;
    if (!told->judged)
        rlv_print(words.text, sizeof words.text, "it could not be tried: %.900s", told->why);
    else if (!told->measured && of->verdict != RLV_REJOIN_NONE)
        rlv_print(words.text, sizeof words.text, "it could not be placed: %.900s", told->why);
    else if (of->verdict == RLV_REJOIN_FITS)
        rlv_print(words.text, sizeof words.text, "it fits: the two faces repeat %s of each other’s relief%.300s",
                  words_share(of->fit).text, open_words(told).text);
    else
        rlv_print(words.text, sizeof words.text, "%s: %.300s",
                  of->verdict == RLV_REJOIN_LOOSE ? "it goes there, and is held loosely" : "it does not fit",
                  of->reason);
    return words;
}

/// A place, to the millimetre.
static rlv_words place_of(rlv_vec3 at)
{
    rlv_words words;
    rlv_print(words.text, sizeof words.text, "(%.20s, %.20s, %.20s)", words_number(at.x, 0).text,
              words_number(at.y, 0).text, words_number(at.z, 0).text);
    return words;
}

// --- The motion ------------------------------------------------------------------------------------------------------

/// "2.3Â° (1.2 to 3.4Â°)"
static rlv_words angle_of(rlv_interval deg)
{
    rlv_words words;
    rlv_print(words.text, sizeof words.text, "%.20s\xc2\xb0 (%.40s\xc2\xb0)", words_value(deg, 1.0).text,
              words_ends(deg, 1.0).text);
    return words;
}

static bool is_told(rlv_interval part)
{
    return part.low > 0.0 || part.high < 0.0;
}

/// Whether a length stands as 0 at the figures that it is told with: then it goes no way.
static bool reads_as_none(rlv_interval length)
{
    return nearbyint(length.value * pow(10.0, words_interval_decimals(length, 1.0))) == 0.0;
}

static rlv_interval without_sign(rlv_interval part)
{
    return part.value < 0.0 ? (rlv_interval){-part.value, -part.high, -part.low} : part;
}

/// Sentences that are put together, parted by semicolons.
typedef struct gathering
{
    report_text text;
    size_t put;
} gathering;

__attribute__((format(printf, 2, 3))) static void gather(gathering* g, const char* format, ...)
{
    char words[400];
    va_list list;
    va_start(list, format);
    (void)rlv_print_list(words, sizeof words, format, list);
    va_end(list);
    if (g->put + sizeof words < sizeof g->text.text)
        g->put += (size_t)snprintf(g->text.text + g->put, sizeof g->text.text - g->put, "%s%s", g->put > 0 ? "; " : "",
                                   words);
}

/// Whether the record has it back: then there is nothing to be done with it, and what was found is told.
static bool is_back(const rejoin_told* told)
{
    return told->record != NULL && told->record->joined != NULL;
}

report_text rejoin_back(const rejoin_told* told)
{
    report_text words = {""};
    const rlv_rejoin* of = &told->of;
    if (told->record == NULL)
        return words;
    if (!is_back(told))
    {
        snprintf(words.text, sizeof words.text, "not recorded as joined again at any stage");
        return words;
    }
    if (!told->measured || !of->back_known)
    {
        rlv_print(words.text, sizeof words.text, "back since ‘%.200s’; how it lies there is not known",
                  told->record->joined);
        return words;
    }
    const double wider_mm = of->gap_back.median_mm.value - of->gap_after.median_mm.value;
    rlv_print(words.text, sizeof words.text,
              "back since ‘%.200s’; it lies %s mm %s than closed, by the median width of its gap: %.80s, against %.80s",
              told->record->joined, words_figures(fabs(wider_mm), 2).text, wider_mm < 0.0 ? "closer" : "wider",
              report_interval(of->gap_back.median_mm, "mm").text, report_interval(of->gap_after.median_mm, "mm").text);
    return words;
}

report_text rejoin_hands(const rejoin_told* told)
{
    const rlv_handling* m = &told->motion;
    const bool back = is_back(told);
    gathering g = {0};
    if (is_told(m->press_mm))
        gather(&g, "%s by %s",
               m->press_mm.value > 0.0 ? (back ? "pressed home" : "press it home")
                                       : (back ? "lifted off" : "lift it off"),
               report_interval(without_sign(m->press_mm), "mm").text);
    if (is_told(m->slide_mm))
        gather(&g, "%s along the joint by %s, %s", back ? "slid" : "slide it", report_interval(m->slide_mm, "mm").text,
               rejoin_way(told, m->slide).text);
    if (is_told(m->twist_deg))
        gather(&g, "%s by %s %s, as one looks at the block’s face", back ? "twisted" : "twist it",
               angle_of(without_sign(m->twist_deg)).text, m->twist_deg.value > 0.0 ? "clockwise" : "against the clock");
    if (is_told(m->rock_deg))
        gather(&g, "%s by %s, so that its side %s goes in", back ? "rocked" : "rock it", angle_of(m->rock_deg).text,
               rejoin_way(told, m->rock).text);
    if (g.put == 0)
        gather(&g, "%s: no motion is told apart from none", back ? "closed it lies as it was found" : "nothing to do");
    return g.text;
}

// --- Lines -----------------------------------------------------------------------------------------------------------

__attribute__((format(printf, 4, 5))) static void add(report_lines* lines, const char* name, bool alarm,
                                                      const char* format, ...)
{
    if (lines->count == REPORT_LINES)
        return;
    report_line* line = &lines->line[lines->count++];
    *line = (report_line){.name = name, .alarm = alarm};
    va_list list;
    va_start(list, format);
    (void)rlv_print_list(line->words.text, sizeof line->words.text, format, list);
    va_end(list);
}

static void add_motion(report_lines* lines, const rejoin_told* told)
{
    const rlv_rejoin* of = &told->of;
    if (!of->found_known)
    {
        add(lines, "As found", false, "not known: %s",
            told->before.mesh == NULL ? "there is no mesh from before the two were apart"
                                      : "the mesh from before does not show both parts");
        return;
    }
    add(lines, "As found", false, "known to %s mm and %s\xc2\xb0 (sd)%s",
        words_figures(rlv_pose_position_sd_mm(&of->found), 2).text,
        words_figures(rlv_pose_rotation_sd_deg(&of->found), 2).text,
        of->stood_open ? "; the joint stood open in the rock: its faces agree on another place" : "");
    const rlv_words way =
        reads_as_none(of->closing_length_mm) ? (rlv_words){""} : rejoin_way(told, rlv_vec3_unit(of->closing_mm));
    add(lines, is_back(told) ? "Found to closed" : "To close it", false, "%s%s%s; turned by %s",
        report_interval(of->closing_length_mm, "mm").text, way.text[0] != '\0' ? ", " : "", way.text,
        angle_of(of->closing_turn_deg).text);
    add(lines, "By hand", false, "%s", rejoin_hands(told).text);
}

static void add_joint(report_lines* lines, const rejoin_told* told)
{
    const rlv_rejoin* of = &told->of;
    add(lines, "Joint", false, "%s mm across where it is narrowest", words_figures(of->across_mm, 2).text);
    if (!isnan(of->partner[0]) || !isnan(of->partner[1]))
        add(lines, "Partner", false, "of the outlined face of the block %s has one, of the piece’s %s",
            isnan(of->partner[0]) ? "(none is outlined)" : words_share(of->partner[0]).text,
            isnan(of->partner[1]) ? "(none is outlined)" : words_share(of->partner[1]).text);
}

/// What carries it where rock does not; one that is back needs no hand any more.
static const char* hold_it(const rejoin_told* told)
{
    return is_back(told) ? "what fills the gap carries the piece"
                         : "what fills the gap carries the piece, and it is to be held until that does";
}

static void add_contacts(report_lines* lines, const rejoin_told* told)
{
    const rlv_rejoin* of = &told->of;
    const bool presses = of->contact_count > 0 && rejoin_presses(&of->contact[0]),
               fits = of->verdict == RLV_REJOIN_FITS;
    if (of->contact_count == 0)
        add(lines, "Touches first", fits, "nowhere: what both faces share stands more than %s mm apart; %s",
            words_figures(of->touching_mm, 2).text, hold_it(told));
    else if (!presses && of->contact_count < REJOIN_CARRYING)
        add(lines, "Touches first", fits, "at %s only, the nearest %s: too few to carry it; %s",
            words_count(of->contact_count, "place").text, place_of(of->contact[0].at_mm).text, hold_it(told));
    else if (!presses)
        add(lines, "Touches first", false, "at %s, hardest at %s; it presses nowhere by more than a film",
            words_count(of->contact_count, "place").text, place_of(of->contact[0].at_mm).text);
    else
        add(lines, "Touches first", true,
            "at contact c1, %s, where it would lie %s mm deep in the block over %s cm\xc2\xb2; %s mL in all would have "
            "to go for it to lie as closed",
            place_of(of->contact[0].at_mm).text, words_figures(of->contact[0].pressed_mm, 2).text,
            words_figures(of->contact[0].area_mm2 / 100.0, 2).text, words_figures(of->relieve_mm3 / 1000.0, 2).text);
}

// --- Bone on the joint
// ------------------------------------------------------------------------------------------------

report_text rejoin_bone(const rejoin_told* told)
{
    report_text words = {""};
    const rlv_rejoin_gap* gap = &told->of.gap_after;
    if (told->of.bone_touch == RLV_REJOIN_BONE_UNKNOWN)
        return words;
    if (told->of.bone_touch == RLV_REJOIN_BONE_NONE)
    {
        snprintf(words.text, sizeof words.text, "none of what is masked lies on the joint’s faces");
        return words;
    }
    static const char* const verdict[] = {[RLV_REJOIN_BONE_CLEAR] = "rock is nearer",
                                          [RLV_REJOIN_BONE_MAY] = "not told apart from touching",
                                          [RLV_REJOIN_BONE_FIRST] = "it would be the first to touch"};
    const bool clear = told->of.bone_touch == RLV_REJOIN_BONE_CLEAR;
    report_text rim = {""};
    if (!isnan(gap->bone_rim_mm))
        snprintf(rim.text, sizeof rim.text, ", %s mm from the rim", words_figures(gap->bone_rim_mm, 2).text);
    rlv_print(words.text, sizeof words.text,
              "the nearest on the joint’s face, the %s’s at %.60s, stands %.120s %s%.40s: %s",
              gap->bone == RLV_REJOIN_BONE_PIECE ? "piece" : "block", place_of(gap->bone_at_mm).text,
              report_interval(gap->bone_mm, "mm").text, clear ? "clear" : "from the other face", rim.text,
              verdict[told->of.bone_touch]);
    return words;
}

// --- What runs over the joint
// -----------------------------------------------------------------------------------------

report_text rejoin_run_name(const rejoin_run* run)
{
    report_text name;
    rlv_print(name.text, sizeof name.text, run->row ? "row %.200s" : "%.200s, broken", run->name);
    return name;
}

/// "0.4 mm (0.1 to 0.7 mm) towards the tail"
static rlv_words towards(const rejoin_told* told, rlv_interval part, rlv_vec3 way, bool angle)
{
    rlv_words words;
    const bool turned = part.value < 0.0;
    const rlv_interval size = without_sign(part);
    const rlv_vec3 to = turned ? rlv_vec3_scale(way, -1.0) : way;
    rlv_print(words.text, sizeof words.text, "%.44s %.34s",
              angle ? angle_of(size).text : report_interval(size, "mm").text, rejoin_way(told, to).text);
    return words;
}

/// "p = 0.21", "p < 0.001"
static rlv_words chance(double p)
{
    rlv_words words;
    if (isnan(p))
        return (rlv_words){"p not known"};
    const report_text text = report_p(p);
    rlv_print(words.text, sizeof words.text, "p %s%.60s", text.text[0] == '<' ? "" : "= ", text.text);
    return words;
}

report_text rejoin_run_words(const rejoin_told* told, const rejoin_run* run)
{
    gathering g = {0};
    const rlv_across* a = &run->of;
    if (!run->measured)
    {
        gather(&g, "not told: %.300s", run->why);
        return g.text;
    }
    static const char* const verdict[] = {[REJOIN_STRAIGHT_UNTOLD] = "whether it goes straight on cannot be told",
                                          [REJOIN_STRAIGHT] = "it goes straight on, as far as can be told",
                                          [REJOIN_NOT_STRAIGHT] = "it does not go straight on"};
    gather(&g, "%s (%s)", verdict[rejoin_run_straight(run)], chance(a->p).text);
    gather(&g, "the piece’s side lies %s off the block’s: %s and %s", report_interval(a->offset_mm, "mm").text,
           towards(told, a->across_mm, a->across, false).text, towards(told, a->out_mm, a->out, false).text);
    gather(&g, "it bends by %s: %s and %s", angle_of(a->bend_deg).text,
           towards(told, a->bend_across_deg, a->across, true).text, towards(told, a->bend_out_deg, a->out, true).text);
    if (!run->row)
        gather(&g, "its broken ends stand %s apart along it", report_interval(a->gap_mm, "mm").text);
    if (!isnan(a->twist_deg.value))
        gather(&g, "twisted by %s about itself", angle_of(a->twist_deg).text);
    if (run->row && !isnan(a->step_mm.value))
        gather(&g, "spacing over the joint %s, %s of its own pitch of %s: %s by %s (%s)",
               report_interval(a->spacing_mm, "mm").text, words_count((size_t)a->places, "place").text,
               report_interval(a->pitch_mm, "mm").text, a->step_mm.value < 0.0 ? "closer" : "wider",
               report_interval(without_sign(a->step_mm), "mm").text, chance(a->step_p).text);
    return g.text;
}

static void add_film(report_lines* lines, const rejoin_told* told)
{
    const double half_mm = told->of.gap_after.median_mm.value;
    report_text reach = {""};
    if (half_mm > told->film_mm)
        snprintf(reach.text, sizeof reach.text,
                 "; it reaches across only where the faces lie that near, and half of what both share stands more than "
                 "%s mm apart",
                 words_figures(half_mm, 2).text);
    add(lines, "Film", false, "%s mL of adhesive over the outline, %s mm thick%.300s",
        words_figures(rejoin_film_mm3(told) / 1000.0, 2).text, words_recorded(told->film_mm).text, reach.text);
}

static void add_rest(report_lines* lines, const rejoin_told* told)
{
    const rlv_rejoin* of = &told->of;
    if (of->step_count > 0)
        add(lines, "Surface step", false, "%s mm in the median of %s along the edge, %s mm at most, at %s",
            words_figures(of->step_median_mm, 2).text, words_count(of->step_count, "place").text,
            words_figures(of->step_max_mm, 2).text, place_of(of->step_max_at_mm).text);
    else
        add(lines, "Surface step", false, "not known: nowhere along the edge are both outer surfaces there");
    if (of->approach_known)
        add(lines, "Comes in", false, "moving %s; free within %s\xc2\xb0 of that way",
            rejoin_way(told, of->approach).text, words_figures(of->approach_deg, 2).text);
    else
        add(lines, "Comes in", true, "no straight way was found that is free");
    add_film(lines, told);
    if (told->record != NULL && told->record->mass != NULL)
        add(lines, "Piece", false, "weighs %s g", words_recorded(told->record->mass->grams).text);
}

report_lines rejoin_lines(const rejoin_told* told)
{
    report_lines lines = {0};
    const rlv_rejoin* of = &told->of;
    const report_text back = rejoin_back(told);
    if (back.text[0] != '\0')
        add(&lines, "Today", false, "%s", back.text);
    add(&lines, "Verdict", of->verdict != RLV_REJOIN_FITS, "%s", rejoin_verdict(told).text);
    add_motion(&lines, told);
    add(&lines, "Closed", false, "its place is known to %s mm and %s\xc2\xb0 (sd)",
        words_figures(rlv_pose_position_sd_mm(&of->closed), 2).text,
        words_figures(rlv_pose_rotation_sd_deg(&of->closed), 2).text);
    add_contacts(&lines, told);
    if (of->bone_touch != RLV_REJOIN_BONE_UNKNOWN)
        add(&lines, "Bone", of->bone_touch == RLV_REJOIN_BONE_FIRST, "%s", rejoin_bone(told).text);
    add_joint(&lines, told);
    add_rest(&lines, told);
    return lines;
}

// --- What the words stand for ----------------------------------------------------------------------------------------

/// What the piece's closed place goes by.
static const char* closed_words(const rejoin_told* told)
{
    if (told->of.held_apart_mm > 0.0)
        return "where the few spots that were not worn meet";
    if (told->of.found_known && !told->of.stood_open)
        return "where faces and outer surfaces together say that the two were one";
    return "where the two faces fit best";
}

bool rejoin_term_next(const rejoin_told* told, size_t* next, rejoin_term* term)
{
    const rlv_rejoin* of = &told->of;
    const rlv_rejoin_gap* gap = &of->gap_after;
    const double none = (double)NAN, pressed = gap->area_mm2 * fmax(1.0 - of->touching - of->worn, 0.0);
    const struct
    {
        bool holds;
        const char* word;
        double area_mm2;
    } terms[] = {
        {true, "outline", of->joint_mm2},
        {true, "shared", gap->area_mm2},
        {true, "touching", fmax(gap->area_mm2 - gap->open_mm2 - pressed, 0.0)}, // so that the three add up
        {true, "open", gap->open_mm2},
        {pressed > 0.5 && of->relieve_mm3 > 0.0, "pressed", pressed},
        {of->found_known, "as found", none},
        {true, "closed", none},
        {of->back_known, "as it went back", none},
    };
    const size_t count = sizeof terms / sizeof *terms;
    while (*next < count && !terms[*next].holds)
        ++*next;
    if (*next == count)
        return false;
    *term = (rejoin_term){.word = terms[*next].word, .area_mm2 = terms[*next].area_mm2};
    term->figures = term->area_mm2 < 100.0 ? 2 : 3;
    char* is = term->is.text;
    const size_t size = sizeof term->is.text;
    switch (*next)
    {
    case 0:
        snprintf(is, size, "the block’s whole face, all that looks across at the piece; fill and film are over it");
        break;
    case 1:
        snprintf(is, size, "where either face has the other straight across, closed; widths are told of it alone");
        break;
    case 2:
        snprintf(is, size, "of what is shared, no more than %s mm apart: within 3 sds of the scans’ noise",
                 words_figures(of->touching_mm, 2).text);
        report_add(&term->is, ". It is the mean of both faces; that of a contact is of the block’s face alone");
        break;
    case 3:
        snprintf(is, size,
                 "of what is shared, farther apart even when closed: a gap that stays, since rock wore or broke away "
                 "there, or "
                 "it never closed");
        break;
    case 4:
        snprintf(is, size, "of what is shared, deeper in one another than that: it would have to go");
        break;
    case 5:
        rlv_print(is, size, "where the piece lay in the block at %.200s, before the two were apart", told->before.name);
        break;
    case 6:
        snprintf(is, size, "%s", closed_words(told));
        break;
    default:
        rlv_print(is, size, "where the piece lies at %.200s; widths and fill within the same outline",
                  told->after.name);
        break;
    }
    ++*next;
    return true;
}

// --- What was recorded -----------------------------------------------------------------------------------------------

report_text rejoin_treatment_words(const rejoin_told* told, const rejoin_treatment* treatment)
{
    const rlv_treatment_record* t = treatment->record;
    gathering g = {0};
    gather(&g, "at %.60s, %.60s%s%.100s", treatment->stage->id, t->what, t->material != NULL ? ": " : "",
           t->material != NULL ? t->material : "");
    if (t->concentration_percent != NULL)
        gather(&g, "%s %% %s%s%.60s", words_recorded(*t->concentration_percent).text, t->basis,
               t->solvent != NULL ? " in " : "", t->solvent != NULL ? t->solvent : "");
    if (t->volume_ml != NULL)
        gather(&g, "%s mL", words_recorded(*t->volume_ml).text);
    if (t->dry_g != NULL)
        gather(&g, "%s g when dry", words_recorded(*t->dry_g).text);
    if (!isnan(treatment->dry_mm3.value))
        gather(&g, "that is %s by its recorded density, and spread evenly over the outline %s mm",
               report_interval(report_in_ml(treatment->dry_mm3), "mL").text,
               words_figures(treatment->dry_mm3.value / told->of.joint_mm2, 2).text);
    return g.text;
}

// --- What is uncertain -----------------------------------------------------------------------------------------------

bool rejoin_untold(const rejoin_told* told, size_t* next, report_text* words)
{
    const rlv_rejoin* of = &told->of;
    const struct
    {
        bool holds;
        const char* words;
    } untold[] = {
        {true, "intervals hold the scans’ noise and how surely the piece is placed; slow warp of a scan as long as the "
               "joint is in none of them"},
        {!of->found_known, "how far it moves from where it was found, and which way"},
        {of->stood_open, "the stage from before holds it open and its faces close it: which of the two it is to be is "
                         "for whoever puts it back to say"},
        {told->block_face == NULL && told->piece_face == NULL,
         "what share of either face has a partner: neither is outlined"},
        {told->record != NULL && of->bone_touch == RLV_REJOIN_BONE_UNKNOWN,
         "whether bone touches first: none is masked on either part at that stage"},
        {told->record != NULL && !told->runs_sought,
         "whether a bone or a row runs over the joint: that is looked for on joints of the block itself"},
        {told->run_count > 0, "a bone is taken to be straight and a row to bend evenly: what bends by nature where it "
                              "broke is told as bent"},
        {of->step_count == 0, "how far the outer surface steps along the joint’s edge"},
        {told->after.mesh != NULL && !told->of.back_known, "how it lies where it is back"},
    };
    while (*next < sizeof untold / sizeof *untold && !untold[*next].holds)
        ++*next;
    if (*next == sizeof untold / sizeof *untold)
        return false;
    snprintf(words->text, sizeof words->text, "%s", untold[(*next)++].words);
    return true;
}
