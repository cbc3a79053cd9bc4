/// Tests of the page: what is written is what was said, and any browser can take it.

#include "page.h"
#include "support/own_folder.h"

#include <criterion/criterion.h>
#include <math.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

// --- A sample
// ----------------------------------------------------------------------------------------------------------

static const table_column sample_columns[] = {
    {"region", NULL, "region", TABLE_COUNT, "Number of the region."},
    {"class", NULL, "class", TABLE_TEXT, "What happened there."},
    {"volume", "mm3", "volume", TABLE_INTERVAL, "Volume that went."},
    {"mass", "g", "mass", TABLE_INTERVAL, "Its mass."},
    {"area", "mm2", "area", TABLE_NUMBER, "Area."},
    {"mean_depth", "mm", "mean depth", TABLE_NUMBER, "Mean depth."},
    {"max_depth", "mm", "greatest depth", TABLE_NUMBER, "Greatest depth."},
    {"centroid", "mm", "centre x, y, z", TABLE_PLACE, "Centroid in the block's frame."},
    {"tool", NULL, "tool", TABLE_TEXT, "Tool that was used."},
    {"hours", "h", "hours", TABLE_NUMBER, "Hours of work."}};

static rlv_table sample_table(size_t rows)
{
    static const char* const tools[] = {"hand chisel", "air pen", "needle, under the microscope"};
    rlv_table t = table_of("regions", "What went between stage 3 and stage 4, region by region",
                           sizeof sample_columns / sizeof sample_columns[0], sample_columns);
    for (size_t i = 0; i < rows; i++)
    {
        double mm3 = 458624.8 / (double)(i + 1);
        table_count(&t, i + 1);
        table_text(&t, i % 4 == 3 ? "added" : "removed");
        table_interval(&t, (rlv_interval){mm3, 0.9966 * mm3, 1.0034 * mm3});
        if (i % 3 == 1)
            table_none(&t);
        else
            table_interval(&t, (rlv_interval){2.31e-3 * mm3, 2.27e-3 * mm3, 2.35e-3 * mm3});
        table_number(&t, 40808.3 / (double)(i + 1), 0.0);
        table_number(&t, 11.24 / (double)(i + 1), 0.05);
        table_number(&t, 27.9 / (double)(i + 1), 0.08);
        table_place(&t, rlv_vec3_of(257.1 - 31.0 * (double)i, -88.1 + 12.0 * (double)i, -223.8), 1.0);
        table_text(&t, tools[i % 3]);
        table_number(&t, 9.5 / (double)(i + 1), 0.1);
    }
    return t;
}

static rlv_status write_sample(FILE* stream, size_t rows, rlv_error* error)
{
    rlv_page p;
    rlv_table t = sample_table(rows);
    t.dash = "A dash: no density <recorded>.";
    rlv_status status = page_begin(
        &p, "LQ-0417: armoured fish in a marl concretion",
        "What its preparation has shown from the field block to the cleaned stage, with 95 % intervals", "en", error);
    page_section(&p, "specimen", "The specimen");
    page_fact(&p, "Specimen", "LQ-0417");
    page_fact(&p, "Taxon", "armoured fish, undetermined");
    page_fact(&p, "Collected", "2031-05-12");
    page_fact(&p, "Frame", "stage “field”, right-handed, millimetres");
    page_fact(&p, "Note", "Labelled <b>A & B</b> in the field book.\nالكتلة من المحجر القديم\n化石的第三块");
    page_paragraph(
        &p, "The block is 712 mm long, 418 mm wide and 190 mm high. Six meshes record five stages of work. Volumes are "
            "measured between two stages at a time, and every figure carries the interval that its scans allow.");
    page_box(&p, PAGE_NOTE,
             "Bone that was never exposed before cannot be told from matrix by a mesh. What is called matrix here may "
             "hold some.");
    page_section(&p, "change", "What went, and where");
    page_paragraph(&p, "From stage 3 to stage 4 the trench along the right flank was opened, and the tail freed: 458.5 "
                       "mL went, and nothing was added that could be told.");
    page_part(&p, "regions", "Regions");
    page_table(&p, &t, "tables/regions.csv");
    page_part(&p, "depth", "Depth");
    page_figure(
        &p, &(page_picture){
                .path = "pictures/depth.png",
                .width = 1600,
                .height = 1200,
                .alt = "The block after stage 4, seen from its right flank; a trench up to 28 mm deep runs along it, "
                       "coloured by depth.",
                .caption = "Depth of what went between stage 3 and stage 4. Hatched: less than the detection limit."});
    page_figure(&p, &(page_picture){.path = "pictures/before.png",
                                    .full = "drawings/map 1:1.pdf",
                                    .full_words = "drawing at 1:1 (PDF)",
                                    .width = 1600,
                                    .height = 1200,
                                    .alt = "The block before stage 4, through the same camera.",
                                    .caption = "The same side before."});
    page_box(
        &p, PAGE_CAUTION,
        "The two scans are bent against each other by 0.12 mm (sd), slowly over 90 mm: the intervals allow for it.");
    page_section(&p, "lift", "Lifting");
    page_box(&p, PAGE_WARNING,
             "The block’s mass is beyond what one person should lift, and it can tip. A qualified rigger decides how "
             "it is moved; local rules hold.");
    page_fact(&p, "Mass", "48.2 kg, 95 % interval 47.6 to 48.8 kg");
    page_fact(&p, "Tips over its left edge at", "19°, 95 % interval 17° to 21°");
    page_section(&p, "joints", "Joints");
    page_paragraph(&p, "Not recorded.");
    page_section(&p, "files", "Files");
    page_paragraph(&p, "What was measured, for machines and for later:");
    page_link(&p, "report.json", "Everything, as JSON");
    page_link(&p, "tables/meanings.csv", "What each column of the tables means");
    if (status == RLV_DONE)
        status = page_write(&p,
                            "Rilievo. A figure here is advice to a trained person, not a certificate.\nMade from "
                            "specimen.yaml, SHA-256 9f2c…",
                            stream, "report.html", error);
    table_free(&t);
    page_free(&p);
    return status;
}

/// A page as text; free().
static char* sample_text(size_t rows)
{
    char* bytes = NULL;
    size_t size = 0;
    rlv_error error = {0};
    FILE* stream = open_memstream(&bytes, &size);
    cr_assert_eq(write_sample(stream, rows, &error), RLV_DONE, "%s", error.what);
    fclose(stream);
    cr_assert_eq(strlen(bytes), size, "a page holds no zero byte");
    return bytes;
}

/// A page of one table as text; free().
static char* page_of_table(const rlv_table* t)
{
    char* bytes = NULL;
    size_t size = 0;
    rlv_page p = {0};
    FILE* stream = open_memstream(&bytes, &size);
    cr_assert_eq(page_begin(&p, "One table", NULL, "en", NULL), RLV_DONE);
    page_table(&p, t, NULL);
    cr_assert_eq(page_write(&p, "", stream, "page", NULL), RLV_DONE);
    fclose(stream);
    page_free(&p);
    return bytes;
}

static size_t count_of(const char* text, const char* words)
{
    size_t count = 0;
    for (const char* at = strstr(text, words); at != NULL; at = strstr(at + 1, words))
        count++;
    return count;
}

Test(page, a_table_says_what_its_dashes_are_where_it_has_some)
{
    char *with = sample_text(2), *without = sample_text(1); // the second row has no mass
    cr_expect_eq(count_of(with, "<p class=\"under\">A dash: no density &lt;recorded&gt;.</p>"), 1);
    cr_expect_eq(count_of(without, "A dash"), 0);
    free(with);
    free(without);
}

// --- A small reader of well-formed markup ---------------------------------------------------------------------------

typedef struct markup
{
    const char* at;
    char open[64][16]; ///< the tags that are open
    size_t depth;
    char* id[512];
    size_t id_count;
    char* wanted[512]; ///< ids that links lead to, and labels name
    size_t wanted_count;
    int heading; ///< the last heading's level
    size_t heading_words;
} markup;

/// The value of an attribute within a tag, or NULL; free().
static char* attribute(const char* tag, size_t length, const char* name)
{
    char start[32];
    snprintf(start, sizeof start, " %s=\"", name);
    const char* at = memmem(tag, length, start, strlen(start));
    return at != NULL ? strndup(at + strlen(start), strcspn(at + strlen(start), "\"")) : NULL;
}

/// The end of a link as the name that it leads to: per cent signs and two digits stand for a byte.
static char* name_of_link(const char* link)
{
    char* name = strdup(link);
    char* to = name;
    for (const char* at = link; *at != '\0'; at++)
    {
        unsigned byte = (unsigned char)*at;
        if (*at == '%' && sscanf(at, "%%%2X", &byte) == 1)
            at += 2;
        *to++ = (char)byte;
    }
    *to = '\0';
    return name;
}

static void note_names(markup* m, const char* tag, size_t length)
{
    char* id = attribute(tag, length, "id");
    char* label = attribute(tag, length, "aria-labelledby");
    char* link = attribute(tag, length, "href");
    cr_assert_lt(m->id_count, 511);
    cr_assert_lt(m->wanted_count, 510);
    if (id != NULL)
    {
        cr_assert_neq(id[0], '\0');
        for (size_t i = 0; i < m->id_count; i++)
            cr_assert_str_neq(m->id[i], id, "an id comes twice");
        m->id[m->id_count++] = id;
    }
    if (label != NULL)
        m->wanted[m->wanted_count++] = label;
    if (link != NULL && link[0] == '#')
        m->wanted[m->wanted_count++] = name_of_link(link + 1);
    free(link);
}

static void open_one(markup* m, const char* tag, size_t length)
{
    char name[16] = {0};
    snprintf(name, sizeof name, "%.*s", (int)strcspn(tag, " />"), tag);
    note_names(m, tag, length);
    if (strcmp(name, "img") == 0)
    {
        char* alt = attribute(tag, length, "alt");
        cr_assert(alt != NULL && alt[0] != '\0', "a picture without words in its place");
        free(alt);
    }
    if (strcmp(name, "th") == 0)
        cr_assert(memmem(tag, length, " scope=\"", 8) != NULL, "a head of a table without a scope");
    if (strcmp(name, "table") == 0)
        cr_assert_eq(strncmp(strchr(tag, '>') + 1, "\n<caption", 9), 0, "a table without a caption");
    if (tag[length - 1] == '/')
        return;
    if (name[0] == 'h' && name[1] >= '1' && name[1] <= '6' && name[2] == '\0')
    {
        cr_assert_leq(name[1] - '0', m->heading + 1, "a heading is left out");
        m->heading = name[1] - '0';
        m->heading_words = 0;
    }
    cr_assert_lt(m->depth, 64);
    memcpy(m->open[m->depth++], name, sizeof name);
}

static void close_one(markup* m, const char* tag, size_t length)
{
    cr_assert_gt(m->depth, 0);
    m->depth--;
    cr_assert(strlen(m->open[m->depth]) == length - 1 && strncmp(m->open[m->depth], tag + 1, length - 1) == 0,
              "<%s> is closed by <%.*s>", m->open[m->depth], (int)length, tag);
    if (tag[1] == 'h' && tag[2] >= '1' && tag[2] <= '6')
        cr_assert_gt(m->heading_words, 0, "a heading is empty");
}

static bool is_named(const markup* m, const char* id)
{
    for (size_t i = 0; i < m->id_count; i++)
        if (strcmp(m->id[i], id) == 0)
            return true;
    return false;
}

/// Tags balance, ids are their own and are there where links lead, headings are in order and not empty.
static void check_structure(const char* page_text)
{
    markup m = {.at = page_text};
    cr_assert_eq(strncmp(page_text, "<!DOCTYPE html>\n<html lang=\"", 28), 0);
    m.at += strlen("<!DOCTYPE html>");
    while (*m.at != '\0')
    {
        if (*m.at != '<')
        {
            cr_assert_neq(*m.at, '>', "a bare sign of markup");
            m.heading_words += *m.at != ' ';
            m.at++;
            continue;
        }
        const char* end = strchr(m.at, '>');
        cr_assert_not_null(end);
        size_t length = (size_t)(end - m.at) - 1;
        if (m.at[1] == '/')
            close_one(&m, m.at + 1, length);
        else
            open_one(&m, m.at + 1, length);
        m.at = strcmp(m.depth > 0 ? m.open[m.depth - 1] : "", "style") == 0 ? strstr(end, "</style>") : end + 1;
    }
    cr_assert_eq(m.depth, 0, "<%s> stays open", m.open[0]);
    for (size_t i = 0; i < m.wanted_count; i++)
        cr_assert(is_named(&m, m.wanted[i]), "nothing is called %s", m.wanted[i]);
    cr_assert_gt(m.wanted_count, 0);
    for (size_t i = 0; i < m.id_count; i++)
        free(m.id[i]);
    for (size_t i = 0; i < m.wanted_count; i++)
        free(m.wanted[i]);
}

Test(page, tags_balance_ids_are_unique_links_lead_somewhere_and_headings_are_in_order)
{
    char* text = sample_text(14);
    check_structure(text);
    free(text);
}

Test(page, it_asks_for_no_script_and_no_network)
{
    char* text = sample_text(3);
    cr_assert_eq(count_of(text, "<script"), 0);
    cr_assert_eq(count_of(text, "://"), 0);
    cr_assert_eq(count_of(text, "@import"), 0);
    cr_assert_eq(count_of(text, "url("), 0);
    free(text);
}

Test(page, the_same_calls_give_the_same_bytes)
{
    char *one = sample_text(20), *other = sample_text(20);
    cr_assert_str_eq(one, other);
    free(one);
    free(other);
}

// --- Text -----------------------------------------------------------------------------------------------------------

/// A page whose every text is `note`.
static char* page_of(const char* note)
{
    static const table_column column[] = {{"id", NULL, "id", TABLE_TEXT, ""}, {"note", NULL, "note", TABLE_TEXT, ""}};
    char* bytes = NULL;
    size_t size = 0;
    rlv_error error = {0};
    rlv_page p;
    FILE* stream = open_memstream(&bytes, &size);
    rlv_table t = table_of("notes", note, 2, column);
    table_text(&t, note);
    table_text(&t, note);
    cr_assert_eq(page_begin(&p, note, note, note, &error), RLV_DONE);
    page_section(&p, note, note);
    page_part(&p, note, note);
    page_paragraph(&p, note);
    page_box(&p, PAGE_WARNING, note);
    page_fact(&p, note, note);
    page_table(&p, &t, note);
    page_figure(
        &p, &(page_picture){
                .path = note, .alt = "x", .caption = note, .width = 4, .height = 3, .full = note, .full_words = note});
    page_figure(&p,
                &(page_picture){
                    .path = "x.png", .alt = note[0] != '\0' ? note : "x", .caption = note, .width = 4, .height = 3});
    page_link(&p, note, note);
    cr_assert_eq(page_write(&p, note, stream, "page", &error), RLV_DONE, "%s", error.what);
    fclose(stream);
    table_free(&t);
    page_free(&p);
    return bytes;
}

Test(page, markup_in_a_note_is_text_wherever_the_note_stands)
{
    char* text = page_of("</p></title></style><script>alert('1')</script>\" onload=\"x\" & &amp; ]]> <!--");
    check_structure(text);
    cr_assert_eq(count_of(text, "<script"), 0);
    cr_assert_eq(count_of(text, "\" onload"), 0);
    cr_assert_eq(count_of(text, "<!--"), 0);
    cr_assert_geq(count_of(text, "&lt;script&gt;alert('1')&lt;/script&gt;&quot; onload=&quot;x&quot; &amp; &amp;amp;"),
                  12);
    free(text);
}

Test(page, a_footer_can_end_neither_the_style_nor_its_quotes)
{
    char* text = page_of("a\"}</style><b>\\b\nc");
    check_structure(text);
    cr_assert_not_null(strstr(text, "content:\"a\\000022\\00007D\\00003C\\00002Fstyle\\00003E\\00003Cb\\00003E"
                                    "\\00005Cb\\000020c\""));
    cr_assert_eq(count_of(text, "</style>"), 1);
    free(text);
}

Test(page, a_path_names_no_scheme_and_stays_within_its_quotes)
{
    char* text = page_of("javascript:alert(1)");
    cr_assert_eq(count_of(text, "href=\"javascript:"), 0);
    cr_assert_geq(count_of(text, "href=\"javascript%3Aalert%281%29\""), 3);
    free(text);
    text = page_of("pictures/a b \"c\".png");
    cr_assert_geq(count_of(text, "href=\"pictures/a%20b%20%22c%22.png\""), 3);
    free(text);
}

Test(page, control_characters_and_bytes_that_are_no_utf8_become_replacement_characters)
{
    // From left to right: a control character, one of the second set, a byte that begins nothing, an overlong slash, a
    // surrogate, a character cut short, a noncharacter; a tab and line ends stay.
    char* text = page_of("a\x01"
                         "b\xC2\x85"
                         "c\xFF"
                         "d\xC0\xAF"
                         "e\xED\xA0\x80"
                         "f\xE2\x82"
                         "g\xEF\xBF\xBE"
                         "h\ti\r\nj\rk\x7F");
    check_structure(text);
    cr_assert_geq(
        count_of(text, "a\uFFFDb\uFFFDc\uFFFDd\uFFFD\uFFFDe\uFFFD\uFFFD\uFFFDf\uFFFD\uFFFDg\uFFFDh\ti\nj\nk\uFFFD"),
        10);
    for (const char* at = text; *at != '\0'; at++)
        cr_assert((unsigned char)*at >= 0x20 || *at == '\n' || *at == '\t');
    free(text);
}

Test(page, text_in_any_script_comes_through_and_runs_its_own_way)
{
    static const char* const notes[] = {"Fundstück in Schräglage",
                                        "Образец из мергеля",
                                        "الكتلة من المحجر",
                                        "הגוש השלישי",
                                        "化石的第三块",
                                        "तीसरा खंड",
                                        "หินก้อนที่สาม",
                                        "세 번째 덩어리",
                                        "🦴🪨"};
    for (size_t i = 0; i < sizeof notes / sizeof notes[0]; i++)
    {
        char* text = page_of(notes[i]);
        char paragraph[128];
        snprintf(paragraph, sizeof paragraph, "<p dir=\"auto\">%s</p>", notes[i]);
        check_structure(text);
        cr_assert_geq(count_of(text, paragraph), 3, "%s", notes[i]);
        free(text);
    }
}

Test(page, no_line_breaks_between_a_number_and_its_unit)
{
    char* text = page_of("edges < 2 mm, 12.5 mL (3 to 95 %), 4 g/cm³; 5 months in 3 gullies, over 7 mmol, g 8 h");
    cr_assert_geq(count_of(text,
                           "edges &lt;\u00A02\u00A0mm, 12.5\u00A0mL (3 to 95\u00A0%), 4\u00A0g/cm³; 5 months in 3 "
                           "gullies, over 7 mmol, g 8\u00A0h"),
                  3);
    free(text);
}

Test(page, an_empty_text_makes_no_empty_heading_and_no_id_twice)
{
    char* text = page_of("");
    check_structure(text);
    free(text);
    text = page_of(" \t\xC2\xA0 ");
    check_structure(text);
    cr_assert_geq(count_of(text, "Untitled"), 4);
    free(text);
}

Test(page, a_language_that_is_no_tag_is_english)
{
    char* text = page_of("de-CH");
    cr_assert_not_null(strstr(text, "<html lang=\"de-CH\">"));
    free(text);
    text = page_of("x\" y");
    cr_assert_not_null(strstr(text, "<html lang=\"en\">"));
    free(text);
}

// --- Parts ----------------------------------------------------------------------------------------------------------

Test(page, a_cell_shows_its_interval_in_the_units_that_people_read)
{
    char* text = sample_text(1);
    // 458,624.8 mm3, sd 796: tenths of a mL; the centre to a tenth of a millimetre, with minus signs.
    cr_assert_not_null(strstr(text, "<td class=\"n\">458.6 <span class=\"ends\">457.0 to 460.2</span></td>"));
    cr_assert_not_null(strstr(text, "257.1, −88.1, −223.8</td>"));
    cr_assert_not_null(
        strstr(text, "<th scope=\"col\" class=\"n\">volume <span class=\"unit\">mL, 95 % interval</span>"));
    cr_assert_not_null(strstr(text, "<td class=\"n\">408.1</td>"), "cm2");
    free(text);
}

Test(page, a_column_that_stands_beneath_another_is_told_in_its_cell_and_leaves_no_dash)
{
    static const table_column columns[] = {{"element", NULL, "element", TABLE_TEXT, "Its id."},
                                           {"kind", NULL, "kind", TABLE_TEXT, "What it is."},
                                           {"shift", "mm", "least shift", TABLE_NUMBER, "What would be told."}};
    rlv_table t = table_of("elements", "Elements", sizeof columns / sizeof columns[0], columns);
    t.dash = "A dash: not recorded.";
    table_beneath(&t, "kind");
    table_beneath(&t, "shift");
    table_text(&t, "D01");
    table_text(&t, "scute");
    table_figures(&t, 5.25, 2);
    table_text(&t, "D02");
    table_text(&t, NULL);
    table_none(&t);
    char* text = page_of_table(&t);
    cr_expect_not_null(strstr(text,
                              "<th scope=\"col\">element <span class=\"unit\">kind</span> <span class=\"unit\">least "
                              "shift, mm</span></th></tr>"));
    cr_expect_not_null(
        strstr(text, "<th scope=\"row\">D01 <span class=\"beneath\">scute</span> <span class=\"beneath\">5.2"));
    cr_expect_not_null(strstr(text, "<th scope=\"row\">D02</th></tr>"));
    cr_expect_null(strstr(text, "A dash: not recorded."));
    free(text);
    table_free(&t);
}

Test(page, a_column_beneath_that_the_table_has_not_fails_the_page)
{
    rlv_table t = sample_table(2);
    table_beneath(&t, "weight");
    rlv_error error = {0};
    cr_expect_eq(table_check(&t, &error), RLV_SYSTEM);
    table_free(&t);
}

Test(page, a_box_says_what_it_is_in_words)
{
    char* text = sample_text(1);
    cr_assert_eq(count_of(text, "<p class=\"kind\">Note</p>"), 1);
    cr_assert_eq(count_of(text, "<p class=\"kind\">Caution</p>"), 1);
    cr_assert_eq(count_of(text, "<p class=\"kind\">Warning</p>"), 1);
    free(text);
}

Test(page, a_short_table_is_not_torn_on_paper_and_a_long_one_is)
{
    char* text = sample_text(12);
    cr_assert_eq(count_of(text, "<div class=\"scroll short\""), 1);
    free(text);
    text = sample_text(13);
    cr_assert_eq(count_of(text, "<div class=\"scroll short\""), 0);
    cr_assert_eq(count_of(text, "<div class=\"scroll\""), 1);
    free(text);
}

Test(page, a_table_of_many_columns_is_printed_on_sheets_that_lie)
{
    table_column column[16];
    for (size_t i = 0; i < 16; i++)
        column[i] = (table_column){"n", NULL, "n", TABLE_COUNT, "A number."};
    for (size_t shown = 15; shown <= 16; shown++)
    {
        rlv_table t = table_of("wide", "Wide", shown, column);
        for (size_t i = 0; i < shown; i++)
            table_count(&t, i);
        char* bytes = page_of_table(&t);
        cr_assert_eq(count_of(bytes, "<div class=\"scroll short wide\""), shown == 16 ? 1 : 0);
        cr_assert_eq(count_of(bytes, "@page wide{size:A4 landscape"), 1);
        table_free(&t);
        free(bytes);
    }
}

Test(page, a_table_that_is_not_whole_fails_the_page)
{
    static const table_column column[] = {{"id", NULL, "id", TABLE_TEXT, ""}, {"n", NULL, "n", TABLE_COUNT, ""}};
    rlv_error error = {0};
    rlv_page p;
    rlv_table t = table_of("broken", "Broken", 2, column);
    FILE* stream = tmpfile();
    table_text(&t, "one");
    cr_assert_eq(page_begin(&p, "A page", NULL, "en", NULL), RLV_DONE);
    page_table(&p, &t, NULL);
    cr_assert_eq(page_write(&p, "", stream, "page", &error), RLV_SYSTEM);
    cr_assert_str_eq(error.where, "broken");
    page_free(&p);
    table_free(&t);
    fclose(stream);
}

Test(page, a_full_disk_is_told)
{
    rlv_error error = {0};
    FILE* stream = fopen("/dev/full", "wb");
    setvbuf(stream, NULL, _IONBF, 0);
    cr_assert_eq(write_sample(stream, 3, &error), RLV_SYSTEM);
    cr_assert_str_eq(error.where, "report.html");
    cr_assert_not_null(strstr(error.mend, "room"));
    fclose(stream);
}

Test(page, ten_thousand_rows_are_written_at_once)
{
    struct timespec from, to;
    clock_gettime(CLOCK_MONOTONIC, &from);
    char* text = sample_text(10000);
    clock_gettime(CLOCK_MONOTONIC, &to);
    double seconds = (double)(to.tv_sec - from.tv_sec) + 1e-9 * (double)(to.tv_nsec - from.tv_nsec);
    cr_assert_geq(count_of(text, "<tr>"), 10001);
    cr_log_info("10,000 rows, %.1f MB: %.3f s", (double)strlen(text) / 1e6, seconds);
    // Work that grew as the square of the rows would take minutes; ten seconds leave room for a busy machine under the
    // sanitizers.
    cr_assert_lt(seconds, 10.0);
    free(text);
}

// --- As others read it ----------------------------------------------------------------------------------------------

static bool is_installed(const char* program)
{
    char call[128];
    snprintf(call, sizeof call, "command -v %s > /dev/null 2>&1", program);
    return system(call) == 0;
}

/// A folder with the sample page in it.
static void write_folder(char folder[4096], const char* script, size_t rows)
{
    char path[4200];
    rlv_error error = {0};
    folder_make(folder);
    snprintf(path, sizeof path, "%s/report.html", folder);
    FILE* stream = fopen(path, "wb");
    cr_assert_eq(write_sample(stream, rows, &error), RLV_DONE, "%s", error.what);
    fputs(script, stream);
    fclose(stream);
}

/// What a command prints, its folder being `folder`; the folder is removed. free().
static char* output_of(const char* folder, const char* command)
{
    char call[9000], *bytes = NULL;
    size_t size = 0, got;
    char block[4096];
    snprintf(call, sizeof call, "cd '%s' && { %s; }; cd / && rm -rf '%s'", folder, command, folder);
    FILE* pipe = popen(call, "r");
    FILE* kept = open_memstream(&bytes, &size);
    while ((got = fread(block, 1, sizeof block, pipe)) > 0)
        fwrite(block, 1, got, kept);
    fclose(kept);
    pclose(pipe);
    return bytes;
}

Test(page, it_is_well_formed_xml_to_a_reader_of_others)
{
    char folder[4096];
    if (!is_installed("xmllint"))
        cr_skip_test("xmllint is not installed");
    write_folder(folder, "", 14);
    char* told = output_of(folder, "xmllint --noout report.html 2>&1 && echo sound");
    cr_assert_str_eq(told, "sound\n");
    free(told);
}

#define BROWSER                                                                                                        \
    "HOME=. timeout 120 chromium --headless --no-sandbox --disable-gpu --user-data-dir=./profile "                     \
    "--allow-file-access-from-files "

/// The page in a frame of a width, asked by a script that only the test adds; whether its first table is wider than the
/// frame leaves room for.
static void expect_fitting(int width, bool scrolls)
{
    static const char* const script =
        "<script>onload=function(){var e=document.documentElement,s=document.querySelector('.scroll');"
        "parent.postMessage((e.scrollWidth-e.clientWidth)+' of '+e.clientWidth+' '+(s.scrollWidth>s.clientWidth),'*')}"
        "</script>";
    char folder[4096], command[1024];
    write_folder(folder, script, 14);
    snprintf(
        command, sizeof command,
        "echo '<!DOCTYPE html><title>none</title><script>onmessage=function(e){document.title=e.data}</script>"
        "<iframe src=\"report.html\" style=\"border:0;width:%dpx;height:800px\"></iframe>' > frame.html && " BROWSER
        "--window-size=1600,900 --virtual-time-budget=5000 --dump-dom \"file://$PWD/frame.html\" 2> /dev/null",
        width);
    char* dom = output_of(folder, command);
    const char* title = strstr(dom, "<title>");
    int beyond = -1, seen = 0;
    char wide[8] = "";
    cr_assert(title != NULL && sscanf(title, "<title>%d of %d %7[a-z]", &beyond, &seen, wide) == 3, "%.200s",
              title != NULL ? title : dom);
    cr_assert_eq(beyond, 0, "%d wide: the page reaches %d pixels too far", width, beyond);
    // A bar to scroll with may stand in the frame.
    cr_assert(seen <= width && seen > width - 32, "%d wide: seen as %d", width, seen);
    cr_assert_str_eq(wide, scrolls ? "true" : "false", "%d wide: whether the table scrolls", width);
    free(dom);
}

Test(page, in_a_browser_the_page_never_scrolls_to_the_side_but_a_wide_table_does, .timeout = 300)
{
    if (!is_installed("chromium"))
        cr_skip_test("chromium is not installed");
    expect_fitting(1120, false); // a table of regions is read whole on a laptop
    expect_fitting(400, true);
    expect_fitting(320, true);
}

/// Words of each sheet of the printed sample, and whether it shows rows of the table without its head.
Test(page, on_paper_no_sheet_is_empty_and_a_long_table_repeats_its_head, .timeout = 300)
{
    enum
    {
        ROWS = 150,
        MARGIN_WORDS = 19, // the footer and the sheet's number, on each
        LEAST_WORDS = 25   // beside them
    };
    char folder[4096];
    if (!is_installed("chromium") || !is_installed("pdftotext"))
        cr_skip_test("chromium or pdftotext is not installed");
    write_folder(folder, "", ROWS);
    char* text = output_of(folder, BROWSER "--no-pdf-header-footer --print-to-pdf=page.pdf \"file://$PWD/report.html\" "
                                           "> /dev/null 2>&1 && pdftotext -layout page.pdf -");
    size_t sheets = 0, rows = 0;
    for (char *at = text, *end; (end = strchr(at, '\f')) != NULL; at = end + 1, sheets++)
    {
        size_t words = 0, own = 0;
        *end = '\0';
        const bool headed = strstr(at, "greatest") != NULL;
        const char* footed = strstr(at, "not a certificate. Made from specimen.yaml, SHA-256 9f2c…");
        for (char *line = at, *next; line != NULL; line = next)
        {
            if ((next = strchr(line, '\n')) != NULL)
                *next++ = '\0';
            own += strstr(line, " removed ") != NULL || strstr(line, " added ") != NULL;
            for (char* word = strtok(line, " \t"); word != NULL; word = strtok(NULL, " \t"))
                words++;
        }
        rows += own > 2 ? own : 0; // a sentence may hold the word, no sheet of rows but the last so few
        cr_expect_geq(words, MARGIN_WORDS + LEAST_WORDS, "sheet %zu holds %zu words", sheets + 1, words);
        cr_expect_not_null(footed, "sheet %zu has no footer", sheets + 1);
        cr_expect(own <= 2 || headed, "sheet %zu holds %zu rows without their head", sheets + 1, own);
    }
    cr_expect_geq(sheets, 4);
    cr_expect_geq(rows, ROWS - 2, "%zu rows were seen", rows);
    free(text);
}

/// Headings marked "parted", each with a paragraph and a table below it, lie all the way down a sheet: fillers of one
/// to eighteen facts push them.
static rlv_status write_headed(FILE* stream, rlv_error* error)
{
    rlv_page p;
    rlv_table t = sample_table(3);
    const rlv_status status = page_begin(&p, "Headings", NULL, "en", error);
    page_section(&p, "parts", "Parts");
    for (size_t i = 0; i < 18; i++)
    {
        for (size_t fill = 0; fill <= i; fill++)
            page_fact(&p, "filler", "one line");
        char id[32];
        snprintf(id, sizeof id, "part-%zu", i);
        page_part(&p, id, "Not to be parted");
        page_paragraph(&p, "What the table below it tells.");
        page_table(&p, &t, "tables/regions.csv");
    }
    const rlv_status written = status == RLV_DONE ? page_write(&p, "Foot.", stream, "report.html", error) : status;
    table_free(&t);
    page_free(&p);
    return written;
}

Test(page, on_paper_no_heading_is_parted_from_the_table_below_its_paragraph, .timeout = 300)
{
    char folder[4096], path[4200];
    rlv_error error = {0};
    if (!is_installed("chromium") || !is_installed("pdftotext"))
        cr_skip_test("chromium or pdftotext is not installed");
    folder_make(folder);
    snprintf(path, sizeof path, "%s/report.html", folder);
    FILE* stream = fopen(path, "wb");
    cr_assert_eq(write_headed(stream, &error), RLV_DONE, "%s", error.what);
    fclose(stream);
    char* text = output_of(folder, BROWSER "--no-pdf-header-footer --print-to-pdf=page.pdf \"file://$PWD/report.html\" "
                                           "> /dev/null 2>&1 && pdftotext -layout page.pdf -");
    size_t sheets = 0, headings = 0;
    for (char *at = text, *end; (end = strchr(at, '\f')) != NULL; at = end + 1, sheets++)
    {
        *end = '\0';
        // The contents at the head have their own lines of the same words, with no paragraph below.
        const char* last = NULL;
        for (const char* p = strstr(at, "What the table below it tells"); p != NULL;
             p = strstr(p + 1, "What the table"))
            last = p, headings++;
        cr_expect(last == NULL || strstr(last, "air pen") != NULL, "sheet %zu ends before a table's second row",
                  sheets + 1);
    }
    cr_expect_geq(sheets, 4);
    cr_expect_eq(headings, 18);
    free(text);
}
