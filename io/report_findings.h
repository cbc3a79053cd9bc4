/// What somebody should look at, and what would tell more: made of what was found, and of what the record lacks.
///
/// A finding says what is so, where, and what follows from it for the figures. How to work is the trade's own: none
/// speaks of treatments, tools or hours. Warnings of the measurement are the answer's, and stand before these.

#ifndef RLV_REPORT_FINDINGS_H
#define RLV_REPORT_FINDINGS_H

#include "report_rejoin.h"
#include "report_skeleton.h"
#include "report_words.h"

typedef enum report_finding_kind
{
    REPORT_LOOK,    ///< was found: somebody should look at it
    REPORT_WIDE,    ///< an interval is wide, and why
    REPORT_MISSING, ///< is not recorded, and what it would tell
    REPORT_FINDING_KINDS,
} report_finding_kind;

typedef struct report_finding
{
    report_finding_kind kind;
    report_text of;    ///< a step, a stage, or a thing
    report_text at;    ///< elements again, each with its square of the map, for people; empty: `of` says it all
    report_text words; ///< without a full stop
} report_finding;

typedef struct report_findings
{
    size_t count, room;
    report_finding* one;
    bool out_of_memory; ///< some are missing
} report_findings;

/// All of them, by kind, bone lost before all, then elements that had shown and that a note names, then pieces that are
/// back, then in the order of time, into zeroed `findings`. `rejoin` may be NULL: of no piece was measured how it lies.
/// Free with report_findings_free.
void report_findings_find(report_findings* findings, const rlv_history* history, const report_skeleton* skeleton,
                          const report_rejoin* rejoin);
void report_findings_free(report_findings* findings);

/// "look", "wide", "not_recorded"; and as a heading.
const char* report_finding_key(report_finding_kind kind);
const char* report_finding_heading(report_finding_kind kind);

#endif
