#include "command.h"

#include "change.h"
#include "given_mesh.h"
#include "pose_words.h"
#include "specimen_command.h"

static rlv_status align(rlv_alignment* alignment, given_mesh pair[2], const rlv_options* options, rlv_answer* answer,
                        rlv_error* error)
{
    const rlv_change_options how = {
        .before_scale_sd = options->scale_sd, .after_scale_sd = options->scale_sd_after, .progress = answer->progress};
    rlv_status status = rlv_change_align(alignment, &pair[0].mesh, &pair[1].mesh, &how, error);
    if (status == RLV_DONE && alignment->ambiguous)
        return rlv_fail(error, RLV_IMPOSSIBLE, pair[1].path,
                        "put marks that stay on the rim of the block, or photograph more of it",
                        "the alignment is ambiguous: %s", alignment->reason);
    return status;
}

/// AFTER, moved: the mesh that was given stays as it is.
static rlv_status keep_files(given_mesh pair[2], const rlv_alignment* alignment, rlv_answer* answer, rlv_error* error)
{
    if (answer->folder.path == NULL)
        return RLV_DONE;
    rlv_status status = answer_keep_record(answer, "align.json", error);
    if (status != RLV_DONE)
        return status;
    rlv_pose_move_mesh(&alignment->pose, &pair[1].mesh);
    return out_folder_add_mesh(&answer->folder, "aligned.ply", &pair[1].mesh, error);
}

static rlv_status align_meshes(const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    given_mesh pair[2] = {0};
    rlv_alignment alignment = {.pose = rlv_pose_identity(),
                               .rms_mm = NAN,
                               .stable_fraction = NAN,
                               .position_sd_mm = NAN,
                               .rotation_sd_deg = NAN};
    record_real(answer->parameters, "scale_sd", options->scale_sd);
    record_real(answer->parameters, "scale_sd_after", options->scale_sd_after);
    record_count(answer->parameters, "seed", 0);
    rlv_status status = given_mesh_read_pair(pair, options, answer, error);
    if (status == RLV_DONE)
        status = align(&alignment, pair, options, answer, error);
    if (status == RLV_DONE || status == RLV_IMPOSSIBLE)
    {
        pose_record(answer->record, &alignment, status == RLV_DONE);
        pose_warn(answer, &alignment);
    }
    if (status == RLV_DONE)
    {
        fprintf(answer->text, "%s in the frame of %s\n", options->path[1], options->path[0]);
        pose_tell(answer->text, &alignment, given_mesh_size_mm(&pair[0]));
        snprintf(answer->next, sizeof answer->next,
                 "rilievo change takes the two meshes as they are, and aligns them itself; %s",
                 options->out != NULL ? "aligned.ply is AFTER, moved." : "--out DIR writes AFTER, moved.");
        status = keep_files(pair, &alignment, answer, error);
    }
    given_mesh_free(&pair[0]);
    given_mesh_free(&pair[1]);
    return status;
}

rlv_status command_align(const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    if (specimen_command_is(options))
        return specimen_command_align(options, answer, error);
    const rlv_status status = specimen_command_not(options, error);
    return status == RLV_DONE ? align_meshes(options, answer, error) : status;
}
