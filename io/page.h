/// One page of HTML: a report that any browser reads, on a screen of any width, on paper, and aloud.
///
/// HTML5 (WHATWG) that is well-formed XML too, in UTF-8, without scripts and without the network: pictures and tables
/// lie beside it, under paths relative to it. Headings are in order, tables have captions and scopes, figures have
/// texts in their place, what can be scrolled can be reached by keyboard (WCAG 2.2,
/// criteria 1.1.1, 1.3.1, 1.4.1, 1.4.3, 1.4.10, 2.1.1, 2.4.1). Printed it is A4: figures, boxes, rows and short tables
/// are not torn, longer tables repeat their heads, headings stay with what they head, and no sheet is begun for less
/// than it needs, and the footer stands in the margin of each.
///
/// Every text is shown as it is: markup in a note is text. Only a space between a number and its unit, or after a "<"
/// before one, is one that no line breaks at. Control characters other than tabs and line ends, and bytes that are no
/// UTF-8, become U+FFFD. Line ends are kept. The page's own few words (Contents, Figure, Note…) are English. Same
/// calls, same bytes.
///
/// Parts are added in the order in which they are read; the page waits in memory until page_write, since the contents
/// stand at its head. Memory that is not to be had is told there.

#ifndef RLV_PAGE_H
#define RLV_PAGE_H

#include "error.h"
#include "table.h"

#include <stdbool.h>
#include <stdio.h>

/// A heading, as the contents list it.
typedef struct page_heading
{
    char* id;
    char* text;
    size_t at;    ///< where the body goes on from it
    bool section; ///< of a section, or else of a part of one
} page_heading;

typedef struct rlv_page
{
    char *title, *lead;
    char lang[36];
    FILE* body; ///< what was added, in memory, without the headings of sections
    char* bytes;
    size_t size;
    size_t heading_count;
    page_heading* heading;
    size_t id_count;
    char** id; ///< all that were given away
    size_t table_count, figure_count;
    bool facts; ///< a list of facts is open
    bool out_of_memory;
    rlv_error fault; ///< the first table that was not whole
} rlv_page;

typedef enum page_box_kind
{
    PAGE_NOTE,
    PAGE_CAUTION, ///< what a reader could get wrong
    PAGE_WARNING, ///< where someone or something could get hurt
} page_box_kind;

/// A picture and what belongs to it.
typedef struct page_picture
{
    const char* path; ///< relative to the page, parted by slashes
    const char* alt;  ///< what it shows, for whoever does not see it
    const char* caption;
    unsigned width, height; ///< pixels of the file at `path`
    const char* full;       ///< the same at full size, or a drawing to scale; NULL: `path`
    const char* full_words; ///< what that is: "drawing at 1:1, PDF"; NULL: "full size, 1600 × 1200"
    bool opening;           ///< it opens the page: seen whole on one screen
    double part[2][2]; ///< what is shown of it: corners from upper left, as shares of its width and height, x first;
                       ///< equal: all of it. The link leads to all of it
} page_picture;

/// Begin a page. `lead` stands below the title (NULL: nothing); `lang` is a BCP 47 tag ("en" where it is none). Free
/// with page_free, also after a failure.
rlv_status page_begin(rlv_page* p, const char* title, const char* lead, const char* lang, rlv_error* error);
void page_free(rlv_page* p);

/// A section, or a part of the section that is open, and its line in the contents. `id` is what a link to it ends in;
/// where it is taken, or has characters that no link can have, the page makes another of it.
void page_section(rlv_page* p, const char* id, const char* heading);
void page_part(rlv_page* p, const char* id, const char* heading);

void page_paragraph(rlv_page* p, const char* text);
void page_box(rlv_page* p, page_box_kind kind, const char* text);

/// A name and what it is, in a list with those before and after it.
void page_fact(rlv_page* p, const char* name, const char* text);

/// A table, its first column naming the rows. `csv` is the path of the same table as CSV; NULL: none.
void page_table(rlv_page* p, const rlv_table* t, const char* csv);

void page_figure(rlv_page* p, const page_picture* picture);

/// A line that leads to another file: a drawing, a model, JSON.
void page_link(rlv_page* p, const char* path, const char* text);

/// Write it all, with `footer` at its end. RLV_SYSTEM where memory was lacking, a table was not whole or the stream
/// fails; `where` names the stream in the error.
rlv_status page_write(rlv_page* p, const char* footer, FILE* stream, const char* where, rlv_error* error);

#endif
