/// YAML held against a schema of libcyaml's, in our words and with lines. Internal to io.
///
/// Stricter than libcyaml, which it leaves nothing to refuse: a number fills its whole text and is finite, a whole
/// number has no leading zero (libcyaml would read it as octal), a flag is `true` or `false`, a key stands once. The
/// same in every locale.

#ifndef RLV_YAML_CHECK_H
#define RLV_YAML_CHECK_H

#include "yaml_nodes.h"

#include <cyaml/cyaml.h>

/// RLV_BAD_INPUT, with the line, where the file does not fit `schema`.
rlv_status rlv_yaml_check(const rlv_yaml_nodes* nodes, const rlv_reading* reading, const cyaml_schema_value_t* schema);

#endif
