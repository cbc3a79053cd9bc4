#include "title.h"

#include "marks.h"

#include <math.h>
#include <string.h>

// mm on A3.
#define LINE 3.3  // from one line of small print to the next
#define GAP 12.0  // between columns
#define AFTER 4.0 // a name, before what it names

static const rlv_lettering quiet = {.size_mm = RLV_LETTER_SMALL, .grey = RLV_INK_GREY};

double rlv_title_head_wide(const rlv_sheet* sheet, const rlv_title* title)
{
    const rlv_lettering name = {.size_mm = RLV_LETTER_TITLE}, head = {.size_mm = RLV_LETTER_HEAD};
    double wide = 0.0;
    if (title->specimen != NULL)
        wide += rlv_sheet_measure(sheet, title->specimen, &name).width_mm + AFTER * sheet->unit;
    if (title->specimen_title != NULL)
        wide += rlv_sheet_measure(sheet, title->specimen_title, &head).width_mm;
    return title->subject != NULL ? fmax(wide, rlv_sheet_measure(sheet, title->subject, &head).width_mm) : wide;
}

double rlv_title_head(rlv_sheet* sheet, const rlv_title* title)
{
    const double u = sheet->unit, margin = RLV_SHEET_MARGIN * u, width = sheet->width_mm - 2.0 * margin;
    double x = margin, baseline = margin + 4.2 * u;
    if (title->specimen != NULL)
    {
        const rlv_lettering how = {.size_mm = RLV_LETTER_TITLE, .grey = RLV_INK_BLACK};
        x += rlv_sheet_text(sheet, title->specimen, x, baseline, &how).width_mm + AFTER * u;
    }
    if (title->specimen_title != NULL)
    {
        const rlv_lettering how = {.size_mm = RLV_LETTER_HEAD,
                                   .grey = RLV_INK_GREY,
                                   .width_mm = fmax(margin + width - x, 20.0 * u),
                                   .most_lines = 1};
        rlv_sheet_text(sheet, title->specimen_title, x, baseline, &how);
    }
    if (title->subject != NULL)
    {
        rlv_lettering how = {.size_mm = RLV_LETTER_HEAD, .grey = RLV_INK_BLACK};
        if (rlv_sheet_measure(sheet, title->subject, &how).width_mm > width)
            how.size_mm = RLV_LETTER_PLAIN; // stages with long titles
        how.width_mm = width;
        how.most_lines = 1;
        rlv_sheet_text(sheet, title->subject, margin, baseline + 6.4 * u, &how);
    }
    return RLV_TITLE_HEAD_MM * u;
}

// The facts of a foot, one a line: a name and a text.
typedef struct title_fact
{
    const char* name;
    char text[192];
} title_fact;

#define MOST_FACTS 5

static size_t facts_of(title_fact fact[MOST_FACTS], const rlv_title* title, const rlv_paper* paper, double scale,
                       double pixel_mm)
{
    size_t count = 0;
    char words[48];
    if (title->detection_limit != NULL)
    {
        fact[count].name = "detection limit";
        snprintf(fact[count++].text, sizeof fact->text, "%s", title->detection_limit);
    }
    if (title->frame != NULL)
    {
        fact[count].name = "frame";
        snprintf(fact[count++].text, sizeof fact->text, "%s", title->frame);
    }
    rlv_scale_words(words, sizeof words, scale);
    fact[count].name = scale > 0.0 ? "scale" : "units";
    snprintf(fact[count++].text, sizeof fact->text, "%s%slengths in mm", scale > 0.0 ? words : "",
             scale > 0.0 ? ", of all views that tell no other; " : "");
    fact[count].name = "page";
    int put = snprintf(fact[count].text, sizeof fact->text, "%.10g \xc3\x97 %.10g" RLV_THIN "mm (%s)", paper->width_mm,
                       paper->height_mm, paper->name);
    if (pixel_mm > 0.0 && put > 0)
        snprintf(fact[count].text + put, sizeof fact->text - (size_t)put, "; pictures at %.10g" RLV_THIN "mm a pixel",
                 pixel_mm);
    count++;
    if (title->software != NULL)
    {
        fact[count].name = "made with";
        snprintf(fact[count++].text, sizeof fact->text, "%s", title->software);
    }
    return count;
}

// A foot in columns: the control length, the facts, the stages. On a narrow page the control length stands beneath.
typedef struct foot
{
    bool narrow;
    double unit, line, left, width, facts, stages; // where columns begin
    double facts_wide, stages_wide, height;
    size_t rows;
} foot;

static foot foot_of(const rlv_title* title, double width_mm, double unit)
{
    const double u = unit;
    double width = width_mm - 2.0 * RLV_SHEET_MARGIN * u;
    foot of = {.narrow = width < 320.0 * u, .unit = u, .line = LINE * u, .left = RLV_SHEET_MARGIN * u, .width = width};
    double before = of.narrow ? 0.0 : (RLV_CONTROL_MM + GAP) * u, rest = width - before - GAP * u;
    of.facts = of.left + before;
    of.facts_wide = fmin(0.58 * rest, 135.0 * u); // a frame has more to say than a stage
    of.stages = of.facts + of.facts_wide + GAP * u;
    of.stages_wide = fmin(of.left + width - of.stages, 180.0 * u);
    of.rows = title->stage_count > MOST_FACTS ? title->stage_count : MOST_FACTS;
    of.height = (4.5 + (of.narrow ? 9.0 : 0.0) + RLV_SHEET_MARGIN + (title->note_count > 0 ? 1.5 : 0.0)) * u +
                of.line * (double)(of.rows + title->note_count);
    return of;
}

double rlv_title_foot_mm(const rlv_title* title, double width_mm, double unit)
{
    return foot_of(title, width_mm, unit).height;
}

static void put_stages(rlv_sheet* sheet, const rlv_title* title, const foot* of, double y)
{
    double id = 0.0, date = 0.0;
    for (size_t i = 0; i < title->stage_count; i++)
    {
        id = fmax(id, rlv_sheet_measure(sheet, title->stage[i].id, &quiet).width_mm);
        if (title->stage[i].date != NULL)
            date = fmax(date, rlv_sheet_measure(sheet, title->stage[i].date, &quiet).width_mm);
    }
    id = fmin(id, 0.4 * of->stages_wide);
    const double after = AFTER * of->unit;
    for (size_t i = 0; i < title->stage_count; i++, y += of->line)
    {
        const rlv_title_stage* stage = &title->stage[i];
        rlv_lettering how = quiet;
        how.width_mm = id + 0.5 * of->unit;
        how.most_lines = 1;
        rlv_sheet_text(sheet, stage->id, of->stages, y, &how);
        double x = of->stages + id + after;
        if (stage->date != NULL)
            rlv_sheet_text(sheet, stage->date, x, y, &quiet);
        x += date > 0.0 ? date + after : 0.0;
        char words[320];
        snprintf(words, sizeof words, "%.200s%s%.12s", stage->file != NULL ? stage->file : "",
                 stage->sha256 != NULL ? "  sha256 " : "", stage->sha256 != NULL ? stage->sha256 : "");
        how.width_mm = fmax(of->stages + of->stages_wide - x, 10.0 * of->unit);
        rlv_sheet_text(sheet, words, x, y, &how);
    }
}

static void put_facts(rlv_sheet* sheet, const foot* of, size_t count, const title_fact* fact, double y)
{
    const double after = AFTER * of->unit;
    double name = 0.0;
    for (size_t i = 0; i < count; i++)
        name = fmax(name, rlv_sheet_measure(sheet, fact[i].name, &quiet).width_mm);
    for (size_t i = 0; i < count; i++)
    {
        rlv_lettering how = quiet;
        rlv_sheet_text(sheet, fact[i].name, of->facts, y + of->line * (double)i, &how);
        how.width_mm = of->facts_wide - name - after;
        how.most_lines = 1;
        rlv_sheet_text(sheet, fact[i].text, of->facts + name + after, y + of->line * (double)i, &how);
    }
}

void rlv_title_foot(rlv_sheet* sheet, const rlv_title* title, const rlv_paper* paper, double scale, double pixel_mm)
{
    const double u = sheet->unit;
    foot of = foot_of(title, sheet->width_mm, u);
    double rule = sheet->height_mm - of.height, y = rule + 4.5 * u;
    cairo_set_line_cap(sheet->cairo, CAIRO_LINE_CAP_BUTT);
    rlv_sheet_grey(sheet, RLV_INK_RULE);
    rlv_sheet_line(sheet, of.left, rule, of.left + of.width, rule, RLV_LINE_HAIR);
    double beneath = y + of.line * (double)(of.rows - 1);
    rlv_mark_control(sheet, of.left, of.narrow ? sheet->height_mm - (RLV_SHEET_MARGIN + 5.5) * u : y - 1.6 * u);

    title_fact fact[MOST_FACTS];
    put_facts(sheet, &of, facts_of(fact, title, paper, scale, pixel_mm), fact, y);
    put_stages(sheet, title, &of, y);
    for (size_t i = 0; i < title->note_count; i++)
    {
        rlv_lettering how = quiet;
        how.width_mm = of.width;
        how.most_lines = 1;
        rlv_sheet_text(sheet, title->note[i], of.left, beneath + 1.5 * u + of.line * (double)(i + 1), &how);
    }
}

rlv_title rlv_title_noted(const rlv_title* title, size_t count, const char* const* note, const char*** room,
                          rlv_error* error)
{
    rlv_title with = *title;
    *room = rlv_reserve(title->note_count + count, sizeof **room, error);
    if (*room == NULL)
        return with;
    for (size_t i = 0; i < title->note_count; i++)
        (*room)[i] = title->note[i];
    for (size_t i = 0; i < count; i++)
        (*room)[with.note_count++] = note[i];
    with.note = *room;
    return with;
}

rlv_title rlv_title_with(const rlv_title* title, bool colours, const char*** room, rlv_error* error)
{
    static const char* const note[2] = {RLV_NOTE_PROJECTION, RLV_NOTE_COLOURS};
    return rlv_title_noted(title, colours ? 2 : 1, note, room, error);
}

rlv_sheet_info rlv_title_info(const rlv_title* title, char source[1024])
{
    size_t put = 0;
    source[0] = '\0';
    for (size_t i = 0; i < title->stage_count && put < 900; i++)
    {
        const rlv_title_stage* stage = &title->stage[i];
        if (stage->file != NULL || stage->sha256 != NULL)
            put += (size_t)snprintf(source + put, 1024 - put, "%s%.60s %.64s", put > 0 ? "\n" : "",
                                    stage->file != NULL ? stage->file : "", stage->sha256 != NULL ? stage->sha256 : "");
    }
    return (rlv_sheet_info){.title = title->specimen,
                            .subject = title->subject,
                            .software = title->software,
                            .source = put > 0 ? source : NULL,
                            .date = title->date};
}
