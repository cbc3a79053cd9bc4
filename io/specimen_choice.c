#include "specimen_choice.h"

#include <stdio.h>
#include <string.h>

/// The ids of the stages from `first` on, as many as fit.
static void list_stages(char* into, size_t size, const char* lead, const rlv_specimen* specimen, size_t first)
{
    size_t put = (size_t)snprintf(into, size, "%s", lead);
    for (size_t i = first; i < specimen->stage_count; i++)
    {
        size_t length = strlen(specimen->stage[i].id);
        if (put + length + 8 > size)
        {
            snprintf(into + put, size - put, ", \xe2\x80\xa6");
            return;
        }
        put += (size_t)snprintf(into + put, size - put, "%s%s", i > first ? ", " : "", specimen->stage[i].id);
    }
}

rlv_status specimen_choose_stage(size_t* stage, const rlv_specimen* specimen, const char* id, size_t first,
                                 rlv_error* error)
{
    char mend[512];
    const rlv_stage_record* record = rlv_specimen_stage(specimen, id);
    list_stages(mend, sizeof mend, "say one of ", specimen, first);
    if (record == NULL)
        return rlv_fail(error, RLV_BAD_INPUT, specimen->folder, mend, "there is no stage '%.100s'", id);
    *stage = (size_t)(record - specimen->stage);
    return *stage >= first ? RLV_DONE
                           : rlv_fail(error, RLV_BAD_INPUT, specimen->folder, mend,
                                      "'%.100s' is the first stage, and no step leads to it", id);
}
