/// A specimen's record as JSON for the report and for whoever files it: in the terms of open standards where one fits,
/// under its prefix; and all of it as specimen.yaml has it.
///
/// `dwc:`  Darwin Core (TDWG standard 450), List of Terms of 2026-05-26, http://rs.tdwg.org/dwc/doc/list/2026-05-26
/// `ac:`   Audiovisual Core (TDWG standard 638, formerly Audubon Core), Term List of 2023-09-05,
///         http://rs.tdwg.org/ac/doc/termlist/2023-09-05, with the terms that it borrows from Dublin Core
/// `dcterms:` and `dc:`  DCMI Metadata Terms of 2020-01-20 and the Dublin Core Metadata Element Set 1.1;
///         `dcterms:created` is from there, and not one of those that Audiovisual Core borrows
///
/// What fits where: the taxon is somebody's own words, so it is a verbatim identification and no scientific name. The
/// stratum may be of any rank, so it is none of bed, member and formation but the terms of lithostratigraphy as a
/// whole. Formats are `dc:format`, media types of the IANA registry where there is one and else the file's extension:
/// Audiovisual Core keeps `dcterms:format` for addresses of its own list, and says so there. `ac:derivedFrom` is left
/// out: the record does not name the photographs that a mesh was made from. A medium has to have `dc:rights` there, and
/// "Copyright unknown." is how Audiovisual Core has that said.

#ifndef RLV_SPECIMEN_EXPORT_H
#define RLV_SPECIMEN_EXPORT_H

#include "specimen.h"

#include <jansson.h>

/// The record as a new reference; keys in a fixed order, what was not recorded left out. Whether memory sufficed is
/// told by record_whole.
///
///     standards   the addresses that the prefixes stand for
///     material    the specimen in Darwin Core
///     media       its meshes, of stages first and then of pieces, in Audiovisual Core; with `stage` and `mesh`
///     (`block`
///                 or a piece)
///     record      all of specimen.yaml under its own keys (docs/specimen.md)
///     elements    the rows of elements.csv; a place as `places`, [first, last]
///     inputs      `path` and `sha256` of the files read
json_t* specimen_json(const rlv_specimen* specimen);

#endif
