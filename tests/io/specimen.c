/// Tests of reading a specimen's record: that what was written comes through, and that every fault is told where it is.

#include "specimen.h"
#include "specimen_parts.h"
#include "support/lq0417.h"
#include "support/program.h"
#include "text_file.h"

#include <criterion/criterion.h>
#include <locale.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static void enter(void)
{
    program_enter();
    lq0417_write();
}

TestSuite(specimen, .init = enter, .fini = program_leave, .timeout = 120);

static rlv_specimen read_well(void)
{
    rlv_specimen specimen = {0};
    rlv_error error = {0};
    rlv_status status = rlv_specimen_read(&specimen, ".", &error);
    cr_assert_eq(status, RLV_DONE, "%s: %s; %s", error.where, error.what, error.mend);
    return specimen;
}

/// The folder at hand is refused: where, in words that hold `what`, and what would mend it.
static void expect_refused(const char* where, const char* what)
{
    rlv_specimen specimen = {0};
    rlv_error error = {0};
    rlv_status status = rlv_specimen_read(&specimen, ".", &error);
    cr_assert_eq(status, RLV_BAD_INPUT, "'%s' at %s: status %d: %s: %s", what, where, (int)status, error.where,
                 error.what);
    cr_assert_str_eq(error.where, where, "%s: %s (not at %s)", error.where, error.what, where);
    cr_assert(strstr(error.what, what) != NULL, "'%s' says not '%s'", error.what, what);
    cr_assert_neq(error.mend[0], '\0');
    rlv_specimen_free(&specimen);
    cr_assert_eq(rlv_specimen_read(&specimen, ".", NULL), RLV_BAD_INPUT, "without an error to fill");
    rlv_specimen_free(&specimen);
}

/// `file` of LQ-0417 with its first `from` made `to`.
static void change_file(const char* file, const char* text, const char* from, const char* to)
{
    char* changed = program_changed(text, from, to);
    program_write(file, changed);
    free(changed);
}

/// A change to a file, and the refusal that it brings; `where` NULL: at the line on which the change begins.
typedef struct fault
{
    const char *from, *to, *where, *what;
} fault;

static void expect_faults(const char* file, const char* text, const fault* list, size_t count)
{
    for (size_t i = 0; i < count; i++)
    {
        char where[64];
        size_t line = 1;
        for (const char* at = text; at < strstr(text, list[i].from); at++)
            line += *at == '\n';
        snprintf(where, sizeof where, "./%s:%zu", file, line);
        change_file(file, text, list[i].from, list[i].to);
        expect_refused(list[i].where != NULL ? list[i].where : where, list[i].what);
    }
    program_write(file, text);
    rlv_specimen specimen = read_well();
    rlv_specimen_free(&specimen);
}

#define COUNT(list) (sizeof(list) / sizeof *(list))
#define EXPECT_YAML_FAULTS(list) expect_faults("specimen.yaml", lq0417_yaml, list, COUNT(list))
#define EXPECT_POINT_FAULTS(list) expect_faults("points.csv", lq0417_points, list, COUNT(list))
#define EXPECT_ELEMENT_FAULTS(list) expect_faults("elements.csv", lq0417_elements, list, COUNT(list))

// ---- what was written comes through ---------------------------------------------------------------------------------

Test(specimen, every_key_of_a_stage_comes_through)
{
    rlv_specimen s = read_well();
    cr_assert_eq(s.stage_count, 4);
    const rlv_stage_record *field = &s.stage[0], *overburden = &s.stage[1];
    cr_assert_str_eq(field->id, "field");
    cr_assert_str_eq(field->title, "Field block");
    cr_assert_str_eq(field->date, "2031-05-12");
    cr_assert_str_eq(field->mesh.mesh, "meshes/field.ply");
    cr_assert_null(field->mesh.unit);
    cr_assert_null(field->mesh.scale_sd);
    cr_assert_eq(field->mesh.bar_count, 2);
    cr_assert_str_eq(field->mesh.bar[1].bar, "bar 2");
    cr_assert(field->mesh.bar[0].length_mm == 250.012 && field->mesh.bar[0].sd_mm == 0.02);
    cr_assert(field->mass->grams == 48210 && field->mass->sd_g == 20);
    cr_assert_null(field->drying);
    cr_assert_eq(field->work_count, 0);
    cr_assert_eq(*overburden->mesh.unit, RLV_UNIT_CM);
    cr_assert_eq(*overburden->mesh.scale_sd, 0.0002);
    cr_assert_eq(overburden->work_count, 2);
    cr_assert_str_eq(overburden->work[0].tool, "hand chisel");
    cr_assert_eq(overburden->work[0].hours, 9.5);
    cr_assert_str_eq(overburden->work[0].area, "top");
    cr_assert_str_eq(overburden->work[0].person, "A. Preparator");
    cr_assert_str_eq(overburden->work[0].note, "dry");
    cr_assert_null(overburden->work[1].area);
    cr_assert_str_eq(overburden->decision[0].why, "the matrix holds it");
    const rlv_treatment_record* treatment = overburden->treatment;
    cr_assert_str_eq(treatment->what, "consolidant");
    cr_assert_str_eq(treatment->material, "resin");
    cr_assert_str_eq(treatment->solvent, "spirit");
    cr_assert_str_eq(treatment->basis, "w/v");
    cr_assert(*treatment->concentration_percent == 5 && *treatment->volume_ml == 12 && *treatment->dry_g == 0.6);
    cr_assert(*treatment->area_cm2 == 140 && *treatment->coats == 2);
    cr_assert_str_eq(treatment->untreated_sample, "tray 3");
    cr_assert_eq(overburden->drying->grams, 150);
    cr_assert_str_eq(overburden->note, "rain");
    cr_assert_null(s.stage[3].date);
    cr_assert_eq(*s.stage[2].mesh.unit, RLV_UNIT_M);
    cr_assert_eq(*s.stage[3].mesh.unit, RLV_UNIT_IN);
    rlv_specimen_free(&s);
}

Test(specimen, every_key_outside_the_stages_comes_through)
{
    rlv_specimen s = read_well();
    cr_assert_str_eq(s.folder, ".");
    cr_assert_str_eq(s.id, "LQ-0417");
    cr_assert_str_eq(s.stratum, "laminated lake marl, bed 7");
    cr_assert_str_eq(s.note, "<b>not</b> & \"bold\"", "HTML in a note stays as it is");
    cr_assert_str_eq(s.frame_stage, "field");
    cr_assert(s.north->count == 3 && s.north->vector[1] == 1 && s.up->vector[2] == 1);
    cr_assert_str_eq(s.bedding->points, "bedding");
    cr_assert_eq(*s.bedding->sd_deg, 2);
    cr_assert_null(s.bedding->strike_deg);
    cr_assert_eq(s.density_count, 2);
    cr_assert(s.density[0].g_cm3 == 2.31 && s.density[0].sd_g_cm3 == 0.03);
    cr_assert_null(s.density[1].basis);
    cr_assert_eq(s.mask_count, 4);
    cr_assert_eq(s.mask[0].kind, RLV_MASK_SUPPORT);
    cr_assert_str_eq(s.mask[0].object, "cradle");
    cr_assert(s.mask[1].kind == RLV_MASK_BONE && s.mask[1].colour_count == 3 && s.mask[1].colour[1] == 178);
    cr_assert_str_eq(s.mask[2].outline, "skull");
    cr_assert(s.mask[3].kind == RLV_MASK_PIECE && strcmp(s.mask[3].piece, "slab A") == 0);
    cr_assert_eq(s.piece_count, 2);
    cr_assert(s.piece[0].counterpart && !s.piece[1].counterpart);
    cr_assert_str_eq(s.piece[0].joined, "gereinigt ä");
    cr_assert_null(s.piece[0].face);
    cr_assert_str_eq(s.piece[1].face, "foot");
    cr_assert_eq(s.piece[0].mesh[0].mesh.bar_count, 1);
    cr_assert_str_eq(s.piece[1].parent, "slab A");
    cr_assert_eq(*s.piece[1].mesh[0].mesh.scale_sd, 1e-4);
    cr_assert(s.spoil[0].mass->grams == 8120 && strcmp(s.spoil[0].state, "dry") == 0);
    cr_assert(*s.joint[0].aperture_mm == 0.4 && !*s.joint[0].crosses_bone);
    cr_assert_eq(s.row_count, 2);
    cr_assert(s.row[0].first_place == 1 && s.row[0].last_place == 34 && !s.row[0].places_known);
    cr_assert(*s.row[0].pitch_mm == 14 && *s.row[0].pitch_sd_mm == 1.5 && *s.row[0].taper == 0.6);
    cr_assert_str_eq(s.row[0].life_positions, "life.csv");
    cr_assert_null(s.row[1].pitch_mm);
    cr_assert_str_eq(s.display->up->stage, "gereinigt ä");
    cr_assert(*s.display->rise == 0.6 && *s.display->edge_height_mm == 1 && *s.display->plinth_height_mm == 800);
    cr_assert(*s.display->case_length_mm == 900 && *s.display->case_width_mm == 700 &&
              *s.display->case_height_mm == 500);
    cr_assert_eq(s.display->untouchable_count, 1);
    cr_assert_str_eq(s.display->untouchable[0], "skull");
    cr_assert(*s.advice->clearance_mm == 15 && *s.advice->margin_mm == 80 && *s.advice->hole_diameter_mm == 12 &&
              *s.advice->hole_spacing_mm == 20 && *s.advice->lift_limit_kg == 20);
    cr_assert_str_eq(s.advice->joints, "use");
    rlv_specimen_free(&s);
}

Test(specimen, points_come_through_and_an_outline_in_the_order_of_its_numbers)
{
    rlv_specimen s = read_well();
    size_t count = 0;
    const size_t* index = rlv_specimen_points(&s, "overburden", "block", "skull", &count);
    cr_assert_eq(count, 3);
    for (size_t i = 0; i < 3; i++)
        cr_assert_eq(atoi(s.point[index[i]].point), (int)i + 1);
    cr_assert(rlv_specimen_numbered(&s, index, count));
    cr_assert_eq(s.point[index[0]].line, 15);
    index = rlv_specimen_points(&s, "field", "block", "bedding", &count);
    cr_assert(count == 3 && !rlv_specimen_numbered(&s, index, count));
    const rlv_point_record* head = rlv_specimen_point(&s, "overburden", "block", "LL-04", "head");
    cr_assert(head->at[0] == 1.5 && head->at[1] == -0.2 && head->at[2] == 0.25 && *head->sd_mm == 0.3);
    cr_assert_null(rlv_specimen_point(&s, "overburden", "block", "LL-04", "tail")->sd_mm);
    cr_assert_null(rlv_specimen_points(&s, "tail", "block", "skull", &count));
    cr_assert_eq(count, 0);
    rlv_specimen_free(&s);
}

Test(specimen, elements_come_through)
{
    rlv_specimen s = read_well();
    cr_assert_eq(s.element_count, 4);
    const rlv_element_record* e = s.element;
    cr_assert(e[0].place_known && e[0].first_place == 4 && e[0].last_place == 4 && e[0].line == 2);
    cr_assert(e[1].first_place == 5 && e[1].last_place == 7 && strcmp(e[1].part, "#c9b28e") == 0);
    cr_assert_str_eq(e[1].note, "one, \"two\"");
    cr_assert(!e[2].place_known && e[2].row == NULL && e[2].note == NULL && strcmp(e[2].side, "right") == 0);
    cr_assert(strcmp(e[3].bag, "S1") == 0 && e[3].stage == NULL && strcmp(e[3].note, "<i>loose</i>") == 0);
    rlv_specimen_free(&s);
}

Test(specimen, is_looked_up_by_its_ids)
{
    rlv_specimen s = read_well();
    cr_assert_eq(rlv_specimen_stage(&s, "tail"), &s.stage[2]);
    cr_assert_null(rlv_specimen_stage(&s, "Tail"));
    cr_assert_null(rlv_specimen_stage(&s, NULL));
    cr_assert_eq(rlv_specimen_piece(&s, "chip"), &s.piece[1]);
    cr_assert_eq(rlv_specimen_row(&s, "D"), &s.row[1]);
    cr_assert_eq(rlv_specimen_density(&s, "bone"), &s.density[1]);
    cr_assert_eq(rlv_specimen_mesh(&s, "tail", "block"), &s.stage[2].mesh);
    cr_assert_eq(rlv_specimen_mesh(&s, "tail", "chip"), &s.piece[1].mesh[0].mesh);
    cr_assert_null(rlv_specimen_mesh(&s, "field", "chip"));
    cr_assert_eq(rlv_specimen_frame(&s), &s.stage[0]);
    char* path = rlv_specimen_path(&s, "meshes/field.ply");
    cr_assert_str_eq(path, "./meshes/field.ply");
    free(path);
    rlv_specimen_free(&s);
}

Test(specimen, digests_are_those_of_the_files_and_empty_for_a_table_that_is_missing)
{
    program_write("specimen.yaml", "specimen: a\nstages: [{id: f, mesh: meshes/field.ply, mesh_unit: mm}]\n");
    unlink("points.csv");
    unlink("elements.csv");
    rlv_specimen s = read_well();
    // sha256sum of GNU coreutils 9.1.
    cr_assert_str_eq(s.yaml_sha256, "3383ca7c1eeb07c6bd7285141abe7fb4fb8dca2b46c0e69db1b61b1fe9efde3f");
    cr_assert_str_empty(s.points_sha256);
    cr_assert_str_empty(s.elements_sha256);
    cr_assert_eq(s.point_count, 0);
    rlv_specimen_free(&s);
    lq0417_write();
    s = read_well();
    cr_assert_eq(strlen(s.points_sha256), 64);
    cr_assert_eq(strlen(s.elements_sha256), 64);
    rlv_specimen_free(&s);
}

Test(specimen, a_key_left_empty_is_as_one_left_out)
{
    program_write("specimen.yaml",
                  "specimen: a\ntaxon:\nnorth:\npieces:\nbedding:\nstages:\n  - id: f\n    mesh: meshes/field.ply\n"
                  "    mesh_unit: mm\n    scale_sd:\n    scale_bars:\n    mass:\n    work:\n");
    unlink("points.csv");
    unlink("elements.csv");
    rlv_specimen s = read_well();
    cr_assert(s.taxon == NULL && s.north == NULL && s.bedding == NULL && s.piece_count == 0);
    cr_assert(s.stage[0].mesh.scale_sd == NULL && s.stage[0].mass == NULL && s.stage[0].work_count == 0);
    rlv_specimen_free(&s);
}

Test(specimen, a_byte_order_mark_and_line_ends_of_any_kind_change_nothing)
{
    const char* const files[] = {"specimen.yaml", "points.csv", "elements.csv", "life.csv"};
    const char* const texts[] = {lq0417_yaml, lq0417_points, lq0417_elements, lq0417_life};
    const char* const ends[] = {"\n", "\r\n", "\r"};
    for (size_t k = 0; k < 3; k++)
    {
        for (size_t i = 0; i < 4; i++)
        {
            FILE* file = fopen(files[i], "wb");
            fputs("\xEF\xBB\xBF", file);
            for (const char* at = texts[i]; *at != '\0'; at++)
                if (*at == '\n')
                    fputs(ends[k], file);
                else
                    fputc(*at, file);
            fclose(file);
        }
        rlv_specimen s = read_well();
        cr_assert_str_eq(s.id, "LQ-0417");
        cr_assert(s.point_count == 28 && s.element_count == 4);
        cr_assert_eq(s.point[24].line, 26);
        cr_assert_eq(s.element[3].line, 5);
        rlv_specimen_free(&s);
    }
}

Test(specimen, numbers_do_not_depend_on_the_locale)
{
    if (!folder_comma_locale())
        cr_skip_test("no locale with decimal commas can be made");
    rlv_specimen s = read_well();
    cr_assert(s.density[0].g_cm3 == 2.31 && s.stage[0].mesh.bar[0].length_mm == 250.012);
    cr_assert_eq(s.point[23].at[0], 1.5);
    cr_assert_str_eq(localeconv()->decimal_point, ",", "the thread's locale is as it was");
    rlv_specimen_free(&s);
    change_file("specimen.yaml", lq0417_yaml, "length_mm: 100.5", "length_mm: -1.5");
    expect_refused("./specimen.yaml: stages[0].scale_bars[1].length_mm", "-1.5 is not above 0");
    change_file("specimen.yaml", lq0417_yaml, "g_cm3: 2.31", "g_cm3: \"2,31\"");
    expect_refused("./specimen.yaml:18", "quotes");
}

Test(specimen, names_in_any_script_serve)
{
    char* changed = program_changed(lq0417_yaml, "id: J1", "id: трещина-1 裂 é");
    program_write("specimen.yaml", changed);
    free(changed);
    rlv_specimen s = read_well();
    cr_assert_str_eq(s.joint[0].id, "трещина-1 裂 é");
    rlv_specimen_free(&s);
}

// ---- what is no file ------------------------------------------------------------------------------------------------

Test(specimen, what_is_no_folder_is_refused)
{
    rlv_specimen s = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_specimen_read(&s, "nowhere", &error), RLV_BAD_INPUT);
    cr_assert_str_eq(error.where, "nowhere");
    rlv_specimen_free(&s);
    cr_assert_eq(rlv_specimen_read(&s, "specimen.yaml", &error), RLV_BAD_INPUT);
    cr_assert_not_null(strstr(error.what, "a file"));
    rlv_specimen_free(&s);
}

Test(specimen, what_is_no_file_is_refused_without_waiting)
{
    const char* const files[] = {"specimen.yaml", "points.csv", "elements.csv"};
    for (size_t i = 0; i < 3; i++)
    {
        char where[64];
        snprintf(where, sizeof where, "./%s", files[i]);
        program_write(files[i], "");
        expect_refused(where, "empty");
        unlink(files[i]);
        cr_assert_eq(mkdir(files[i], 0777), 0);
        expect_refused(where, "folder");
        rmdir(files[i]);
        cr_assert_eq(mkfifo(files[i], 0666), 0);
        expect_refused(where, "pipe");
        unlink(files[i]);
        cr_assert_eq(symlink(files[i], files[i]), 0);
        expect_refused(where, "leads to no file");
        unlink(files[i]);
        lq0417_write();
    }
    unlink("specimen.yaml");
    expect_refused("./specimen.yaml", "no such file");
}

Test(specimen, a_file_without_permission_is_refused)
{
    cr_assert_eq(chmod("points.csv", 0), 0);
    cr_assert_eq(chmod(".", 0755), 0);
    uid_t owner = geteuid();
    if (owner == 0 && seteuid(65534) != 0)
        cr_skip_test("the system's owner may read everything");
    expect_refused("./points.csv", "permission");
    cr_assert_eq(seteuid(owner), 0);
}

Test(specimen, a_file_that_is_too_big_is_refused_before_it_is_read)
{
    cr_assert_eq(truncate("specimen.yaml", ((off_t)4 << 20) + 1), 0);
    expect_refused("./specimen.yaml", "4 MB");
    lq0417_write();
    cr_assert_eq(truncate("points.csv", ((off_t)256 << 20) + 1), 0);
    expect_refused("./points.csv", "256 MB");
    lq0417_write();
    cr_assert_eq(truncate("elements.csv", ((off_t)256 << 20) + 1), 0);
    expect_refused("./elements.csv", "256 MB");
}

Test(specimen, bytes_that_are_no_text_are_refused_with_their_line)
{
    static const fault yaml[] = {{"note: rain", "note: \xE4h", NULL, "0xe4"}};
    EXPECT_YAML_FAULTS(yaml);
    static const fault points[] = {{"bedding,p2", "bedding\xC3,p2", NULL, "0xc3"}};
    EXPECT_POINT_FAULTS(points);
    static const fault elements[] = {{"loose", "l\xFFose", NULL, "0xff"}};
    EXPECT_ELEMENT_FAULTS(elements);
    program_write_bytes("points.csv", "stage\0,mesh", 11);
    expect_refused("./points.csv:1", "zero byte");
}

// ---- YAML -----------------------------------------------------------------------------------------------------------

Test(specimen, yaml_that_is_none_is_refused_with_its_line)
{
    static const fault faults[] = {
        {"    title: Field block", "\ttitle: Field block", NULL, "tab"},
        {"    mass: {grams: 48210, sd_g: 20}", "    mass: {grams: 48210, sd_g: 20", NULL, "brace"},
        {"    title: Field block", "   title: Field block", NULL, "list ends"},
        {"title: Field block", "title: Field: block", NULL, "colon"},
        {"title: Field block", "title: @block", NULL, "begin"},
        {"title: Field block", "title: \x01", NULL, "character"},
        {"rights: by the owner's leave", "rights: \"by the owner's leave", "./specimen.yaml:12", "no key"},
        {"lift_limit_kg: 20", "joints: \"use", NULL, "within quotes"},
        {"title: Armoured", "title: &a Armoured", NULL, "anchors"},
        {"title: Armoured fish in a marl concretion", "title: *a", NULL, "aliases"},
        {"title: Armoured", "title: !!str Armoured", NULL, "tags"},
        {"stages:\n", "...\n---\nstages:\n", "./specimen.yaml:21", "second document"},
        {"specimen: LQ-0417\n", "%YAML 1.2\n---\nspecimen: LQ-0417\n", NULL, "directives"},
        {"title: Armoured", "[1, 2]: Armoured", NULL, "key that is no text"},
        {"note: rain", "note: \"r\\0ain\"", NULL, "zero"},
    };
    EXPECT_YAML_FAULTS(faults);
}

Test(specimen, a_bomb_of_aliases_is_refused_at_its_first_anchor)
{
    program_write("specimen.yaml", "a: &a [x, x, x]\nb: &b [*a, *a, *a]\nc: &c [*b, *b, *b]\nspecimen: *c\n");
    expect_refused("./specimen.yaml:1", "anchors");
}

Test(specimen, deep_nesting_is_refused)
{
    char deep[8192] = "specimen: ";
    memset(deep + 10, '[', 8000);
    program_write("specimen.yaml", deep);
    expect_refused("./specimen.yaml:1", "nested too deeply");
    memset(deep, '[', 8000);
    program_write("specimen.yaml", deep);
    expect_refused("./specimen.yaml:1", "nested too deeply");
    memset(deep, 0, sizeof deep);
    for (int i = 0; i < 4000; i++)
        memcpy(deep + 2 * i, "- ", 2);
    program_write("specimen.yaml", deep);
    expect_refused("./specimen.yaml:1", "nested too deeply");
}

Test(specimen, four_megabytes_of_anything_are_refused_in_seconds)
{
    static const char* const parts[] = {"[", "- ",           "? ",  "{",  "a: ", "a:\n", "'",
                                        "#", "%TAG !a! b\n", "-\n", "x,", "|",   "\n"};
    const size_t size = (size_t)4 << 20;
    char* text = malloc(size);
    for (size_t i = 0; i < COUNT(parts); i++)
    {
        for (size_t at = 0; at < size; at++)
            text[at] = parts[i][at % strlen(parts[i])];
        program_write_bytes("specimen.yaml", text, size);
        rlv_specimen s = {0};
        rlv_error error = {0};
        cr_assert_eq(rlv_specimen_read(&s, ".", &error), RLV_BAD_INPUT, "%s", parts[i]);
        rlv_specimen_free(&s);
    }
    free(text);
}

Test(specimen, a_file_cut_short_anywhere_is_refused_or_read_and_never_more)
{
    size_t whole = strlen(lq0417_yaml);
    for (size_t size = 1; size < whole; size += 7)
    {
        rlv_specimen s = {0};
        rlv_error error = {0};
        program_write_bytes("specimen.yaml", lq0417_yaml, size);
        rlv_status status = rlv_specimen_read(&s, ".", &error);
        cr_assert(status == RLV_DONE || (status == RLV_BAD_INPUT && error.where[0] != '\0' && error.what[0] != '\0'),
                  "cut at %zu: status %d", size, (int)status);
        rlv_specimen_free(&s);
    }
    program_write_bytes("specimen.yaml", lq0417_yaml, strlen("specimen: LQ-0417\n"));
    expect_refused("./specimen.yaml:1", "stages is missing");
    program_write("specimen.yaml", "# nothing\n");
    expect_refused("./specimen.yaml", "nothing but comments");
}

Test(specimen, what_the_schema_does_not_hold_is_refused_with_its_line)
{
    static const fault faults[] = {
        {"taxon:", "taxonn:", NULL, "taxonn: there is no such key"},
        {"    mass: {grams", "    mass: {gramms", NULL, "stages[0].mass.gramms: there is no such key"},
        {"    title: Field block", "    id: other", NULL, "twice, the first time in line 21"},
        {"specimen: LQ-0417\n", "", NULL, "specimen is missing"},
        {"  - id: field\n    title", "  - title", NULL, "stages[0]: the key id is missing"},
        {", sd_mm: 0.02}", "}", NULL, "sd_mm is missing"},
        {"specimen: LQ-0417", "specimen:", NULL, "empty"},
        {"specimen: LQ-0417", "specimen: [a]", NULL, "text"},
        {"rise: 0.6", "rise: [0.6]", NULL, "one number"},
        {"north: {stage: field, vector: [0, 1, 0]}", "north: up", NULL, "mapping"},
        {"untouchable: [skull]", "untouchable: skull", NULL, "list"},
        {"vector: [0, 1, 0]", "vector: [0, 1]", NULL, "2 values, where there are 3"},
        {"vector: [0, 1, 0]", "vector: [0, 1, 0, 0]", NULL, "4 values"},
        {"colour: [201, 178, 142]", "colour: [201, 178]", NULL, "2 values"},
        {"places: [1, 34]", "places: [1]", NULL, "1 values, where there are 2"},
        {"is: support", "is: cradle", NULL, "none of the words"},
        {"mesh_unit: cm", "mesh_unit: ell", NULL, "none of the words"},
        {"counterpart: true", "counterpart:", NULL, "empty"},
        {"counterpart: true", "counterpart: maybe", NULL, "neither true nor false"},
        {"counterpart: true", "counterpart: yes", NULL, "neither true nor false"},
        {"taxon: armoured fish, undetermined", "taxon: ~", NULL, "stands for nothing"},
        {"taxon: armoured fish, undetermined", "taxon: null", NULL, "stands for nothing"},
    };
    EXPECT_YAML_FAULTS(faults);
    program_write("specimen.yaml", "just words\n");
    expect_refused("./specimen.yaml:1", "mapping");
    program_write("specimen.yaml", "specimen: a\nstages: []\n");
    expect_refused("./specimen.yaml:2", "the list is empty");
}

Test(specimen, a_number_in_an_odd_form_is_refused_with_its_line)
{
    static const char* const odd[][2] = {
        {"9,5", "comma"},         {"9.5 h", "not a number"}, {"9.5h", "not a number"}, {"0x1p3", "not a number"},
        {"nan", "no finite"},     {".nan", "no finite"},     {"-.inf", "no finite"},   {"inf", "no finite"},
        {"1e400", "beyond"},      {"1_000", "not a number"}, {"\"9.5\"", "quotes"},    {"1e", "not a number"},
        {".", "not a number"},    {"9.5.1", "not a number"}, {"'1'", "quotes"},        {"1 000", "not a number"},
        {"1:30", "not a number"}, {"½", "not a number"},     {"+", "not a number"},    {"~", "not a number"},
    };
    for (size_t i = 0; i < COUNT(odd); i++)
    {
        // Within braces a comma parts keys: the hours stand in a line of their own.
        char text[128];
        snprintf(text, sizeof text, "      - tool: x\n        hours: %.20s\n      - {tool: y, hours: 1, area",
                 odd[i][0]);
        change_file("specimen.yaml", lq0417_yaml, "      - {tool: hand chisel, hours: 9.5, area", text);
        expect_refused("./specimen.yaml:36", odd[i][1]);
    }
    static const char* const fine[] = {"9.5", "+9.5", "9.", ".5", "95e-1", "9.5E+0", "00.5"};
    for (size_t i = 0; i < COUNT(fine); i++)
    {
        char text[64];
        snprintf(text, sizeof text, "hours: %s", fine[i]);
        change_file("specimen.yaml", lq0417_yaml, "hours: 9.5", text);
        rlv_specimen s = read_well();
        cr_assert_eq(s.stage[1].work[0].hours, strtod(fine[i], NULL), "%s", fine[i]);
        rlv_specimen_free(&s);
    }
    static const char* const whole[] = {"2.5", "010", "0x10", "two", "9999999999", "1e3", "''"};
    for (size_t i = 0; i < COUNT(whole); i++)
    {
        char text[64];
        snprintf(text, sizeof text, "places: [1, %s]", whole[i]);
        change_file("specimen.yaml", lq0417_yaml, "places: [1, 34]", text);
        expect_refused("./specimen.yaml:68", i == 6 ? "empty" : "no whole number");
    }
}

// ---- meaning --------------------------------------------------------------------------------------------------------

Test(specimen, a_mesh_has_a_unit_or_scale_bars_and_not_both)
{
    static const fault faults[] = {
        {"    mesh_unit: cm\n    scale_sd: 0.0002\n", "", "./specimen.yaml: stages[1]", "neither"},
        {"    scale_bars:\n", "    mesh_unit: mm\n    scale_bars:\n", "./specimen.yaml: stages[0]", "both"},
        {"    scale_bars:\n", "    scale_sd: 0.1\n    scale_bars:\n", "./specimen.yaml: stages[0].scale_sd", "without"},
        {"scale_sd: 0.0002", "scale_sd: 0", "./specimen.yaml: stages[1].scale_sd", "not above 0"},
        {"scale_sd: 0.0002", "scale_sd: 2", "./specimen.yaml: stages[1].scale_sd", "above 0.2"},
        {"mesh_unit: mm, scale_sd: 1e-4", "scale_bars: []", "./specimen.yaml: pieces[1].meshes[0]", "neither"},
        {"bar 2, length_mm: 100.5", "bar 1, length_mm: 100.5", "./specimen.yaml: stages[0].scale_bars[1].bar",
         "number 0"},
        {"length_mm: 100.5", "length_mm: -1", "./specimen.yaml: stages[0].scale_bars[1].length_mm", "not above 0"},
        {"sd_mm: 0.02", "sd_mm: 0", "./specimen.yaml: stages[0].scale_bars[0].sd_mm", "not above 0"},
        {"bar: bar 2", "bar: bar 3", "./specimen.yaml: stages[0].scale_bars[1].bar", "a of 'bar 3' is missing"},
    };
    EXPECT_YAML_FAULTS(faults);
    static const fault points[] = {
        {"field,block,bar 2,b", "field,block,bar 2,c", "./specimen.yaml: stages[0].scale_bars[1].bar", "the point b"},
        {"tail,slab A,bar 1,a", "tail,block,bar 1,a", "./specimen.yaml: pieces[0].meshes[0].scale_bars[0].bar",
         "slab A"},
        {"bar 2,b,100.5,10,0", "bar 2,b,0,10,0", "./specimen.yaml: stages[0].scale_bars[1].bar", "one place"},
    };
    EXPECT_POINT_FAULTS(points);
}

Test(specimen, a_mask_is_told_in_one_way_and_names_what_is_there)
{
    static const fault faults[] = {
        {"object: cradle", "object: cradle, outline: top", "./specimen.yaml: masks[0]", "more than one"},
        {", object: cradle", "", "./specimen.yaml: masks[0]", "none of object"},
        {"{stage: field, is: support", "{stage: nowhere, is: support", "./specimen.yaml: masks[0].stage", "no stage"},
        {"colour: [201, 178, 142]", "colour: [201, 256, 142]", "./specimen.yaml: masks[1].colour[1]", "256"},
        {"colour: [201, 178, 142]", "colour: [201, 178, -1]", "./specimen.yaml: masks[1].colour[2]", "-1"},
        {"is: bone, outline: skull", "is: bone, outline: top", "./specimen.yaml: masks[2].outline", "'overburden'"},
        {"is: bone, outline: skull", "is: bone, piece: slab A, outline: skull", "./specimen.yaml: masks[2].stage",
         "it has none at 'overburden'"},
        {"is: support", "is: support, piece: slab A", "./specimen.yaml: masks[0].piece", "the mask is of support"},
        {"is: piece, piece: slab A,", "is: piece,", "./specimen.yaml: masks[3]", "no piece is named"},
        {"is: piece, piece: slab A", "is: piece, piece: slab B", "./specimen.yaml: masks[3].piece",
         "no piece 'slab B'"},
    };
    EXPECT_YAML_FAULTS(faults);
    static const fault points[] = {
        {"skull,3,5,5,8,", "skull,x,5,5,8,", "./specimen.yaml: stages[1].treatments[0].area", "no outline 'skull'"},
    };
    EXPECT_POINT_FAULTS(points);
}

Test(specimen, pieces_make_a_tree_and_come_off_before_they_go_back)
{
    static const fault faults[] = {
        {"parent: slab A", "parent: slab B", "./specimen.yaml: pieces[1].parent", "no piece"},
        {"parent: slab A", "parent: chip", "./specimen.yaml: pieces[1].parent", "its own ancestor"},
        {"    detached: tail", "    parent: chip\n    detached: tail", "./specimen.yaml: pieces[0].parent",
         "its own ancestor"},
        {"detached: tail", "detached: head", "./specimen.yaml: pieces[0].detached", "no stage"},
        {"joined: gereinigt ä", "joined: cleaned", "./specimen.yaml: pieces[0].joined", "no stage"},
        {"joined: gereinigt ä", "joined: tail", "./specimen.yaml: pieces[0].joined", "not after"},
        {"joined: gereinigt ä", "joined: field", "./specimen.yaml: pieces[0].joined", "not after"},
        {"id: chip", "id: slab A", "./specimen.yaml: pieces[1].id", "number 0"},
        {"id: chip", "id: block", "./specimen.yaml: pieces[1].id", "block"},
        {"      - stage: tail", "      - stage: nowhere", "./specimen.yaml: pieces[0].meshes[0].stage", "no stage"},
        {"meshes: [{stage: tail,", "meshes: [{stage: tail, mesh: meshes/x.ply, mesh_unit: mm}, {stage: tail,",
         "./specimen.yaml: pieces[1].meshes[1].stage", "already"},
        {"grams: 610", "grams: -610", "./specimen.yaml: pieces[0].mass.grams", "not below zero"},
    };
    EXPECT_YAML_FAULTS(faults);
}

Test(specimen, stages_are_named_once_and_weighed_truly)
{
    static const fault faults[] = {
        {"id: overburden", "id: field", "./specimen.yaml: stages[1].id", "number 0"},
        {"grams: 48210", "grams: -1", "./specimen.yaml: stages[0].mass.grams", "not below zero"},
        {"sd_g: 20", "sd_g: 0", "./specimen.yaml: stages[0].mass.sd_g", "not above zero"},
        {"sd_g: 50", "sd_g: -5", "./specimen.yaml: stages[1].drying.sd_g", "not above zero"},
        {"hours: 9.5", "hours: -1", "./specimen.yaml: stages[1].work[0].hours", "below 0"},
        {"hours: 9.5, area: top", "hours: 9.5, area: skull", "./specimen.yaml: stages[1].work[0].area", "'field'"},
        {"    mass: {grams: 48210", "    work: [{tool: x, hours: 1, area: top}]\n    mass: {grams: 48210",
         "./specimen.yaml: stages[0].work[0].area", "none before"},
        {", basis: w/v", "", "./specimen.yaml: stages[1].treatments[0]", "without its basis"},
        {"basis: w/v", "basis: v/v", "./specimen.yaml: stages[1].treatments[0].basis", "none of the words"},
        {"percent: 5, basis: w/v", "percent: 101, basis: w/w",
         "./specimen.yaml: stages[1].treatments[0].concentration_percent", "above 100"},
        {"percent: 5", "percent: 0", "./specimen.yaml: stages[1].treatments[0].concentration_percent", "not above 0"},
        {"volume_ml: 12", "volume_ml: -12", "./specimen.yaml: stages[1].treatments[0].volume_ml", "below 0"},
        {"dry_g: 0.6", "dry_g: -0.6", "./specimen.yaml: stages[1].treatments[0].dry_g", "below 0"},
        {"area_cm2: 140", "area_cm2: 0", "./specimen.yaml: stages[1].treatments[0].area_cm2", "not above 0"},
        {"coats: 2", "coats: 0", "./specimen.yaml: stages[1].treatments[0].coats", "below 1"},
        {"area: skull", "area: underside", "./specimen.yaml: stages[1].treatments[0].area", "no outline"},
        {"frame_stage: field", "frame_stage: yard", "./specimen.yaml: frame_stage", "no stage"},
    };
    EXPECT_YAML_FAULTS(faults);
}

Test(specimen, dates_are_those_of_iso_8601)
{
    static const char* const odd[] = {"12.5.2031",        "2031-5-12",  "2031-13",     "2031-02-29",
                                      "2031-00-01",       "2031-05-00", "20310512",    "May 2031",
                                      "2031-05-12 10:00", "2031/2030",  "2031-05-12/", "31-05-12",
                                      "2031-05-1",        "2031-",      "2100-02-29"};
    static const char* const fine[] = {"2031",      "2031-05", "2031-05-12", "2032-02-29", "2031-05/2031-06-03",
                                       "2000-02-29"};
    for (size_t i = 0; i < COUNT(odd); i++)
    {
        char text[64];
        snprintf(text, sizeof text, "    date: %s\n    mesh: meshes/field", odd[i]);
        change_file("specimen.yaml", lq0417_yaml, "    date: 2031-05-12\n    mesh: meshes/field", text);
        expect_refused("./specimen.yaml: stages[0].date", "ISO 8601");
        snprintf(text, sizeof text, "collected: %s", odd[i]);
        change_file("specimen.yaml", lq0417_yaml, "collected: 2031-05-12", text);
        expect_refused("./specimen.yaml: collected", "ISO 8601");
    }
    for (size_t i = 0; i < COUNT(fine); i++)
        cr_assert(rlv_text_is_date(fine[i]), "%s", fine[i]);
}

Test(specimen, directions_have_a_length_and_bedding_one_source)
{
    static const fault faults[] = {
        {"vector: [0, 1, 0]", "vector: [0, 0, 0]", "./specimen.yaml: north.vector", "no length"},
        {"vector: [0, 1, 0]", "vector: [0, 0, -2]", "./specimen.yaml: north.vector", "along up"},
        {"north: {stage: field", "north: {stage: yard", "./specimen.yaml: north.stage", "no stage"},
        {"up: {stage: field", "up: {stage: yard", "./specimen.yaml: up.stage", "no stage"},
        {"up: {stage: field, vector: [0, 0, 1]", "up: {stage: field, vector: [0, 0, 0]", "./specimen.yaml: up.vector",
         "no length"},
        {"up: {stage: gereinigt ä", "up: {stage: cleaned", "./specimen.yaml: display.up.stage", "no stage"},
        {"points: bedding,", "points: bedding, strike_deg: 40, dip_deg: 12,", "./specimen.yaml: bedding", "both"},
        {"stage: field, points: bedding, sd_deg", "sd_deg", "./specimen.yaml: bedding", "neither"},
        {"stage: field, points: bedding", "points: bedding", "./specimen.yaml: bedding", "stage is missing"},
        {"stage: field, points: bedding", "strike_deg: 40", "./specimen.yaml: bedding", "strike or dip is missing"},
        {"stage: field, points: bedding", "strike_deg: 400, dip_deg: 12", "./specimen.yaml: bedding.strike_deg",
         "above 360"},
        {"stage: field, points: bedding", "strike_deg: 40, dip_deg: 91", "./specimen.yaml: bedding.dip_deg",
         "above 90"},
        {"north: {stage: field, vector: [0, 1, 0]}\nup: {stage: field, vector: [0, 0, 1]}\nbedding: {stage: field, "
         "points: bedding",
         "bedding: {strike_deg: 40, dip_deg: 12", "./specimen.yaml: bedding", "without north and up"},
        {"sd_deg: 2}", "sd_deg: 0}", "./specimen.yaml: bedding.sd_deg", "not above 0"},
        {"stage: field, points: bedding", "stage: tail, points: bedding", "./specimen.yaml: bedding.points",
         "0 points"},
        {"points: bedding", "points: bar 1", "./specimen.yaml: bedding.points", "2 points"},
    };
    EXPECT_YAML_FAULTS(faults);
    change_file("specimen.yaml", lq0417_yaml, "stage: field, points: bedding", "strike_deg: 40, dip_deg: 12");
    rlv_specimen s = read_well();
    cr_assert(*s.bedding->strike_deg == 40 && *s.bedding->dip_deg == 12);
    rlv_specimen_free(&s);
}

Test(specimen, the_rest_of_the_record_means_something)
{
    static const fault faults[] = {
        {"{bag: S1, stage: overburden", "{bag: S1, stage: yard", "./specimen.yaml: spoil[0].stage", "no stage"},
        {"{bag: S1, stage: overburden, area: top", "{bag: S1, stage: field, area: top",
         "./specimen.yaml: spoil[0].area", "none before"},
        {"state: dry", "state: wet", "./specimen.yaml: spoil[0].state", "none of the words"},
        {"note: sieved}\n", "note: sieved}\n  - {bag: S1, stage: tail}\n", "./specimen.yaml: spoil[1].bag", "number 0"},
        {"grams: 8120", "grams: -8120", "./specimen.yaml: spoil[0].mass.grams", "not below zero"},
        {"id: J1, stage: field", "id: J1, stage: yard", "./specimen.yaml: joints[0].stage", "no stage"},
        {"trace: joint 1", "trace: joint 2", "./specimen.yaml: joints[0].trace", "no line"},
        {"trace: joint 1", "trace: bedding", "./specimen.yaml: joints[0].trace", "no line"},
        {"aperture_mm: 0.4", "aperture_mm: -0.4", "./specimen.yaml: joints[0].aperture_mm", "below 0"},
        {"note: calcite}\n", "note: calcite}\n  - {id: J1, stage: field, trace: joint 1}\n",
         "./specimen.yaml: joints[1].id", "number 0"},
        {"g_cm3: 2.31", "g_cm3: 0", "./specimen.yaml: densities[0].g_cm3", "not above 0"},
        {"sd_g_cm3: 0.03", "sd_g_cm3: 0", "./specimen.yaml: densities[0].sd_g_cm3", "not above 0"},
        {"material: bone", "material: matrix", "./specimen.yaml: densities[1].material", "number 0"},
        {"side: left", "side: port", "./specimen.yaml: rows[0].side", "none of the words"},
        {"places: [1, 34]", "places: [34, 1]", "./specimen.yaml: rows[0].places", "34 to 1"},
        {"places: [1, 34]", "places: [0, 34]", "./specimen.yaml: rows[0].places", "0 to 34"},
        {"id: D,", "id: LL,", "./specimen.yaml: rows[1].id", "number 0"},
        {"pitch_mm: 14", "pitch_mm: 0", "./specimen.yaml: rows[0].pitch_mm", "not above 0"},
        {"pitch_sd_mm: 1.5", "pitch_sd_mm: 0", "./specimen.yaml: rows[0].pitch_sd_mm", "not above 0"},
        {"taper: 0.6", "taper: 0", "./specimen.yaml: rows[0].taper", "not above 0"},
        {"life_positions: life.csv", "life_positions: none.csv", "./specimen.yaml: rows[0].life_positions",
         "not there"},
        {"rise: 0.6", "rise: -0.6", "./specimen.yaml: display.rise", "below 0"},
        {"edge_height_mm: 1", "edge_height_mm: -1", "./specimen.yaml: display.edge_height_mm", "below 0"},
        {"face: foot", "face: top", "./specimen.yaml: pieces[1].face", "'top' on the block or on 'chip'"},
        {"rests_on: underside", "rests_on: bedding", "./specimen.yaml: display.rests_on", "no outline"},
        {"untouchable: [skull]", "untouchable: [skull, tail]", "./specimen.yaml: display.untouchable[1]", "no outline"},
        {"case_length_mm: 900", "case_length_mm: 0", "./specimen.yaml: display.case_length_mm", "not above 0"},
        {"case_width_mm: 700", "case_width_mm: 0", "./specimen.yaml: display.case_width_mm", "not above 0"},
        {"case_height_mm: 500", "case_height_mm: 0", "./specimen.yaml: display.case_height_mm", "not above 0"},
        {"plinth_height_mm: 800", "plinth_height_mm: -1", "./specimen.yaml: display.plinth_height_mm", "below 0"},
        {"clearance_mm: 15", "clearance_mm: -1", "./specimen.yaml: advice.clearance_mm", "below 0"},
        {"margin_mm: 80", "margin_mm: -1", "./specimen.yaml: advice.margin_mm", "below 0"},
        {"hole_diameter_mm: 12", "hole_diameter_mm: 0", "./specimen.yaml: advice.hole_diameter_mm", "not above 0"},
        {"hole_spacing_mm: 20", "hole_spacing_mm: 0", "./specimen.yaml: advice.hole_spacing_mm", "not above 0"},
        {"joints: use", "joints: maybe", "./specimen.yaml: advice.joints", "none of the words"},
        {"lift_limit_kg: 20", "lift_limit_kg: 0", "./specimen.yaml: advice.lift_limit_kg", "not above 0"},
    };
    EXPECT_YAML_FAULTS(faults);
}

Test(specimen, an_id_can_name_a_file)
{
    static const fault faults[] = {
        {"specimen: LQ-0417", "specimen: LQ/0417", "./specimen.yaml: specimen", "no letter, digit"},
        {"specimen: LQ-0417", "specimen: ..", "./specimen.yaml: specimen", "begins with a dot"},
        {"specimen: LQ-0417", "specimen: \" LQ\"", "./specimen.yaml: specimen", "begins with"},
        {"specimen: LQ-0417", "specimen: \"LQ \"", "./specimen.yaml: specimen", "ends with"},
        {"specimen: LQ-0417", "specimen: \"L\\nQ\"", "./specimen.yaml: specimen", "no letter, digit"},
        {"specimen: LQ-0417", "specimen: LQ\xE2\x80\xAE", "./specimen.yaml: specimen", "no letter, digit"},
        {"- id: field", "- id: f*", "./specimen.yaml: stages[0].id", "no letter, digit"},
        {"id: J1", "id: J:1", "./specimen.yaml: joints[0].id", "no letter, digit"},
        {"id: LL", "id: L|L", "./specimen.yaml: rows[0].id", "no letter, digit"},
        {"bag: S1", "bag: S/1", "./specimen.yaml: spoil[0].bag", "no letter, digit"},
        {"id: chip", "id: a\\b", "./specimen.yaml: pieces[1].id", "no letter, digit"},
    };
    EXPECT_YAML_FAULTS(faults);
}

Test(specimen, meshes_are_files_within_the_folder)
{
    cr_assert_eq(mkdir("meshes/folder", 0777), 0);
    cr_assert_eq(mkfifo("meshes/pipe", 0666), 0);
    cr_assert_eq(symlink("/etc/hostname", "meshes/link"), 0);
    cr_assert_eq(symlink("field.ply", "meshes/near"), 0);
    static const fault faults[] = {
        {"meshes/field.ply", "/etc/hostname", "./specimen.yaml: stages[0].mesh", "out of the folder"},
        {"meshes/field.ply", "../field.ply", "./specimen.yaml: stages[0].mesh", "out of the folder"},
        {"meshes/field.ply", "meshes/../meshes/field.ply", "./specimen.yaml: stages[0].mesh", "out of the folder"},
        {"meshes/field.ply", "meshes/..", "./specimen.yaml: stages[0].mesh", "out of the folder"},
        {"meshes/field.ply", "meshes\\field.ply", "./specimen.yaml: stages[0].mesh", "out of the folder"},
        {"meshes/field.ply", "meshes/none.ply", "./specimen.yaml: stages[0].mesh", "not there yet"},
        {"meshes/field.ply", "meshes/folder", "./specimen.yaml: stages[0].mesh", "is no file"},
        {"meshes/field.ply", "meshes/pipe", "./specimen.yaml: stages[0].mesh", "is no file"},
        {"meshes/field.ply", "meshes/link", "./specimen.yaml: stages[0].mesh", "a link that leads out"},
        {"meshes/tail.ply", "meshes/field.ply", "./specimen.yaml: stages[2].mesh", "of the stage 'field'"},
        {"meshes/chip.ply", "meshes/field.ply", "./specimen.yaml: pieces[1].meshes[0].mesh", "of the stage 'field'"},
        {"meshes/chip.ply", "meshes/none.ply", "./specimen.yaml: pieces[1].meshes[0].mesh", "not there yet"},
    };
    EXPECT_YAML_FAULTS(faults);
    change_file("specimen.yaml", lq0417_yaml, "meshes/field.ply", "meshes/near");
    rlv_specimen s = read_well();
    rlv_specimen_free(&s);
}

// ---- tables ---------------------------------------------------------------------------------------------------------

Test(specimen, a_table_that_another_program_parted_otherwise_is_refused_in_words)
{
    program_write("points.csv", "stage;mesh;object;point;x;y;z\nfield;block;a;1;0,5;1;2\n");
    expect_refused("./points.csv:1", "semicolons");
    program_write("points.csv", "stage\tmesh\tobject\tpoint\tx\ty\tz\n");
    expect_refused("./points.csv:1", "tabs");
    program_write("points.csv", "\n\n");
    expect_refused("./points.csv:1", "no header");
    program_write("points.csv", "field,block,bar 1,a,0,0,0,\n");
    expect_refused("./points.csv:1", "no column 'field'");
}

Test(specimen, columns_are_known_by_name_in_any_order)
{
    static const fault faults[] = {
        {"stage,mesh", "stage,mash", NULL, "no column 'mash'"},
        {"stage,mesh", "stage,stage", NULL, "stands there twice"},
        {"z,sd_mm", "sd_mm", NULL, "z is missing"},
        {"sd_mm\n", "sd_mm,\n", NULL, "no column ''"},
    };
    EXPECT_POINT_FAULTS(faults);
    program_write("specimen.yaml", "specimen: a\nstages: [{id: f, mesh: meshes/field.ply, mesh_unit: mm}]\n");
    program_write("elements.csv", "id,kind,row,place,side,stage,part,bag\ne,scute,,,,f,,\n");
    program_write("points.csv", "z , x,\"y\", point,object,mesh,stage\n3,1,2,tip,\"e\",block,f\n,,,,,,\n\n");
    rlv_specimen s = read_well();
    cr_assert_eq(s.point_count, 1);
    cr_assert(s.point[0].at[0] == 1 && s.point[0].at[1] == 2 && s.point[0].at[2] == 3 && s.point[0].sd_mm == NULL);
    cr_assert_str_eq(s.point[0].object, "e");
    cr_assert(s.element_count == 1 && s.element[0].note == NULL);
    rlv_specimen_free(&s);
    program_write("points.csv", "stage,mesh,object,point,x,y,z,sd_mm\nf,block,e,tip,1,2,3\n");
    s = read_well();
    cr_assert_eq(s.point_count, 1, "a row may end before the columns that may be missing");
    rlv_specimen_free(&s);
}

Test(specimen, a_row_of_points_that_means_nothing_is_refused_with_its_line)
{
    static const fault faults[] = {
        {"field,block,bar 2,a", "fild,block,bar 2,a", NULL, "no stage 'fild'"},
        {"field,block,bar 2,a", "field,slab B,bar 2,a", NULL, "no mesh 'slab B'"},
        {"field,block,bar 2,a", "field,slab A,bar 2,a", NULL, "no mesh at the stage 'field'"},
        {"field,block,bar 2,a", ",block,bar 2,a", NULL, "stage is empty"},
        {"field,block,bar 2,a", "field,,bar 2,a", NULL, "mesh is empty"},
        {"field,block,bar 2,a", "field,block,,a", NULL, "object is empty"},
        {"field,block,bar 2,a", "field,block,bar 2,", NULL, "point is empty"},
        {"field,block,bar 2,a", "field,block,bar/2,a", NULL, "object: 'bar/2'"},
        {"bar 2,a,0,10,0,", "bar 2,a,0,10,,", NULL, "z is empty"},
        {"bar 2,a,0,10,0,", "bar 2,a,0,10", NULL, "6 fields, where the header has 8"},
        {"bar 2,a,0,10,0,", "bar 2,a,0,10,0,1,1", NULL, "9 fields"},
        {"bar 2,a,0,10,0,", "bar 2,a,0,5,10,0,", NULL, "9 fields"},
        {"bar 2,a,0,10,0,", "bar 2,a,\"0,5\",10,0,", NULL, "comma"},
        {"bar 2,a,0,10,0,", "bar 2,a,zero,10,0,", NULL, "x: 'zero' is not a number"},
        {"bar 2,a,0,10,0,", "bar 2,a,0x1,10,0,", NULL, "not a number"},
        {"bar 2,a,0,10,0,", "bar 2,a,1 mm,10,0,", NULL, "not a number"},
        {"bar 2,a,0,10,0,", "bar 2,a,nan,10,0,", NULL, "no finite number"},
        {"bar 2,a,0,10,0,", "bar 2,a,0,-inf,0,", NULL, "no finite number"},
        {"bar 2,a,0,10,0,", "bar 2,a,0,1e400,0,", NULL, "no finite number"},
        {"bar 2,a,0,10,0,", "bar 2,a,0,1e13,0,", NULL, "out of all reach"},
        {"bar 2,a,0,10,0,", "bar 2,a,0,10,0,0", NULL, "sd_mm is not above zero"},
        {"bar 2,a,0,10,0,", "bar 2,a,0,10,0,-1", NULL, "sd_mm is not above zero"},
        {"field,block,bar 2,b", "field,block,bar 2,a", NULL, "stands there twice"},
        {"top,3,50", "top,4,50", NULL, "after a gap"},
        {"top,1,0", "top,0,0", "./specimen.yaml: stages[1].work[0].area", "no outline"},
        {"top,2,50", "top,01,50", NULL, "repeats a number"},
        {"bar 2,a,0,10,0,", "bar 2,a,0,10,0,\"0.1\" x", NULL, "quote"},
        {"bar 2,a", "ba\"r 2,a", NULL, "quote"},
        {"bar 2,a,0,10,0,", "\"bar 2,a,0,10,0,", NULL, "never closed"},
    };
    EXPECT_POINT_FAULTS(faults);
}

Test(specimen, a_row_of_elements_that_means_nothing_is_refused_with_its_line)
{
    static const fault faults[] = {
        {"spine,pectoral", ",pectoral", NULL, "id is empty"},
        {"spine,pectoral spine", "spine,", NULL, "kind is empty"},
        {"spine,pectoral", "sp/ine,pectoral", NULL, "id: 'sp/ine'"},
        {"spine,pectoral", "LL-04,pectoral", NULL, "stands in line 2 already"},
        {"pectoral spine,,,right", "pectoral spine,XX,,right", NULL, "no row 'XX'"},
        {"pectoral spine,,,right", "pectoral spine,,3,right", NULL, "a place without a row"},
        {"pectoral spine,,,right", "pectoral spine,,,starboard", NULL, "no side"},
        {",LL,4,", ",LL,35,", NULL, "not among the places 1 to 34"},
        {",LL,4,", ",LL,4-2,", NULL, "no place"},
        {",LL,4,", ",LL,0,", NULL, "no place"},
        {",LL,4,", ",LL,4-,", NULL, "no place"},
        {",LL,4,", ",LL,-4,", NULL, "no place"},
        {",LL,4,", ",LL,4.5,", NULL, "no place"},
        {",LL,4,", ",LL,4 or 5,", NULL, "no place"},
        {",LL,4,", ",LL,12345678901,", NULL, "no place"},
        {"right,overburden", "right,yard", NULL, "no stage"},
        {"#c9b28e", "#c9b28", NULL, "no colour"},
        {",S1,", ",S2,", NULL, "no bag"},
        {",LL,4,left", ",LL,4,right", NULL, "side: 'right', and the row 'LL' is 'left'"},
        {",LL,5-7,", ",LL,4,", NULL, "the place 4 of the row 'LL' is that of 'LL-04' in line 2 already"},
        {",,,,,,S1,", ",,,,,,,", NULL, "neither stage nor bag"},
        {"\"one, \"\"two\"\"\"", "one, two", NULL, "10 fields"},
    };
    EXPECT_ELEMENT_FAULTS(faults);
}

Test(specimen, ranges_may_overlap_and_a_side_may_be_left_out)
{
    program_write("elements.csv", "id,kind,row,place,side,stage,part,bag,note\n"
                                  "a,scute,LL,4,,field,,,\n"
                                  "b,scute,LL,3-5,left,field,,,\n"
                                  "c,scute,LL,3-5,left,field,,,\n"
                                  "d,scute,LL,,left,,,S1,\n");
    rlv_specimen s = read_well();
    cr_assert_eq(s.element_count, 4);
    rlv_specimen_free(&s);
}

Test(specimen, the_line_of_a_row_is_where_it_begins_though_a_note_spans_lines)
{
    program_write("elements.csv", "id,kind,row,place,side,stage,part,bag,note\n"
                                  "a,scute,,,,field,,,\"one\n\ntwo\"\n"
                                  "\n"
                                  "\"b\nc\",scute,,,,,,,\n");
    expect_refused("./elements.csv:6", "id: 'b");
    program_write("elements.csv", "id,kind,row,place,side,stage,part,bag,note\n"
                                  "a,scute,,,,field,,,\"one\n\ntwo\"\n"
                                  "\n"
                                  "b,scute,,,,field,,,\n");
    rlv_specimen s = read_well();
    cr_assert_str_eq(s.element[0].note, "one\n\ntwo");
    cr_assert(s.element[0].line == 2 && s.element[1].line == 6);
    rlv_specimen_free(&s);
}

// ---- comparative specimens ------------------------------------------------------------------------------------------

#define EXPECT_LIFE_FAULTS(list) expect_faults("life.csv", lq0417_life, list, COUNT(list))

Test(specimen, life_positions_of_a_comparative_specimen_come_through)
{
    rlv_specimen s = read_well();
    cr_assert_eq(s.compared_count, 7);
    cr_assert(s.compared[3].row == 0 && s.compared[3].place == 5 && s.compared[3].at_mm[0] == 55 &&
              s.compared[3].sd_mm == 0 && s.compared[4].sd_mm == 0.3 && s.compared[3].line == 5);
    cr_assert_eq(s.compared_file_count, 1);
    cr_assert_str_eq(s.compared_file[0].within, "life.csv");
    cr_assert_eq(strlen(s.compared_file[0].sha256), 64);
    rlv_specimen_free(&s);
    // A byte-order mark, CRLF, and columns in another order.
    program_write("life.csv", "\xEF\xBB\xBFz,y,x,place\r\n0,0,0,1\r\n0,0,14,2\r\n0,0,28,3\r\n0,0,42,4\r\n"
                              "0,0,56,5\r\n0,0,70,6\r\n");
    s = read_well();
    cr_assert(s.compared_count == 6 && s.compared[1].at_mm[0] == 14);
    rlv_specimen_free(&s);
}

Test(specimen, a_table_of_life_positions_means_something)
{
    static const fault faults[] = {
        {"place,x,y,z,sd_mm,note", "place;x;y;z;sd_mm;note", "./life.csv:1", "semicolon"},
        {"place,x", "spot,x", "./life.csv:1", "spot"},
        {"2,14,1", "2,\"14,5\",1", NULL, "14,5"},
        {"2,14,1", ",14,1", NULL, "place"},
        {"2,14,1", "2,,1", NULL, "x"},
        {"2,14,1", "two,14,1", NULL, "'two' is no place"},
        {"2,14,1", "1-2,14,1", NULL, "'1-2' is no place"},
        {"2,14,1", "1,14,1", NULL, "line 2 already"},
        {"34,380", "35,380", NULL, "not among the places 1 to 34"},
        {"2,14,1", "2,nan,1", NULL, "nan"},
        {"2,14,1", "2,1e9,1", NULL, "out of all reach"},
        {"2,14,1", "2,1400,1", "./life.csv", "from place 1 (line 2) to 2 (line 3) of the row"},
        {"0,0.3,\n2", "0,0,\n2", "./life.csv:2", "sd_mm is not above zero"},
        {"8,94,1,0,0.3,\n9,107,0,0.1,0.3,\n", "", "./life.csv", "5 places of the row 'LL', and 6 are needed"},
    };
    EXPECT_LIFE_FAULTS(faults);
    program_write("life.csv", "");
    expect_refused("./life.csv", "empty");
}

Test(specimen, one_table_serves_several_rows_where_it_says_which)
{
    change_file("specimen.yaml", lq0417_yaml, "places: [1, 12]", "places: [1, 12], life_positions: life.csv");
    expect_refused("./life.csv:2", "no row is said");
    program_write("life.csv", "row,place,x,y,z\n"
                              "LL,1,0,0,0\nLL,2,14,0,0\nLL,3,28,0,0\nLL,4,42,0,0\nLL,5,56,0,0\nLL,6,70,0,0\n"
                              "D,1,0,9,0\nD,2,28,9,0\nD,3,56,9,0\nD,4,84,9,0\nD,5,99,9,0\nD,6,120,9,0\n");
    rlv_specimen s = read_well();
    cr_assert(s.compared_count == 12 && s.compared[11].row == 1 && s.compared[11].file == 0 &&
              s.compared_file_count == 1);
    rlv_specimen_free(&s);
    program_write("specimen.yaml", lq0417_yaml);
    expect_refused("./life.csv:8", "none of those that have this table");
}

// ---- damage at random -----------------------------------------------------------------------------------------------

Test(specimen, damage_at_random_is_refused_or_read_and_never_more)
{
    const char* const files[] = {"specimen.yaml", "points.csv", "elements.csv", "life.csv"};
    const char* const texts[] = {lq0417_yaml, lq0417_points, lq0417_elements, lq0417_life};
    static const char odd[] = "\0\t\n\r\"',;:-[]{}#&*!|>%@`?.0129eE+x\x80\xC3\xEF\xFF ";
    uint64_t state = 417;
    for (int trial = 0; trial < 4000; trial++)
    {
        size_t k = (size_t)trial % 4, size = strlen(texts[k]);
        char* damaged = strdup(texts[k]);
        for (int i = 0; i < 1 + trial % 4; i++)
        {
            state = state * 6364136223846793005u + 1442695040888963407u; // Knuth's MMIX
            damaged[(state >> 33) % size] = odd[(state >> 20) % (sizeof odd - 1)];
        }
        program_write_bytes(files[k], damaged, size);
        free(damaged);
        rlv_specimen s = {0};
        rlv_error error = {0};
        rlv_status status = rlv_specimen_read(&s, ".", &error);
        cr_assert(status == RLV_DONE || (status == RLV_BAD_INPUT && error.where[0] != '\0' && error.mend[0] != '\0'),
                  "trial %d: status %d, %s: %s", trial, (int)status, error.where, error.what);
        cr_assert(strstr(error.what, "the record cannot be read") == NULL, "libcyaml refused what was held good: %s",
                  error.what);
        rlv_specimen_free(&s);
        program_write(files[k], texts[k]);
    }
}
