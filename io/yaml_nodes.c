#include "yaml_nodes.h"

#include "grow.h"
#include "text_file.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <yaml.h>

/// A file on its way into nodes.
typedef struct builder
{
    rlv_yaml_nodes* nodes;
    const rlv_reading* reading;
    yaml_parser_t parser;
    size_t depth;
    size_t open[RLV_YAML_DEPTH]; ///< the mappings and lists that are open
    char* key;                   ///< read, and its value not yet
    size_t key_line;
    bool begun, ended; ///< the document
} builder;

static rlv_status no_memory(const builder* b)
{
    return rlv_fail(b->reading->error, RLV_SYSTEM, b->reading->path, "close other programs", "no memory for the file");
}

/// RLV_BAD_INPUT at a line that is counted from 0, as libyaml does.
static rlv_status refuse(const builder* b, size_t line, const char* mend, const char* what)
{
    char where[sizeof b->reading->error->where];
    snprintf(where, sizeof where, "%.900s:%zu", b->reading->path, line + 1);
    return rlv_fail(b->reading->error, RLV_BAD_INPUT, where, mend, "%s", what);
}

/// What libyaml found wrong with the file, in our words where it happens often.
static rlv_status fail_to_parse(const builder* b)
{
    static const struct
    {
        const char *problem, *what, *mend;
        bool opened; ///< told at the line where it was opened
    } words[] = {
        {"found character that cannot start any token", "a character that no text can begin with here",
         "indent by spaces, not tabs, and put quotes about text that begins with a sign", false},
        {"found a tab character", "a tab where the line is indented", "indent by spaces", false},
        {"did not find expected key", "no key where one is expected",
         "see that the lines of one mapping are indented alike, and put quotes about text with quotes in it", false},
        {"did not find expected '-' indicator", "the list ends in the midst",
         "see that its lines begin with '- ' and are indented alike", false},
        {"mapping values are not allowed in this context", "a colon where no key can stand",
         "put quotes about text that holds ': ', and see to the indentation", false},
        {"could not find expected ':'", "a key without its colon", "write key: value", false},
        {"did not find expected ',' or ']'", "a list in brackets is not closed", "close it with ]", true},
        {"did not find expected ',' or '}'", "a mapping in braces is not closed", "close it with }", true},
        {"found unexpected end of stream", "the file ends within quotes", "close them", true},
        {"did not find expected alphabetic or numeric character", "a & or * that names nothing",
         "put quotes about text that begins with it", false},
        {"did not find expected node content", "something is missing here", "write a value, or close what is open",
         false},
    };
    const yaml_parser_t* parser = &b->parser;
    if (parser->error == YAML_MEMORY_ERROR)
        return no_memory(b);
    if (parser->error == YAML_READER_ERROR)
        return rlv_refuse_line(b->reading, parser->problem_offset, "take the character out, or write it in UTF-8",
                               "a character that YAML does not take");
    const char* problem = parser->problem != NULL ? parser->problem : "not YAML";
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        if (strncmp(problem, words[i].problem, strlen(words[i].problem)) == 0)
            return refuse(b, words[i].opened ? parser->context_mark.line : parser->problem_mark.line, words[i].mend,
                          words[i].what);
    return refuse(b, parser->problem_mark.line, "mend the line, or write it as the laid-out file does", problem);
}

/// A new node, child of what is open. 0 where memory is not to be had, and for the root.
static rlv_status add(builder* b, rlv_yaml_kind kind, size_t line, size_t* made)
{
    rlv_yaml_nodes* nodes = b->nodes;
    if (!rlv_grow(&nodes->node, &nodes->room, nodes->count + 1, sizeof *nodes->node))
        return no_memory(b);
    size_t at = nodes->count++;
    nodes->node[at] = (rlv_yaml_node){.kind = kind, .key = b->key, .line = b->key != NULL ? b->key_line : line + 1};
    b->key = NULL;
    *made = at;
    if (b->depth == 0)
        return RLV_DONE;
    size_t parent = b->open[b->depth - 1];
    nodes->node[at].parent = parent;
    size_t last = nodes->node[parent].last_child;
    if (last == 0)
        nodes->node[parent].first_child = at;
    else
        nodes->node[last].next = at;
    nodes->node[at].place = last == 0 ? 0 : nodes->node[last].place + 1;
    nodes->node[parent].last_child = at;
    return RLV_DONE;
}

/// Whether the next node is a key: the one that is open is a mapping, and no key waits for its value.
static bool expects_key(const builder* b)
{
    return b->depth > 0 && b->nodes->node[b->open[b->depth - 1]].kind == RLV_YAML_MAPPING && b->key == NULL;
}

static rlv_status take_text(builder* b, const yaml_event_t* event)
{
    const char* text = (const char*)event->data.scalar.value;
    bool is_key = expects_key(b);
    size_t at = 0;
    if (strlen(text) != event->data.scalar.length)
        return refuse(b, event->start_mark.line, "take the \\0 out", "a zero character in text");
    char* copy = strdup(text);
    if (copy == NULL)
        return no_memory(b);
    if (is_key)
    {
        b->key = copy;
        b->key_line = event->start_mark.line + 1;
        return RLV_DONE;
    }
    rlv_status status = add(b, RLV_YAML_TEXT, event->start_mark.line, &at);
    if (status != RLV_DONE)
    {
        free(copy);
        return status;
    }
    b->nodes->node[at].text = copy;
    b->nodes->node[at].plain = event->data.scalar.style == YAML_PLAIN_SCALAR_STYLE;
    return RLV_DONE;
}

static rlv_status take_open(builder* b, const yaml_event_t* event, rlv_yaml_kind kind)
{
    size_t line = event->start_mark.line, at = 0;
    if (expects_key(b))
        return refuse(b, line, "write key: value", "a key that is no text");
    if (b->depth == RLV_YAML_DEPTH)
        return refuse(b, line, "take levels out: a record has five at most", "nested too deeply");
    rlv_status status = add(b, kind, line, &at);
    if (status == RLV_DONE)
        b->open[b->depth++] = at;
    return status;
}

/// What YAML has and a record has not.
static rlv_status check_plain(const builder* b, const yaml_event_t* event)
{
    const yaml_char_t *anchor = NULL, *tag = NULL;
    if (event->type == YAML_SCALAR_EVENT)
    {
        anchor = event->data.scalar.anchor;
        tag = event->data.scalar.tag;
    }
    else if (event->type == YAML_MAPPING_START_EVENT)
    {
        anchor = event->data.mapping_start.anchor;
        tag = event->data.mapping_start.tag;
    }
    else if (event->type == YAML_SEQUENCE_START_EVENT)
    {
        anchor = event->data.sequence_start.anchor;
        tag = event->data.sequence_start.tag;
    }
    if (event->type == YAML_ALIAS_EVENT || anchor != NULL)
        return refuse(b, event->start_mark.line, "write it out in each place, or put quotes about text",
                      "anchors (&) and aliases (*) are not taken");
    if (tag != NULL)
        return refuse(b, event->start_mark.line, "take it out, or put quotes about text", "tags (!) are not taken");
    return RLV_DONE;
}

static rlv_status take(builder* b, const yaml_event_t* event)
{
    rlv_status status = check_plain(b, event);
    if (status != RLV_DONE)
        return status;
    switch (event->type)
    {
    case YAML_DOCUMENT_START_EVENT:
        if (b->begun)
            return refuse(b, event->start_mark.line, "take out the line --- and what follows",
                          "a second document begins");
        b->begun = true;
        return RLV_DONE;
    case YAML_SCALAR_EVENT:
        return take_text(b, event);
    case YAML_MAPPING_START_EVENT:
        return take_open(b, event, RLV_YAML_MAPPING);
    case YAML_SEQUENCE_START_EVENT:
        return take_open(b, event, RLV_YAML_LIST);
    case YAML_MAPPING_END_EVENT:
    case YAML_SEQUENCE_END_EVENT:
        b->depth--;
        return RLV_DONE;
    case YAML_STREAM_END_EVENT:
        b->ended = true;
        return RLV_DONE;
    default:
        return RLV_DONE;
    }
}

/// Directives, each of which libyaml holds against all others: refused before it sees them.
static rlv_status check_directives(const rlv_reading* reading)
{
    const char* text = (const char*)reading->data;
    for (size_t i = 0; i < reading->size; i++)
        if (text[i] == '%' && (i == rlv_text_start(reading) || text[i - 1] == '\n' || text[i - 1] == '\r'))
            return rlv_refuse_line(reading, i, "take the line out, or indent it where it is text",
                                   "a line begins with %%, which are directives and not taken");
    return RLV_DONE;
}

rlv_status rlv_yaml_nodes_read(rlv_yaml_nodes* nodes, const rlv_reading* reading)
{
    builder b = {.nodes = nodes, .reading = reading};
    rlv_status status = check_directives(reading);
    if (status != RLV_DONE)
        return status;
    if (yaml_parser_initialize(&b.parser) == 0)
        return no_memory(&b);
    yaml_parser_set_input_string(&b.parser, reading->data, reading->size);
    while (status == RLV_DONE && !b.ended)
    {
        yaml_event_t event;
        if (yaml_parser_parse(&b.parser, &event) == 0)
        {
            status = fail_to_parse(&b);
            break;
        }
        status = take(&b, &event);
        yaml_event_delete(&event);
    }
    yaml_parser_delete(&b.parser);
    free(b.key);
    if (status == RLV_DONE && nodes->count == 0)
        return rlv_refuse(reading, "write it, or copy it again", "the file holds nothing but comments");
    return status;
}

void rlv_yaml_nodes_free(rlv_yaml_nodes* nodes)
{
    for (size_t i = 0; i < nodes->count; i++)
    {
        free(nodes->node[i].key);
        free(nodes->node[i].text);
    }
    free(nodes->node);
    *nodes = (rlv_yaml_nodes){0};
}

void rlv_yaml_path(const rlv_yaml_nodes* nodes, size_t at, char* path, size_t size)
{
    size_t way[RLV_YAML_DEPTH + 1], steps = 0, used = 0;
    path[0] = '\0';
    for (; at != 0 && steps <= RLV_YAML_DEPTH; at = nodes->node[at].parent)
        way[steps++] = at;
    while (steps > 0 && used < size)
    {
        const rlv_yaml_node* node = &nodes->node[way[--steps]];
        used += node->key != NULL ? rlv_print(path + used, size - used, "%s%.60s", used > 0 ? "." : "", node->key)
                                  : rlv_print(path + used, size - used, "[%zu]", node->place);
    }
}
