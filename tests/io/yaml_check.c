/// Tests of YAML as nodes with lines, and of holding it against a schema.

#include "yaml_check.h"

#include "support/program.h"
#include "text_file.h"

#include <criterion/criterion.h>
#include <string.h>

TestSuite(yaml_check, .init = program_enter, .fini = program_leave, .timeout = 60);

typedef struct thing
{
    double size;
    int* count;
} thing;

static const cyaml_schema_field_t fields[] = {
    CYAML_FIELD_FLOAT("size", CYAML_FLAG_DEFAULT, thing, size),
    CYAML_FIELD_INT_PTR("count", CYAML_FLAG_OPTIONAL | CYAML_FLAG_POINTER_NULL, thing, count), CYAML_FIELD_END};
static const cyaml_schema_value_t schema = {CYAML_VALUE_MAPPING(CYAML_FLAG_POINTER, thing, fields)};

static void expect(const char* text, const char* where, const char* what)
{
    rlv_reading reading = {0};
    rlv_yaml_nodes nodes = {0};
    rlv_error error = {0};
    char sha256[65];
    program_write("a.yaml", text);
    rlv_status status = rlv_text_file_open(&reading, "a.yaml", 10000, sha256, &error);
    if (status == RLV_DONE)
        status = rlv_yaml_nodes_read(&nodes, &reading);
    if (status == RLV_DONE)
        status = rlv_yaml_check(&nodes, &reading, &schema);
    cr_assert_eq(status, where == NULL ? RLV_DONE : RLV_BAD_INPUT, "%s: %s: %s", text, error.where, error.what);
    cr_assert_str_eq(error.where, where != NULL ? where : "", "%s", text);
    cr_assert(strstr(error.what, what) != NULL, "%s: %s", text, error.what);
    rlv_yaml_nodes_free(&nodes);
    rlv_reading_close(&reading);
}

Test(yaml_check, a_file_is_held_against_its_schema)
{
    expect("size: 1.5\ncount: 3\n", NULL, "");
    expect("{size: 1.5, count: 3}", NULL, "");
    expect("# note\n\nsize: 1\ncount:\n", NULL, "");
    expect("count: 3\n", "a.yaml:1", "size is missing");
    expect("size:\n", "a.yaml:1", "size: it is empty");
    expect("size: 1\ncolour: red\n", "a.yaml:2", "colour: there is no such key");
    expect("size: 1\ncount: 1\nsize: 2\n", "a.yaml:3", "twice, the first time in line 1");
    expect("size: 1\ncount: 1.5\n", "a.yaml:2", "no whole number");
    expect("size: 1\ncount: [1]\n", "a.yaml:2", "one number");
    expect("- size: 1\n", "a.yaml:1", "a mapping");
}

Test(yaml_check, what_a_mapping_may_hold_is_told_where_it_holds_something_else)
{
    rlv_reading reading = {0};
    rlv_yaml_nodes nodes = {0};
    rlv_error error = {0};
    char sha256[65];
    program_write("a.yaml", "sise: 1\n");
    cr_assert_eq(rlv_text_file_open(&reading, "a.yaml", 100, sha256, &error), RLV_DONE);
    cr_assert_eq(rlv_yaml_nodes_read(&nodes, &reading), RLV_DONE);
    cr_assert_eq(rlv_yaml_check(&nodes, &reading, &schema), RLV_BAD_INPUT);
    cr_assert_str_eq(error.mend, "the keys here are size, count");
    rlv_yaml_nodes_free(&nodes);
    rlv_reading_close(&reading);
}

Test(yaml_check, nodes_know_their_lines_and_paths)
{
    rlv_reading reading = {0};
    rlv_yaml_nodes nodes = {0};
    rlv_error error = {0};
    char sha256[65], path[64];
    program_write("a.yaml", "a: x\nb:\n  - c: \"y\"\n  - {d: z,\n     e: [1, 2]}\n");
    cr_assert_eq(rlv_text_file_open(&reading, "a.yaml", 100, sha256, &error), RLV_DONE);
    cr_assert_eq(rlv_yaml_nodes_read(&nodes, &reading), RLV_DONE, "%s", error.what);
    const struct
    {
        const char *path, *text;
        size_t line;
    } expected[] = {{"", NULL, 1},         {"a", "x", 1},        {"b", NULL, 2},     {"b[0]", NULL, 3},
                    {"b[0].c", "y", 3},    {"b[1]", NULL, 4},    {"b[1].d", "z", 4}, {"b[1].e", NULL, 5},
                    {"b[1].e[0]", "1", 5}, {"b[1].e[1]", "2", 5}};
    cr_assert_eq(nodes.count, sizeof expected / sizeof *expected);
    for (size_t i = 0; i < nodes.count; i++)
    {
        rlv_yaml_path(&nodes, i, path, sizeof path);
        cr_assert_str_eq(path, expected[i].path);
        cr_assert_eq(nodes.node[i].line, expected[i].line, "%s: line %zu", path, nodes.node[i].line);
        cr_assert((nodes.node[i].text == NULL) == (expected[i].text == NULL));
        cr_assert(nodes.node[i].text == NULL || strcmp(nodes.node[i].text, expected[i].text) == 0);
    }
    cr_assert(nodes.node[1].plain && !nodes.node[4].plain);
    rlv_yaml_nodes_free(&nodes);
    rlv_reading_close(&reading);
}
