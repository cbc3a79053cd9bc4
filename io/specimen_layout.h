/// The record of a specimen as it is laid out for a person to fill in.
///
/// What stands in it is read as it is; what is commented out by "# " is an example, of LQ-0417, and is read once those
/// two characters are gone; lines that begin with "##" are for people. Every key is explained beside it.

#ifndef RLV_SPECIMEN_LAYOUT_H
#define RLV_SPECIMEN_LAYOUT_H

#include <stdio.h>

/// Write specimen.yaml for the specimen `id`, the meshes in the unit `unit` (mm, cm, m or in).
void specimen_layout_yaml(FILE* stream, const char* id, const char* unit);

/// The header rows of points.csv and elements.csv.
extern const char specimen_layout_points[], specimen_layout_elements[];

#endif
