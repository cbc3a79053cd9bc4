/// A change in JSON: the keys that two meshes and a step of a specimen share.

#ifndef RLV_CHANGE_RECORD_H
#define RLV_CHANGE_RECORD_H

#include "change.h"
#include "record.h"

/// `removed`, `added`, `untold`, `removed_faint`, `added_faint` and `detection_limit`. All null where `change` is NULL:
/// it could not be measured.
void change_record_volumes(json_t* object, const rlv_change* change);

/// Noise, warp, and what the measurement says of itself. All null where `change` is NULL.
void change_record_field(json_t* object, const rlv_change* change);

/// Of the parameters: those that a measurement chose by its meshes (null where `change` is NULL), and the thresholds
/// that all are judged by.
void change_record_chosen(json_t* object, const rlv_change* change);
void change_record_thresholds(json_t* object);

#endif
