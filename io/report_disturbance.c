#include "interval.h"
#include "report_articulation_parts.h"

#include <math.h>
#include <stdio.h>

#define COLUMNS(columns) sizeof(columns) / sizeof *(columns), columns

static const rlv_specimen* specimen_of(const history_articulation* a)
{
    return a->elements->history->specimen;
}

static const char* id_of(const history_articulation* a, const rlv_disturbance_motion* m)
{
    return a->elements->one[a->element_of[m->element]].record->id;
}

// --- a row a motion --------------------------------------------------------------------------------------------------

static const table_column motion_columns[] = {
    {"id", NULL, "element", TABLE_TEXT, "The element that moved; of a stretch the one nearest to its middle."},
    {"group", NULL, "group", TABLE_COUNT, "Number of the stretch, where it is one’s motion."},
    {"row", NULL, "row", TABLE_TEXT, "Its row."},
    {"part", NULL, "part of the body", TABLE_COUNT,
     "Part of the body, counted from the head as in share_in_place.csv."},
    {"motion", "mm", "motion", TABLE_PLACE, "From the life position to where it lies, in the block’s frame."},
    {"level", "mm", "in the level", TABLE_NUMBER, "How far in the level."},
    {"trend", "deg", "trend", TABLE_NUMBER, "Which way in the level, clockwise from true north."},
    {"direction_sd", "deg", "sd of that", TABLE_NUMBER, "Standard deviation of that direction, to first order."},
    {"trust", NULL, "trust", TABLE_NUMBER,
     "Mean cosine of that direction’s error, by which it counts; 0 where it has no direction in the level."},
    {"off_current", "deg", "off the current", TABLE_NUMBER,
     "Angle in the level to the way that what lies off its row was likely carried (carried.csv); empty where either "
     "has "
     "no direction."},
    {"off_current_most", "deg", "at most, if with it", TABLE_NUMBER,
     "What its errors, the current’s and the scatter of what a current carries make of that in 95 %: beyond it, it did "
     "not go with the current."}};

static rlv_table motions_table(const history_articulation* a)
{
    rlv_table t = table_of("motions", "Motions", COLUMNS(motion_columns));
    for (size_t i = 0; i < a->disturbance.motion_count; i++)
    {
        const rlv_disturbance_motion* m = &a->disturbance.motion[i];
        const double* c = m->covariance_mm2;
        const double sd = sqrt((c[0] + c[4] + c[8]) / 3.0);
        table_text(&t, id_of(a, m));
        if (m->group > 0)
            table_count(&t, m->group);
        else
            table_none(&t);
        table_text(&t, specimen_of(a)->row[m->row].id);
        table_count(&t, m->part + 1);
        table_place(&t, m->motion_mm, sd);
        table_number(&t, m->level_mm, sd);
        table_number(&t, m->trend_deg, m->direction_sd_deg);
        table_figures(&t, m->direction_sd_deg, 2);
        table_figures(&t, m->trust, 2);
        const carried_off off = articulation_off_current(a, m);
        table_number(&t, off.off_deg, 1.0);
        table_number(&t, off.most_deg, 1.0);
    }
    return t;
}

// --- of all, of rows, of parts ---------------------------------------------------------------------------------------

/// What is summed up.
typedef struct disturbed_scope
{
    const rlv_disturbed* of;
    const char* scope; ///< "all", "row", "part"
    const char* row;
    size_t part; ///< from 1; 0: none
} disturbed_scope;

static size_t scope_count(const history_articulation* a)
{
    return a->fitted ? 1 + a->disturbance.row_count + a->disturbance.part_count : 0;
}

static disturbed_scope scope_at(const history_articulation* a, size_t i)
{
    const rlv_disturbance* d = &a->disturbance;
    if (i == 0)
        return (disturbed_scope){&d->all, "all", NULL, 0};
    if (i <= d->row_count)
        return (disturbed_scope){&d->row[i - 1], "row", specimen_of(a)->row[i - 1].id, 0};
    return (disturbed_scope){&d->part[i - 1 - d->row_count], "part", NULL, i - d->row_count};
}

#define SCOPE_COLUMNS                                                                                                  \
    {"scope", NULL, "of", TABLE_TEXT, "all, one row, or one part of the body."},                                       \
        {"row", NULL, "row", TABLE_TEXT, "Which row."},                                                                \
    {                                                                                                                  \
        "part", NULL, "part", TABLE_COUNT, "Which part of the body, from the head."                                    \
    }

static void put_scope(rlv_table* t, const disturbed_scope* s)
{
    table_text(t, s->scope);
    table_text(t, s->row);
    if (s->part > 0)
        table_count(t, s->part);
    else
        table_none(t);
}

static const table_column level_columns[] = {
    SCOPE_COLUMNS,
    {"displaced", NULL, "displaced", TABLE_COUNT, "Elements that are shifted, rotated or inverted."},
    {"motions", NULL, "motions", TABLE_COUNT, "Motions of elements and of stretches; a stretch is one."},
    {"directions", NULL, "directions", TABLE_COUNT, "Of these, with a direction in the level."},
    {"mean_trend", "deg", "mean", TABLE_NUMBER, "Mean direction in the level, clockwise from true north."},
    {"mean_half", "deg", "± 95 %", TABLE_NUMBER, "The 95 % interval of the mean reaches so far to either side."},
    {"resultant_share", NULL, "R̄", TABLE_NUMBER, "Mean resultant length: 0 every way, 1 all one way."},
    {"kappa", NULL, "κ", TABLE_NUMBER, "Concentration, von Mises’."},
    {"uniform_p", NULL, "p of uniform", TABLE_NUMBER, "Rayleigh’s: of as long a resultant, had they gone every way."},
    {"why_not", NULL, "why not", TABLE_TEXT, "Why there is no figure."}};

static void put_level(rlv_table* t, const disturbed_scope* s)
{
    const rlv_disturbance_level* level = &s->of->level;
    put_scope(t, s);
    table_count(t, s->of->displaced);
    table_count(t, s->of->motions);
    table_count(t, level->count);
    table_number(t, level->trend_deg, 0.5 * level->half_deg);
    table_figures(t, level->half_deg, 2);
    table_figures(t, level->resultant_share, 2);
    table_figures(t, level->kappa, 2);
    table_figures(t, level->uniform_p, 2);
    table_text(t, level->why);
}

static const table_column space_columns[] = {
    SCOPE_COLUMNS,
    {"motions", NULL, "motions", TABLE_COUNT, "Motions of elements and of stretches; a stretch is one."},
    {"mean_trend", "deg", "mean trend", TABLE_NUMBER, "Azimuth of the mean direction in space."},
    {"mean_plunge", "deg", "mean plunge", TABLE_NUMBER, "Plunge of it, positive downwards."},
    {"cone", "deg", "95 % cone", TABLE_NUMBER, "Half angle of the 95 % cone about it; 180: anywhere."},
    {"resultant_share", NULL, "R̄", TABLE_NUMBER, "Mean resultant length."},
    {"kappa", NULL, "κ", TABLE_NUMBER, "Precision, R. A. Fisher’s."},
    {"uniform_p", NULL, "p of uniform", TABLE_NUMBER, "Of as long a resultant, had they gone every way."},
    {"why_not", NULL, "why not", TABLE_TEXT, "Why there is no figure."}};

static void put_space(rlv_table* t, const disturbed_scope* s)
{
    const rlv_disturbance_space* space = &s->of->space;
    put_scope(t, s);
    table_count(t, s->of->motions);
    table_number(t, space->trend.trend_deg, 0.5 * space->cone_deg);
    table_number(t, space->trend.plunge_deg, 0.5 * space->cone_deg);
    table_figures(t, space->cone_deg, 2);
    table_figures(t, space->mean.resultant_share, 2);
    table_figures(t, space->mean.kappa, 2);
    table_figures(t, space->mean.uniform_p, 2);
    table_text(t, space->why);
}

static const table_column axes_columns[] = {
    SCOPE_COLUMNS,
    {"axes", NULL, "axes", TABLE_TEXT,
     "poles, or long axes, of the elements that are displaced by themselves, or lie off their rows."},
    {"count", NULL, "elements", TABLE_COUNT, "How many of them are known, without those of left_out."},
    {"s1", NULL, "S1", TABLE_NUMBER, "Greatest eigenvalue of their orientation tensor; the three add up to 1."},
    {"s2", NULL, "S2", TABLE_NUMBER, "The middle one."},
    {"s3", NULL, "S3", TABLE_NUMBER, "The least."},
    {"shape", NULL, "shape K", TABLE_NUMBER, "ln(S1 / S2) / ln(S2 / S3): above 1 a cluster, below it a girdle."},
    {"strength", NULL, "strength C", TABLE_NUMBER, "ln(S1 / S3)."},
    {"uniform_p", NULL, "p of uniform", TABLE_NUMBER, "Bingham’s: of as uneven a tensor, did they lie every way."},
    {"trend", "deg", "trend of S1", TABLE_NUMBER, "Azimuth of the axis of S1."},
    {"plunge", "deg", "plunge of S1", TABLE_NUMBER, "Its plunge."},
    {"why_not", NULL, "why not", TABLE_TEXT, "Why there is no figure."},
    {"off_row", NULL, "off their rows", TABLE_COUNT,
     "How many of them are of elements off their rows: these are in no part of the body."},
    {"left_out", NULL, "left out", TABLE_COUNT,
     "How many more are known but may as well point anywhere: their 95 % interval is wider than 90° to either side."}};

/// The trend of an axis, by the end of it that does not point up; NaN where it is not known.
static rlv_trend axis_trend(const history_articulation* a, rlv_vec3 axis)
{
    if (!a->elements->compass_known || !(rlv_vec3_length(axis) > 0.5))
        return (rlv_trend){NAN, NAN};
    if (rlv_vec3_dot(axis, a->elements->compass.up) > 0.0)
        axis = rlv_vec3_scale(axis, -1.0);
    return rlv_trend_of(&a->elements->compass, axis);
}

static void put_axes(rlv_table* t, const history_articulation* a, const disturbed_scope* s, const char* name,
                     const rlv_disturbance_axes* axes)
{
    const rlv_orientation* o = &axes->tensor;
    const rlv_trend trend = axes->why == NULL ? axis_trend(a, o->axis[0]) : (rlv_trend){NAN, NAN};
    put_scope(t, s);
    table_text(t, name);
    table_count(t, o->count);
    for (int k = 0; k < 3; k++)
        table_figures(t, o->eigenvalue[k], 2);
    table_figures(t, o->shape, 2);
    table_figures(t, o->strength, 2);
    table_figures(t, o->uniform_p, 2);
    table_number(t, trend.trend_deg, 1.0);
    table_number(t, trend.plunge_deg, 1.0);
    table_text(t, axes->why);
    table_count(t, axes->off_row);
    table_count(t, axes->unsure);
}

// --- a current -------------------------------------------------------------------------------------------------------

static const table_column carried_columns[] = {
    {"probability", "percent", "how likely", TABLE_NUMBER,
     "Probability that what lies off its row was carried one way."},
    {"motion", "mm", "motion", TABLE_PLACE,
     "Which way and how far, on the mean over all that it may be, in the block’s frame."},
    {"far", "mm", "by", TABLE_NUMBER, "Length of that."},
    {"motion_trend", "deg", "towards", TABLE_NUMBER, "Its azimuth from true north, clockwise."},
    {"direction_sd", "deg", "sd of that", TABLE_NUMBER, "How unsure that direction is: circular sd."},
    {"direction_half", "deg", "± 95 %", TABLE_NUMBER, "Half of its 95 % interval; 180: any direction."},
    {"level", NULL, "level", TABLE_TEXT,
     "bedding, or horizon: what it is taken to have run along; empty: up is not known."},
    {"told_with", "percent", "told where there was one", TABLE_NUMBER,
     "What was told on the mean of simulated animals of which a current had carried five elements."},
    {"told_without", "percent", "told where there was none", TABLE_NUMBER,
     "The same of animals of which five elements had gone any way."}};

static rlv_table carried_table(const history_articulation* a)
{
    rlv_table t = table_of("carried", "Carried one way", COLUMNS(carried_columns));
    const rlv_carried* c = &a->carried;
    const double far = rlv_vec3_length(c->motion_mm);
    if (!articulation_has_off_row(a))
        return t;
    table_number(&t, 100.0 * c->probability, 1.0);
    table_place(&t, c->motion_mm, 1.0);
    table_number(&t, far, 1.0);
    table_number(&t,
                 a->elements->compass_known && far > 0.0 ? rlv_trend_of(&a->elements->compass, c->motion_mm).trend_deg
                                                         : (double)NAN,
                 c->direction_sd_deg);
    table_figures(&t, c->direction_sd_deg, 2);
    table_figures(&t, fmin(RLV_HALF_95 * c->direction_sd_deg, 180.0), 2);
    table_text(&t, a->level_of_bedding ? "bedding" : a->elements->up_known ? "horizon" : NULL);
    table_number(&t, 100.0 * RLV_CARRIED_TOLD_WITH, 1.0);
    table_number(&t, 100.0 * RLV_CARRIED_TOLD_WITHOUT, 1.0);
    return t;
}

rlv_table disturbance_table_of(const history_articulation* a, disturbance_table which)
{
    if (which == DISTURBANCE_MOTIONS)
        return motions_table(a);
    if (which == DISTURBANCE_CARRIED)
        return carried_table(a);
    rlv_table t = which == DISTURBANCE_LEVEL
                      ? table_of("motions_level", "Which way they went in the level", COLUMNS(level_columns))
                  : which == DISTURBANCE_SPACE
                      ? table_of("motions_space", "Which way they went in space", COLUMNS(space_columns))
                      : table_of("displaced_axes", "How those that are displaced lie", COLUMNS(axes_columns));
    for (size_t i = 0; i < scope_count(a); i++)
    {
        const disturbed_scope scope = scope_at(a, i);
        if (which == DISTURBANCE_LEVEL)
            put_level(&t, &scope);
        else if (which == DISTURBANCE_SPACE)
            put_space(&t, &scope);
        else
        {
            put_axes(&t, a, &scope, "poles", &scope.of->poles);
            put_axes(&t, a, &scope, "long axes", &scope.of->long_axes);
        }
    }
    return t;
}

// --- sentences -------------------------------------------------------------------------------------------------------

/// A test of uniformity rejects below this.
static const double LEVEL = 0.05;

/// "mean trend 082 ± 31°", where they went one way.
static report_text bearing_words(double trend_deg, double half_deg, double uniform_p)
{
    report_text words;
    if (!(uniform_p < LEVEL))
        snprintf(words.text, sizeof words.text, "they need not have gone one way");
    else if (isnan(trend_deg))
        snprintf(words.text, sizeof words.text, "they went one way, sure to ± %s°, of no bearing without north",
                 words_at_most(half_deg).text);
    else
        snprintf(words.text, sizeof words.text, "mean trend %03d ± %s°", (int)lround(trend_deg) % 360,
                 words_at_most(half_deg).text);
    return words;
}

static report_text level_words(const history_articulation* a)
{
    const rlv_disturbed* all = &a->disturbance.all;
    const rlv_disturbance_level* level = &all->level;
    report_text words;
    const int length = snprintf(words.text, sizeof words.text, "%zu of %zu motions have a direction%s; ", level->count,
                                all->motions, a->level_of_bedding ? ", taken in the bedding" : "");
    char* rest = words.text + length;
    const size_t room = sizeof words.text - (size_t)length;
    if (level->why != NULL)
        snprintf(rest, room, "no mean (%s)", level->why);
    else
        rlv_print(rest, room, "%.200s, R̄ %s, p of uniform %.20s",
                  bearing_words(level->trend_deg, level->half_deg, level->uniform_p).text,
                  words_figures(level->resultant_share, 2).text, report_p(level->uniform_p).text);
    return words;
}

static report_text space_words(const history_articulation* a)
{
    const rlv_disturbance_space* space = &a->disturbance.all.space;
    const rlv_sphere_mean* mean = &space->mean;
    report_text words;
    char plunge[100] = "";
    if (mean->uniform_p < LEVEL && !isnan(space->trend.plunge_deg))
        snprintf(plunge, sizeof plunge, ", plunge %s°", words_number(space->trend.plunge_deg, 0).text);
    if (space->why != NULL)
        snprintf(words.text, sizeof words.text, "%zu motions; no mean (%s)", a->disturbance.all.motions, space->why);
    else
        rlv_print(words.text, sizeof words.text, "%zu motions; %.200s%s, R̄ %s, p of uniform %.20s",
                  a->disturbance.all.motions,
                  bearing_words(space->trend.trend_deg, space->cone_deg, mean->uniform_p).text, plunge,
                  words_figures(mean->resultant_share, 2).text, report_p(mean->uniform_p).text);
    return words;
}

static report_text axes_words(const rlv_disturbance_axes* axes)
{
    const rlv_orientation* o = &axes->tensor;
    report_text words, off_row = {""};
    if (axes->off_row > 0)
        report_add(&off_row, ", with %zu off their rows", axes->off_row);
    if (axes->unsure > 0)
        report_add(&off_row, ", %zu left out that may as well point anywhere", axes->unsure);
    if (axes->why != NULL)
        snprintf(words.text, sizeof words.text, "no orientation tensor (%zu known%s: %s)", o->count, off_row.text,
                 axes->why);
    else
        rlv_print(words.text, sizeof words.text,
                  "of %zu%s: S1 %s, S2 %s, S3 %s, shape K %s, strength C %s, p of uniform %.20s", o->count,
                  off_row.text, words_figures(o->eigenvalue[0], 2).text, words_figures(o->eigenvalue[1], 2).text,
                  words_figures(o->eigenvalue[2], 2).text, words_figures(o->shape, 2).text,
                  words_figures(o->strength, 2).text, report_p(o->uniform_p).text);
    return words;
}

/// The motions that did not go with the current, each with the angle between.
static void add_not_with(report_text* words, const history_articulation* a)
{
    size_t otherwise = 0, told = 0;
    for (size_t i = 0; i < a->disturbance.motion_count; i++)
    {
        const rlv_disturbance_motion* m = &a->disturbance.motion[i];
        const carried_off off = articulation_off_current(a, m);
        told += !isnan(off.off_deg);
        if (off.off_deg > off.most_deg)
            report_add(words, "%s%.100s%s (%.0f° off)", otherwise++ == 0 ? "; not with it: " : ", ", id_of(a, m),
                       m->group > 0 ? " and its stretch" : "", off.off_deg);
    }
    if (told > 0 && otherwise == 0)
        report_add(words, "; every motion that has a direction went with it, as far as errors and scatter tell");
}

/// "74 % likely, by about 24 mm towards 082 ± 20° in the level; not with it: D04 (154° off)"
static report_text current_words(const history_articulation* a)
{
    const rlv_carried* c = &a->carried;
    carried_way way;
    report_text words = {""};
    if (!articulation_has_off_row(a))
        report_add(&words, "not sought: nothing lies off its row");
    else if (!articulation_carried_way(&way, a))
        report_add(&words, "%s likely; no direction of it is told", words_share(c->probability).text);
    else
    {
        report_add(&words, "%s likely, by about %.0f mm towards %03d ± %.0f° (95 %%) in the level%s",
                   words_share(c->probability).text, way.far_mm, way.trend_deg, way.half_deg,
                   a->level_of_bedding ? " of the bedding" : "");
        add_not_with(&words, a);
    }
    return words;
}

/// What such a figure is worth, by what was told of animals of which it is known.
static report_text carried_words(const history_articulation* a)
{
    report_text words = current_words(a);
    if (articulation_has_off_row(a))
        report_add(
            &words,
            ". In simulated animals with five elements off their rows it was told as %s likely on the mean where "
            "a current had carried them, and as %s where they had gone any way",
            words_share(RLV_CARRIED_TOLD_WITH).text, words_share(RLV_CARRIED_TOLD_WITHOUT).text);
    return words;
}

report_text disturbance_brief(const history_articulation* a)
{
    report_text words = report_say("counted, without what is loose: %s. ", level_words(a).text);
    if (!articulation_has_off_row(a))
        report_add(&words, "Nothing lies off its row, so that no more is weighed");
    else
        report_add(&words,
                   "Weighed, with what is loose at each place that it may have had: that a current carried it one way "
                   "is %s. The second rests on what is held likely beforehand (Methods, ‘Loose elements’), the first "
                   "on nothing of the kind",
                   current_words(a).text);
    return words;
}

report_lines disturbance_lines(const history_articulation* a)
{
    const rlv_disturbed* all = &a->disturbance.all;
    return (report_lines){.count = 5,
                          .line = {{"In the level", level_words(a), false},
                                   {"In space", space_words(a), false},
                                   {"Poles of displaced", axes_words(&all->poles), false},
                                   {"Their long axes", axes_words(&all->long_axes), false},
                                   {"Carried one way", carried_words(a), false}}};
}
