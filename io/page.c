#include "page.h"

#include <errno.h>
#include <glib.h>
#include <stdlib.h>
#include <string.h>

// --- Text ------------------------------------------------------------------------------------------------------------

/// The next character of UTF-8, and the bytes that it takes; U+FFFD for what no page may hold: control characters,
/// noncharacters, bytes that are no UTF-8.
static gunichar next_character(const char** at)
{
    gunichar c = g_utf8_get_char_validated(*at, -1);
    if (c == (gunichar)-1 || c == (gunichar)-2)
    {
        (*at)++;
        return 0xFFFD;
    }
    *at = g_utf8_next_char(*at);
    if (c == '\r')
    {
        if (**at == '\n')
            (*at)++;
        return '\n';
    }
    bool control = (c < 0x20 && c != '\n' && c != '\t') || (c >= 0x7F && c < 0xA0);
    bool none = (c >= 0xFDD0 && c <= 0xFDEF) || (c & 0xFFFE) == 0xFFFE;
    return control || none ? 0xFFFD : c;
}

/// Whether a unit begins here: no line breaks between a number and its unit (common practice, no source).
static bool is_unit(const char* text)
{
    static const char* const units[] = {"mm³", "mm²",   "mm", "cm³", "cm²", "cm", "mL/h", "mL",
                                        "m",   "g/cm³", "kg", "g",   "h",   "%",  "°"};
    for (size_t i = 0; i < sizeof units / sizeof *units; i++)
    {
        const size_t length = strlen(units[i]);
        if (strncmp(text, units[i], length) == 0)
            return !g_ascii_isalnum(text[length]) && (signed char)text[length] >= 0;
    }
    return false;
}

/// Write text so that it is shown as it is, in an element or between double quotes.
static void write_text(FILE* stream, const char* text)
{
    char bytes[6];
    gunichar before = 0;
    while (*text != '\0')
    {
        gunichar c = next_character(&text);
        if (c == ' ' && ((g_unichar_isdigit(before) && is_unit(text)) || (before == '<' && g_ascii_isdigit(*text))))
            c = 0xA0;
        before = c;
        switch (c)
        {
        case '&':
            fputs("&amp;", stream);
            break;
        case '<':
            fputs("&lt;", stream);
            break;
        case '>':
            fputs("&gt;", stream);
            break;
        case '"':
            fputs("&quot;", stream);
            break;
        default:
            fwrite(bytes, 1, (size_t)g_unichar_to_utf8(c, bytes), stream);
        }
    }
}

/// Write a path or the end of a link (RFC 3986): all but unreserved characters and slashes is told in per cent signs,
/// so that it can neither name a scheme nor end its quotes.
static void write_reference(FILE* stream, const char* path)
{
    for (const unsigned char* at = (const unsigned char*)path; *at != '\0'; at++)
        if (g_ascii_isalnum(*at) || strchr("-._~/", *at) != NULL)
            fputc(*at, stream);
        else
            fprintf(stream, "%%%02X", *at);
}

/// `text`, or a word in its place where there is nothing to be seen of it.
static const char* or_untitled(const char* text)
{
    for (const char* at = text != NULL ? text : ""; *at != '\0';)
        if (g_unichar_isgraph(next_character(&at)))
            return text;
    return "Untitled";
}

/// Open a tag whose text may be in any script: it then runs in its own direction.
static void open_tag(rlv_page* p, const char* tag, const char* text)
{
    bool ascii = true;
    for (const char* at = text; *at != '\0' && ascii; at++)
        ascii = (signed char)*at >= 0;
    fprintf(p->body, "<%s%s>", tag, ascii ? "" : " dir=\"auto\"");
}

static void put(rlv_page* p, const char* tag, const char* text)
{
    open_tag(p, tag, text);
    write_text(p->body, text);
    fprintf(p->body, "</%.*s>", (int)strcspn(tag, " "), tag);
}

// --- Names of places -------------------------------------------------------------------------------------------------

static bool is_taken(const rlv_page* p, const char* id)
{
    for (size_t i = 0; i < p->id_count; i++)
        if (strcmp(p->id[i], id) == 0)
            return true;
    return false;
}

/// `text` with hyphens for what no id holds.
static char* clean_id(const char* text)
{
    char* clean = NULL;
    size_t size = 0;
    FILE* stream = open_memstream(&clean, &size);
    if (stream == NULL)
        return NULL;
    char bytes[6];
    while (*text != '\0')
    {
        gunichar c = next_character(&text);
        bool kept = c >= 0x80 ? g_unichar_isalnum(c) : g_ascii_isalnum((char)c) || c == '_' || c == '-';
        if (kept)
            fwrite(bytes, 1, (size_t)g_unichar_to_utf8(c, bytes), stream);
        else
            fputc('-', stream);
    }
    if (fclose(stream) != 0)
    {
        free(clean);
        return NULL;
    }
    return clean;
}

/// An id of its own, made of `wish`; the page owns it. NULL where memory is lacking.
static const char* new_id(rlv_page* p, const char* wish)
{
    char* clean = clean_id(*wish != '\0' ? wish : "part");
    char** grown = clean != NULL ? realloc(p->id, (p->id_count + 1) * sizeof *grown) : NULL;
    char* id = grown != NULL ? strdup(clean) : NULL;
    if (grown != NULL)
        p->id = grown;
    for (unsigned number = 2; id != NULL && is_taken(p, id); number++)
    {
        free(id);
        if (asprintf(&id, "%s-%u", clean, number) < 0)
            id = NULL;
    }
    free(clean);
    p->out_of_memory = p->out_of_memory || id == NULL;
    if (id != NULL)
        p->id[p->id_count++] = id;
    return id;
}

// --- Parts -----------------------------------------------------------------------------------------------------------

rlv_status page_begin(rlv_page* p, const char* title, const char* lead, const char* lang, rlv_error* error)
{
    *p = (rlv_page){.title = strdup(or_untitled(title)), .lead = lead != NULL ? strdup(lead) : NULL};
    p->body = open_memstream(&p->bytes, &p->size);
    if (p->body == NULL || p->title == NULL || (lead != NULL && p->lead == NULL))
        return rlv_fail(error, RLV_SYSTEM, NULL, "close other programs", "no memory for a page");
    size_t length = strspn(lang, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-");
    bool is_tag = length > 0 && lang[length] == '\0' && length < sizeof p->lang;
    snprintf(p->lang, sizeof p->lang, "%s", is_tag ? lang : "en");
    new_id(p, "contents");
    new_id(p, "text");
    return RLV_DONE;
}

void page_free(rlv_page* p)
{
    if (p->body != NULL)
        fclose(p->body);
    free(p->bytes);
    for (size_t i = 0; i < p->heading_count; i++)
    {
        free(p->heading[i].id);
        free(p->heading[i].text);
    }
    for (size_t i = 0; i < p->id_count; i++)
        free(p->id[i]);
    free(p->heading);
    free(p->id);
    free(p->title);
    free(p->lead);
    *p = (rlv_page){0};
}

static void end_facts(rlv_page* p)
{
    if (p->facts)
        fputs("</dl>\n", p->body);
    p->facts = false;
}

static void add_heading(rlv_page* p, const char* wish, const char* text, bool section)
{
    end_facts(p);
    const char* id = new_id(p, wish);
    page_heading* grown = realloc(p->heading, (p->heading_count + 1) * sizeof *grown);
    if (grown != NULL)
        p->heading = grown;
    if (id == NULL || grown == NULL || fflush(p->body) != 0)
    {
        p->out_of_memory = true;
        return;
    }
    page_heading* heading = &p->heading[p->heading_count];
    *heading = (page_heading){.id = strdup(id), .text = strdup(or_untitled(text)), .at = p->size, .section = section};
    p->heading_count++;
    p->out_of_memory = p->out_of_memory || heading->id == NULL || heading->text == NULL;
}

void page_section(rlv_page* p, const char* id, const char* heading)
{
    add_heading(p, id, heading, true);
}

void page_part(rlv_page* p, const char* id, const char* heading)
{
    // A part of nothing is a section.
    add_heading(p, id, heading, p->heading_count == 0);
}

void page_paragraph(rlv_page* p, const char* text)
{
    end_facts(p);
    put(p, "p", text);
    fputc('\n', p->body);
}

void page_box(rlv_page* p, page_box_kind kind, const char* text)
{
    static const char* const name[] = {"note", "caution", "warning"};
    static const char* const word[] = {"Note", "Caution", "Warning"};
    end_facts(p);
    fprintf(p->body, "<div class=\"box %s\" role=\"note\"><p class=\"kind\">%s</p>", name[kind], word[kind]);
    put(p, "p", text);
    fputs("</div>\n", p->body);
}

void page_fact(rlv_page* p, const char* name, const char* text)
{
    if (!p->facts)
        fputs("<dl>\n", p->body);
    p->facts = true;
    fputs("<div>", p->body);
    put(p, "dt", name);
    put(p, "dd", text);
    fputs("</div>\n", p->body);
}

void page_link(rlv_page* p, const char* path, const char* text)
{
    end_facts(p);
    fputs("<p class=\"link\"><a href=\"", p->body);
    write_reference(p->body, path);
    fputs("\">", p->body);
    write_text(p->body, or_untitled(text));
    fputs("</a></p>\n", p->body);
}

/// Share of a screen's height that the opening picture may take, so that it is seen whole beneath the title.
#define OPENING_HEIGHT 92.0

/// The frame that a part of a picture is seen through, and how the picture lies behind it. Margins in percent are of
/// the frame's width (CSS 2.2, section 8.3).
static void put_part(rlv_page* p, const page_picture* picture)
{
    const double wide = picture->part[1][0] - picture->part[0][0], high = picture->part[1][1] - picture->part[0][1],
                 shape = wide * picture->width / (high * picture->height);
    fprintf(p->body, "<span class=\"part\" style=\"aspect-ratio:%.4f", shape);
    if (picture->opening)
        fprintf(p->body, ";max-width:%.1fvh", OPENING_HEIGHT * shape);
    fprintf(p->body, "\"><img style=\"width:%.2f%%;margin:%.2f%% 0 0 %.2f%%\"", 100.0 / wide,
            -100.0 * picture->part[0][1] * picture->height / (wide * picture->width),
            -100.0 * picture->part[0][0] / wide);
}

void page_figure(rlv_page* p, const page_picture* picture)
{
    const bool part = picture->part[0][0] < picture->part[1][0] && picture->part[0][1] < picture->part[1][1];
    end_facts(p);
    char wish[32];
    snprintf(wish, sizeof wish, "figure-%zu", ++p->figure_count);
    const char* id = new_id(p, wish);
    fprintf(p->body, "<figure id=\"%s\"%s><a href=\"", id != NULL ? id : "",
            picture->opening ? " class=\"opening\"" : "");
    write_reference(p->body, picture->full != NULL ? picture->full : picture->path);
    fputs("\">", p->body);
    if (part)
        put_part(p, picture);
    else
        fputs("<img", p->body);
    fputs(" src=\"", p->body);
    write_reference(p->body, picture->path);
    fprintf(p->body, "\" width=\"%u\" height=\"%u\" alt=\"", picture->width, picture->height);
    write_text(p->body, picture->alt);
    fprintf(p->body, "\"/>%s<span class=\"full\">", part ? "</span>" : "");
    if (picture->full_words != NULL)
        write_text(p->body, picture->full_words);
    else
        fprintf(p->body, "full size, %u × %u", picture->width, picture->height);
    fprintf(p->body, "</span></a>\n<figcaption><b>Figure %zu</b> ", p->figure_count);
    put(p, "span", picture->caption);
    fputs("</figcaption></figure>\n", p->body);
}

// --- Tables ----------------------------------------------------------------------------------------------------------

enum
{
    SHORT_TABLE = 12, ///< rows up to which a table is not torn on paper
    WIDE_TABLE = 15,  ///< columns beyond which it is printed on sheets that lie
};

static bool is_number(const table_column* column)
{
    return column->kind != TABLE_TEXT && column->kind != TABLE_FLAG;
}

/// Whether it begins a column of the page; else it stands beneath the one before it, or not at all.
static bool is_own(const rlv_table* t, size_t i)
{
    return t->column[i].heading != NULL && !table_is_beneath(t, i);
}

/// Those from `from` on that stand beneath the column before it end here.
static size_t end_beneath(const rlv_table* t, size_t from)
{
    while (from < t->column_count && table_is_beneath(t, from))
        from++;
    return from;
}

static void put_heading(rlv_page* p, const table_column* column)
{
    const char* unit = table_shown_unit(column);
    write_text(p->body, column->heading);
    if (unit[0] != '\0' || column->kind == TABLE_INTERVAL)
        fputs(" <span class=\"unit\">", p->body);
    write_text(p->body, unit);
    if (column->kind == TABLE_INTERVAL)
        fprintf(p->body, "%s95 %% interval", unit[0] != '\0' ? ", " : "");
    if (unit[0] != '\0' || column->kind == TABLE_INTERVAL)
        fputs("</span>", p->body);
}

static void put_head(rlv_page* p, const rlv_table* t)
{
    fputs("<thead><tr>", p->body);
    for (size_t i = 0; i < t->column_count; i++)
    {
        if (!is_own(t, i))
            continue;
        fprintf(p->body, "<th scope=\"col\"%s>", is_number(&t->column[i]) ? " class=\"n\"" : "");
        put_heading(p, &t->column[i]);
        for (size_t k = i + 1; k < end_beneath(t, i + 1); k++)
        {
            fputs(" <span class=\"unit\">", p->body);
            write_text(p->body, t->column[k].heading);
            fprintf(p->body, "%s%s</span>", table_shown_unit(&t->column[k])[0] != '\0' ? ", " : "",
                    table_shown_unit(&t->column[k]));
        }
        fputs("</th>", p->body);
    }
    fputs("</tr></thead>\n", p->body);
}

static void put_small(rlv_page* p, const char* class, const char* text)
{
    if (text[0] == '\0')
        return;
    fprintf(p->body, " <span class=\"%s\">", class);
    write_text(p->body, text);
    fputs("</span>", p->body);
}

static void put_shown(rlv_page* p, table_shown shown)
{
    write_text(p->body, shown.text != NULL ? shown.text : shown.number.text);
    put_small(p, "ends", shown.ends.text);
}

static void put_cell(rlv_page* p, const rlv_table* t, size_t row, size_t i)
{
    fprintf(p->body, "<%s%s>", i == 0 ? "th scope=\"row\"" : "td", is_number(&t->column[i]) ? " class=\"n\"" : "");
    put_shown(p, table_show(t, row, i));
    for (size_t k = i + 1; k < end_beneath(t, i + 1); k++)
    {
        const table_shown shown = table_show(t, row, k);
        if (t->cell[row * t->column_count + k].known)
            put_small(p, "beneath", shown.text != NULL ? shown.text : shown.number.text);
    }
    fputs(i == 0 ? "</th>" : "</td>", p->body);
}

static void put_caption(rlv_page* p, const rlv_table* t, const char* csv, const char* id)
{
    fprintf(p->body, "<caption id=\"%s\"><span class=\"cap\"><b>Table %zu</b> ", id, p->table_count);
    put(p, "span", or_untitled(t->caption));
    if (csv != NULL)
    {
        fputs(" <a href=\"", p->body);
        write_reference(p->body, csv);
        fputs("\">as CSV</a>", p->body);
    }
    fputs("</span></caption>\n", p->body);
}

static size_t shown_columns(const rlv_table* t)
{
    size_t count = 0;
    for (size_t i = 0; i < t->column_count; i++)
        count += is_own(t, i);
    return count;
}

void page_table(rlv_page* p, const rlv_table* t, const char* csv)
{
    end_facts(p);
    char wish[32];
    snprintf(wish, sizeof wish, "table-%zu", ++p->table_count);
    const char* id = new_id(p, wish);
    if (id == NULL || (p->fault.status == RLV_DONE && table_check(t, &p->fault) != RLV_DONE))
        return;
    fprintf(p->body, "<div class=\"scroll%s%s\" role=\"region\" aria-labelledby=\"%s\" tabindex=\"0\"><table>\n",
            table_rows(t) <= SHORT_TABLE ? " short" : "", shown_columns(t) > WIDE_TABLE ? " wide" : "", id);
    put_caption(p, t, csv, id);
    put_head(p, t);
    fputs("<tbody>\n", p->body);
    for (size_t row = 0; row < table_rows(t); row++)
    {
        fputs("<tr>", p->body);
        for (size_t i = 0; i < t->column_count; i++)
            if (is_own(t, i))
                put_cell(p, t, row, i);
        fputs("</tr>\n", p->body);
    }
    if (table_rows(t) == 0)
        fprintf(p->body, "<tr><td colspan=\"%zu\">none</td></tr>\n", t->column_count);
    fputs("</tbody></table></div>\n", p->body);
    if (t->dash == NULL || !table_has_dash(t))
        return;
    fputs("<p class=\"under\">", p->body);
    write_text(p->body, t->dash);
    fputs("</p>\n", p->body);
}

// --- The whole -------------------------------------------------------------------------------------------------------

// Where a table goes on to the side, its edge is shaded: the first two layers of .scroll move with the table and hide
// the shades of the last two at its ends. Black on white and one dark earth, 7:1 or better against white
// (WCAG 2.2, 1.4.6). What a box is stands in it in words.
static const char style_of_all[] =
    ":root{color-scheme:light;--ink:#1d1b18;--soft:#57514a;--line:#dcd7cf;--wash:#f8f6f2;--earth:#7a3d1c;"
    "--plain:system-ui,-apple-system,\"Segoe UI\",Roboto,\"Noto Sans\",\"Liberation Sans\",sans-serif}\n"
    "*{box-sizing:border-box}\n"
    "html{-webkit-text-size-adjust:100%;text-size-adjust:100%;scroll-padding-top:1rem}\n"
    "body{margin:0 auto;max-width:88rem;padding:0 clamp(1rem,4vw,3.5rem) 3rem;background:#fff;color:var(--ink);"
    "font:1.0625rem/1.62 Charter,\"Bitstream Charter\",\"Sitka Text\",Cambria,\"Noto Serif\",\"Liberation "
    "Serif\",serif;"
    "overflow-wrap:break-word}\n"
    "header{padding:clamp(2rem,6vw,4.5rem) 0 1.5rem;margin-bottom:2rem;border-bottom:1px solid var(--ink)}\n"
    "h1,h2,h3{font-weight:400;line-height:1.2;text-wrap:balance;margin:0}\n"
    "h1{font-size:clamp(1.9rem,1.3rem + 2.4vw,2.9rem);letter-spacing:-.012em}\n"
    "h2{font-size:1.7rem;margin:0 0 1.2rem}\n"
    "h3{font-size:1.2rem;font-weight:600;margin:2.4rem 0 .8rem}\n"
    ".lead{margin:.9rem 0 0;max-width:44rem;color:var(--soft);font-size:1.15rem}\n"
    "p,dd,.lead{white-space:pre-line}\n"
    "p,dd,figcaption{text-wrap:pretty}\n"
    "p{margin:0 0 1.1rem;max-width:42rem}\n"
    "a{color:var(--earth);text-decoration-thickness:1px;text-underline-offset:.18em}\n"
    "a:hover{text-decoration-thickness:2px}\n"
    ":focus-visible{outline:3px solid var(--earth);outline-offset:3px}\n"
    ".skip{position:absolute;left:-99rem;padding:.6rem 1rem;background:#fff}\n"
    ".skip:focus{left:1rem;top:1rem;z-index:1}\n"
    "nav{font:.92rem/1.45 var(--plain);margin-bottom:3rem}\n"
    "nav h2{font:600 .92rem/1.4 var(--plain);margin:0 0 .5rem}\n"
    "nav ol{list-style:none;margin:0;padding:0}\n"
    "nav ol ol{padding-left:1rem;font-size:.94em}\n"
    "nav a{display:block;padding:.24rem 0;color:var(--ink);text-decoration:none}\n"
    "nav ol ol a{color:var(--soft)}\n"
    "nav a:hover{text-decoration:underline}\n"
    "section{margin:0 0 4.5rem}\n"
    "dl{margin:0 0 1.6rem;max-width:48rem;border-top:1px solid var(--line)}\n"
    "dl>div{display:grid;grid-template-columns:minmax(7rem,13rem) minmax(0,1fr);gap:0 1.5rem;padding:.45rem 0;"
    "border-bottom:1px solid var(--line)}\n"
    "dt{font:.92rem/1.75 var(--plain);color:var(--soft)}\n"
    "dd{margin:0}\n"
    ".box{max-width:42rem;margin:1.6rem 0;padding:.9rem 1.2rem;background:var(--wash);border-left:1px solid "
    "var(--ink)}\n"
    ".box p{margin:0}\n"
    ".box .kind{font:600 .92rem/1.6 var(--plain)}\n"
    ".caution{border-left:6px double var(--ink)}\n"
    ".warning{border:2px solid var(--earth);border-left-width:10px;background:#fff}\n"
    ".warning .kind{color:var(--earth)}\n";

static const char style_of_parts[] =
    ".scroll{margin:1.8rem 0 2.4rem;overflow-x:auto;max-width:100%;"
    "background:linear-gradient(90deg,#fff 40%,#fff0) left/2.4rem 100% no-repeat local,"
    "linear-gradient(270deg,#fff 40%,#fff0) right/2.4rem 100% no-repeat local,"
    "linear-gradient(90deg,#0003,#0000) left/.9rem 100% no-repeat scroll,"
    "linear-gradient(270deg,#0003,#0000) right/.9rem 100% no-repeat scroll}\n"
    "table{border-collapse:collapse;font:.82rem/1.4 var(--plain);font-variant-numeric:tabular-nums lining-nums}\n"
    "caption{text-align:start;padding:0 0 .7rem}\n"
    ".cap{position:sticky;left:0;display:inline-block;max-width:min(42rem,calc(100vw - 2.2rem))}\n"
    "th,td{padding:.45rem .6rem .45rem 0;text-align:start;vertical-align:top}\n"
    "th:last-child,td:last-child{padding-right:.2rem}\n"
    "th{font-weight:600}\n"
    "tbody th{font-weight:500}\n"
    "thead th{vertical-align:bottom;border-top:1px solid var(--ink);border-bottom:1px solid "
    "var(--ink);line-height:1.3}\n"
    "tbody tr{border-bottom:1px solid var(--line)}\n"
    "td:not(.n),tbody th:not(.n){min-width:4.4rem;max-width:26rem}\n"
    ".n{text-align:right;white-space:nowrap}\n"
    "thead .n{white-space:normal}\n"
    ".unit{display:block;font-weight:400;color:var(--soft)}\n"
    ".ends,.beneath{display:block;font-size:.9em;color:var(--soft)}\n"
    "figure{margin:2rem 0 2.4rem}\n"
    "figure a{display:inline-block;max-width:100%;color:var(--soft);font:.85rem/1.4 var(--plain)}\n"
    "img{display:block;max-width:100%;height:auto;border:1px solid var(--line)}\n"
    ".opening{margin-top:0}\n"
    "@media screen{.opening>a>img{width:auto;max-height:92vh}}\n"
    ".part{display:block;overflow:hidden;border:1px solid var(--line)}.part img{border:0;max-width:none;height:auto}\n"
    ".full{display:block;margin-top:.4rem}\n"
    "figcaption,.under{margin-top:.35rem;max-width:42rem;font:.92rem/1.5 var(--plain)}\n"
    ".under{margin:-2rem 0 2.4rem}\n" // close to its table
    "b{font-weight:600;margin-right:.35em}\n"
    "footer{padding-top:1rem;border-top:1px solid var(--ink);font:.88rem/1.55 var(--plain);color:var(--soft)}\n"
    "@media screen and (min-width:68rem){body{display:grid;grid-template-columns:11.5rem "
    "minmax(0,1fr);column-gap:2.2rem}"
    "header,footer{grid-column:1/-1}nav{position:sticky;top:2rem;align-self:start;max-height:calc(100vh - 4rem);"
    "overflow-y:auto;margin:0}}\n"
    "@media screen and (max-width:32rem){dl>div{grid-template-columns:1fr}h2{font-size:1.45rem}}\n";

static const char style_on_paper[] =
    "@page{size:A4;margin:18mm 18mm 20mm;@bottom-right{content:counter(page) \" / \" counter(pages);"
    "font:8.5pt sans-serif;color:#57514a}}\n"
    "@page wide{size:A4 landscape;margin:14mm 14mm 16mm}\n"
    "@media print{.wide{page:wide}.wide "
    "table{font-size:7pt}html{font-size:9pt}body{max-width:none;padding:0}header{padding-top:0;margin-bottom:1.4rem}"
    ".skip,.full,.cap a,footer{display:none}a{color:inherit;text-decoration:none}.link a::after{content:\" (\" "
    "attr(href) "
    "\")\"}nav{margin-bottom:2rem}nav>ol{columns:3;column-gap:2rem}nav a{padding:.1rem 0}"
    "section{margin-bottom:2.4rem}section:last-of-type{margin-bottom:0}h2{margin-bottom:.8rem}"
    "h3{margin:1.6rem 0 .6rem}p,dl,.box,.lead,.cap,figcaption{max-width:none}.box{margin:1rem 0;background:none}"
    "h1,h2,h3,caption,.kind{break-after:avoid}figure,.box,tr,dl>div,.short{break-inside:avoid}footer{break-before:"
    "avoid}"
    "p{orphans:3;widows:3}dl>div{padding:.22rem 0}figure{margin:1.2rem 0 1.4rem}a>img{max-height:106mm;width:auto}"
    ".scroll{overflow:visible;background:none;margin:1rem 0 1.4rem}table{font-size:7.8pt;line-height:1.28}"
    ".under{margin:-1.1rem 0 1.4rem}thead{display:table-header-group}th,td{padding:.16rem .8em .16rem 0}"
    "th:not(.n),td:not(.n),tbody th:not(.n){min-width:0}.n{white-space:normal}"
    ".ends{white-space:nowrap}"
    // Browsers do not keep a heading with what comes after the paragraph below it, nor a caption with its rows. An
    // empty block that cannot be broken reaches as far down as must stay together, and takes no room.
    "h2,h3{break-inside:avoid}h2::after,h3::after,.scroll::before{content:\"\";display:block;break-inside:avoid;"
    "height:34mm;margin-bottom:-34mm}"
    ":is(h2,h3):has(+p+.scroll)::after{height:70mm;margin-bottom:-70mm}"
    ":is(h2,h3):is(:has(+figure),:has(+p+figure))::after{height:135mm;margin-bottom:-135mm}}\n";

/// The footer in the margin of every sheet: after the last line it would often have a sheet for itself. All but letters
/// and digits is told by its number (CSS Syntax 3, 4.3.7), so that it can neither end its quotes nor the style.
static void write_margin(const char* footer, FILE* stream)
{
    fputs("@page{@bottom-left{content:\"", stream);
    while (*footer != '\0')
    {
        const gunichar c = next_character(&footer);
        if (c < 0x80 && g_ascii_isalnum((char)c))
            fputc((int)c, stream);
        else
            fprintf(stream, "\\%06X", c == '\n' ? ' ' : c);
    }
    fputs("\";font:8.5pt sans-serif;color:#57514a;text-align:left}}\n", stream);
}

static void write_head(const rlv_page* p, const char* footer, FILE* stream)
{
    fprintf(stream,
            "<!DOCTYPE html>\n<html lang=\"%s\">\n<head>\n<meta charset=\"utf-8\"/>\n"
            "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n"
            "<meta name=\"generator\" content=\"rilievo " RLV_VERSION "\"/>\n<title>",
            p->lang);
    write_text(stream, p->title);
    fprintf(stream, "</title>\n<style>\n%s%s%s", style_of_all, style_of_parts, style_on_paper);
    write_margin(footer, stream);
    fputs(
        "</style>\n</head>\n<body>\n<a class=\"skip\" href=\"#text\">Skip to the text</a>\n<header>\n<h1 dir=\"auto\">",
        stream);
    write_text(stream, p->title);
    fputs("</h1>\n", stream);
    if (p->lead != NULL)
    {
        fputs("<p class=\"lead\" dir=\"auto\">", stream);
        write_text(stream, p->lead);
        fputs("</p>\n", stream);
    }
    fputs("</header>\n", stream);
}

static void write_contents(const rlv_page* p, FILE* stream)
{
    if (p->heading_count == 0)
        return;
    fputs("<nav aria-labelledby=\"contents\">\n<h2 id=\"contents\">Contents</h2>\n<ol>\n", stream);
    for (size_t i = 0; i < p->heading_count; i++)
    {
        const page_heading* heading = &p->heading[i];
        bool first_part = !heading->section && p->heading[i - 1].section;
        bool last = i + 1 == p->heading_count || p->heading[i + 1].section;
        fprintf(stream, "%s<li><a href=\"#", first_part ? "\n<ol>\n" : "");
        write_reference(stream, heading->id);
        fputs("\" dir=\"auto\">", stream);
        write_text(stream, heading->text);
        fputs("</a>", stream);
        if (!heading->section)
            fputs(last ? "</li>\n</ol></li>\n" : "</li>\n", stream);
        else if (last)
            fputs("</li>\n", stream);
    }
    fputs("</ol>\n</nav>\n", stream);
}

static void write_heading(const page_heading* heading, bool in_section, FILE* stream)
{
    const char* tag = heading->section ? "h2" : "h3";
    if (heading->section)
        fprintf(stream, "%s<section aria-labelledby=\"%s\">\n", in_section ? "</section>\n" : "", heading->id);
    fprintf(stream, "<%s id=\"%s\" dir=\"auto\">", tag, heading->id);
    write_text(stream, heading->text);
    fprintf(stream, "</%s>\n", tag);
}

/// The body with its headings.
static void write_body(const rlv_page* p, FILE* stream)
{
    size_t at = 0;
    fputs("<main id=\"text\">\n", stream);
    for (size_t i = 0; i < p->heading_count; i++)
    {
        fwrite(p->bytes + at, 1, p->heading[i].at - at, stream);
        at = p->heading[i].at;
        write_heading(&p->heading[i], i > 0, stream);
    }
    fwrite(p->bytes + at, 1, p->size - at, stream);
    fprintf(stream, "%s</main>\n", p->heading_count > 0 ? "</section>\n" : "");
}

rlv_status page_write(rlv_page* p, const char* footer, FILE* stream, const char* where, rlv_error* error)
{
    end_facts(p);
    if (p->fault.status != RLV_DONE && error != NULL)
        *error = p->fault;
    if (p->fault.status != RLV_DONE)
        return p->fault.status;
    if (fflush(p->body) != 0 || ferror(p->body) || p->out_of_memory)
        return rlv_fail(error, RLV_SYSTEM, where, "close other programs", "no memory for the page");
    write_head(p, footer, stream);
    write_contents(p, stream);
    write_body(p, stream);
    fputs("<footer>\n<p dir=\"auto\">", stream);
    write_text(stream, footer);
    fputs("</p>\n</footer>\n</body>\n</html>\n", stream);
    return !ferror(stream) ? RLV_DONE
                           : rlv_fail(error, RLV_SYSTEM, where, "make room on the disk",
                                      "the page could not be written: %s", strerror(errno));
}
