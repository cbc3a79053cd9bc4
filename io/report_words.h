/// What a report says in sentences: of a class of change, of a balance, of the whole. Page and terminal say the same.

#ifndef RLV_REPORT_WORDS_H
#define RLV_REPORT_WORDS_H

#include "history.h"

/// All steps together, in place of one.
#define REPORT_ALL SIZE_MAX

/// A text by value.
typedef struct report_text
{
    char text[1024];
} report_text;

/// A text, and more of it at its end, as printf makes them. A piece that does not fit is left out, and a long one cut
/// after a whole letter; " …" tells of either, and nothing is added after it.
report_text report_say(const char* format, ...) __attribute__((format(printf, 1, 2)));
void report_add(report_text* said, const char* format, ...) __attribute__((format(printf, 2, 3)));

/// A name and what is said of it.
typedef struct report_line
{
    const char* name;
    report_text words;
    bool alarm; ///< somebody should look at this first
} report_line;

enum
{
    REPORT_LINES = 16
};

typedef struct report_lines
{
    size_t count;
    report_line line[REPORT_LINES];
} report_lines;

/// The figures that everybody wants first: bone lost before all, what went and came, what was not told apart, whether
/// the balances close, what is left.
report_lines report_summary(const rlv_history* history);

/// The same of one step.
report_lines report_step(const rlv_history* history, size_t step);

/// A class in one step or REPORT_ALL, or in all steps up to one, for page, CSV and JSON alike: volume and mass with
/// their intervals. What was looked for and not found is 0, with an upper end that the detection limit leaves room for.
/// NaN is what was not measured: no step of them was, no bone is marked on the stage before, no mask and no mesh tells
/// of a piece. A piece that the record has neither come off nor go back did neither: that is 0, from 0 to 0.
typedef struct report_class
{
    bool known;     ///< in every step that was measured, and all were
    size_t regions; ///< found
    rlv_interval ml, g;
    bool faint;
    size_t steps_known; ///< in how many of `steps`: the sums are of these
    size_t steps;
} report_class;
report_class report_class_of(const rlv_history* history, rlv_change_class kind, size_t step);
report_class report_class_so_far(const rlv_history* history, rlv_change_class kind, size_t last);

/// What was not told apart from noise in one step or REPORT_ALL, mL; NaN where a step was not measured.
rlv_interval report_untold(const rlv_history* history, size_t step);

/// "field → overburden"
report_text report_step_name(const rlv_history* history, size_t step);

/// "How deep a change must be: 0.32 mm over 1 cm², …"
report_text report_limits(const rlv_history* history, size_t step);

/// Volume of the block at the last stage, in words.
report_text report_left(const rlv_history* history);

/// Decimals that all figures of a balance are told with: those that the doubt of what is unexplained allows, or as many
/// more as the two sides need to subtract to it as they stand, and never more than its weighings were written down
/// with. Where even those do not do, the first, which subtract to a unit of the last. `spoil`: of the balance of spoil,
/// one side of which was measured.
int report_balance_decimals(const rlv_balance* balance, bool spoil);

/// What a balance leaves unexplained, to those decimals.
report_text report_unexplained(const rlv_balance* balance, bool spoil);

/// "2 elements are recorded from the spoil, LR20 (bag S1), …": those of a step's bags, or of all (REPORT_ALL). They
/// were bone, and were lost to the block, yet no mesh saw them. Empty where none is.
report_text report_in_spoil(const rlv_history* history, size_t step);

/// Whether an element had shown by a stage, so that a step after it may have cost some of it.
bool report_had_shown(const rlv_history* history, const rlv_element_record* element, size_t stage);

/// Whether the note of the stage after a step names an element that had shown before: what the note says of it is for a
/// reader. And the ids of all such, "D05, D07"; empty where it names none.
bool report_is_named(const rlv_history* history, size_t step, const rlv_element_record* element);
report_text report_named(const rlv_history* history, size_t step);

/// What the block weighed at the last stage, held against the limit that is recorded for lifting by one person.
report_text report_weight(const rlv_history* history);

/// What a block is not to be lifted by: the pieces that were put back into what is left of it, since nothing that was
/// measured tells that they hold. Empty where there is none.
report_text report_put_back(const rlv_history* history);

/// Which side will be up where the block is shown: "the side that was up in the rock, within 1°". Empty where either is
/// not known.
report_text report_way_up(const rlv_history* history);

/// Length, width and height of the last stage, held against the case that is recorded: of the box along the axes of its
/// mesh, which is not the least that holds it.
report_text report_size(const rlv_history* history);

/// A p: "0.023", "< 0.001"; empty where there is none.
report_text report_p(double p);

/// "14-17", "15": the places in its row that an element is recorded at. Empty where they are not known.
report_text report_place_in_row(const rlv_element_record* element);

/// mm³ in mL.
rlv_interval report_in_ml(rlv_interval mm3);

/// "1173 mL (1160 to 1186 mL)"
report_text report_interval(rlv_interval interval, const char* unit);

#endif
