#include "words.h"

#include <glib.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

int words_decimals(double sd)
{
    if (!(sd > 0.0) || !isfinite(sd))
        return 12;
    int place = (int)floor(log10(sd));
    // A hair under a power of ten: 0.0999… is a tenth.
    if (sd / pow(10.0, place) >= 9.5)
        place++;
    bool first_is_one = sd / pow(10.0, place) < 1.95;
    int decimals = first_is_one ? 1 - place : -place;
    return decimals < 12 ? decimals : 12;
}

static rlv_words rounded(double value, int decimals, double (*rounding)(double))
{
    rlv_words out;
    if (!isfinite(value))
    {
        snprintf(out.text, sizeof out.text, "not known");
        return out;
    }
    double unit = pow(10.0, abs(decimals));
    double whole = rounding(decimals >= 0 ? value * unit : value / unit);
    double shown = decimals >= 0 ? whole / unit : whole * unit;
    // No "-0.0". A hyphen is too short and too low for a minus.
    snprintf(out.text, sizeof out.text, "%s%.*f", shown < 0.0 ? WORDS_MINUS : "", decimals > 0 ? decimals : 0,
             fabs(shown));
    return out;
}

rlv_words words_number(double value, int decimals)
{
    return rounded(value, decimals, nearbyint);
}

rlv_words words_figures(double value, int figures)
{
    if (value == 0.0 || !isfinite(value))
        return rounded(value, 0, nearbyint);
    int place = (int)floor(log10(fabs(value)));
    // 9.996 to three figures is 10.0, a place higher.
    if (nearbyint(fabs(value) / pow(10.0, place - figures + 1)) >= pow(10.0, figures))
        place++;
    return rounded(value, figures - 1 - place, nearbyint);
}

size_t words_width(const char* text)
{
    if (!g_utf8_validate(text, -1, NULL))
        return strlen(text);
    size_t width = 0;
    for (const char* at = text; *at != '\0'; at = g_utf8_next_char(at))
    {
        const gunichar letter = g_utf8_get_char(at);
        width += g_unichar_iszerowidth(letter) ? 0 : g_unichar_iswide(letter) ? 2 : 1;
    }
    return width;
}

rlv_words words_known(double value, double sd)
{
    if (sd > 0.0 && isfinite(sd))
        return words_number(value, words_decimals(sd));
    // What was written down as 0.25 h is not shown as 0.2500 h; what was -0.25, with its minus.
    const rlv_words four = words_figures(value, 4), exact = words_exact(fabs(value));
    if (strlen(exact.text) >= words_width(four.text) - (value < 0.0) || strchr(exact.text, 'e') != NULL)
        return four;
    rlv_words out;
    snprintf(out.text, sizeof out.text, "%s%.40s", value < 0.0 ? WORDS_MINUS : "", exact.text);
    return out;
}

int words_written(double value)
{
    // Sums of decimals are off by a few parts in 2^53; a millionth of the last figure is far more.
    int decimals = 0;
    for (double scaled = fabs(value); decimals < 6 && fabs(scaled - nearbyint(scaled)) > 1e-6; decimals++)
        scaled = fabs(value) * pow(10.0, decimals + 1);
    return decimals;
}

rlv_words words_recorded(double value)
{
    return words_number(value, isfinite(value) ? words_written(value) : 0);
}

rlv_words words_right(rlv_words words, size_t width)
{
    rlv_words out;
    const size_t own = words_width(words.text), pad = width > own ? width - own : 0;
    snprintf(out.text, sizeof out.text, "%*s%.60s", (int)(pad < 16 ? pad : 16), "", words.text);
    return out;
}

double words_sd(rlv_interval interval)
{
    return (interval.high - interval.low) / (2.0 * RLV_HALF_95);
}

/// One decimal more where a lower end above zero would read as zero without it, and does not with it.
static int decimals_of_low(double low, int decimals)
{
    const double figure = pow(10.0, -decimals);
    return low < figure && low >= 0.1 * figure ? decimals + 1 : decimals;
}

/// Without an upper end its lower half tells; four figures where its width is not known.
int words_interval_decimals(rlv_interval interval, double unit)
{
    if (isfinite(interval.low) && !isfinite(interval.high))
        interval.high = 2.0 * interval.value - interval.low;
    double sd = words_sd(interval) / unit;
    if (sd > 0.0 && isfinite(sd))
        return decimals_of_low(interval.low / unit, words_decimals(sd));
    double size = fabs(interval.value / unit);
    return size > 0.0 && isfinite(size) ? 3 - (int)floor(log10(size)) : 0;
}

static rlv_words bound(double value, double (*rounding)(double))
{
    if (!(value > 0.0) || !isfinite(value))
        return words_figures(value, 2);
    const double figure = pow(10.0, floor(log10(value)) - 1.0), hair = rounding == floor ? 1e-9 : -1e-9;
    return words_figures(rounding(value / figure + hair) * figure, 2);
}

int words_found_decimals(rlv_interval interval, double unit)
{
    const int decimals = words_interval_decimals(interval, unit);
    const double value = interval.value / unit;
    if (!(value > 0.0) || !isfinite(value) || nearbyint(value * pow(10.0, decimals)) > 0.0)
        return decimals;
    const int first = -(int)floor(log10(value)); // of its first figure
    return first > decimals ? first : decimals;
}

rlv_words words_at_most(double value)
{
    return bound(value, ceil);
}

rlv_words words_at_least(double value)
{
    return bound(value, floor);
}

bool words_is_bound(rlv_interval interval)
{
    return interval.value == 0.0 && interval.low == 0.0 && interval.high > 0.0;
}

rlv_words words_value(rlv_interval interval, double unit)
{
    if (words_is_bound(interval))
        return words_number(0.0, 0);
    return words_number(interval.value / unit, words_interval_decimals(interval, unit));
}

rlv_words words_ends_to(rlv_interval interval, double unit, int decimals)
{
    rlv_words out;
    // A thousandth of the last figure is the floor: what stands on a figure to rounding stays on it.
    double hair = 1e-3 * pow(10.0, -decimals);
    snprintf(out.text, sizeof out.text, "%.36s to %.36s", rounded(interval.low / unit + hair, decimals, floor).text,
             rounded(interval.high / unit - hair, decimals, ceil).text);
    return out;
}

rlv_words words_ends(rlv_interval interval, double unit)
{
    if (words_is_bound(interval))
    {
        rlv_words out;
        snprintf(out.text, sizeof out.text, "0 to %.36s", words_at_most(interval.high / unit).text);
        return out;
    }
    return words_ends_to(interval, unit, words_interval_decimals(interval, unit));
}

rlv_words words_share(double share)
{
    rlv_words out;
    if (isfinite(share))
        snprintf(out.text, sizeof out.text, "%.0f %%", 100.0 * share);
    else
        snprintf(out.text, sizeof out.text, "not known");
    return out;
}

rlv_words words_chance(double probability)
{
    if (probability < 0.01)
        return (rlv_words){"under 1 %"};
    return probability > 0.99 ? (rlv_words){"over 99 %"} : words_share(probability);
}

rlv_words words_span(int first, int last)
{
    rlv_words out;
    if (last > first)
        snprintf(out.text, sizeof out.text, "%d" WORDS_DASH "%d", first, last);
    else
        snprintf(out.text, sizeof out.text, "%d", first);
    return out;
}

rlv_words words_trend(double trend_deg, double plunge_deg)
{
    rlv_words out;
    const long trend = lround(trend_deg) % 360, plunge = lround(plunge_deg);
    snprintf(out.text, sizeof out.text, "%03ld/%s%02ld", trend < 0 ? trend + 360 : trend, plunge < 0 ? WORDS_MINUS : "",
             labs(plunge));
    return out;
}

bool words_say_id(const char* name, const char* id)
{
    if (name == NULL || id == NULL || id[0] == '\0')
        return false;
    const size_t length = strlen(id);
    const char next = strlen(name) >= length ? name[length] : 'x';
    return strncasecmp(name, id, length) == 0 && (next == '\0' || strchr(" ,.:;()-", next) != NULL);
}

rlv_words words_count(size_t count, const char* noun)
{
    rlv_words out;
    const char* slash = strchr(noun, '/');
    if (slash == NULL)
        snprintf(out.text, sizeof out.text, "%zu %.50s%s", count, noun, count == 1 ? "" : "s");
    else if (count == 1)
        snprintf(out.text, sizeof out.text, "1 %.*s", (int)(slash - noun), noun);
    else
        snprintf(out.text, sizeof out.text, "%zu %.50s", count, slash + 1);
    return out;
}

rlv_words words_exact(double value)
{
    rlv_words out = {""};
    for (int figures = 15; isfinite(value) && figures <= 17; figures++)
    {
        snprintf(out.text, sizeof out.text, "%.*g", figures, value);
        if (strtod(out.text, NULL) == value)
            break;
    }
    return out;
}

void words_write_csv(FILE* stream, const char* text)
{
    if (strpbrk(text, ",\"\r\n") == NULL)
    {
        fputs(text, stream);
        return;
    }
    fputc('"', stream);
    for (; *text != '\0'; text++)
    {
        if (*text == '"')
            fputc('"', stream);
        fputc(*text, stream);
    }
    fputc('"', stream);
}
