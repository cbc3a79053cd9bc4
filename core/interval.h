/// A measured value and what it may be.

#ifndef RLV_INTERVAL_H
#define RLV_INTERVAL_H

/// A measured value and its 95 % interval.
typedef struct rlv_interval
{
    double value, low, high;
} rlv_interval;

/// Half of a 95 % interval, in sds of a normal error.
#define RLV_HALF_95 1.959963984540054

#endif
