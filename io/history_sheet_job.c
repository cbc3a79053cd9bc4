#include "history_sheet_job.h"

#include "labels.h"

#include <glib.h>
#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

enum
{
    PNG_MOST = 6000, ///< pixels of a side: pixels are doubled in size until they do
};

// --- Names of files --------------------------------------------------------------------------------------------------

/// What two names of files must not share: some systems take letters of either case, and composed or not, for one.
static char* folded(const char* id)
{
    char* whole = g_utf8_normalize(id, -1, G_NORMALIZE_ALL);
    char* fold = whole != NULL ? g_utf8_casefold(whole, -1) : g_strdup(id);
    for (char* at = fold; *at != '\0'; at++)
        *at = *at == ' ' ? '-' : *at;
    g_free(whole);
    return fold;
}

static const char* id_of_stage(const rlv_specimen* specimen, size_t index)
{
    return specimen->stage[index].id;
}

static const char* id_of_piece(const rlv_specimen* specimen, size_t index)
{
    return specimen->piece[index].id;
}

/// The id of one of many as the beginning of a file's name.
static char* file_of(const char* (*id_of)(const rlv_specimen*, size_t), const rlv_specimen* specimen, size_t index,
                     rlv_error* error)
{
    const char* id = id_of(specimen, index);
    char* own = folded(id);
    size_t alike = 1;
    for (size_t i = 0; i < index; i++)
    {
        char* other = folded(id_of(specimen, i));
        alike += strcmp(own, other) == 0 ? 1 : 0;
        g_free(other);
    }
    g_free(own);
    char* name = NULL;
    // Ids are of letters, digits, space, _, - and . only. A tilde is in none, so that no two names are alike.
    int put = alike > 1 ? asprintf(&name, "%s~%zu", id, alike) : asprintf(&name, "%s", id);
    if (put < 0)
    {
        rlv_fail(error, RLV_SYSTEM, NULL, "close other programs", "no memory for a name");
        return NULL;
    }
    for (char* at = name; *at != '\0'; at++)
        *at = *at == ' ' ? '-' : *at;
    return name;
}

char* history_stage_file(const rlv_specimen* specimen, size_t stage, rlv_error* error)
{
    return file_of(id_of_stage, specimen, stage, error);
}

char* history_piece_file(const rlv_specimen* specimen, size_t piece, rlv_error* error)
{
    return file_of(id_of_piece, specimen, piece, error);
}

// --- Words -----------------------------------------------------------------------------------------------------------

// End a line with a sign that it says less than it should.
static void sign_cut(char text[SHEET_LINE])
{
    static const char cut[] = " …";
    const size_t most = SHEET_LINE - sizeof cut;
    if (strlen(text) > most)
        text[most] = '\0';
    rlv_whole_letters(text);
    strcat(text, cut);
}

void sheet_line(sheet_lines* lines, const char* format, ...)
{
    va_list list;
    char words[2 * SHEET_LINE], letters[6 * SHEET_LINE]; // a minus has three bytes
    if (lines->count == SHEET_LINES)
    {
        if (!lines->full)
            sign_cut(lines->text[SHEET_LINES - 1]);
        lines->full = true;
        return;
    }
    va_start(list, format);
    rlv_print_list(words, sizeof words, format, list);
    va_end(list);
    char* text = lines->text[lines->count];
    memset(letters, 0, sizeof letters);
    sheet_letters(letters, sizeof letters, words);
    memcpy(text, letters, SHEET_LINE);
    text[SHEET_LINE - 1] = '\0';
    if (strlen(letters) >= SHEET_LINE)
        sign_cut(text);
    lines->at[lines->count] = lines->text[lines->count];
    lines->count++;
}

void sheet_letters(char* into, size_t size, const char* words)
{
    static const char minus[] = "\xe2\x88\x92";
    size_t put = 0;
    for (size_t i = 0; words[i] != '\0' && put + sizeof minus < size; i++)
    {
        bool begins = i == 0 || words[i - 1] == ' ' || words[i - 1] == '(';
        const bool percent = words[i] == ' ' && words[i + 1] == '%' && i > 0 && g_ascii_isdigit(words[i - 1]);
        if (percent)
            put += (size_t)snprintf(into + put, size - put, "%s", RLV_THIN);
        else if (words[i] == '-' && begins && words[i + 1] >= '0' && words[i + 1] <= '9')
            put += (size_t)snprintf(into + put, size - put, "%s", minus);
        else
            into[put++] = words[i];
    }
    // A letter that was cut off in its middle is left out whole.
    into[put] = '\0';
    const char* end = NULL;
    (void)g_utf8_validate(into, -1, &end);
    into[end - into] = '\0';
}

#define STAGE_LETTERS 90 // of a stage's title, at most, in a line of words

void sheet_stage_words(char* into, size_t size, const rlv_stage_record* stage)
{
    bool date = stage->date != NULL, title = stage->title != NULL;
    if (!date && !title)
        rlv_print(into, size, "%.100s", stage->id);
    else if (words_say_id(stage->title, stage->id))
        rlv_print(into, size, "%s%s%s", date ? stage->date : "", date ? ", " : "",
                  rlv_shorten_name(stage->title, STAGE_LETTERS).text);
    else
        rlv_print(into, size, "%s%s%s (%.100s)", date ? stage->date : "", date && title ? ", " : "",
                  title ? rlv_shorten_name(stage->title, STAGE_LETTERS).text : "", stage->id);
}

void sheet_from_to(char* into, size_t size, const rlv_stage_record* from, const rlv_stage_record* to)
{
    char words[2][256];
    sheet_stage_words(words[0], sizeof words[0], from);
    sheet_stage_words(words[1], sizeof words[1], to);
    bool bare = from->date == NULL && from->title == NULL;
    rlv_print(into, size, "%s%s to %s", words[0], bare ? "" : ",", words[1]);
}

const char* sheet_stage_title(const rlv_stage_record* stage)
{
    return stage->title != NULL ? stage->title : stage->id;
}

void sheet_stage_date(char* into, size_t size, const rlv_stage_record* stage)
{
    bool date = stage->date != NULL, id = stage->title != NULL && !words_say_id(stage->title, stage->id);
    rlv_print(into, size, "%s%s%.100s", date ? stage->date : "", date && id ? " \xc2\xb7 " : "", id ? stage->id : "");
}

void sheet_add_stage(sheet_job* job, const history_stage* stage)
{
    const char* date = stage->record->date;
    job->title_stage[job->title.stage_count++] = (rlv_title_stage){.id = stage->record->id,
                                                                   .date = date,
                                                                   .file = given_name(stage->record->mesh.mesh),
                                                                   .sha256 = stage->given.source.sha256};
    // Of a span of time a file's own record holds the end.
    const char* slash = date != NULL ? strchr(date, '/') : NULL;
    snprintf(job->date, sizeof job->date, "%s", slash != NULL ? slash + 1 : date != NULL ? date : "");
    job->title.date = date != NULL ? job->date : NULL;
}

rlv_status sheet_begin(sheet_job* job, size_t stage, rlv_error* error)
{
    const rlv_specimen* specimen = job->history->specimen;
    rlv_status status = history_view_find(&job->view, job->history, stage, job->order.view, error);
    if (status != RLV_DONE)
        return status;
    job->title_stage = rlv_reserve(job->history->stage_count, sizeof *job->title_stage, error);
    if (job->title_stage == NULL)
        return RLV_SYSTEM;
    rlv_print(job->frame, sizeof job->frame, "%s%.100s; %s",
              job->view.direction_count > 0 ? "the block’s, that of stage " : "that of stage ",
              job->history->stage[job->view.direction_count > 0 ? job->history->frame : stage].record->id,
              job->view.words);
    job->title = (rlv_title){.specimen = specimen->id,
                             .specimen_title = specimen->title,
                             .subject = job->subject,
                             .stage = job->title_stage,
                             .frame = job->frame,
                             .software = "rilievo " RLV_VERSION};
    return RLV_DONE;
}

// --- Into files ------------------------------------------------------------------------------------------------------

static rlv_status no_memory(rlv_error* error)
{
    return rlv_fail(error, RLV_SYSTEM, NULL, "close other programs", "no memory for a sheet");
}

/// "pictures/overburden-depth-upper.png"
static char* path_of(const sheet_job* job, rlv_sheet_format format, rlv_error* error)
{
    static const char* const ending[] = {[RLV_SHEET_PNG] = "png", [RLV_SHEET_PDF] = "pdf", [RLV_SHEET_SVG] = "svg"};
    history_sheet_kind kind = job->order.kind;
    const rlv_specimen* specimen = job->history->specimen;
    bool joint = kind == HISTORY_SHEET_JOINT, named = job->order.view != NULL,
         one = joint || (kind < HISTORY_SHEET_STANDING && kind != HISTORY_SHEET_HISTORY);
    char *of = joint ? history_piece_file(specimen, job->order.stage, error)
               : one ? history_stage_file(specimen, job->order.stage, error)
                     : NULL,
         *path = NULL;
    if (one && of == NULL)
        return NULL;
    if (asprintf(&path, "%s%s%s%s%s%s.%s", job->all ? "pictures/" : "", one ? of : "", one ? "-" : "",
                 history_sheet_name(kind), named ? "-" : "", named ? job->view.key : "", ending[format]) < 0)
    {
        path = NULL;
        no_memory(error);
    }
    free(of);
    return path;
}

/// The bytes of the sheet as a file, and the file's path.
static rlv_status encode(sheet_job* job, const rlv_sheet* sheet, rlv_sheet_format format, double pixel_mm, char** path,
                         int which, rlv_error* error)
{
    char source[1024];
    rlv_sheet_info info = rlv_title_info(&job->title, source);
    info.pixel_mm = pixel_mm;
    if ((*path = path_of(job, format, error)) == NULL)
        return RLV_SYSTEM;
    FILE* stream = open_memstream(&job->drawn->bytes[which], &job->drawn->size[which]);
    if (stream == NULL)
        return no_memory(error);
    rlv_status status = rlv_sheet_write(sheet, format, stream, &info, error);
    if (fclose(stream) != 0 && status == RLV_DONE)
        status = no_memory(error);
    return status;
}

rlv_status sheet_keep(sheet_job* job, const rlv_sheet* sheet, const char* caption, const char* alt, rlv_error* error)
{
    history_sheet* entry = &job->drawn->entry;
    *entry = (history_sheet){
        .kind = job->order.kind,
        .stage = job->order.stage,
        .paper_mm = {sheet->width_mm, sheet->height_mm},
        .views_mm = {{sheet->views_mm[0][0], sheet->views_mm[0][1]}, {sheet->views_mm[1][0], sheet->views_mm[1][1]}},
        .scale = job->order.scale,
        .caption = strdup(caption),
        .alt = strdup(alt)};
    job->drawn->left_out = job->left_out;
    if (entry->caption == NULL || entry->alt == NULL)
        return no_memory(error);
    double pixel_mm = RLV_SHEET_PIXEL_MM;
    while (fmax(sheet->width_mm, sheet->height_mm) / pixel_mm > (double)PNG_MOST)
        pixel_mm *= 2.0;
    rlv_sheet_format first = job->all ? RLV_SHEET_PNG : job->order.format;
    if (first == RLV_SHEET_PNG)
    {
        entry->width = (size_t)ceil(sheet->width_mm / pixel_mm - 1e-6);
        entry->height = (size_t)ceil(sheet->height_mm / pixel_mm - 1e-6);
    }
    rlv_status status = encode(job, sheet, first, pixel_mm, &entry->path, 0, error);
    if (status == RLV_DONE && job->all)
        status = encode(job, sheet, RLV_SHEET_PDF, pixel_mm, &entry->print, 1, error);
    return status;
}
