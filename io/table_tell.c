#include "table.h"

#include <glib.h>
#include <stdlib.h>
#include <string.h>

enum
{
    MOST_COLUMNS = 32,
    GAP = 2, ///< between columns
};

/// "459.6 (458.4 to 460.7)".
typedef struct cell_words
{
    char text[320];
} cell_words;

/// A text that does not fit is cut between two letters, with an ellipsis.
static void put_text(cell_words* words, const char* text)
{
    const int room = (int)(sizeof words->text - sizeof "\xe2\x80\xa6");
    const bool fits = strlen(text) < sizeof words->text;
    rlv_print(words->text, sizeof words->text, "%.*s%s", fits ? (int)sizeof words->text : room, text,
              fits ? "" : "\xe2\x80\xa6");
}

static cell_words cell_of(const rlv_table* t, size_t row, size_t column)
{
    const table_shown shown = table_show(t, row, column);
    cell_words words;
    if (shown.text != NULL)
        put_text(&words, shown.text);
    else if (shown.ends.text[0] != '\0')
        snprintf(words.text, sizeof words.text, "%s (%s)", shown.number.text, shown.ends.text);
    else
        snprintf(words.text, sizeof words.text, "%s", shown.number.text);
    return words;
}

/// A heading and its unit, on two lines that are about as long.
typedef struct head_words
{
    cell_words line[2];
} head_words;

static head_words head_of(const rlv_table* t, size_t column)
{
    const char* unit = table_shown_unit(&t->column[column]);
    head_words words = {0};
    char* whole = words.line[0].text;
    snprintf(whole, sizeof words.line[0].text, "%s%s%s", t->column[column].heading, unit[0] != '\0' ? " " : "", unit);
    char* best = NULL;
    size_t least = words_width(whole), all = least;
    for (char* space = strchr(whole, ' '); space != NULL; space = strchr(space + 1, ' '))
    {
        const size_t after = words_width(space + 1), before = all - after - 1, longer = before > after ? before : after;
        if (longer < least)
        {
            least = longer;
            best = space;
        }
    }
    if (best == NULL) // one word stands beneath, next to its column
    {
        words.line[1] = words.line[0];
        whole[0] = '\0';
        return words;
    }
    snprintf(words.line[1].text, sizeof words.line[1].text, "%s", best + 1);
    *best = '\0';
    return words;
}

static void put(FILE* text, const char* words, size_t width, bool right, bool last)
{
    const size_t own = words_width(words), pad = width > own ? width - own : 0;
    if (right)
        fprintf(text, "%*s", (int)pad, "");
    fputs(words, text);
    if (!right && !last)
        fprintf(text, "%*s", (int)pad, "");
    if (!last)
        fprintf(text, "%*s", GAP, "");
}

static bool is_right(const table_column* column)
{
    return column->kind != TABLE_TEXT && column->kind != TABLE_FLAG;
}

/// Columns in which some row tells something, and how wide each is.
static size_t choose_columns(const rlv_table* t, size_t chosen[MOST_COLUMNS], size_t width[MOST_COLUMNS])
{
    size_t count = 0;
    for (size_t k = 0; k < t->column_count && count < MOST_COLUMNS; k++)
    {
        bool known = false;
        if (t->column[k].heading == NULL)
            continue;
        const head_words head = head_of(t, k);
        width[count] = MAX(words_width(head.line[0].text), words_width(head.line[1].text));
        for (size_t i = 0; i < table_rows(t); i++)
        {
            const size_t own = words_width(cell_of(t, i, k).text);
            known = known || t->cell[i * t->column_count + k].known;
            width[count] = MAX(own, width[count]);
        }
        if (known)
            chosen[count++] = k;
    }
    return count;
}

void table_tell(const rlv_table* t, FILE* text)
{
    size_t chosen[MOST_COLUMNS], width[MOST_COLUMNS], rows = table_rows(t);
    const size_t count = choose_columns(t, chosen, width), heads = 2;
    for (size_t i = 0; i < heads + rows && rows > 0; i++)
    {
        fputs("  ", text);
        for (size_t k = 0; k < count; k++)
        {
            const cell_words words = i < heads ? head_of(t, chosen[k]).line[i] : cell_of(t, i - heads, chosen[k]);
            put(text, words.text, width[k], is_right(&t->column[chosen[k]]), k + 1 == count);
        }
        fputc('\n', text);
    }
}

void table_tell_under(const rlv_table* t, FILE* text, const char* heading, const char* none)
{
    const bool empty = table_rows(t) == 0;
    if (!empty || none != NULL)
        fprintf(text, "\n%s\n", heading);
    if (empty && none != NULL)
        fprintf(text, "  %s\n", none);
    table_tell(t, text);
}
