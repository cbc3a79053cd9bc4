/// LQ-0417's record as text: one that holds every key, and is read without a fault.

#ifndef RLV_TEST_LQ0417_H
#define RLV_TEST_LQ0417_H

extern const char lq0417_yaml[], lq0417_points[], lq0417_elements[], lq0417_life[];

/// Write it, with files of one byte for its meshes, into the folder at hand.
void lq0417_write(void);

#endif
