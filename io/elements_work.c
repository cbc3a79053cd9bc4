#include "elements_work.h"

#include "specimen_inputs.h"

void elements_work_free(elements_work* work)
{
    history_elements_free(&work->elements);
    specimen_work_free(&work->of);
}

static rlv_status need_elements(const rlv_specimen* specimen, rlv_error* error)
{
    if (specimen->element_count > 0)
        return RLV_DONE;
    return rlv_fail(error, RLV_IMPOSSIBLE, specimen->folder,
                    "write them down in elements.csv, with their points in points.csv", "the record names no element");
}

static rlv_status measure(elements_work* work, rlv_answer* answer, rlv_error* error)
{
    const history_options how = {.poses_only = true};
    rlv_status status = need_elements(&work->of.specimen, error);
    if (status == RLV_DONE)
        status = history_measure(&work->of.history, &work->of.specimen, &how, answer, error);
    if (status == RLV_IMPOSSIBLE && work->of.history.stage_count > 0)
    {
        answer_warn(answer, "%s", error->what);
        *error = (rlv_error){0};
        status = RLV_DONE;
    }
    return status == RLV_DONE ? history_elements_measure(&work->elements, &work->of.history, answer, error) : status;
}

rlv_status elements_work_measure_read(elements_work* work, rlv_answer* answer, rlv_error* error)
{
    specimen_inputs(answer, &work->of.specimen);
    rlv_status status = measure(work, answer, error);
    if (status == RLV_DONE || status == RLV_IMPOSSIBLE)
        specimen_inputs_within(answer, &work->of.specimen);
    return status;
}

rlv_status elements_work_measure(elements_work* work, const char* folder, rlv_answer* answer, rlv_error* error)
{
    rlv_status status = rlv_specimen_read(&work->of.specimen, folder, error);
    return status == RLV_DONE ? elements_work_measure_read(work, answer, error) : status;
}
