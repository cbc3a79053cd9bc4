#include "life.h"

#include <gsl/gsl_cdf.h>
#include <stdlib.h>
#include <string.h>

enum
{
    LEAST_WINDOW = 4,     ///< elements that moved together: three displaced neighbours are too often alike by chance
    FEW = 5,              ///< in a window of so many two displaced by themselves are enough to make it move
    MANY = 12,            ///< and beyond so many a gap and a rough step some way off
    LEAST_BESIDE = 2,     ///< elements in the fit on either side of a window, in its row
    LEAST_BESIDE_GAP = 3, ///< and of a natural gap: of fewer, it is they that may have moved
    MOST_GAPS = 12,       ///< that windows are looked at beside
    WALKS = 5,            ///< penalties of the walk that are tried
    OWNS = 3,             ///< and of a row's own smooth part
    FITS = WALKS * OWNS,
};

/// The logs of the penalties that are tried lie so far apart: those of the walk to either side of what the other rows
/// have, those of the row's own part below it.
static const double WALK_STEP = 1.5, OWN_STEP = 2.5;

/// What a gap that windows are looked at beside takes off the deviance, at least.
static const double LEAST_GAP = 9.0;

/// What is found explains by this much more than nothing does, and than what is simpler: of minus twice the log of a p
/// by itself. A gap is one of a few dozen steps, and its p is held to 1 in 100. Of windows there are some twenty with
/// an end at any step, and the best of twenty takes 2 log 20 = 6 more off by chance: so much more is asked of a window
/// than of a gap at one of its ends.
static const double PRICE_OF_GAP = 12.0, PRICE_OF_WINDOW = 18.0;

/// By how much windows of few and of many elements are less likely beforehand than others.
static const double UNLIKELY = 10.0;

/// Ways that the p of a window is read in: along the body alone, and whichever way.
static const double READINGS = 2.0;

/// An element lies apart where its distance is beyond that of 1 in 1,000: chi-square of three.
static const double MOST_CHI2 = 16.27;

/// Sums of a value over the elements of the row in the fit, y their observations, and P the matrix that takes what is
/// known of the order out of them: any window's share of y'P y is read from four entries.
typedef struct row_sums
{
    double* score;              ///< n + 1: of P y, up to each element
    double* info;               ///< (n + 1) * (n + 1): of P, over the elements up to each and up to each
    double left, freedom, logs; ///< y'P y of all rows, its degrees of freedom; what the likelihood has beside it
} row_sums;

/// What is supposed of a row: elements `from` up to `to` moved together, and the spacing before `beyond` is free. None
/// moved: from = to; no gap: beyond = n.
typedef struct supposed
{
    size_t from, to, beyond;
} supposed;

typedef struct scan
{
    rlv_life* life;
    size_t row, n; ///< its elements in the fit
    size_t* of;    ///< n indices of them
    row_sums along[FITS], across[OWNS][2];
    double still[2]; ///< deviance of along and across where nothing is supposed
} scan;

/// What suits best of the penalties that are tried.
typedef struct suited
{
    const row_sums* sums;
    double deviance, phi;
} suited;

static void free_scan(scan* s)
{
    for (size_t k = 0; k < FITS; k++)
        free(s->along[k].score), free(s->along[k].info);
    for (size_t k = 0; k < 2 * OWNS; k++)
        free(s->across[k / 2][k % 2].score), free(s->across[k / 2][k % 2].info);
    free(s->of);
}

/// Millimetres of a unit of a slot's value.
static double unit_of(const rlv_life* life, size_t slot, size_t value)
{
    return value == 0 ? life->stretch[slot] : 1.0;
}

/// Sum up a value as it has just been tried. With W the weights, e what the fit leaves and C its covariance over phi,
/// P y = W e and P = W - W C W.
static void sum_up(const scan* s, row_sums* to, size_t value)
{
    const rlv_life* life = s->life;
    const size_t n = s->n, first = life->first[s->row], slots = life->first[s->row + 1] - first;
    const double unit = life->spread[rlv_life_kind_of(value)].unit,
                 *block = life->covariance[rlv_life_spread_index(value)] + life->block[s->row], *ahead = life->room[0];
    for (size_t i = 0; i < n; i++)
    {
        const rlv_life_element* a = &life->element[s->of[i]];
        const double weight = unit / rlv_life_scatter(life, a, value), scale = unit_of(life, a->slot, value);
        double sum = 0.0;
        to->score[i + 1] = to->score[i] + weight * (a->off[value] - scale * ahead[a->slot]);
        for (size_t j = 0; j < n; j++)
        {
            const rlv_life_element* b = &life->element[s->of[j]];
            const double other = unit / rlv_life_scatter(life, b, value) * unit_of(life, b->slot, value);
            sum +=
                (i == j ? weight : 0.0) - weight * scale * other * block[(a->slot - first) * slots + (b->slot - first)];
            to->info[(i + 1) * (n + 1) + j + 1] = to->info[i * (n + 1) + j + 1] + sum;
        }
    }
}

static rlv_status try_penalty(scan* s, row_sums* to, size_t value, double walk, double own, rlv_error* error)
{
    rlv_smoother_penalty penalty = s->life->spread[rlv_life_kind_of(value)].penalty;
    penalty.walk *= exp(walk), penalty.own *= exp(own);
    if ((to->score = rlv_reserve(s->n + 1, sizeof(double), error)) == NULL ||
        (to->info = rlv_reserve((s->n + 1) * (s->n + 1), sizeof(double), error)) == NULL)
        return RLV_SYSTEM;
    const rlv_life_profile p = rlv_life_try(s->life, s->row, value, penalty);
    to->left = p.left, to->freedom = p.freedom, to->logs = p.logs;
    sum_up(s, to, value);
    return RLV_DONE;
}

/// Sum of P over a block: elements a up to b, and c up to d.
static double info_of(const scan* s, const row_sums* t, size_t a, size_t b, size_t c, size_t d)
{
    const size_t m = s->n + 1;
    return t->info[b * m + d] - t->info[a * m + d] - t->info[b * m + c] + t->info[a * m + c];
}

/// By how much less is left of the squares where what is supposed is fitted.
static double taken_off(const scan* s, const row_sums* t, supposed h)
{
    const double x = t->score[h.to] - t->score[h.from], y = t->score[s->n] - t->score[h.beyond],
                 xx = info_of(s, t, h.from, h.to, h.from, h.to), yy = info_of(s, t, h.beyond, s->n, h.beyond, s->n),
                 xy = info_of(s, t, h.from, h.to, h.beyond, s->n), least = 1e-9 * (double)s->n;
    if (!(xx > least))
        return yy > least ? y * y / yy : 0.0; // nothing is known of it: it is free already
    const double rest = yy - xy * xy / xx, off = y - xy / xx * x;
    return x * x / xx + (yy > least && rest > 1e-9 * yy ? off * off / rest : 0.0);
}

/// Minus twice the log of the likelihood of `values` values of one kind: phi no less than what measuring brings.
static void weigh(const scan* s, rlv_life_kind kind, const row_sums* t, size_t values, supposed h, suited* best)
{
    const rlv_life_spread* spread = &s->life->spread[kind];
    double left = 0.0, freedom = 0.0, logs = 0.0;
    for (size_t v = 0; v < values; v++)
    {
        left += fmax(t[v].left - taken_off(s, &t[v], h), 0.0);
        freedom += t[v].freedom, logs += t[v].logs;
    }
    const double phi = fmax(left / freedom, spread->unit - spread->natural),
                 deviance = freedom * log(phi) + left / phi + logs;
    if (deviance < best->deviance)
        *best = (suited){t, deviance, phi};
}

static suited along_of(const scan* s, supposed h)
{
    suited best = {s->along, INFINITY, 1.0};
    for (size_t k = 0; k < FITS; k++)
        weigh(s, RLV_LIFE_ALONG, &s->along[k], 1, h, &best);
    return best;
}

static suited across_of(const scan* s, supposed h)
{
    suited best = {s->across[0], INFINITY, 1.0};
    h.beyond = s->n; // a wide step leaves the offsets as they are
    for (size_t k = 0; k < OWNS; k++)
        weigh(s, RLV_LIFE_ACROSS, s->across[k], 2, h, &best);
    return best;
}

static size_t longest_window(const rlv_life* life, size_t row)
{
    const size_t half = (life->row[row].end - life->row[row].begin) / 2;
    return half < RLV_LIFE_MOST_GROUP ? half : RLV_LIFE_MOST_GROUP;
}

double rlv_life_windows(const rlv_life* life)
{
    double sum = 0.0;
    for (size_t r = 0; r < life->rows; r++)
        for (size_t n = LEAST_WINDOW; n <= longest_window(life, r); n++)
            sum += (double)(life->row[r].end - life->row[r].begin - n + 1);
    return sum;
}

double rlv_life_price_of_window(size_t elements)
{
    return READINGS * (elements <= FEW || elements > MANY ? UNLIKELY : 1.0);
}

static rlv_status lay_scan(scan* s, rlv_error* error)
{
    const rlv_life_row* r = &s->life->row[s->row];
    if ((s->of = rlv_reserve(r->end - r->begin, sizeof *s->of, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t i = r->begin; i < r->end; i++)
        if (s->life->element[i].trust[0] > 0.5)
            s->of[s->n++] = i;
    rlv_status status = RLV_DONE;
    for (size_t k = 0; k < 2 * OWNS && status == RLV_DONE; k++)
        status = try_penalty(s, &s->across[k / 2][k % 2], 1 + k % 2, 0.0, -OWN_STEP * (double)(k / 2), error);
    for (size_t k = 0; k < FITS && status == RLV_DONE; k++)
        status = try_penalty(s, &s->along[k], 0, WALK_STEP * ((double)(k % WALKS) - 0.5 * (WALKS - 1)),
                             -OWN_STEP * (double)(k / WALKS), error);
    for (size_t v = 0; v < 2; v++) // as they were
        rlv_life_try(s->life, s->row, v, s->life->spread[rlv_life_kind_of(v)].penalty);
    if (status != RLV_DONE)
        return status;
    s->still[0] = along_of(s, (supposed){.beyond = s->n}).deviance;
    s->still[1] = across_of(s, (supposed){.beyond = s->n}).deviance;
    return RLV_DONE;
}

/// A gap that windows are looked at beside.
typedef struct tried_gap
{
    size_t beyond;
    double taken, evidence; ///< off the deviance; minus twice the log of its p by itself
} tried_gap;

/// None, and the clearest gaps. Returns how many.
static size_t try_gaps(const scan* s, tried_gap gap[MOST_GAPS + 1])
{
    size_t gaps = 1;
    gap[0] = (tried_gap){.beyond = s->n};
    for (size_t i = LEAST_BESIDE_GAP; i + LEAST_BESIDE_GAP <= s->n; i++)
    {
        const double taken = s->still[0] - along_of(s, (supposed){0, 0, i}).deviance;
        if (taken < LEAST_GAP)
            continue;
        size_t at = gaps;
        if (gaps <= MOST_GAPS)
            gaps++;
        else
            for (size_t k = at = 1; k < gaps; k++)
                at = gap[k].taken < gap[at].taken ? k : at;
        if (gap[at].taken < taken)
            gap[at] = (tried_gap){i, taken, -2.0 * log(gsl_cdf_chisq_Q(taken, 1.0))};
    }
    return gaps;
}

/// Minus twice the log of a window's p by itself, beside a gap or none.
static double evidence_of(const scan* s, supposed h, const tried_gap* gap)
{
    const double along = fmax(s->still[0] - along_of(s, h).deviance - gap->taken, 0.0),
                 all = along + fmax(s->still[1] - across_of(s, h).deviance, 0.0);
    return -2.0 *
           log(rlv_life_price_of_window(h.to - h.from) * fmin(gsl_cdf_chisq_Q(along, 1.0), gsl_cdf_chisq_Q(all, 3.0)));
}

/// Whether elements `from` up to `to` of those in the fit make a window: no more than one may hold, with those between
/// them that are not in the fit, and none of these of another stretch.
static bool is_window(const scan* s, size_t from, size_t to)
{
    if (to + LEAST_BESIDE > s->n || s->of[to - 1] - s->of[from] >= longest_window(s->life, s->row))
        return false;
    for (size_t i = s->of[from]; i < s->of[to - 1]; i++)
        if (s->life->element[i].group > 0)
            return false;
    return true;
}

/// What of nothing, gaps, windows, and windows beside gaps explains most, each less its price.
static rlv_life_scanned find_best(const scan* s, supposed* is)
{
    tried_gap gap[MOST_GAPS + 1] = {0};
    const size_t gaps = try_gaps(s, gap);
    rlv_life_scanned found = {.evidence = 0.0, .gap_p = 1.0};
    double best = 0.0;
    *is = (supposed){.beyond = s->n};
    for (size_t k = 0; k < gaps; k++)
    {
        const double own = k > 0 ? gap[k].evidence - PRICE_OF_GAP : 0.0,
                     p = k > 0 ? fmin((double)s->n * exp(-0.5 * gap[k].evidence), 1.0) : 1.0;
        if (own > best)
            best = own, *is = (supposed){0, 0, gap[k].beyond}, found = (rlv_life_scanned){.gap_p = p};
        for (size_t a = LEAST_BESIDE; a < s->n; a++)
            for (size_t b = a + LEAST_WINDOW; is_window(s, a, b); b++)
            {
                const supposed h = {a, b, gap[k].beyond};
                const double evidence = evidence_of(s, h, &gap[k]);
                if (own + evidence - PRICE_OF_WINDOW > best)
                    best = own + evidence - PRICE_OF_WINDOW, *is = h,
                    found = (rlv_life_scanned){.evidence = evidence, .gap_p = p};
            }
    }
    return found;
}

/// Chi-square of one of an element by itself against all others, where what is supposed is fitted.
static double apart(const scan* s, const row_sums* t, supposed h, size_t i, double phi)
{
    const size_t from[3] = {h.from, h.beyond, i}, to[3] = {h.to, s->n, i + 1};
    double score[3], info[3][3];
    for (int k = 0; k < 3; k++)
    {
        score[k] = t->score[to[k]] - t->score[from[k]];
        for (int l = 0; l < 3; l++)
            info[k][l] = info_of(s, t, from[k], to[k], from[l], to[l]);
    }
    const double whole = info[2][2];
    for (int k = 0; k < 2; k++)
        for (int l = k + 1; l < 3 && info[k][k] > 1e-9 * (double)s->n; l++)
        {
            const double share = info[l][k] / info[k][k];
            score[l] -= share * score[k];
            for (int m = k + 1; m < 3; m++)
                info[l][m] -= share * info[k][m];
        }
    return info[2][2] > 1e-9 * whole ? score[2] * score[2] / (info[2][2] * phi) : 0.0;
}

/// Tell which elements lie apart, and which moved with the window.
static void judge(const scan* s, supposed h, bool* member, bool* out)
{
    const suited along = along_of(s, h), across = across_of(s, h);
    const supposed beside = {h.from, h.to, s->n};
    for (size_t i = 0; i < s->n; i++)
    {
        const double chi2 = apart(s, along.sums, h, i, along.phi) + apart(s, &across.sums[0], beside, i, across.phi) +
                            apart(s, &across.sums[1], beside, i, across.phi);
        out[s->of[i]] = chi2 > MOST_CHI2;
        member[s->of[i]] = i >= h.from && i < h.to && !out[s->of[i]];
    }
}

rlv_status rlv_life_scan(rlv_life* life, size_t row, rlv_life_scanned* found, bool* member, bool* out, rlv_error* error)
{
    scan s = {.life = life, .row = row};
    supposed is;
    *found = (rlv_life_scanned){.p = 1.0, .gap = SIZE_MAX, .gap_p = 1.0};
    memset(member, 0, life->count * sizeof *member);
    memset(out, 0, life->count * sizeof *out);
    const rlv_status status = lay_scan(&s, error);
    if (status == RLV_DONE && s.n > 0)
    {
        *found = find_best(&s, &is);
        judge(&s, is, member, out);
        size_t members = 0;
        for (size_t i = is.from; i < is.to; i++)
            members += member[s.of[i]];
        const bool moved = members >= LEAST_WINDOW;
        found->p = moved ? fmin(rlv_life_windows(life) * exp(-0.5 * found->evidence), 1.0) : 1.0;
        found->gap = is.beyond < s.n ? life->element[s.of[is.beyond - 1]].slot : SIZE_MAX;
    }
    free_scan(&s);
    return status;
}
