#include "number.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

static bool is_digit(char c)
{
    return (unsigned char)(c - '0') < 10;
}

static bool is_letter(char c)
{
    return (unsigned char)((c | 32) - 'a') < 26;
}

/// `nan`, `inf` and `infinity`, and nan(ind) as some C libraries print it.
static const char* not_finite(const char* at, double* value)
{
    bool minus = *at == '-';
    if (*at == '+' || *at == '-')
        at++;
    if (strncasecmp(at, "nan", 3) == 0)
    {
        *value = (double)NAN;
        at += 3;
        if (*at == '(')
        {
            while (is_letter(*at) || *at == '(')
                at++;
            at += *at == ')';
        }
        return at;
    }
    if (strncasecmp(at, "inf", 3) == 0)
    {
        *value = minus ? -INFINITY : INFINITY;
        return at + (strncasecmp(at, "infinity", 8) == 0 ? 8 : 3);
    }
    return NULL;
}

static const char* by_library(const char* from, const char* to, double* value, locale_t plain)
{
    char room[1024];
    size_t length = (size_t)(to - from);
    if (length >= sizeof room)
        return NULL;
    memcpy(room, from, length);
    room[length] = '\0';
    *value = strtod_l(room, NULL, plain);
    return to;
}

const char* rlv_number(const char* at, double* value, locale_t plain)
{
    static const double power[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,  1e10, 1e11,
                                   1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};
    const char* from = at;
    bool minus = *at == '-';
    if (*at == '+' || *at == '-')
        at++;
    uint64_t digits = 0; // may wrap around: then `count` is past 18 and the library reads it
    const char* first = at;
    while (is_digit(*at))
        digits = 10 * digits + (uint64_t)(*at++ - '0');
    long count = at - first, places = 0;
    if (*at == '.')
    {
        const char* point = ++at;
        while (is_digit(*at))
            digits = 10 * digits + (uint64_t)(*at++ - '0');
        places = at - point;
        count += places;
    }
    if (count == 0)
        return not_finite(from, value);
    long exponent = 0;
    if (*at == 'e' || *at == 'E')
    {
        const char* sign = at + 1;
        const char* figure = sign + (*sign == '+' || *sign == '-');
        if (!is_digit(*figure))
            return NULL;
        while (is_digit(*figure))
        {
            exponent = exponent < 100000 ? 10 * exponent + (*figure - '0') : exponent;
            figure++;
        }
        exponent = *sign == '-' ? -exponent : exponent;
        at = figure;
    }
    if (*at == '#' || is_letter(*at) || *at == '_')
        return NULL;
    long ten = exponent - places;
    if (count > 18 || digits > (uint64_t)1 << 53 || ten > 22 || ten < -22)
        return by_library(from, at, value, plain);
    double magnitude = ten < 0 ? (double)digits / power[-ten] : (double)digits * power[ten];
    *value = minus ? -magnitude : magnitude;
    return at;
}

const char* rlv_whole(const char* at, int64_t* value)
{
    bool minus = *at == '-';
    if (*at == '+' || *at == '-')
        at++;
    const char* first = at;
    int64_t sum = 0;
    while (is_digit(*at))
    {
        if (sum > (INT64_MAX - 9) / 10)
            return NULL;
        sum = 10 * sum + (*at++ - '0');
    }
    *value = minus ? -sum : sum;
    return at > first ? at : NULL;
}
