#include "answer.h"

#include <errno.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

rlv_status answer_begin(rlv_answer* answer, const rlv_options* options, rlv_error* error)
{
    answer->text = open_memstream(&answer->text_bytes, &answer->text_size);
    answer->record = json_object();
    if (answer->text == NULL || answer->record == NULL)
        return rlv_fail(error, RLV_SYSTEM, NULL, "close other programs", "no memory for an answer");
    record_text(answer->record, "command", options->command->name);
    record_text(answer->record, "version", RLV_VERSION);
    answer->inputs = record_list(answer->record, "inputs");
    answer->parameters = record_object(answer->record, "parameters");
    answer->warnings = record_list(answer->record, "warnings");
    return options->out != NULL && !options_opens_out(options) ? out_folder_open(&answer->folder, options->out, error)
                                                               : RLV_DONE;
}

void answer_warn(rlv_answer* answer, const char* format, ...)
{
    char* text = NULL;
    va_list list;
    va_start(list, format);
    if (vasprintf(&text, format, list) >= 0)
    {
        rlv_whole_letters(text);
        record_line_once(answer->warnings, text);
        free(text);
    }
    va_end(list);
}

rlv_status answer_keep_record(rlv_answer* answer, const char* name, rlv_error* error)
{
    FILE* stream = NULL;
    if (answer->folder.path == NULL)
        return RLV_DONE;
    rlv_status status = out_folder_add(&answer->folder, name, &stream, error);
    if (status != RLV_DONE)
        return status;
    return record_write(answer->record, stream, answer->folder.file[answer->folder.file_count - 1].path, error);
}

/// Warnings, and what to do next: last, where a terminal shows them.
static void tell_last(const rlv_answer* answer)
{
    size_t count = json_array_size(answer->warnings);
    if (count > 0)
        fputs("\nwarnings\n", answer->text);
    for (size_t i = 0; i < count; i++)
        fprintf(answer->text, "  - %s\n", json_string_value(json_array_get(answer->warnings, i)));
    if (answer->next[0] != '\0')
        fprintf(answer->text, "\nnext: %s\n", answer->next);
}

static rlv_status tell_stdout(rlv_answer* answer, const rlv_options* options, rlv_error* error)
{
    if (options->json)
    {
        rlv_status status = record_write(answer->record, stdout, "standard output", error);
        if (status != RLV_DONE)
            return status;
    }
    else
    {
        fwrite(answer->text_bytes, 1, answer->text_size, stdout);
    }
    if (fflush(stdout) != 0 || ferror(stdout))
        return rlv_fail(error, RLV_SYSTEM, "standard output", "make room, or send it elsewhere",
                        "it could not be written: %s", strerror(errno));
    return RLV_DONE;
}

rlv_status answer_tell(rlv_answer* answer, const rlv_options* options, bool keep_files, rlv_error* error)
{
    tell_last(answer);
    if (fflush(answer->text) != 0 || ferror(answer->text) || !record_whole())
        return rlv_fail(error, RLV_SYSTEM, NULL, "close other programs", "no memory for the answer");
    bool files = keep_files && answer->folder.path != NULL;
    rlv_status status = files ? out_folder_seal(&answer->folder, error) : RLV_DONE;
    if (status == RLV_DONE)
        status = tell_stdout(answer, options, error);
    if (status == RLV_DONE && files)
        status = out_folder_commit(&answer->folder, error);
    return status;
}

void answer_free(rlv_answer* answer)
{
    out_folder_abandon(&answer->folder);
    json_decref(answer->record);
    if (answer->text != NULL)
        fclose(answer->text);
    free(answer->text_bytes);
    *answer = (struct rlv_answer){0};
}
