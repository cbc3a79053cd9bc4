#include "lq0417.h"

#include "program.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

const char lq0417_yaml[] =
    "specimen: LQ-0417\n"
    "title: Armoured fish in a marl concretion\n"
    "taxon: armoured fish, undetermined\n"
    "institution: Quarry House\n"
    "collection: fishes\n"
    "locality: the quarry\n"
    "stratum: laminated lake marl, bed 7\n"
    "collector: F. Hand\n"
    "collected: 2031-05-12\n"
    "preparator: A. Preparator\n"
    "rights: by the owner's leave\n"
    "note: <b>not</b> & \"bold\"\n"
    "frame_stage: field\n"
    "north: {stage: field, vector: [0, 1, 0]}\n"
    "up: {stage: field, vector: [0, 0, 1]}\n"
    "bedding: {stage: field, points: bedding, sd_deg: 2}\n"
    "densities:\n"
    "  - {material: matrix, g_cm3: 2.31, sd_g_cm3: 0.03, basis: a weighed chip}\n"
    "  - {material: bone, g_cm3: 2.5, sd_g_cm3: 0.2}\n"
    "stages:\n"
    "  - id: field\n"
    "    title: Field block\n"
    "    date: 2031-05-12\n"
    "    mesh: meshes/field.ply\n"
    "    scale_bars:\n"
    "      - {bar: bar 1, length_mm: 250.012, sd_mm: 0.02}\n"
    "      - {bar: bar 2, length_mm: 100.5, sd_mm: 0.02}\n"
    "    mass: {grams: 48210, sd_g: 20}\n"
    "  - id: overburden\n"
    "    date: 2031-06\n"
    "    mesh: meshes/overburden.ply\n"
    "    mesh_unit: cm\n"
    "    scale_sd: 0.0002\n"
    "    work:\n"
    "      - {tool: hand chisel, hours: 9.5, area: top, person: A. Preparator, note: dry}\n"
    "      - {tool: air pen, hours: 0}\n"
    "    decisions:\n"
    "      - {what: stop at the skull, why: the matrix holds it, who: A. Preparator}\n"
    "    treatments:\n"
    "      - {what: consolidant, material: resin, solvent: spirit, concentration_percent: 5, basis: w/v, volume_ml: 12,"
    " dry_g: 0.6, area_cm2: 140, coats: 2, area: skull, untreated_sample: tray 3, note: on bone only}\n"
    "    drying: {grams: 150, sd_g: 50}\n"
    "    note: rain\n"
    "  - {id: tail, date: 2031-07-01/2031-07-03, mesh: meshes/tail.ply, mesh_unit: m}\n"
    "  - {id: gereinigt ä, mesh: meshes/cleaned.ply, mesh_unit: in}\n"
    "masks:\n"
    "  - {stage: field, is: support, object: cradle}\n"
    "  - {stage: overburden, is: bone, colour: [201, 178, 142]}\n"
    "  - {stage: overburden, is: bone, outline: skull}\n"
    "  - {stage: overburden, is: piece, piece: slab A, outline: slab}\n"
    "pieces:\n"
    "  - id: slab A\n"
    "    title: Counterpart slab\n"
    "    detached: tail\n"
    "    joined: gereinigt ä\n"
    "    counterpart: true\n"
    "    mass: {grams: 610, sd_g: 1}\n"
    "    meshes:\n"
    "      - stage: tail\n"
    "        mesh: meshes/slab.ply\n"
    "        scale_bars: [{bar: bar 1, length_mm: 250.012, sd_mm: 0.02}]\n"
    "    note: eroded joint\n"
    "  - {id: chip, parent: slab A, meshes: [{stage: tail, mesh: meshes/chip.ply, mesh_unit: mm, scale_sd: 1e-4}]}\n"
    "spoil:\n"
    "  - {bag: S1, stage: overburden, area: top, mass: {grams: 8120, sd_g: 10}, state: dry, note: sieved}\n"
    "joints:\n"
    "  - {id: J1, stage: field, trace: joint 1, aperture_mm: 0.4, crosses_bone: false, note: calcite}\n"
    "rows:\n"
    "  - {id: LL, title: Left lateral, side: left, kind: lateral scute, places: [1, 34], places_known: false,"
    " pitch_mm: 14, pitch_sd_mm: 1.5, taper: 0.6, life_positions: life.csv}\n"
    "  - {id: D, side: median, places: [1, 12]}\n"
    "display:\n"
    "  up: {stage: gereinigt ä, vector: [0, 0, 1]}\n"
    "  rise: 0.6\n"
    "  edge_height_mm: 1\n"
    "  rests_on: underside\n"
    "  untouchable: [skull]\n"
    "  case_length_mm: 900\n"
    "  case_width_mm: 700\n"
    "  case_height_mm: 500\n"
    "  plinth_height_mm: 800\n"
    "  note: north light\n"
    "advice:\n"
    "  clearance_mm: 15\n"
    "  margin_mm: 80\n"
    "  hole_diameter_mm: 12\n"
    "  hole_spacing_mm: 20\n"
    "  joints: use\n"
    "  lift_limit_kg: 20\n";

const char lq0417_points[] = "stage,mesh,object,point,x,y,z,sd_mm\n"
                             "field,block,bar 1,a,0,0,0,\n"
                             "field,block,bar 1,b,250,0,0,\n"
                             "field,block,bar 2,a,0,10,0,\n"
                             "field,block,bar 2,b,100.5,10,0,\n"
                             "field,block,bedding,p1,0,0,1,0.3\n"
                             "field,block,bedding,p2,90,0,2,0.3\n"
                             "field,block,bedding,p3,0,90,3,0.3\n"
                             "field,block,joint 1,2,10,10,5,\n"
                             "field,block,joint 1,1,0,10,5,\n"
                             "field,block,top,1,0,0,9,\n"
                             "field,block,top,2,50,0,9,\n"
                             "field,block,top,3,50,50,9,\n"
                             "overburden,block,skull,3,5,5,8,\n"
                             "overburden,block,skull,1,0,0,8,\n"
                             "overburden,block,skull,2,5,0,8,\n"
                             "overburden,block,slab,1,0,0,7,\n"
                             "overburden,block,slab,2,9,0,7,\n"
                             "overburden,block,slab,3,9,9,7,\n"
                             "tail,slab A,bar 1,a,0,0,0,\n"
                             "tail,slab A,bar 1,b,0,250,0,\n"
                             "gereinigt ä,block,underside,1,0,0,0,\n"
                             "gereinigt ä,block,underside,2,9,0,0,\n"
                             "gereinigt ä,block,underside,3,9,9,0,\n"
                             "overburden,block,LL-04,head,1.5,-2e-1,.25,0.3\n"
                             "overburden,block,LL-04,tail,4,5,6,\n";

const char lq0417_elements[] = "id,kind,row,place,side,stage,part,bag,note\n"
                               "LL-04,lateral scute,LL,4,left,overburden,,,\n"
                               "LL-05,lateral scute,LL,5-7,left,overburden,#c9b28e,,\"one, \"\"two\"\"\"\n"
                               "spine,pectoral spine,,,right,overburden,spine,,\n"
                               "x1,scute,,,,,,S1,<i>loose</i>\n";

void lq0417_write(void)
{
    static const char* const meshes[] = {"field", "overburden", "tail", "cleaned", "slab", "chip"};
    char path[64];
    mkdir("meshes", 0777);
    for (size_t i = 0; i < sizeof meshes / sizeof *meshes; i++)
    {
        snprintf(path, sizeof path, "meshes/%s.ply", meshes[i]);
        program_write(path, "p");
    }
    program_write("life.csv", "place\n");
    program_write("specimen.yaml", lq0417_yaml);
    program_write("points.csv", lq0417_points);
    program_write("elements.csv", lq0417_elements);
}

char* lq0417_changed(const char* text, const char* from, const char* to)
{
    const char* at = strstr(text, from);
    char* changed = NULL;
    if (at == NULL || asprintf(&changed, "%.*s%s%s", (int)(at - text), text, to, at + strlen(from)) < 0)
    {
        fprintf(stderr, "'%s' does not stand in the text\n", from);
        abort();
    }
    return changed;
}
