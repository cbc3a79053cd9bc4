/// A piece put back as tables and as JSON.

#ifndef RLV_REJOIN_RECORD_H
#define RLV_REJOIN_RECORD_H

#include "record.h"
#include "rejoin_told.h"
#include "table.h"

typedef enum rejoin_table
{
    REJOIN_PIECES,     ///< a row a piece: the verdict, the motion, the joint
    REJOIN_TERMS,      ///< a row a piece and word: the areas of a joint, and what the words stand for
    REJOIN_GAPS,       ///< a row a piece and trial: as found, closed, as it went back
    REJOIN_CONTACTS,   ///< a row a contact
    REJOIN_TREATMENTS, ///< a row a treatment of a joint
    REJOIN_ACROSS,     ///< a row a bone or a row that runs over a joint
    REJOIN_TABLES,
} rejoin_table;

typedef struct rejoin_tables
{
    rlv_table table[REJOIN_TABLES];
} rejoin_tables;

/// Fill them from `count` pieces that were measured; `told` must outlive them. Free with rejoin_tables_free.
rejoin_tables rejoin_tables_of(size_t count, const rejoin_told* const* told);
void rejoin_tables_free(rejoin_tables* tables);

/// What people read of one piece: what its words stand for, its gaps, its contacts, or what runs over its joint. Free
/// with table_free.
rlv_table rejoin_terms_wall(const rejoin_told* told);
rlv_table rejoin_gaps_wall(const rejoin_told* told);
rlv_table rejoin_across_wall(const rejoin_told* told);
rlv_table rejoin_contacts_wall(const rejoin_told* told);

/// Put all keys of a piece into `object`; null where it was not measured.
void rejoin_record(json_t* object, const rejoin_told* told);

/// Parts of that: a pose's keys into `object`; a gap under a key, null where it is not known; the word of a verdict.
void rejoin_record_pose(json_t* object, const rlv_pose* pose);
void rejoin_record_gap(json_t* object, const char* key, bool known, const rlv_rejoin_gap* gap);
const char* rejoin_verdict_name(rlv_rejoin_verdict verdict);

/// Put what it was measured with into the answer's parameters.
void rejoin_record_parameters(json_t* parameters, double film_mm);

#endif
