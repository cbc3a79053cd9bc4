/// Tests of the report: run as a user would, on two stages of an invented rock that are made once, by the process that
/// starts the tests.

#include "mesh_file.h"
#include "support/carving.h"
#include "support/program.h"
#include "support/told.h"

#include <criterion/criterion.h>
#include <criterion/hooks.h>
#include <dirent.h>
#include <glib.h>
#include <glob.h>
#include <jansson.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

static char kept[4096]; ///< the specimen, and a report of it made with two threads

static const char record[] = "specimen: LQ-0417\n"
                             "title: Armoured fish in a marl concretion\n"
                             "note: \"labelled <b>A & B</b> in the field book\"\n"
                             "densities:\n"
                             "  - {material: matrix, g_cm3: 2.32, sd_g_cm3: 0.03}\n"
                             "stages:\n"
                             "  - id: field\n"
                             "    date: \"2031-05-12\"\n"
                             "    mesh: meshes/field.ply\n"
                             "    mesh_unit: mm\n"
                             "  - id: skull\n"
                             "    date: \"2031-06-27\"\n"
                             "    mesh: meshes/skull.ply\n"
                             "    mesh_unit: mm\n"
                             "    work:\n"
                             "      - {tool: scribe, hours: 12.25}\n"
                             "    note: \"keep off anything marked <bone>; \\\"wait\\\" means wait\"\n"
                             "spoil:\n"
                             "  - {bag: S1, stage: skull, state: dry}\n";

/// The rock before and after a cut of 9 mm, with noise of 0.1 mm, in two attitudes.
static carving rock_of_the_tests(void)
{
    return carve(&(carving_plan){.seed = 3,
                                 .triangles = 20000,
                                 .depth_mm = 9.0,
                                 .share = 0.2,
                                 .up = true,
                                 .scan = {.noise_sd_mm = 0.1, .noise_length_mm = 2.0},
                                 .any_pose = true});
}

static bool write_specimen(void)
{
    char path[3][4200];
    rlv_error error = {0};
    snprintf(path[0], sizeof path[0], "%s/fish/specimen.yaml", kept);
    snprintf(path[1], sizeof path[1], "%s/fish/meshes/field.ply", kept);
    snprintf(path[2], sizeof path[2], "%s/fish/meshes/skull.ply", kept);
    if (program_shell("rm -rf %s && mkdir -p %s/fish/meshes", kept, kept) != 0)
        return false;
    carving pair = rock_of_the_tests();
    program_write(path[0], record);
    bool written = rlv_mesh_file_write(&pair.before, path[1], &error) == RLV_DONE &&
                   rlv_mesh_file_write(&pair.after, path[2], &error) == RLV_DONE;
    carving_free(&pair);
    return written;
}

ReportHook(PRE_ALL)(struct criterion_test_set* tests)
{
    (void)tests;
    folder_name_shared(kept, "report", getpid());
    if (!write_specimen() ||
        program_shell("cd %s && %s report fish --threads 2 > text.txt 2> errors.txt", kept, RLV_PROGRAM) != 0)
        fprintf(stderr, "the report could not be made: see %s\n", kept);
}

ReportHook(POST_ALL)(struct criterion_global_stats* stats)
{
    if (stats->tests_failed == 0)
        program_shell("rm -rf %s", kept);
}

static void set_up(void)
{
    folder_name_shared(kept, "report", getppid());
    program_enter();
    cr_assert_eq(program_shell("cp -r %s/fish fish", kept), 0);
}

TestSuite(report, .init = set_up, .fini = program_leave, .timeout = 1200);

static bool same_folders(const char* a, const char* b)
{
    return program_shell("diff -rq %s %s > /dev/null", a, b) == 0;
}

static char* text_of(const char* path)
{
    char* text = program_read(path, NULL);
    cr_assert_not_null(text, "%s is missing", path);
    return text;
}

// --- The page --------------------------------------------------------------------------------------------------------

typedef struct page_links
{
    GHashTable* ids;
    GPtrArray* links;
} page_links;

static void on_element(GMarkupParseContext* context, const gchar* name, const gchar** key, const gchar** value,
                       gpointer user, GError** error)
{
    (void)context;
    (void)name;
    (void)error;
    page_links* found = user;
    for (size_t i = 0; key[i] != NULL; i++)
        if (strcmp(key[i], "id") == 0)
            cr_expect(g_hash_table_add(found->ids, g_strdup(value[i])), "the id %s comes twice", value[i]);
        else if (strcmp(key[i], "href") == 0 || strcmp(key[i], "src") == 0)
            g_ptr_array_add(found->links, g_uri_unescape_string(value[i], NULL));
}

Test(report, its_page_is_well_formed_and_all_that_it_leads_to_is_there)
{
    char* html = text_of("fish/out/report.html");
    page_links found = {g_hash_table_new(g_str_hash, g_str_equal), g_ptr_array_new()};
    const GMarkupParser parser = {.start_element = on_element};
    GMarkupParseContext* context = g_markup_parse_context_new(&parser, 0, &found, NULL);
    GError* error = NULL;
    bool parsed =
        g_markup_parse_context_parse(context, html, -1, &error) && g_markup_parse_context_end_parse(context, &error);
    cr_assert(parsed, "%s", error != NULL ? error->message : "");
    cr_assert_gt(found.links->len, 30);
    for (size_t i = 0; i < found.links->len; i++)
    {
        const char* link = g_ptr_array_index(found.links, i);
        char path[512];
        snprintf(path, sizeof path, "fish/out/%s", link);
        if (link[0] == '#')
            cr_expect(g_hash_table_contains(found.ids, link + 1), "nothing is called %s", link);
        else
            cr_expect_eq(access(path, R_OK), 0, "%s leads nowhere", link);
    }
    g_markup_parse_context_free(context);
    free(html);
}

// The record has none, so that every one would be the program's own.
Test(report, its_page_and_its_meanings_have_no_straight_apostrophe)
{
    char path[2][4200];
    snprintf(path[0], sizeof path[0], "%s/fish/out/report.html", kept);
    snprintf(path[1], sizeof path[1], "%s/fish/out/tables/meanings.csv", kept);
    for (int k = 0; k < 2; k++)
    {
        char* text = text_of(path[k]);
        const char* at = strchr(k == 0 ? strstr(text, "<main") : text, '\'');
        cr_expect_null(at, "%.80s", at != NULL ? at - 40 : "");
        free(text);
    }
}

Test(report, a_note_with_markup_is_shown_as_text)
{
    char* html = text_of("fish/out/report.html");
    cr_expect_not_null(strstr(html, "anything marked &lt;bone&gt;"));
    cr_expect_not_null(strstr(html, "labelled &lt;b&gt;A &amp; B&lt;/b&gt; in"));
    cr_expect_null(strstr(html, "<bone>"));
    free(html);
}

Test(report, the_sections_stand_in_their_order_and_bone_is_told_first)
{
    static const char* const id[] = {"summary",    "next",  "changes", "left",     "skeleton", "ledger",  "record",
                                     "treatments", "spoil", "pieces",  "elements", "stages",   "methods", "inputs"};
    char* html = text_of("fish/out/report.html");
    const char* at = html;
    for (size_t i = 0; i < sizeof id / sizeof *id; i++)
    {
        char heading[64];
        snprintf(heading, sizeof heading, "<h2 id=\"%s\"", id[i]);
        at = strstr(at, heading);
        cr_assert_not_null(at, "%s is missing or out of order", id[i]);
    }
    const char *summary = strstr(html, "<h2 id=\"summary\""), *bone = strstr(summary, "Bone lost");
    cr_expect(bone != NULL && bone < strstr(summary, "Matrix removed"));
    free(html);
}

Test(report, what_is_not_recorded_is_one_line)
{
    char* html = text_of("fish/out/report.html");
    cr_expect_not_null(strstr(html, "<p>Joints: not recorded.</p>"));
    cr_expect_not_null(strstr(html, "<p>Elements: not recorded.</p>"));
    const char* pieces = strstr(html, "<h2 id=\"pieces\"");
    cr_expect_eq(strncmp(strchr(pieces, '\n'), "\n<p>Not recorded.</p>\n</section>", 32), 0);
    free(html);
}

// --- Tables and JSON -------------------------------------------------------------------------------------------------

/// Rows of a CSV file, its head left out; line ends within quotes are no row's end.
static size_t rows_of(const char* text)
{
    size_t rows = 0;
    bool quoted = false;
    for (; *text != '\0'; text++)
    {
        quoted = *text == '"' ? !quoted : quoted;
        rows += *text == '\n' && !quoted;
    }
    return rows - 1;
}

Test(report, each_table_has_the_same_rows_in_csv_and_json)
{
    json_t* json = json_load_file("fish/out/report.json", 0, NULL);
    json_t* tables = json_object_get(json, "tables");
    cr_assert_gt(json_object_size(tables), 20);
    const char* name;
    json_t* rows;
    size_t files = 0;
    json_object_foreach(tables, name, rows)
    {
        char path[256];
        snprintf(path, sizeof path, "fish/out/tables/%s.csv", name);
        char* csv = program_read(path, NULL);
        cr_expect_eq(csv != NULL ? rows_of(csv) : 0, json_array_size(rows), "%s", name);
        files += csv != NULL;
        free(csv);
    }
    // One more: the meanings.
    cr_expect_eq(folder_count("fish/out/tables"), (int)files + 1);
    json_decref(json);
}

/// The block of the tests is about 300 mm across: its pitch is a 700th of the diagonal of its box.
Test(report, its_parameters_are_told)
{
    json_t* json = json_load_file("fish/out/report.json", 0, NULL);
    const json_t* parameters = json_object_get(json, "parameters");
    const json_t *step = json_array_get(json_object_get(parameters, "steps"), 0),
                 *alignment = json_array_get(json_object_get(parameters, "alignments"), 0);
    const double pitch_mm = told_number(step, "pitch_mm");
    cr_expect(pitch_mm > 0.1 && pitch_mm < 1.0, "%g mm", pitch_mm);
    cr_expect_geq(told_number(step, "seed_sd"), 4.5);
    cr_expect_eq((int)told_number(alignment, "seed"), 0);
    cr_expect_gt(json_object_size(json_object_get(parameters, "thresholds")), 10);
    char* html = text_of("fish/out/report.html");
    cr_expect_not_null(strstr(html, "<dt>thresholds</dt><dd>region_seed_sd 4.5, "));
    cr_expect_not_null(strstr(html, "<dt>Cite as</dt><dd>"));
    free(html);
    json_decref(json);
}

Test(report, a_number_is_the_same_in_csv_and_json)
{
    json_t* json = json_load_file("fish/out/report.json", 0, NULL);
    const json_t* first = json_array_get(json_object_get(json_object_get(json, "tables"), "regions"), 0);
    char* csv = text_of("fish/out/tables/regions.csv");
    const char* row = strchr(csv, '\n') + 1;
    char from[64], to[64], class[64];
    double volume, low, high;
    cr_assert_eq(sscanf(row, "%63[^,],%63[^,],1,%63[^,],%*[A-Z0-9],%lf,%lf,%lf", from, to, class, &volume, &low, &high),
                 6);
    cr_expect_str_eq(json_string_value(json_object_get(first, "class")), class);
    cr_expect_eq(told_number(first, "volume_mm3"), volume);
    cr_expect_eq(told_number(first, "volume_low_mm3"), low);
    cr_expect_eq(told_number(first, "volume_high_mm3"), high);
    free(csv);
    json_decref(json);
}

Test(report, every_column_has_its_meaning)
{
    char* meanings = text_of("fish/out/tables/meanings.csv");
    DIR* folder = opendir("fish/out/tables");
    size_t columns = 0;
    for (const struct dirent* entry = readdir(folder); entry != NULL; entry = readdir(folder))
    {
        if (entry->d_name[0] == '.' || strcmp(entry->d_name, "meanings.csv") == 0)
            continue;
        char path[512], line[512];
        snprintf(path, sizeof path, "fish/out/tables/%s", entry->d_name);
        char* csv = text_of(path);
        csv[strcspn(csv, "\n")] = '\0';
        for (const char* key = strtok(csv, ","); key != NULL; key = strtok(NULL, ","))
        {
            snprintf(line, sizeof line, "\n%s,%s,", entry->d_name, key);
            cr_expect_not_null(strstr(meanings, line), "%s of %s has no meaning", key, entry->d_name);
            columns++;
        }
        free(csv);
    }
    cr_assert_gt(columns, 100);
    closedir(folder);
    free(meanings);
}

Test(report, the_record_is_in_the_terms_of_darwin_core)
{
    json_t* json = json_load_file("fish/out/report.json", 0, NULL);
    const json_t* specimen =
        json_object_get(json_object_get(json_object_get(json, "record"), "material"), "dwc:catalogNumber");
    cr_expect_str_eq(json_string_value(specimen), "LQ-0417");
    // specimen.yaml and two meshes
    cr_expect_eq(json_array_size(json_object_get(json, "inputs")), 3);
    for (size_t i = 0; i < json_array_size(json_object_get(json, "inputs")); i++)
    {
        const json_t* input = json_array_get(json_object_get(json, "inputs"), i);
        char path[512];
        snprintf(path, sizeof path, "fish/%s", json_string_value(json_object_get(input, "path")));
        cr_expect_eq(access(path, R_OK), 0, "%s is not within the specimen", path);
        cr_expect_eq(strlen(json_string_value(json_object_get(input, "sha256"))), 64);
    }
    json_decref(json);
}

Test(report, what_went_holds_the_truth_in_its_interval_and_what_cannot_be_known_is_null)
{
    json_t* json = json_load_file("fish/out/report.json", 0, NULL);
    carving pair = rock_of_the_tests();
    const json_t *summary = json_object_get(json, "summary"), *matrix = json_object_get(summary, "matrix_removed");
    cr_expect_leq(told_number(matrix, "volume_low_mm3"), pair.removed_mm3);
    cr_expect_geq(told_number(matrix, "volume_high_mm3"), pair.removed_mm3);
    cr_expect_float_eq(told_number(matrix, "mass_g"), 2.32e-3 * told_number(matrix, "volume_mm3"), 1e-6);
    // Nobody marked bone, nothing was weighed.
    const json_t* bone = json_object_get(summary, "bone_lost");
    cr_expect(json_is_false(json_object_get(bone, "known")) && json_is_null(json_object_get(bone, "volume_mm3")));
    cr_expect(json_is_null(json_object_get(json_object_get(summary, "mass_balance"), "closes")));
    carving_free(&pair);
    json_decref(json);
}

// --- Standard output -------------------------------------------------------------------------------------------------

Test(report, the_text_is_short_and_says_where_the_report_is)
{
    char path[4200];
    snprintf(path, sizeof path, "%s/text.txt", kept);
    char* text = text_of(path);
    cr_expect_eq(strncmp(text, "LQ-0417, Armoured fish in a marl concretion: 2 stages\n\n  Bone lost", 66), 0, "%s",
                 text);
    cr_expect_not_null(strstr(text, "open fish/out/report.html"));
    free(text);
}

Test(report, is_the_same_bytes_with_one_thread_when_made_again_and_wherever_the_specimen_lies)
{
    // Something that an earlier report left is not in the next: the folder is replaced whole.
    program_write("fish/out/tables/old.csv", "x\n");
    cr_assert_eq(mkdir("elsewhere", 0755), 0);
    cr_assert_eq(program_shell("cp -r fish elsewhere/fish"), 0);
    char path[4200];
    snprintf(path, sizeof path, "%s/fish/out", kept);
    program_run run = program_call("report elsewhere/fish/ --threads 1 --json", NULL);
    cr_assert_eq(run.status, 0, "%s", run.err);
    cr_expect(same_folders("elsewhere/fish/out", path));
    char* json = text_of("elsewhere/fish/out/report.json");
    cr_expect_str_eq(json, run.out);
    free(json);
    program_free(&run);
}

// --- Refused ---------------------------------------------------------------------------------------------------------

/// The call is refused with 2, says `words`, and leaves the report and all else as it was.
static void refuse(const char* line, const char* words)
{
    cr_assert_eq(program_shell("rm -rf was && cp -r fish was"), 0);
    program_run run = program_call(line, NULL);
    cr_expect_eq(run.status, 2, "%d: %s", run.status, run.err);
    cr_expect_eq(run.out_size, 0);
    cr_expect_not_null(strstr(run.err, words), "%s", run.err);
    cr_expect(same_folders("fish", "was"));
    program_free(&run);
}

Test(report, a_mesh_that_is_missing_or_broken_is_refused_and_the_report_stays)
{
    cr_assert_eq(rename("fish/meshes/skull.ply", "skull.ply"), 0);
    refuse("report fish", "skull.ply");
    program_write("fish/meshes/skull.ply", "ply\nformat ascii 1.0\nelement vertex 3\nend_header\n");
    refuse("report fish", "skull.ply");
}

Test(report, a_record_with_a_fault_is_refused_and_the_report_stays)
{
    program_change("fish/specimen.yaml", "hours: 12.25", "hours: 12.25, area: skul");
    refuse("report fish", "skul");
    refuse("report nothing", "nothing");
}

Test(report, a_folder_that_it_did_not_write_is_left_alone)
{
    cr_assert_eq(mkdir("mine", 0755), 0);
    program_write("mine/paper.txt", "my own\n");
    refuse("report fish --out mine", "report.html");
    char* text = text_of("mine/paper.txt");
    cr_expect_str_eq(text, "my own\n");
    free(text);
}

// --- Killed ----------------------------------------------------------------------------------------------------------

/// Run the report, wait for a file of the folder that it builds (NULL: for nothing) and so many microseconds more, and
/// kill it.
static void run_and_kill(const char* file, long after_us)
{
    glob_t found = {0};
    char pattern[256];
    pid_t child = fork();
    if (child == 0)
    {
        if (freopen("/dev/null", "w", stdout) == NULL || freopen("/dev/null", "w", stderr) == NULL)
            _exit(127);
        execl(RLV_PROGRAM, "rilievo", "report", "fish", "--threads", "2", (char*)NULL);
        _exit(127);
    }
    snprintf(pattern, sizeof pattern, "fish/.rilievo-*/new/%s", file != NULL ? file : "");
    int how = 0;
    while (file != NULL && glob(pattern, 0, NULL, &found) != 0 && waitpid(child, &how, WNOHANG) == 0)
        nanosleep(&(struct timespec){0, 1000000}, NULL);
    globfree(&found);
    nanosleep(&(struct timespec){0, 1000 * after_us}, NULL);
    kill(child, SIGKILL);
    waitpid(child, &how, 0);
}

Test(report, killed_at_any_moment_it_leaves_the_old_folder_or_the_new_one)
{
    static const struct
    {
        const char* file;
        long after_us;
    } moment[] = {{NULL, 50000}, {"pictures/*.png", 0}, {"report.json", 0}, {"report.json", 30000}};
    char whole[4200];
    snprintf(whole, sizeof whole, "%s/fish/out", kept);
    cr_assert_eq(
        program_shell("rm -rf fish/out && mkdir fish/out && echo old > fish/out/report.html && cp -r fish/out old"), 0);
    for (size_t i = 0; i < sizeof moment / sizeof *moment; i++)
    {
        cr_assert_eq(program_shell("rm -rf fish/out && cp -r old fish/out"), 0);
        run_and_kill(moment[i].file, moment[i].after_us);
        cr_expect(same_folders("fish/out", "old") || same_folders("fish/out", whole), "moment %zu", i);
    }
    // What was left beside it is swept by the next run, also by one that fails.
    cr_assert_eq(rename("fish/meshes", "fish/elsewhere"), 0);
    cr_assert_eq(program_shell("mkdir fish/meshes && touch fish/meshes/skull.ply fish/meshes/field.ply"), 0);
    program_run run = program_call("report fish", NULL);
    cr_expect_eq(run.status, 2, "%s", run.err);
    cr_expect_eq(program_shell("ls -A fish | grep -q partial"), 1);
    program_free(&run);
}
