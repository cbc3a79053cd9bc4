#include "yaml.h"

#include <stdlib.h>
#include <string.h>

#define STEP 2

/// The start of a line up to its key.
static void begin(yaml_pen* pen, const char* key)
{
    int indent = pen->item ? pen->indent - STEP : pen->indent;
    fprintf(pen->stream, "%*s%s%s:", indent, "", pen->item ? "- " : "", key);
    pen->item = false;
}

/// Whether text is the same text to every reader without quotes: letters, digits, spaces inside and a few signs, that
/// begin with a letter and are no word with a meaning.
static bool is_plain(const char* text)
{
    static const char* const word[] = {"true", "false", "null", "yes", "no", "on", "off", "y", "n", "nan", "inf"};
    const size_t length = strlen(text);
    if (length == 0 || text[length - 1] == ' ')
        return false;
    for (size_t i = 0; i < length; i++)
    {
        const char c = text[i];
        bool letter = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
        bool other =
            (c >= '0' && c <= '9') || c == ' ' || c == '.' || c == '/' || c == '-' || c == '_' || c == '(' || c == ')';
        if (!letter && !(other && i > 0))
            return false;
    }
    for (size_t k = 0; k < sizeof word / sizeof *word; k++)
    {
        size_t i = 0; // without regard to capitals, and to no locale's
        while (word[k][i] != '\0' && (text[i] | 0x20) == word[k][i])
            i++;
        if (word[k][i] == '\0' && text[i] == '\0')
            return false;
    }
    return true;
}

static void scalar(FILE* stream, const char* text)
{
    if (is_plain(text))
    {
        fputs(text, stream);
        return;
    }
    fputc('"', stream);
    for (const unsigned char* at = (const unsigned char*)text; *at != '\0'; at++)
    {
        if (*at == '"' || *at == '\\')
            fprintf(stream, "\\%c", *at);
        else if (*at < 0x20 || *at == 0x7f)
            fprintf(stream, "\\x%02X", (unsigned)*at);
        else
            fputc(*at, stream);
    }
    fputc('"', stream);
}

static void number(FILE* stream, double value, int places)
{
    char text[64];
    int length = snprintf(text, sizeof text, "%.*f", places, value);
    for (int i = 0; i < length; i++)
        if (text[i] == ',') // a locale's point
            text[i] = '.';
    if (strchr(text, '.') != NULL)
        while (text[length - 1] == '0')
            text[--length] = '\0';
    if (text[length - 1] == '.')
        text[--length] = '\0';
    fputs(strcmp(text, "-0") == 0 ? "0" : text, stream);
}

void yaml_text(yaml_pen* pen, const char* key, const char* value)
{
    if (value == NULL)
        return;
    begin(pen, key);
    fputc(' ', pen->stream);
    scalar(pen->stream, value);
    fputc('\n', pen->stream);
}

void yaml_number(yaml_pen* pen, const char* key, double value, int places)
{
    begin(pen, key);
    fputc(' ', pen->stream);
    number(pen->stream, value, places);
    fputc('\n', pen->stream);
}

void yaml_count(yaml_pen* pen, const char* key, long value)
{
    begin(pen, key);
    fprintf(pen->stream, " %ld\n", value);
}

void yaml_flag(yaml_pen* pen, const char* key, bool value)
{
    begin(pen, key);
    fprintf(pen->stream, " %s\n", value ? "true" : "false");
}

void yaml_numbers(yaml_pen* pen, const char* key, size_t count, const double* value, int places)
{
    begin(pen, key);
    for (size_t i = 0; i < count; i++)
    {
        fputs(i == 0 ? " [" : ", ", pen->stream);
        number(pen->stream, value[i], places);
    }
    fputs(count == 0 ? " []\n" : "]\n", pen->stream);
}

void yaml_texts(yaml_pen* pen, const char* key, size_t count, const char* const* value)
{
    begin(pen, key);
    for (size_t i = 0; i < count; i++)
    {
        fputs(i == 0 ? " [" : ", ", pen->stream);
        scalar(pen->stream, value[i]);
    }
    fputs(count == 0 ? " []\n" : "]\n", pen->stream);
}

void yaml_open(yaml_pen* pen, const char* key)
{
    begin(pen, key);
    fputc('\n', pen->stream);
    pen->indent += STEP;
}

void yaml_item(yaml_pen* pen)
{
    pen->item = true;
    pen->indent += STEP;
}

void yaml_end_item(yaml_pen* pen)
{
    pen->indent -= STEP;
    pen->item = false;
}

void yaml_close(yaml_pen* pen)
{
    pen->indent -= STEP;
}

void yaml_comment(yaml_pen* pen, const char* text)
{
    fprintf(pen->stream, "%*s# %s\n", pen->indent, "", text);
}
