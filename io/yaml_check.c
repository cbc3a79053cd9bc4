#include "yaml_check.h"

#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct checker
{
    const rlv_yaml_nodes* nodes;
    const rlv_reading* reading;
} checker;

static rlv_status check_value(const checker* c, size_t at, const cyaml_schema_value_t* schema);

__attribute__((format(printf, 4, 5))) static rlv_status refuse(const checker* c, size_t at, const char* mend,
                                                               const char* format, ...)
{
    char where[sizeof c->reading->error->where], path[256], what[sizeof c->reading->error->what];
    va_list words;
    va_start(words, format);
    rlv_print_list(what, sizeof what, format, words);
    va_end(words);
    snprintf(where, sizeof where, "%.900s:%zu", c->reading->path, c->nodes->node[at].line);
    rlv_yaml_path(c->nodes, at, path, sizeof path);
    return rlv_fail(c->reading->error, RLV_BAD_INPUT, where, mend, "%s%s%s", path, path[0] != '\0' ? ": " : "", what);
}

/// "the keys here are a, b, c"
static void name_keys(const cyaml_schema_field_t* field, char* words, size_t size)
{
    size_t used = (size_t)snprintf(words, size, "the keys here are ");
    for (const char* comma = ""; field->key != NULL && used < size; field++, comma = ", ")
        used += (size_t)snprintf(words + used, size - used, "%s%s", comma, field->key);
}

/// The first child of a mapping under that key; 0 where there is none.
static size_t find_key(const checker* c, size_t at, const char* key)
{
    size_t child = c->nodes->node[at].first_child;
    while (child != 0 && strcmp(c->nodes->node[child].key, key) != 0)
        child = c->nodes->node[child].next;
    return child;
}

static rlv_status check_key(const checker* c, size_t at, size_t child, const cyaml_schema_field_t* field)
{
    const char* key = c->nodes->node[child].key;
    char mend[sizeof c->reading->error->mend];
    size_t i = 0, first = find_key(c, at, key);
    while (field[i].key != NULL && strcmp(field[i].key, key) != 0)
        i++;
    if (field[i].key == NULL)
    {
        name_keys(field, mend, sizeof mend);
        return refuse(c, child, mend, "there is no such key");
    }
    if (first != child)
        return refuse(c, child, "leave one of them out", "the key stands there twice, the first time in line %zu",
                      c->nodes->node[first].line);
    return check_value(c, child, &field[i].value);
}

static rlv_status check_mapping(const checker* c, size_t at, const cyaml_schema_value_t* schema)
{
    const cyaml_schema_field_t* field = schema->mapping.fields;
    char mend[128];
    rlv_status status = RLV_DONE;
    for (size_t child = c->nodes->node[at].first_child; child != 0 && status == RLV_DONE;
         child = c->nodes->node[child].next)
        status = check_key(c, at, child, field);
    for (size_t i = 0; field[i].key != NULL && status == RLV_DONE; i++)
        if ((field[i].value.flags & CYAML_FLAG_OPTIONAL) == 0 && find_key(c, at, field[i].key) == 0)
        {
            snprintf(mend, sizeof mend, "write %s: and its value", field[i].key);
            status = refuse(c, at, mend, "the key %s is missing", field[i].key);
        }
    return status;
}

static rlv_status check_list(const checker* c, size_t at, const cyaml_schema_value_t* schema)
{
    size_t last = c->nodes->node[at].last_child, count = last != 0 ? c->nodes->node[last].place + 1 : 0;
    size_t least = schema->sequence.min, most = schema->sequence.max;
    if (least == most && count != least)
        return refuse(c, at, "write all of them, as [1, 2, 3], and no more", "%zu values, where there are %zu", count,
                      least);
    if (count < least)
        return refuse(c, at, "write one at least, or leave the key out", "the list is empty");
    if (count > most)
        return refuse(c, at, "see what the file holds", "%zu values, and %zu are read at most", count, most);
    rlv_status status = RLV_DONE;
    for (size_t child = c->nodes->node[at].first_child; child != 0 && status == RLV_DONE;
         child = c->nodes->node[child].next)
        status = check_value(c, child, schema->sequence.entry);
    return status;
}

/// Step over digits; whether there was one.
static bool skip_digits(const char** at)
{
    const char* from = *at;
    while (isdigit((unsigned char)**at) != 0)
        (*at)++;
    return *at > from;
}

/// A number in the manner of YAML 1.2's core schema (section 10.3.2), but for the infinite and NaN.
static bool is_number(const char* text)
{
    text += *text == '-' || *text == '+';
    bool before = skip_digits(&text), after = false;
    if (*text == '.')
    {
        text++;
        after = skip_digits(&text);
    }
    if (!before && !after)
        return false;
    if (*text == 'e' || *text == 'E')
    {
        text++;
        text += *text == '-' || *text == '+';
        if (!skip_digits(&text))
            return false;
    }
    return *text == '\0';
}

static bool is_infinite_word(const char* text)
{
    text += *text == '-' || *text == '+' || *text == '.';
    text += *text == '.';
    return strcasecmp(text, "nan") == 0 || strcasecmp(text, "inf") == 0 || strcasecmp(text, "infinity") == 0;
}

static rlv_status check_number(const checker* c, size_t at)
{
    const rlv_yaml_node* node = &c->nodes->node[at];
    if (!node->plain)
        return refuse(c, at, "take the quotes away", "a number is expected, not text in quotes");
    if (is_number(node->text))
        return isfinite(strtod_l(node->text, NULL, c->reading->plain))
                   ? RLV_DONE
                   : refuse(c, at, "give the number", "'%.60s' is beyond all numbers", node->text);
    if (is_infinite_word(node->text))
        return refuse(c, at, "give the number, or leave the key out", "'%.60s' is no finite number", node->text);
    if (strchr(node->text, ',') != NULL)
        return refuse(c, at, "write a decimal point, and nothing between thousands", "'%.60s' has a comma", node->text);
    return refuse(c, at, "write it as 12.5 and without a unit, which is in the key's name", "'%.60s' is not a number",
                  node->text);
}

static rlv_status check_whole(const checker* c, size_t at)
{
    const rlv_yaml_node* node = &c->nodes->node[at];
    const char* digits = node->text;
    digits += *digits == '-' || *digits == '+';
    size_t length = strspn(digits, "0123456789");
    if (!node->plain || length == 0 || digits[length] != '\0' || length > 9 || (digits[0] == '0' && length > 1))
        return refuse(c, at, "write it as 12, without a leading zero, quotes or a unit", "'%.60s' is no whole number",
                      node->text);
    return RLV_DONE;
}

static rlv_status check_text(const checker* c, size_t at, const cyaml_schema_value_t* schema)
{
    const rlv_yaml_node* node = &c->nodes->node[at];
    if (node->plain && (strcmp(node->text, "~") == 0 || strcasecmp(node->text, "null") == 0))
        return refuse(c, at, "leave the key out where there is nothing to say", "'%s' stands for nothing", node->text);
    if (strlen(node->text) > schema->string.max)
        return refuse(c, at, "say it more shortly", "more than %u bytes of text", schema->string.max);
    return RLV_DONE;
}

static rlv_status check_word(const checker* c, size_t at, const cyaml_schema_value_t* schema)
{
    char mend[sizeof c->reading->error->mend];
    size_t used = (size_t)snprintf(mend, sizeof mend, "say ");
    for (uint32_t i = 0; i < schema->enumeration.count; i++)
    {
        const char* word = schema->enumeration.strings[i].str;
        if (strcmp(c->nodes->node[at].text, word) == 0)
            return RLV_DONE;
        used += (size_t)snprintf(mend + used, sizeof mend - used, "%s%s",
                                 i == 0                              ? ""
                                 : i + 1 < schema->enumeration.count ? ", "
                                                                     : " or ",
                                 word);
    }
    return refuse(c, at, mend, "'%.60s' is none of the words that can stand here", c->nodes->node[at].text);
}

static rlv_status check_flag(const checker* c, size_t at)
{
    const char* text = c->nodes->node[at].text;
    if (strcmp(text, "true") == 0 || strcmp(text, "false") == 0)
        return RLV_DONE;
    return refuse(c, at, "say true or false", "'%.60s' is neither true nor false", text);
}

/// The kind of node that a type of value takes, and its name.
static rlv_yaml_kind kind_of(const cyaml_schema_value_t* schema, const char** name)
{
    switch (schema->type)
    {
    case CYAML_MAPPING:
        *name = "a mapping: keys with values, indented or in {braces}";
        return RLV_YAML_MAPPING;
    case CYAML_SEQUENCE:
    case CYAML_SEQUENCE_FIXED:
        *name = "a list: lines that begin with '- ', or in [brackets]";
        return RLV_YAML_LIST;
    default:
        *name = schema->type == CYAML_FLOAT || schema->type == CYAML_INT ? "one number" : "text";
        return RLV_YAML_TEXT;
    }
}

static rlv_status check_value(const checker* c, size_t at, const cyaml_schema_value_t* schema)
{
    const rlv_yaml_node* node = &c->nodes->node[at];
    const char* name = NULL;
    bool may_be_empty = (schema->flags & CYAML_FLAG_POINTER_NULL) == CYAML_FLAG_POINTER_NULL;
    rlv_yaml_kind kind = kind_of(schema, &name);
    if (node->kind == RLV_YAML_TEXT && node->text[0] == '\0')
    {
        if (may_be_empty)
            return RLV_DONE;
        return refuse(c, at, "give a value", "it is empty");
    }
    if (node->kind != kind)
        return refuse(c, at, "see docs/specimen.md for how it is written", "here stands %s", name);
    switch (schema->type)
    {
    case CYAML_MAPPING:
        return check_mapping(c, at, schema);
    case CYAML_SEQUENCE:
    case CYAML_SEQUENCE_FIXED:
        return check_list(c, at, schema);
    case CYAML_FLOAT:
        return check_number(c, at);
    case CYAML_INT:
        return check_whole(c, at);
    case CYAML_BOOL:
        return check_flag(c, at);
    case CYAML_ENUM:
        return check_word(c, at, schema);
    default:
        return check_text(c, at, schema);
    }
}

rlv_status rlv_yaml_check(const rlv_yaml_nodes* nodes, const rlv_reading* reading, const cyaml_schema_value_t* schema)
{
    const checker c = {nodes, reading};
    return check_value(&c, 0, schema);
}
