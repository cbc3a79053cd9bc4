#include "folder.h"

#include "safe_file.h"
#include "yaml.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const char* const date[SPECIMEN_STAGES] = {"2031-05-12", "2031-06-02", "2031-06-27",
                                                  "2031-08-15", "2031-10-09", "2031-12-18"};

typedef struct folder_words
{
    const char *what, *why, *who;
} folder_words;

static const folder_words decision[SPECIMEN_STAGES][2] = {
    {{"take the block whole", "the body curls under the hollow where scutes show", "P. Preparator"}},
    {{"leave some 10 mm over the bones", "the marl parts along its laminae, and bone may lie in the next one",
      "P. Preparator"},
     {"keep both bags of spoil", "three scutes turned up in them", "P. Preparator"}},
    {{"open two windows, skull and back", "they tell which way the body lies before the flanks are cut",
      "P. Preparator"}},
    {{"lift the slab", "it sat loose on an open joint and would have fallen", "P. Preparator"},
     {"film on the skull", "sutures were lifting; an untreated sample is kept", "C. Conservator"}},
    {{"put the slab back", "it shows the rock as it came, and carries the moulds of three scutes", "P. Preparator"}},
    {{"leave the slab's surface as it is", "for the exhibit", "E. Designer"}},
};

static const char* const stage_note[SPECIMEN_STAGES] = {
    "photographed by hand in daylight",
    NULL,
    "keep the scribe off edges < 2 mm & off anything marked <bone>; \"wait\" means wait",
    NULL,
    "one dorsal scute (D05) lost a corner to the scribe",
    NULL};

static const char* area_name(const folder_plan* plan, int area)
{
    return area >= 0 ? plan->specimen->area[area].name : NULL;
}

// specimen.yaml

/// A direction of the true frame in the coordinates of a stage's mesh.
static void direction(yaml_pen* pen, const folder_plan* plan, const char* key, int stage, rlv_vec3 way)
{
    rlv_vec3 v = rlv_mat3_apply(rlv_mat3_transpose(plan->to_true[stage].rotation), way);
    yaml_open(pen, key);
    yaml_text(pen, "stage", specimen_stage_id(stage));
    yaml_numbers(pen, "vector", 3, (const double[3]){v.x, v.y, v.z}, 6);
    yaml_close(pen);
}

static void mass(yaml_pen* pen, const char* key, const book_figure* figure)
{
    yaml_open(pen, key);
    yaml_number(pen, "grams", figure->written, 1);
    yaml_number(pen, "sd_g", figure->sd, 2);
    yaml_close(pen);
}

static void head(yaml_pen* pen, const folder_plan* plan)
{
    yaml_text(pen, "specimen", "LQ-0417");
    yaml_text(pen, "title", "Armoured fish in a marl concretion");
    yaml_text(pen, "taxon", "armoured fish, undetermined");
    yaml_text(pen, "locality", "Long Quarry (invented), bench 4");
    yaml_text(pen, "stratum", "laminated lake marl");
    yaml_text(pen, "collector", "Πέτρα Λατομίδη");
    yaml_text(pen, "collected", date[0]);
    yaml_text(pen, "preparator", "P. Preparator");
    yaml_text(pen, "note", "An invented specimen: no such fish, quarry or person is known to us.");
    yaml_text(pen, "frame_stage", specimen_stage_id(0));
    direction(pen, plan, "north", 0, FOLDER_NORTH);
    direction(pen, plan, "up", 0, rlv_vec3_of(0.0, 0.0, 1.0));
    yaml_open(pen, "bedding");
    yaml_text(pen, "stage", specimen_stage_id(0));
    yaml_text(pen, "points", "bedding");
    yaml_close(pen);
}

static void density(yaml_pen* pen, const char* material, double g_cm3, double sd, const char* basis)
{
    yaml_item(pen);
    yaml_text(pen, "material", material);
    yaml_number(pen, "g_cm3", g_cm3, 2);
    yaml_number(pen, "sd_g_cm3", sd, 2);
    yaml_text(pen, "basis", basis);
    yaml_end_item(pen);
}

static void densities(yaml_pen* pen, const demo_book* book)
{
    yaml_open(pen, "densities");
    density(pen, "matrix", book->matrix_g_cm3.written, book->matrix_g_cm3.sd, "a weighed chip");
    density(pen, "bone", book->bone_g_cm3.written, book->bone_g_cm3.sd, "a fragment from the spoil, weighed in water");
    density(pen, "acrylic copolymer", 1.15, 0.02, "a dried drop");
    yaml_close(pen);
}

static void bars(yaml_pen* pen, const folder_plan* plan, int stage)
{
    const placed_bar* bar;
    const size_t count = placed_bars(plan->placed, stage, &bar);
    yaml_open(pen, "scale_bars");
    for (size_t k = 0; k < count; k++)
    {
        yaml_item(pen);
        yaml_text(pen, "bar", bar[k].name);
        yaml_number(pen, "length_mm", bar[k].certified_mm, 3);
        yaml_number(pen, "sd_mm", bar[k].sd_mm, 3);
        yaml_end_item(pen);
    }
    yaml_close(pen);
}

static void work(yaml_pen* pen, const folder_plan* plan, int stage)
{
    yaml_open(pen, "work");
    for (int k = 0; k < BOOK_WORKS; k++)
    {
        const book_work* own = &plan->book->work[k];
        if (own->stage != stage)
            continue;
        yaml_item(pen);
        yaml_text(pen, "tool", own->tool);
        yaml_number(pen, "hours", own->hours.written, 2);
        yaml_text(pen, "area", area_name(plan, own->area));
        yaml_text(pen, "person", "P. Preparator");
        yaml_end_item(pen);
    }
    yaml_close(pen);
}

/// What was brought in. What a treatment leaves out was not written down.
typedef struct folder_treatment
{
    int stage;
    const char *what, *material, *solvent;
    double percent;
    const char* basis;
    double volume_ml, dry_g, area_cm2;
    int coats;
    const char *area, *sample, *note;
} folder_treatment;

static void treatment(yaml_pen* pen, const folder_treatment* t)
{
    yaml_item(pen);
    yaml_text(pen, "what", t->what);
    yaml_text(pen, "material", t->material);
    yaml_text(pen, "solvent", t->solvent);
    yaml_number(pen, "concentration_percent", t->percent, 1);
    yaml_text(pen, "basis", t->basis);
    if (t->volume_ml > 0.0)
        yaml_number(pen, "volume_ml", t->volume_ml, 1);
    yaml_number(pen, "dry_g", t->dry_g, 2);
    if (t->area_cm2 > 0.0)
        yaml_number(pen, "area_cm2", t->area_cm2, 1);
    if (t->coats > 0)
        yaml_count(pen, "coats", t->coats);
    yaml_text(pen, "area", t->area);
    yaml_text(pen, "untreated_sample", t->sample);
    yaml_text(pen, "note", t->note);
    yaml_end_item(pen);
}

static double area_cm2(const folder_plan* plan, const char* name)
{
    double found = 0.0;
    for (int i = 0; i < SPECIMEN_AREAS; i++)
        if (strcmp(plan->specimen->area[i].name, name) == 0)
            found = plan->specimen->area[i].area_mm2 / 100.0;
    return found;
}

static void treatments(yaml_pen* pen, const folder_plan* plan, int stage)
{
    static const char film[] = "consolidant film on the skull", fill[] = "gap fill in the snout";
    const demo_book* book = plan->book;
    const folder_treatment all[] = {
        {SPECIMEN_SLAB_OFF, "consolidant", "acrylic copolymer", "acetone", 5.0, "w/v", book->film_g / 0.05,
         book->film_g, area_cm2(plan, film), 2, film, "chip K1, drawer 3", "brushed on, the second coat after a day"},
        {SPECIMEN_SLAB_OFF, "gap fill", "acrylic copolymer with marl flour", "acetone", 40.0, "w/w", 0.0, book->fill_g,
         area_cm2(plan, fill), 1, fill, NULL, NULL},
        {SPECIMEN_SLAB_BACK, "adhesive", "acrylic copolymer", "acetone", 30.0, "w/w", 0.0, book->adhesive_g, 0.0, 0,
         "slab", "chip K2, drawer 3", "dots only, so that the slab can be lifted again"},
    };
    if (stage != SPECIMEN_SLAB_OFF && stage != SPECIMEN_SLAB_BACK)
        return;
    yaml_open(pen, "treatments");
    for (size_t k = 0; k < sizeof all / sizeof *all; k++)
        if (all[k].stage == stage)
            treatment(pen, &all[k]);
    yaml_close(pen);
}

static void stage_record(yaml_pen* pen, const folder_plan* plan, int stage)
{
    char path[64];
    snprintf(path, sizeof path, "meshes/%s.ply", specimen_stage_id(stage));
    yaml_item(pen);
    yaml_text(pen, "id", specimen_stage_id(stage));
    yaml_text(pen, "title", specimen_stage_name(stage));
    yaml_text(pen, "date", date[stage]);
    yaml_text(pen, "mesh", path);
    bars(pen, plan, stage);
    mass(pen, "mass", &plan->book->block_g[stage]);
    if (stage > 0)
        mass(pen, "drying", &plan->book->drying_g[stage]);
    if (stage > 0)
        work(pen, plan, stage);
    yaml_open(pen, "decisions");
    for (int k = 0; k < 2 && decision[stage][k].what != NULL; k++)
    {
        yaml_item(pen);
        yaml_text(pen, "what", decision[stage][k].what);
        yaml_text(pen, "why", decision[stage][k].why);
        yaml_text(pen, "who", decision[stage][k].who);
        yaml_end_item(pen);
    }
    yaml_close(pen);
    treatments(pen, plan, stage);
    yaml_text(pen, "note", stage_note[stage]);
    yaml_end_item(pen);
}

static void mask(yaml_pen* pen, int stage, const char* is, const char* key, const char* value)
{
    yaml_item(pen);
    yaml_text(pen, "stage", specimen_stage_id(stage));
    yaml_text(pen, "is", is);
    if (strcmp(is, "piece") == 0)
        yaml_text(pen, "piece", FOLDER_SLAB);
    yaml_text(pen, key, value);
    yaml_end_item(pen);
}

static void masks(yaml_pen* pen, const folder_plan* plan)
{
    yaml_open(pen, "masks");
    if (plan->support)
        mask(pen, 0, "support", "object", "support");
    for (int stage = 0; stage < SPECIMEN_STAGES; stage++)
        mask(pen, stage, "bone", "object", "bone");
    mask(pen, 2, "bone", "outline", "skull");
    yaml_item(pen);
    yaml_text(pen, "stage", specimen_stage_id(SPECIMEN_PAINTED_STAGE));
    yaml_text(pen, "is", "bone");
    yaml_numbers(pen, "colour", 3, (const double[3]){SPECIMEN_PAINT_RED, SPECIMEN_PAINT_GREEN, SPECIMEN_PAINT_BLUE}, 0);
    yaml_end_item(pen);
    mask(pen, SPECIMEN_SLAB_OFF - 1, "piece", "outline", "slab");
    mask(pen, SPECIMEN_SLAB_BACK, "piece", "outline", "slab");
    yaml_close(pen);
}

static void pieces(yaml_pen* pen, const folder_plan* plan)
{
    yaml_open(pen, "pieces");
    yaml_item(pen);
    yaml_text(pen, "id", FOLDER_SLAB);
    yaml_text(pen, "title", "Counterpart slab");
    yaml_text(pen, "detached", specimen_stage_id(SPECIMEN_SLAB_OFF));
    yaml_text(pen, "joined", specimen_stage_id(SPECIMEN_SLAB_BACK));
    yaml_flag(pen, "counterpart", true);
    mass(pen, "mass", &plan->book->slab_g);
    yaml_open(pen, "meshes");
    yaml_item(pen);
    yaml_text(pen, "stage", specimen_stage_id(SPECIMEN_SLAB_OFF));
    yaml_text(pen, "mesh", "meshes/slab.ply");
    yaml_text(pen, "mesh_unit", "mm");
    yaml_number(pen, "scale_sd", plan->slab_scale_sd, 6);
    yaml_end_item(pen);
    yaml_close(pen);
    yaml_text(pen, "note", "moulds of three scutes on its underside");
    yaml_end_item(pen);
    yaml_close(pen);
}

static void spoil(yaml_pen* pen, const folder_plan* plan)
{
    yaml_open(pen, "spoil");
    for (int k = 0; k < BOOK_BAGS; k++)
    {
        const book_bag* bag = &plan->book->bag[k];
        yaml_item(pen);
        yaml_text(pen, "bag", bag->name);
        yaml_text(pen, "stage", specimen_stage_id(bag->stage));
        yaml_text(pen, "area", area_name(plan, bag->area));
        mass(pen, "mass", &bag->mass);
        yaml_text(pen, "state", bag->water_g > 0.0 ? "damp" : "dry");
        yaml_end_item(pen);
    }
    yaml_close(pen);
}

static void joints(yaml_pen* pen, const folder_plan* plan)
{
    yaml_open(pen, "joints");
    yaml_item(pen);
    yaml_text(pen, "id", "J1");
    yaml_text(pen, "stage", specimen_stage_id(SPECIMEN_SLAB_BACK));
    yaml_text(pen, "trace", "joint 1");
    // The mean of the gap, as feelers pushed in along the joint would tell.
    yaml_number(pen, "aperture_mm", plan->specimen->gap_mm3 / plan->specimen->slab.plan_area_mm2, 1);
    yaml_flag(pen, "crosses_bone", false);
    yaml_text(pen, "note", "the slab's: open and eroded along the rim");
    yaml_end_item(pen);
    yaml_close(pen);
}

static const struct
{
    const char *id, *title, *side, *kind;
    int last;
    bool known;
    double pitch_mm;
} row[FISH_ROWS] = {
    [FISH_DORSAL] = {"D", "Dorsal", "median", "dorsal scute", 12, true, 28.0},
    [FISH_LATERAL_LEFT] = {"LL", "Left lateral", "left", "lateral scute", 34, false, 14.0},
    [FISH_LATERAL_RIGHT] = {"LR", "Right lateral", "right", "lateral scute", 35, false, 14.0},
    [FISH_VENTRAL_LEFT] = {"VL", "Left ventral", "left", "ventral scute", 10, false, 22.0},
    [FISH_VENTRAL_RIGHT] = {"VR", "Right ventral", "right", "ventral scute", 9, false, 22.0},
};

static void rows(yaml_pen* pen)
{
    yaml_open(pen, "rows");
    for (int k = 0; k < FISH_ROWS; k++)
    {
        yaml_item(pen);
        yaml_text(pen, "id", row[k].id);
        yaml_text(pen, "title", row[k].title);
        yaml_text(pen, "side", row[k].side);
        yaml_text(pen, "kind", row[k].kind);
        yaml_numbers(pen, "places", 2, (const double[2]){1.0, row[k].last}, 0);
        yaml_flag(pen, "places_known", row[k].known);
        yaml_number(pen, "pitch_mm", row[k].pitch_mm, 1);
        yaml_number(pen, "pitch_sd_mm", 0.08 * row[k].pitch_mm, 1); // the animal's own scatter, as fish.c has it
        yaml_number(pen, "taper", 0.6, 2);
        yaml_end_item(pen);
    }
    yaml_close(pen);
}

static void plans(yaml_pen* pen, const folder_plan* plan)
{
    static const char* const untouchable[] = {"skull"};
    yaml_open(pen, "display");
    direction(pen, plan, "up", SPECIMEN_STAGES - 1, rlv_vec3_of(0.0, 0.0, 1.0));
    yaml_number(pen, "rise", 0.6, 2);
    yaml_number(pen, "edge_height_mm", 1.0, 1);
    yaml_text(pen, "rests_on", "underside");
    yaml_texts(pen, "untouchable", 1, untouchable);
    yaml_number(pen, "case_length_mm", 900.0, 0);
    yaml_number(pen, "case_width_mm", 700.0, 0);
    yaml_number(pen, "case_height_mm", 500.0, 0);
    yaml_number(pen, "plinth_height_mm", 800.0, 0);
    yaml_text(pen, "note", "seen from three sides");
    yaml_close(pen);
    yaml_open(pen, "advice");
    yaml_number(pen, "clearance_mm", 15.0, 0);
    yaml_number(pen, "margin_mm", 80.0, 0);
    yaml_number(pen, "hole_diameter_mm", 12.0, 0);
    yaml_number(pen, "hole_spacing_mm", 20.0, 0);
    yaml_text(pen, "joints", "use");
    yaml_number(pen, "lift_limit_kg", 20.0, 0);
    yaml_close(pen);
}

static void write_yaml(FILE* stream, const folder_plan* plan)
{
    yaml_pen pen = {.stream = stream};
    yaml_comment(&pen, "LQ-0417, an invented specimen: written by make_demo. What is true of it is in truth.json.");
    head(&pen, plan);
    densities(&pen, plan->book);
    yaml_open(&pen, "stages");
    for (int stage = 0; stage < SPECIMEN_STAGES; stage++)
        stage_record(&pen, plan, stage);
    yaml_close(&pen);
    masks(&pen, plan);
    pieces(&pen, plan);
    spoil(&pen, plan);
    joints(&pen, plan);
    rows(&pen);
    plans(&pen, plan);
}

// The tables

/// A field of a table, in quotes where it needs them.
static void field(FILE* stream, const char* text, char after)
{
    if (strpbrk(text, ",\"\r\n") == NULL)
        fputs(text, stream);
    else
    {
        fputc('"', stream);
        for (; *text != '\0'; text++)
        {
            if (*text == '"')
                fputc('"', stream);
            fputc(*text, stream);
        }
        fputc('"', stream);
    }
    fputc(after, stream);
}

static void write_points(FILE* stream, const folder_plan* plan)
{
    fputs("stage,mesh,object,point,x,y,z,sd_mm\n", stream);
    for (size_t i = 0; i < plan->placed->count; i++)
    {
        const placed_point* p = &plan->placed->point[i];
        field(stream, p->stage, ',');
        field(stream, "block", ',');
        field(stream, p->object, ',');
        field(stream, p->point, ',');
        fprintf(stream, "%.3f,%.3f,%.3f,%g\n", p->at_mm.x, p->at_mm.y, p->at_mm.z, p->sd_mm);
    }
}

/// What stands in an element's place: a number where it could be counted, a range where it is known about, else
/// nothing.
static void place_of(const fish_scute* scute, char place[32])
{
    place[0] = '\0';
    if (scute->row == FISH_DORSAL ||
        (scute->row == FISH_LATERAL_LEFT && scute->place <= 4 && scute->fate == FISH_IN_PLACE))
        snprintf(place, 32, "%d", scute->place);
    else if (scute->fate == FISH_OBLIQUE)
        snprintf(place, 32, "%d-%d", scute->place > 2 ? scute->place - 2 : 1, scute->place + 2);
}

static const char* note_of(const fish_scute* scute)
{
    return scute->fate == FISH_IN_SPOIL   ? "found in the spoil, \"no place noted\""
           : scute->fate == FISH_INVERTED ? "external face down & keel buried <see sketch 7>"
           : scute->fate == FISH_OBLIQUE  ? "stands oblique in the rock, steep to the bedding"
           : scute->chipped               ? "a corner chipped in preparation"
                                          : "";
}

static void write_element(FILE* stream, const placed_element* element, const demo_fish* fish)
{
    const bool is_scute = element->owner < BONES_SKULL;
    const fish_scute* scute = is_scute ? &fish->scute[element->owner - BONES_SCUTE] : NULL;
    const bool in_spoil = is_scute && scute->fate == FISH_IN_SPOIL;
    char place[32] = "";
    if (!in_spoil && element->first >= SPECIMEN_STAGES)
        return;
    if (is_scute && !in_spoil)
        place_of(scute, place);
    field(stream, element->id, ',');
    field(stream,
          is_scute                        ? row[scute->row].kind
          : element->owner == BONES_SKULL ? "skull roof"
                                          : "pectoral spine",
          ',');
    field(stream, is_scute ? row[scute->row].id : "", ',');
    field(stream, place, ',');
    field(stream, is_scute ? row[scute->row].side : element->owner == BONES_SKULL ? "median" : "left", ',');
    field(stream, specimen_stage_id(in_spoil ? 1 : element->first), ',');
    field(stream, "", ',');
    field(stream, !in_spoil ? "" : scute->row == FISH_LATERAL_LEFT ? "S2" : "S1", ',');
    field(stream, is_scute ? note_of(scute) : "", '\n');
}

static void write_elements(FILE* stream, const folder_plan* plan)
{
    fputs("id,kind,row,place,side,stage,part,bag,note\n", stream);
    for (int k = 0; k < PLACED_ELEMENTS; k++)
        write_element(stream, &plan->placed->element[k], &plan->specimen->fish);
}

static rlv_status write_file(const folder_plan* plan, const char* folder, const char* name,
                             void (*write)(FILE*, const folder_plan*), rlv_error* error)
{
    char path[4096];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    rlv_safe_file file = {0};
    rlv_status status = rlv_safe_file_open(&file, path, error);
    if (status == RLV_DONE)
    {
        write(file.stream, plan);
        status = ferror(file.stream) != 0
                     ? rlv_fail(error, RLV_SYSTEM, path, "free some space on the disk", "the record cannot be written")
                     : rlv_safe_file_commit(&file, error);
    }
    rlv_safe_file_abandon(&file);
    return status;
}

rlv_status folder_write(const folder_plan* plan, const char* folder, rlv_error* error)
{
    rlv_status status = write_file(plan, folder, "specimen.yaml", write_yaml, error);
    if (status == RLV_DONE)
        status = write_file(plan, folder, "points.csv", write_points, error);
    if (status == RLV_DONE)
        status = write_file(plan, folder, "elements.csv", write_elements, error);
    return status;
}
