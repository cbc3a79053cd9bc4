/// YAML as a tree of nodes that know their lines, read by libyaml. Internal to io.
///
/// Libcyaml fills structs by a schema but tells no line, and takes what begins like a number for one. So a file is read
/// into nodes first, held against the same schema in our own words (yaml_check.h), and then filled by libcyaml.
///
/// One document, in UTF-8. Left out of YAML, since a record that is read in thirty years is better without: anchors and
/// aliases, tags, directives, keys that are no plain text, more than RLV_YAML_DEPTH levels.

#ifndef RLV_YAML_NODES_H
#define RLV_YAML_NODES_H

#include "reading.h"

#define RLV_YAML_DEPTH 12

typedef enum rlv_yaml_kind
{
    RLV_YAML_TEXT,
    RLV_YAML_MAPPING,
    RLV_YAML_LIST,
} rlv_yaml_kind;

/// A node. Others are named by their indices; 0, which is the root, stands for none.
typedef struct rlv_yaml_node
{
    rlv_yaml_kind kind;
    char* key;   ///< under which it stands in a mapping; NULL in a list
    char* text;  ///< of RLV_YAML_TEXT
    bool plain;  ///< the text is not in quotes nor a block
    size_t line; ///< of the key where there is one, else of the node
    size_t parent, first_child, last_child, next;
    size_t place; ///< among its parent's, from 0
} rlv_yaml_node;

typedef struct rlv_yaml_nodes
{
    size_t count, room;
    rlv_yaml_node* node;
} rlv_yaml_nodes;

/// Read a whole file into zeroed `nodes`. RLV_BAD_INPUT with the line. Free with rlv_yaml_nodes_free, also after a
/// failure.
rlv_status rlv_yaml_nodes_read(rlv_yaml_nodes* nodes, const rlv_reading* reading);
void rlv_yaml_nodes_free(rlv_yaml_nodes* nodes);

/// Where a node stands, as `stages[2].mass.grams`; empty for the root.
void rlv_yaml_path(const rlv_yaml_nodes* nodes, size_t at, char* path, size_t size);

#endif
