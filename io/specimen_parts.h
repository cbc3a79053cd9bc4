/// How a specimen's record is read, in parts. Internal to io.

#ifndef RLV_SPECIMEN_PARTS_H
#define RLV_SPECIMEN_PARTS_H

#include "specimen.h"

#include <cyaml/cyaml.h>

#define RLV_SPECIMEN_YAML "specimen.yaml"
#define RLV_SPECIMEN_POINTS "points.csv"
#define RLV_SPECIMEN_ELEMENTS "elements.csv"

/// The one table of all keys of specimen.yaml: names, types, what is required.
const cyaml_schema_value_t* rlv_specimen_schema(void);

/// Fill `specimen` from specimen.yaml, its fields and no other; what was there is not freed.
rlv_status rlv_specimen_read_yaml(rlv_specimen* specimen, const char* path, rlv_error* error);

/// Free what rlv_specimen_read_yaml filled.
void rlv_specimen_free_yaml(rlv_specimen* specimen);

/// Read points.csv and elements.csv, which may be missing, and check each row against what specimen.yaml says.
rlv_status rlv_specimen_read_points(rlv_specimen* specimen, const char* path, rlv_error* error);
rlv_status rlv_specimen_read_elements(rlv_specimen* specimen, const char* path, rlv_error* error);

/// Read the tables of comparative specimens that rows name, which are there, and check each row against its row.
rlv_status rlv_specimen_read_compared(rlv_specimen* specimen, rlv_error* error);

/// Fill `point_order`. RLV_BAD_INPUT, with the line of the file `path`, where a point stands there twice or the numbers
/// of an outline have a gap.
rlv_status rlv_specimen_order_points(rlv_specimen* specimen, const char* path, rlv_error* error);

/// Check what specimen.yaml means. First by itself, before the tables are read against it; then against the points, and
/// that the meshes are there.
rlv_status rlv_specimen_check_record(const rlv_specimen* specimen, const char* path, rlv_error* error);
rlv_status rlv_specimen_check_places(const rlv_specimen* specimen, const char* path, rlv_error* error);

#endif
