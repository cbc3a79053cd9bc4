#include "specimen_work.h"

void specimen_work_free(specimen_work* work)
{
    history_sheets_free(&work->sheets);
    report_tables_free(&work->tables);
    history_free(&work->history);
    specimen_between_free(&work->between);
    rlv_specimen_free(&work->specimen);
}

void specimen_tell_heading(FILE* text, const rlv_specimen* specimen, const char* what)
{
    fprintf(text, "%s%s%s: %s\n", specimen->id, specimen->title != NULL ? ", " : "",
            specimen->title != NULL ? specimen->title : "", what);
}

void specimen_tell_lines(FILE* text, const report_lines* lines)
{
    for (size_t i = 0; i < lines->count; i++)
        fprintf(text, "  %-20s  %s\n", lines->line[i].name, lines->line[i].words.text);
}
