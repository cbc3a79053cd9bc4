/// Numbers in text, the same in every locale and correctly rounded. Internal to io.

#ifndef RLV_NUMBER_H
#define RLV_NUMBER_H

#include <locale.h>
#include <stdint.h>

/// Read the number at `at`, which must be followed, somewhere, by a byte that belongs to no number. Returns the byte
/// after it, or NULL where there is none. `nan` and `inf` are read as such, so that they can be refused by name.
/// `plain` is the C locale.
///
/// Up to 2^53 and 22 places a product or quotient of two exact doubles is correctly rounded (W. D. Clinger, How to read
/// floating point numbers accurately, PLDI 1990); the rest is left to the C library.
const char* rlv_number(const char* at, double* value, locale_t plain);

/// Read a whole number with its sign. NULL where there is none or it does not fit.
const char* rlv_whole(const char* at, int64_t* value);

#endif
