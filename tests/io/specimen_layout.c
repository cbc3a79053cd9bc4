/// Tests of the record as it is laid out: that it is read by our own schema, and leaves no key of it out.

#include "specimen_layout.h"

#include "specimen_parts.h"
#include "support/lq0417.h"
#include "support/program.h"

#include <criterion/criterion.h>
#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

static void enter(void)
{
    program_enter();
    FILE* file = fopen("specimen.yaml", "w");
    specimen_layout_yaml(file, "LQ-0417", "cm");
    fclose(file);
    program_write("points.csv", specimen_layout_points);
    program_write("elements.csv", specimen_layout_elements);
    cr_assert_eq(mkdir("meshes", 0777), 0);
}

TestSuite(specimen_layout, .init = enter, .fini = program_leave, .timeout = 60);

/// Whether `key:` stands in the text as a key: behind nothing, a space, a brace or a dash.
static bool holds_key(const char* text, const char* key)
{
    char word[128];
    snprintf(word, sizeof word, "%s:", key);
    for (const char* at = text; (at = strstr(at, word)) != NULL; at++)
        if (at == text || strchr(" \n{", at[-1]) != NULL)
            return true;
    return false;
}

/// Whether the text holds `key` in code: between backticks, or at the end of a path there.
static bool tells_key(const char* text, const char* key)
{
    char word[128];
    snprintf(word, sizeof word, "%s`", key);
    for (const char* at = text; (at = strstr(at, word)) != NULL; at++)
        if (strchr("`.", at[-1]) != NULL)
            return true;
    return false;
}

/// Every key of a schema is in the text, as `holds` finds it. Returns how many there are.
static size_t expect_keys(const char* text, const cyaml_schema_value_t* schema, bool (*holds)(const char*, const char*))
{
    size_t count = 0;
    if (schema->type == CYAML_SEQUENCE || schema->type == CYAML_SEQUENCE_FIXED)
        return expect_keys(text, schema->sequence.entry, holds);
    if (schema->type != CYAML_MAPPING)
        return 0;
    for (const cyaml_schema_field_t* field = schema->mapping.fields; field->key != NULL; field++)
    {
        cr_assert(holds(text, field->key), "the key %s is not told", field->key);
        count += 1 + expect_keys(text, &field->value, holds);
    }
    return count;
}

Test(specimen_layout, every_key_of_the_schema_is_laid_out)
{
    char* text = program_read("specimen.yaml", NULL);
    cr_assert_gt(expect_keys(text, rlv_specimen_schema(), holds_key), 100);
    cr_assert(!holds_key(text, "nonsense") && !holds_key(text, "ass"));
    free(text);
}

Test(specimen_layout, every_key_of_the_schema_is_in_the_manual)
{
    char* text = program_read(RLV_TESTS_DIR "/../docs/specimen.md", NULL);
    cr_assert_not_null(text);
    cr_assert_gt(expect_keys(text, rlv_specimen_schema(), tells_key), 100);
    cr_assert(!tells_key(text, "nonsense") && !tells_key(text, "ass"));
    free(text);
}

Test(specimen_layout, each_line_with_a_key_tells_what_it_is)
{
    char* text = program_read("specimen.yaml", NULL);
    for (char* line = strtok(text, "\n"); line != NULL; line = strtok(NULL, "\n"))
    {
        const char* inside = strncmp(line, "# ", 2) == 0 ? line + 2 : line;
        const char* colon = strchr(inside, ':');
        bool list = colon != NULL && strspn(colon + 1, " ") == strlen(colon + 1); // its entries tell
        bool one_line = strstr(inside, "- {") != NULL;
        if (strncmp(line, "##", 2) != 0 && colon != NULL && !list && !one_line)
            cr_assert(strstr(colon, "   # ") != NULL, "nothing explains '%s'", line);
        cr_assert_leq(strlen(line), 120, "too long for a screen: %s", line);
    }
    free(text);
}

static void expect(rlv_status expected, const char* where, const char* what)
{
    rlv_specimen specimen = {0};
    rlv_error error = {0};
    rlv_status status = rlv_specimen_read(&specimen, ".", &error);
    cr_assert_eq(status, expected, "%s: %s", error.where, error.what);
    cr_assert_str_eq(error.where, where);
    cr_assert(strstr(error.what, what) != NULL, "%s", error.what);
    rlv_specimen_free(&specimen);
}

Test(specimen_layout, as_laid_out_only_the_first_mesh_is_missing)
{
    expect(RLV_BAD_INPUT, "./specimen.yaml: stages[0].mesh", "'meshes/field.ply' is not there yet");
    program_write("meshes/field.ply", "p");
    expect(RLV_DONE, "", "");
    rlv_specimen specimen = {0};
    cr_assert_eq(rlv_specimen_read(&specimen, ".", NULL), RLV_DONE);
    cr_assert_str_eq(specimen.id, "LQ-0417");
    cr_assert_eq(*specimen.stage[0].mesh.unit, RLV_UNIT_CM);
    cr_assert(specimen.stage_count == 1 && specimen.piece_count == 0 && specimen.display == NULL);
    rlv_specimen_free(&specimen);
}

/// Take "# " from every example.
static void use_examples(void)
{
    char* text = program_read("specimen.yaml", NULL);
    FILE* file = fopen("specimen.yaml", "w");
    for (char* line = strtok(text, "\n"); line != NULL; line = strtok(NULL, "\n"))
        fprintf(file, "%s\n", strncmp(line, "# ", 2) == 0 ? line + 2 : line);
    fclose(file);
    free(text);
}

Test(specimen_layout, its_examples_make_one_sound_record)
{
    static const char* const meshes[] = {"field", "overburden", "tail", "cleaned", "slab"};
    char path[64];
    for (size_t i = 0; i < 5; i++)
    {
        snprintf(path, sizeof path, "meshes/%s.ply", meshes[i]);
        program_write(path, "p");
    }
    program_write("life.csv", lq0417_life);
    use_examples();
    expect(RLV_BAD_INPUT, "./specimen.yaml: stages[1].scale_bars[0].bar", "the point a of 'bar 1' is missing");
    program_write("points.csv",
                  "stage,mesh,object,point,x,y,z\n"
                  "overburden,block,bar 1,a,0,0,0\noverburden,block,bar 1,b,250,0,0\n"
                  "field,block,top,1,0,0,9\nfield,block,top,2,9,0,9\nfield,block,top,3,9,9,9\n"
                  "field,block,bedding,p,0,0,1\nfield,block,bedding,q,9,0,1\nfield,block,bedding,r,0,9,2\n"
                  "field,block,joint 1,1,0,0,5\nfield,block,joint 1,2,9,0,5\n"
                  "overburden,block,skull,1,0,0,8\noverburden,block,skull,2,9,0,8\n"
                  "overburden,block,skull,3,9,9,8\n"
                  "overburden,block,slab,1,0,0,7\noverburden,block,slab,2,9,0,7\n"
                  "overburden,block,slab,3,9,9,7\n"
                  "tail,block,slab face,1,0,0,7\ntail,block,slab face,2,9,0,7\ntail,block,slab face,3,9,9,7\n"
                  "cleaned,block,underside,1,0,0,0\ncleaned,block,underside,2,9,0,0\n"
                  "cleaned,block,underside,3,9,9,0\n");
    expect(RLV_DONE, "", "");
    rlv_specimen specimen = {0};
    cr_assert_eq(rlv_specimen_read(&specimen, ".", NULL), RLV_DONE);
    cr_assert(specimen.stage_count == 4 && specimen.piece_count == 2 && specimen.row_count == 1);
    cr_assert_eq(specimen.stage[1].treatment_count, 1);
    rlv_specimen_free(&specimen);
}
