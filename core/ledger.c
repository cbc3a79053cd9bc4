#include "ledger.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const double MM3_PER_ML = 1000.0;

static const rlv_interval UNKNOWN = {NAN, NAN, NAN};

/// What an interval sums to, in mL: its value; the squares of its halves without what all steps share and bounds; the
/// half that is shared; and the bound.
typedef struct sum
{
    double ml, low2, high2, shared, unseen;
} sum;

/// Everything that one step, or several together, hold.
typedef struct holdings
{
    sum volume[RLV_CHANGE_CLASSES];
    rlv_weighed weighed; ///< drying that is not recorded is 0 here
    bool damp, dries;    ///< dries: some of it is not recorded
} holdings;

static double square(double x)
{
    return x * x;
}

rlv_interval rlv_interval_add(rlv_interval a, rlv_interval b)
{
    const double value = a.value + b.value;
    return (rlv_interval){value, value - hypot(a.value - a.low, b.value - b.low),
                          value + hypot(a.high - a.value, b.high - b.value)};
}

rlv_interval rlv_interval_less(rlv_interval a, rlv_interval b)
{
    return rlv_interval_add(a, (rlv_interval){-b.value, -b.high, -b.low});
}

rlv_interval rlv_interval_times(rlv_interval i, double factor)
{
    return (rlv_interval){i.value * factor, i.low * factor, i.high * factor};
}

rlv_mass rlv_mass_add(rlv_mass a, rlv_mass b)
{
    return (rlv_mass){a.grams + b.grams, hypot(a.sd_g, b.sd_g)};
}

// What is given

/// An interval that is not known, or that holds its value.
static bool interval_is_sound(rlv_interval i)
{
    return isnan(i.value) ||
           (isfinite(i.value) && i.low <= i.value && i.value <= i.high && isfinite(i.low) && isfinite(i.high));
}

/// A figure that is not known, or finite and not negative with an sd that is.
static bool figure_is_sound(double value, double sd)
{
    return isnan(value) || (isfinite(value) && value >= 0.0 && isfinite(sd) && sd >= 0.0);
}

static bool mass_is_sound(rlv_mass mass)
{
    return figure_is_sound(mass.grams, mass.sd_g);
}

/// A change of mass, which may be of either sign: a block that was soaked gains.
static bool gain_is_sound(rlv_mass mass)
{
    return figure_is_sound(fabs(mass.grams), mass.sd_g);
}

static bool step_is_sound(const rlv_ledger_step* s)
{
    bool sound = mass_is_sound(s->spoil) && mass_is_sound(s->pieces_off) && mass_is_sound(s->pieces_back) &&
                 gain_is_sound(s->drying) && mass_is_sound(s->resin);
    sound = sound && isfinite(s->shared_scale_sd) && s->shared_scale_sd >= 0.0;
    for (int c = 0; c < RLV_CHANGE_CLASSES; c++)
        sound = sound && interval_is_sound(s->volume_mm3[c]) && isfinite(s->unseen_mm3[c]) && s->unseen_mm3[c] >= 0.0;
    return sound;
}

static rlv_status check_input(const rlv_ledger_input* in, rlv_error* error)
{
    const char* mend = "give each value with an interval that holds it, or an sd that is not negative";
    if (in->step_count == 0)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give two stages at least", "there is no step to sum");
    for (int c = 0; c < RLV_CHANGE_CLASSES; c++)
        if (!figure_is_sound(in->density[c].g_cm3, in->density[c].sd_g_cm3) || in->density[c].g_cm3 == 0.0)
            return rlv_fail(error, RLV_BAD_INPUT, NULL, mend, "a density of %g with an sd of %g g/cm3 is none",
                            in->density[c].g_cm3, in->density[c].sd_g_cm3);
    for (size_t k = 0; k < in->step_count; k++)
        if (!step_is_sound(in->step + k))
            return rlv_fail(error, RLV_BAD_INPUT, NULL, mend, "step %zu holds a volume or a mass that is none", k + 1);
    for (size_t k = 0; in->block != NULL && k <= in->step_count; k++)
        if (!mass_is_sound(in->block[k]))
            return rlv_fail(error, RLV_BAD_INPUT, NULL, mend, "the block's mass at stage %zu is none", k + 1);
    return RLV_DONE;
}

// Sums

static sum sum_of(const rlv_ledger_step* s, int kind)
{
    const rlv_interval mm3 = s->volume_mm3[kind];
    const double value = mm3.value / MM3_PER_ML, shared = RLV_HALF_95 * 3.0 * s->shared_scale_sd * value,
                 low = value - mm3.low / MM3_PER_ML, high = mm3.high / MM3_PER_ML - value,
                 unseen = fmin(s->unseen_mm3[kind] / MM3_PER_ML, high);
    return (sum){.ml = value,
                 .low2 = fmax(square(low) - square(shared), 0.0),
                 .high2 = fmax(square(high - unseen) - square(shared), 0.0),
                 .shared = shared,
                 .unseen = unseen};
}

/// What the step before stage `k + 1` holds.
static holdings step_holdings(const rlv_ledger_input* in, size_t k)
{
    const rlv_ledger_step* s = in->step + k;
    const rlv_mass unweighed = {NAN, NAN};
    holdings h = {.weighed = {.before = in->block != NULL ? in->block[k] : unweighed,
                              .after = in->block != NULL ? in->block[k + 1] : unweighed,
                              .spoil = s->spoil,
                              .off = s->pieces_off,
                              .back = s->pieces_back,
                              .drying = isnan(s->drying.grams) ? (rlv_mass){0.0, 0.0} : s->drying,
                              .resin = s->resin},
                  .damp = s->spoil_damp,
                  .dries = isnan(s->drying.grams)};
    for (int c = 0; c < RLV_CHANGE_CLASSES; c++)
        h.volume[c] = sum_of(s, c);
    return h;
}

/// Add a step to those before it: the block is weighed at the first stage and the last.
static void add_holdings(holdings* all, const holdings* step)
{
    all->weighed.after = step->weighed.after;
    all->weighed.spoil = rlv_mass_add(all->weighed.spoil, step->weighed.spoil);
    all->weighed.off = rlv_mass_add(all->weighed.off, step->weighed.off);
    all->weighed.back = rlv_mass_add(all->weighed.back, step->weighed.back);
    all->weighed.drying = rlv_mass_add(all->weighed.drying, step->weighed.drying);
    all->weighed.resin = rlv_mass_add(all->weighed.resin, step->weighed.resin);
    all->damp |= step->damp;
    all->dries |= step->dries;
    for (int c = 0; c < RLV_CHANGE_CLASSES; c++)
    {
        all->volume[c].ml += step->volume[c].ml;
        all->volume[c].low2 += step->volume[c].low2;
        all->volume[c].high2 += step->volume[c].high2;
        all->volume[c].shared += step->volume[c].shared;
        all->volume[c].unseen += step->volume[c].unseen;
    }
}

static rlv_interval around(double value, double low2, double high2)
{
    return isnan(value) ? UNKNOWN : (rlv_interval){value, value - sqrt(low2), value + sqrt(high2)};
}

static rlv_interval volume_of(sum s)
{
    rlv_interval i = around(s.ml, s.low2 + square(s.shared), s.high2 + square(s.shared));
    i.high += s.unseen;
    return i;
}

/// Nothing, and surely nothing: its density does not matter.
static bool is_nothing(sum s)
{
    return s.ml == 0.0 && s.low2 == 0.0 && s.high2 == 0.0 && s.unseen == 0.0;
}

/// Grams of some classes together: volumes and densities err each by itself, scale in common. `unseen` gets what the
/// upper end allows for what lies below the detection limit.
static rlv_interval grams_of(double* unseen, size_t count, const sum* s, const rlv_density* density)
{
    double grams = 0.0, low2 = 0.0, high2 = 0.0, shared = 0.0;
    *unseen = 0.0;
    for (size_t c = 0; c < count; c++)
    {
        if (is_nothing(s[c]))
            continue;
        const double rho = density[c].g_cm3, own = square(RLV_HALF_95 * s[c].ml * density[c].sd_g_cm3);
        grams += rho * s[c].ml;
        low2 += rho * rho * s[c].low2 + own;
        high2 += rho * rho * s[c].high2 + own;
        shared += rho * s[c].shared;
        *unseen += rho * s[c].unseen;
    }
    rlv_interval i = around(grams, low2 + square(shared), high2 + square(shared));
    i.high += *unseen;
    return i;
}

// Balances

static void note_missing(rlv_balance* balance, rlv_ledger_term term, bool missing)
{
    balance->missing |= missing ? (unsigned)term : 0u;
}

/// Close a balance of two sides with the squares of the halves of their difference and what may lie above it beside, or
/// say what is missing.
static void close_balance(rlv_balance* b, double left, double right, double low2, double high2, double unseen)
{
    static const char* const word[] = {"block before", "block after", "spoil",  "pieces off",
                                       "pieces back",  "resin",       "volume", "density"};
    b->closed = b->missing == 0;
    b->left_g = b->closed ? left : NAN;
    b->right_g = b->closed ? right : NAN;
    b->unexplained_g = around(b->closed ? left - right : NAN, low2, high2);
    b->unexplained_g.high += unseen;
    b->within = b->closed && (b->holds_drying || b->unexplained_g.low <= 0.0) && b->unexplained_g.high >= 0.0;
    size_t length = 0;
    for (size_t t = 0; t < sizeof word / sizeof *word; t++)
        if (b->missing & 1u << t)
            length += (size_t)snprintf(b->missing_words + length, sizeof b->missing_words - length, "%s%s",
                                       length > 0 ? ", " : "", word[t]);
}

/// Block before less after is what left it less what came to it.
static rlv_balance balance_mass(const holdings* h)
{
    const rlv_weighed* w = &h->weighed;
    rlv_balance b = {.damp = h->damp, .holds_drying = h->dries};
    const rlv_mass* term[] = {&w->before, &w->after, &w->spoil, &w->off, &w->back, &w->resin};
    double variance = square(w->drying.sd_g);
    for (size_t t = 0; t < sizeof term / sizeof *term; t++)
    {
        note_missing(&b, (rlv_ledger_term)(1u << t), isnan(term[t]->grams));
        variance += square(term[t]->sd_g);
    }
    const double half2 = RLV_HALF_95 * RLV_HALF_95 * variance;
    close_balance(&b, w->before.grams - w->after.grams,
                  w->spoil.grams + w->off.grams - w->back.grams + w->drying.grams - w->resin.grams, half2, half2, 0.0);
    return b;
}

/// What was measured to go, in grams, is the spoil.
static rlv_balance balance_spoil(const rlv_ledger_input* in, const holdings* h)
{
    rlv_balance b = {.damp = h->damp};
    double unseen;
    const rlv_interval measured =
        grams_of(&unseen, 2, h->volume + RLV_CHANGE_REMOVED, in->density + RLV_CHANGE_REMOVED);
    for (int c = RLV_CHANGE_REMOVED; c <= RLV_CHANGE_BONE; c++)
    {
        note_missing(&b, RLV_TERM_VOLUME, isnan(h->volume[c].ml));
        note_missing(&b, RLV_TERM_DENSITY, isnan(in->density[c].g_cm3) && !is_nothing(h->volume[c]));
    }
    note_missing(&b, RLV_TERM_SPOIL, isnan(h->weighed.spoil.grams));
    const double weighed2 = square(RLV_HALF_95 * h->weighed.spoil.sd_g);
    close_balance(&b, measured.value, h->weighed.spoil.grams, square(measured.value - measured.low) + weighed2,
                  square(measured.high - unseen - measured.value) + weighed2, unseen);
    return b;
}

static rlv_ledger_row tell_row(const rlv_ledger_input* in, const holdings* h)
{
    rlv_ledger_row row = {.weighed = h->weighed, .mass = balance_mass(h), .spoil = balance_spoil(in, h)};
    if (h->dries && h->weighed.drying.grams == 0.0 && h->weighed.drying.sd_g == 0.0)
        row.weighed.drying = (rlv_mass){NAN, NAN};
    for (int c = 0; c < RLV_CHANGE_CLASSES; c++)
    {
        double unseen;
        row.ml[c] = volume_of(h->volume[c]);
        row.g[c] = grams_of(&unseen, 1, h->volume + c, in->density + c);
    }
    return row;
}

rlv_status rlv_ledger_sum(rlv_ledger_row* step, rlv_ledger_row* cumulative, const rlv_ledger_input* input,
                          rlv_error* error)
{
    const rlv_status status = check_input(input, error);
    if (status != RLV_DONE)
        return status;
    holdings all = step_holdings(input, 0);
    for (size_t k = 0; k < input->step_count; k++)
    {
        const holdings own = step_holdings(input, k);
        if (k > 0)
            add_holdings(&all, &own);
        step[k] = tell_row(input, &own);
        cumulative[k] = tell_row(input, &all);
    }
    return RLV_DONE;
}
