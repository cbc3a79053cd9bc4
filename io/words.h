/// Numbers for people: no more figures than the uncertainty allows, and the interval beside them.
///
/// A number is rounded at the first figure of its standard uncertainty, or at the second where the first is a 1: "at
/// most two significant digits" of the uncertainty (JCGM 100:2008, Guide to the expression of uncertainty in
/// measurement, 7.2.6). The ends of an interval are rounded outward, so that rounding never makes a result look surer
/// than it is. An interval from 0 about 0, of what was looked for and not found, has nothing but its bound: two
/// figures.
///
/// What people read has a true minus (U+2212). What machines read (CSV, JSON: words_exact) has a hyphen.

#ifndef RLV_WORDS_H
#define RLV_WORDS_H

#include "change.h"

#include <stdio.h>

#define WORDS_MINUS "\u2212"

/// A number in words, by value: `printf("%s", words_number(x, 1).text)`.
typedef struct rlv_words
{
    char text[80];
} rlv_words;

/// Decimals that a number with standard uncertainty `sd` may carry: 2 for hundredths, -1 for tens. 12 where sd is not
/// above zero.
int words_decimals(double sd);

/// `value` with so many decimals (below zero: rounded to tens, hundreds…); "not known" where it is not finite.
rlv_words words_number(double value, int decimals);

/// `value` with `figures` significant figures and no exponent.
rlv_words words_figures(double value, int figures);

/// `value` as its standard uncertainty allows; without one (0, or not known) up to four figures, and no zeros that
/// nobody wrote down.
rlv_words words_known(double value, double sd);

/// Decimals that a number was written down with, as far as its value tells: 1 for 25538.5, 0 for 2706.0; 6 at most. A
/// sum of such numbers has those of the finest among them.
int words_written(double value);

/// `value` as it was written down: every figure of it, and none more.
rlv_words words_recorded(double value);

/// Words that end at a column: spaces before them, until they are `width` columns wide.
rlv_words words_right(rlv_words words, size_t width);

/// How many columns of a terminal a text takes: marks that sit on a letter none, letters of some scripts two.
size_t words_width(const char* text);

/// Standard uncertainty that a 95 % interval stands for, were it normal.
double words_sd(rlv_interval interval);

/// Bounds, which have no sd to be rounded by: two figures, rounded outward. What is at most
/// 8.737 is at most 8.8; what is at least 135.2 is at least 130.
rlv_words words_at_most(double value);
rlv_words words_at_least(double value);

/// The value of an interval divided by `unit` (1000 for mm3 in mL), its ends, and both.
rlv_words words_value(rlv_interval interval, double unit);
rlv_words words_ends(rlv_interval interval, double unit); ///< "11.9 to 12.7"

/// Decimals of an interval in that unit, as words_value has them: by its sd, but one more where its lower end lies above
/// zero and would read as 0; and of what was found, which has an area and a depth:
/// more where its value, above zero, would read as 0.
int words_interval_decimals(rlv_interval interval, double unit);
int words_found_decimals(rlv_interval interval, double unit);

/// Whether an interval holds nothing but a bound on what was looked for and not found: from 0 about 0.
bool words_is_bound(rlv_interval interval);

/// The ends with so many decimals, rounded outward.
rlv_words words_ends_to(rlv_interval interval, double unit, int decimals);

/// A share as per cent: "83 %".
rlv_words words_share(double share);

/// A probability as per cent: "45 %"; what rounds to all or nothing is not said to be that: "over 99 %", "under 1 %".
rlv_words words_chance(double probability);

/// "13–20", or "13" where both are one: numbers from one to another in what people read. Machines read a hyphen.
#define WORDS_DASH "\u2013"
rlv_words words_span(int first, int last);

/// "082/15", "144/−20": trend and plunge in degrees, three figures of azimuth and two of plunge, as the trade writes
/// them. A plunge below zero points upwards.
rlv_words words_trend(double trend_deg, double plunge_deg);

/// Whether a name says its id by beginning with it, in whatever case of the Latin letters, as "Field block" does with
/// "field": both together would say it twice. Either may be NULL: false.
bool words_say_id(const char* name, const char* id);

/// `count` and its noun: "1 island", "3 islands" (an `s` is added, or what follows a slash: "box/boxes").
rlv_words words_count(size_t count, const char* noun);

/// The shortest decimal that reads back to the same double; empty where it is not finite. For CSV.
rlv_words words_exact(double value);

/// Write a text field of a CSV table, quoted where it must be (RFC 4180).
void words_write_csv(FILE* stream, const char* text);

#endif
