/// Faults of meaning in specimen.yaml, each told by the path of its key. Internal to io.
///
/// Checks run in the order of the file, and only the first fault is kept, so that they can be written one below the
/// other. What a check is handed may be NULL, which is not recorded and no fault.

#ifndef RLV_SPECIMEN_FAULTS_H
#define RLV_SPECIMEN_FAULTS_H

#include "specimen.h"

typedef struct rlv_faults
{
    const rlv_specimen* specimen;
    const char* path; ///< of specimen.yaml
    rlv_error* error;
    rlv_status status; ///< RLV_DONE until there is a fault
} rlv_faults;

/// The path of a key, as `stages[2].id`.
typedef struct rlv_key
{
    char path[200];
} rlv_key;

rlv_key rlv_key_at(const char* format, ...) __attribute__((format(printf, 1, 2)));

/// A fault at a key: the first one is kept.
void rlv_fault(rlv_faults* faults, rlv_key at, const char* mend, const char* format, ...)
    __attribute__((format(printf, 4, 5)));

void rlv_fault_unless_id(rlv_faults* faults, rlv_key at, const char* id);
void rlv_fault_unless_date(rlv_faults* faults, rlv_key at, const char* date);
void rlv_fault_unless_stage(rlv_faults* faults, rlv_key at, const char* stage);
void rlv_fault_unless_above(rlv_faults* faults, rlv_key at, const double* value, double least);
void rlv_fault_unless_within(rlv_faults* faults, rlv_key at, const double* value, double least, double most);

/// A word that has to be one of `count`, two or three.
void rlv_fault_unless_word(rlv_faults* faults, rlv_key at, const char* word, size_t count, const char* const* words);

/// `mass` under the key `at`: grams not below zero, its sd above.
void rlv_fault_unless_mass(rlv_faults* faults, rlv_key at, const rlv_mass_record* mass);

#endif
