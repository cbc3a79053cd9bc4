#include "specimen_faults.h"

#include "text_file.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

rlv_key rlv_key_at(const char* format, ...)
{
    rlv_key key;
    va_list words;
    va_start(words, format);
    rlv_print_list(key.path, sizeof key.path, format, words);
    va_end(words);
    return key;
}

void rlv_fault(rlv_faults* faults, rlv_key at, const char* mend, const char* format, ...)
{
    char where[sizeof faults->error->where], what[sizeof faults->error->what];
    if (faults->status != RLV_DONE)
        return;
    va_list words;
    va_start(words, format);
    rlv_print_list(what, sizeof what, format, words);
    va_end(words);
    snprintf(where, sizeof where, "%.800s: %s", faults->path, at.path);
    faults->status = rlv_fail(faults->error, RLV_BAD_INPUT, where, mend, "%s", what);
}

void rlv_fault_unless_id(rlv_faults* faults, rlv_key at, const char* id)
{
    const char* why = NULL;
    if (id != NULL && !rlv_text_is_id(id, &why))
        rlv_fault(faults, at, "use letters, digits, space, _, - and ., since it names files", "'%.100s' %s", id, why);
}

void rlv_fault_unless_date(rlv_faults* faults, rlv_key at, const char* date)
{
    if (date != NULL && !rlv_text_is_date(date))
        rlv_fault(faults, at, "write year-month-day (2031-05-12), year-month, the year, or two with a / between",
                  "'%.60s' is no date of ISO 8601", date);
}

void rlv_fault_unless_stage(rlv_faults* faults, rlv_key at, const char* stage)
{
    if (stage != NULL && rlv_specimen_stage(faults->specimen, stage) == NULL)
        rlv_fault(faults, at, "name one of the stages, by its id", "there is no stage '%.100s'", stage);
}

void rlv_fault_unless_above(rlv_faults* faults, rlv_key at, const double* value, double least)
{
    if (value != NULL && !(*value > least))
        rlv_fault(faults, at, "say what was measured", "%g is not above %g", *value, least);
}

void rlv_fault_unless_within(rlv_faults* faults, rlv_key at, const double* value, double least, double most)
{
    if (value != NULL && !(*value >= least))
        rlv_fault(faults, at, "say what was measured", "%g is below %g", *value, least);
    else if (value != NULL && !(*value <= most))
        rlv_fault(faults, at, "say what was measured", "%g is above %g", *value, most);
}

void rlv_fault_unless_word(rlv_faults* faults, rlv_key at, const char* word, size_t count, const char* const* words)
{
    char mend[128] = "say ";
    for (size_t i = 0; i < count; i++)
    {
        if (word == NULL || strcmp(word, words[i]) == 0)
            return;
        size_t used = strlen(mend);
        snprintf(mend + used, sizeof mend - used, "%s%s", i == 0 ? "" : i + 1 < count ? ", " : " or ", words[i]);
    }
    rlv_fault(faults, at, mend, "'%.60s' is none of the words that can stand here", word);
}

void rlv_fault_unless_mass(rlv_faults* faults, rlv_key at, const rlv_mass_record* mass)
{
    if (mass == NULL)
        return;
    if (!(mass->grams >= 0.0))
        rlv_fault(faults, rlv_key_at("%s.grams", at.path), "say what the scales showed, less the tray",
                  "%g: a mass is not below zero", mass->grams);
    if (!(mass->sd_g > 0.0))
        rlv_fault(faults, rlv_key_at("%s.sd_g", at.path), "say how sure the scales are", "%g is not above zero",
                  mass->sd_g);
}
