#include "rejoin_told.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const rlv_interval unknown = {(double)NAN, (double)NAN, (double)NAN};

void rejoin_told_free(rejoin_told* told)
{
    rlv_rejoin_free(&told->of);
    free(told->run);
    told->run = NULL;
    told->run_count = 0;
}

// --- Words for directions --------------------------------------------------------------------------------------------

void rejoin_name_axes(rejoin_told* told)
{
    static const char* const name[6] = {"towards +x", "towards " WORDS_MINUS "x",
                                        "towards +y", "towards " WORDS_MINUS "y",
                                        "towards +z", "towards " WORDS_MINUS "z"};
    for (size_t k = 0; k < 6; k++)
    {
        const double sign = k % 2 == 0 ? 1.0 : -1.0;
        told->way[k] = (rlv_direction){
            rlv_vec3_of(k / 2 == 0 ? sign : 0.0, k / 2 == 1 ? sign : 0.0, k / 2 == 2 ? sign : 0.0), name[k]};
    }
    told->way_count = 6;
}

/// The named direction that lies nearest to one, leaving out those that lie along `but`; NULL where none is within 60
/// degrees.
static const rlv_direction* nearest_way(const rejoin_told* told, rlv_vec3 way, const rlv_direction* but)
{
    const rlv_direction* best = NULL;
    double closest = 0.5;
    for (size_t i = 0; i < told->way_count; i++)
    {
        const rlv_direction* one = &told->way[i];
        const double close = rlv_vec3_dot(way, one->way);
        if (close > closest && (but == NULL || fabs(rlv_vec3_dot(one->way, but->way)) < 0.7))
        {
            best = one;
            closest = close;
        }
    }
    return best;
}

#define ALONE 0.92 // cosine of 23 degrees: a direction this near has no need of a second

rlv_words rejoin_way(const rejoin_told* told, rlv_vec3 way)
{
    rlv_words words = {""};
    const rlv_direction* first = nearest_way(told, way, NULL);
    if (first == NULL)
    {
        rlv_print(words.text, sizeof words.text, "along (%.20s, %.20s, %.20s)", words_number(way.x, 2).text,
                  words_number(way.y, 2).text, words_number(way.z, 2).text);
        return words;
    }
    const rlv_vec3 rest = rlv_vec3_unit(rlv_vec3_along(way, -rlv_vec3_dot(way, first->way), first->way));
    const rlv_direction* second = rlv_vec3_dot(way, first->way) < ALONE ? nearest_way(told, rest, first) : NULL;
    rlv_print(words.text, sizeof words.text, "%.30s%s%.30s", first->name, second != NULL ? " and " : "",
              second != NULL ? second->name : "");
    return words;
}

// --- Measuring -------------------------------------------------------------------------------------------------------

/// Told where an interval does not hold it: from a tenth of how sure the closed place is.
static void warn_of_scale(const rejoin_told* told, rlv_answer* answer)
{
    const double off_mm = hypot(told->block.scale_sd, told->piece.scale_sd) * 0.5 * sqrt(told->of.joint_mm2);
    if (off_mm > 0.5 * rlv_pose_position_sd_mm(&told->of.closed))
        answer_warn(answer,
                    "%s: the scales of the two scans leave its edges uncertain by %s mm (sd), which no interval holds",
                    told->piece.name, words_figures(off_mm, 2).text);
}

static void warn(const rejoin_told* told, rlv_answer* answer)
{
    const rlv_rejoin* of = &told->of;
    if (told->before.mesh != NULL && !of->found_known)
        answer_warn(answer, "%s: the two parts were not both found on %s: they are closed by their faces alone",
                    told->piece.name, told->before.name);
    if (of->verdict == RLV_REJOIN_LOOSE)
        answer_warn(answer, "%s: %s", told->piece.name, of->reason);
    if (of->contact_count > 0 && rejoin_presses(&of->contact[0]))
        answer_warn(answer,
                    "%s: to lie as closed, rock would have to go at its contacts, %s mL in all and up to %s mm deep; "
                    "left as they are they hold it apart there",
                    told->piece.name, words_figures(of->relieve_mm3 / 1000.0, 2).text,
                    words_figures(of->contact[0].pressed_mm, 2).text);
    if (of->bone_touch == RLV_REJOIN_BONE_FIRST)
        answer_warn(answer, "%s: closed, bone is the first to touch", told->piece.name);
    if (told->after.mesh != NULL && !told->of.back_known)
        answer_warn(answer, "%s: it was not found on %s, where it is back: its gap there is not told", told->piece.name,
                    told->after.name);
    warn_of_scale(told, answer);
}

void rejoin_told_finish(rejoin_told* told, rlv_answer* answer)
{
    told->judged = told->measured = true;
    if (told->of.found_known)
        told->motion = rlv_handling_of(&told->of.found, &told->of.closed, told->of.joint_mm, told->of.joint_normal);
    warn(told, answer);
}

rlv_status rejoin_told_measure(rejoin_told* told, rlv_answer* answer, rlv_error* error)
{
    const rlv_pose in_place = rlv_pose_identity();
    const rlv_rejoin_input input = {.block = told->block.mesh,
                                    .piece = told->piece.mesh,
                                    .before = told->before.mesh,
                                    .after = told->after.mesh,
                                    .block_face = told->block_face,
                                    .piece_face = told->piece_face,
                                    .block_bone = told->block_bone,
                                    .piece_bone = told->piece_bone,
                                    .block_in_before = told->placed ? &in_place : NULL,
                                    .progress = answer->progress};
    const rlv_status status = rlv_rejoin_measure(&told->of, &input, error);
    told->judged = told->of.reason[0] != '\0';
    if (status == RLV_IMPOSSIBLE)
        rlv_print(told->why, sizeof told->why, "%.700s; %.300s", error->what, error->mend);
    if (status == RLV_DONE)
        rejoin_told_finish(told, answer);
    return status;
}

// --- Quantities ------------------------------------------------------------------------------------------------------

rejoin_straight rejoin_run_straight(const rejoin_run* run)
{
    if (!run->measured || isnan(run->of.p))
        return REJOIN_STRAIGHT_UNTOLD;
    return run->of.p < REJOIN_RUN_LEVEL ? REJOIN_NOT_STRAIGHT : REJOIN_STRAIGHT;
}

bool rejoin_bone_touches(const rejoin_told* told)
{
    return told->of.bone_touch == RLV_REJOIN_BONE_FIRST || told->of.bone_touch == RLV_REJOIN_BONE_MAY;
}

bool rejoin_presses(const rlv_rejoin_contact* contact)
{
    return contact->pressed_mm > REJOIN_PRESSES_MM;
}

double rejoin_film_mm3(const rejoin_told* told)
{
    return told->film_mm * told->of.joint_mm2;
}

/// A product of two that are independent, each with its sd.
static rlv_interval product(double a, double a_sd, double b, double b_sd)
{
    const double half = RLV_HALF_95 * hypot(a * b_sd, b * a_sd);
    return (rlv_interval){a * b, fmax(a * b - half, 0.0), a * b + half};
}

/// Whether an outline is the piece's: of its mask, or of its face.
static bool is_of_piece(const rejoin_told* told, const char* outline)
{
    if (outline == NULL)
        return false;
    const rlv_specimen* s = told->specimen;
    bool own = told->record->face != NULL && strcmp(told->record->face, outline) == 0;
    for (size_t i = 0; i < s->mask_count; i++)
    {
        const rlv_mask_record* mask = &s->mask[i];
        own = own || (mask->kind == RLV_MASK_PIECE && mask->piece != NULL && mask->outline != NULL &&
                      strcmp(mask->piece, told->record->id) == 0 && strcmp(mask->outline, outline) == 0);
    }
    return own;
}

bool rejoin_treatment_next(const rejoin_told* told, size_t* next, rejoin_treatment* treatment)
{
    if (told->record == NULL)
        return false;
    const char* const when[2] = {told->record->detached, told->record->joined};
    size_t at = 0;
    for (int k = 0; k < 2; k++)
    {
        const rlv_stage_record* stage = rlv_specimen_stage(told->specimen, when[k]);
        for (size_t i = 0; stage != NULL && i < stage->treatment_count; i++, at++)
        {
            const rlv_treatment_record* one = &stage->treatment[i];
            if (at < *next || !is_of_piece(told, one->area))
                continue;
            const rlv_density_record* density = rlv_specimen_density(told->specimen, one->material);
            *treatment = (rejoin_treatment){stage, one, unknown};
            if (one->dry_g != NULL && density != NULL)
                treatment->dry_mm3 = product(1000.0 * *one->dry_g, 0.0, 1.0 / density->g_cm3,
                                             density->sd_g_cm3 / (density->g_cm3 * density->g_cm3));
            *next = at + 1;
            return true;
        }
    }
    return false;
}
