#include "options.h"

#include "command.h"
#include "words.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum
{
    INSPECT = 1u << 0,
    ALIGN = 1u << 1,
    CHANGE = 1u << 2,
    PAIR = ALIGN | CHANGE,
    NEW = 1u << 3,
    RENDER = 1u << 4,
    MEASURING = INSPECT | PAIR,
    REPORT = 1u << 5,
    ELEMENTS = 1u << 6,
    ARTICULATION = 1u << 7,
    REJOIN = 1u << 8,
    EVERY = NEW | MEASURING | ELEMENTS | ARTICULATION | REJOIN | RENDER | REPORT,
    OPENS_OUT = REPORT,
};

static const rlv_command commands[] = {
    {"new", "DIR", 1, 1, "folder", "lays out the folder of a specimen, with a record to fill in",
     "Makes DIR with specimen.yaml, points.csv, elements.csv and meshes/. Each key of the record is explained beside "
     "it,\n"
     "with an example. DIR may be there if it is empty; it appears with all that it holds, or not at all.",
     "Then copy the first mesh into meshes/, and name it, with its unit, under stages in specimen.yaml.", NEW,
     command_new},
    {"inspect", "MESH...", 1, 64, "mesh/meshes", "size, shells, open edges, defects, area and volume of meshes",
     "Reads each mesh, mends what can be mended in memory (the file stays as it is), and tells what was there, what "
     "is\n"
     "wrong with it, and how much it holds. A volume is told only where the mesh is closed.",
     "Run it first on every new scan: a wrong unit or an open underside is cheaper to find here than later.", INSPECT,
     command_inspect},
    {"align", "BEFORE AFTER | SPECIMEN", 1, 2, "operand",
     "the motion that carries AFTER into BEFORE's frame, or all stages of a specimen into one",
     "Finds the motion from any attitude, without tie points, from the surface that held still between the two "
     "stages.\n"
     "Of a SPECIMEN (its folder) all stages are joined, neighbours and those two apart, and what does not close is "
     "told.",
     "An alignment that several motions fit about as well is refused (exit status 3): put marks on the rim of the "
     "block\n"
     "that stay through the stages, or pad the block so that more of it is seen.",
     ALIGN, command_align},
    {"change", "BEFORE AFTER | SPECIMEN [STAGE STAGE]", 1, 3, "operand",
     "what was removed and added between two stages, where and how deep",
     "Aligns AFTER to BEFORE (unless --aligned), finds the regions that changed beyond the noise of the two scans, "
     "and\n"
     "measures each with a 95 % interval. What cannot be told from noise is said to be so. Of a SPECIMEN (its folder) "
     "every\n"
     "step is measured, or the one between two STAGEs; matrix, bone, pieces and what was added are kept apart, with "
     "hours\n"
     "and grams as they are recorded.",
     "What went may be matrix, bone that was hidden, or bone that lay open: a mesh cannot tell.\n"
     "Stone dust can hold silica: wear what your local exposure limits ask for.",
     CHANGE, command_change},
    {"elements", "SPECIMEN", 1, 1, "folder", "where every element lies and how it is turned, with its size",
     "Reads the elements in the specimen's folder, measures each at every stage that shows it, by its points or its "
     "part "
     "of\n"
     "the mesh, brings all stages into the block's frame, and tells position, size, trend and plunge, the angle to "
     "bedding\n"
     "and which way the external face looks, with 95 % intervals. What the work has moved is told as it lay before.",
     "What matrix covers is in no figure: an outline tells of what shows.\n"
     "Give each plate an outline of numbered points and the landmarks anterior, posterior, left, right and apex.",
     ELEMENTS, command_elements},
    {"articulation", "SPECIMEN", 1, 1, "folder", "which elements have left their life position, and where bone may lie",
     "Fits the animal's own order to the elements in the specimen's folder, row by row along a common body axis, and "
     "tells\n"
     "which have moved, as groups first and singly after, how far, which way and how surely; which life positions have "
     "no\n"
     "element, and whether each lies in the rock that is left, and how deep; and what could not be told.",
     "A slip of all rows together cannot be told from the animal's own curve, and is not claimed.\n"
     "Give each row its places in specimen.yaml, and each element its row, and its place where it can be counted.",
     ARTICULATION, command_articulation},
    {"rejoin", "BLOCK PIECE... | SPECIMEN [PIECE...]", 1, 64, "operand",
     "how a detached piece goes back, and what gap its joint leaves",
     "Finds where PIECE lay on BLOCK: by the mesh from before they were apart (--before), or from any attitude by the "
     "two\n"
     "faces alone. Tells the motion that closes the gap, what stays open, what touches first, and from which way the "
     "piece\n"
     "comes in. Several pieces go on one after the other, each where it fits best, on BLOCK or on one another, and are "
     "then\n"
     "solved together; a piece that closes a ring is told, and how far the pieces miss each other there. Of a SPECIMEN "
     "(its\n"
     "folder) PIECE is one of its pieces that has a mesh of its own, and all of these where none is named; the stages "
     "are\n"
     "those of its record.",
     "Two faces that do not belong together are refused (exit status 3), with the figure that says so. No gap fill,\n"
     "adhesive or consolidant is recommended: their data sheets decide, for the person and for the fossil.",
     REJOIN, command_rejoin},
    {"render", "SPECIMEN", 1, 1, "folder", "draws one picture of a specimen, by its name and from a named view",
     "Reads the specimen's folder, measures what the picture shows, and writes it as one sheet to --out. Pictures:\n"
     "comparison (before, after, and the depth between them), depth (the map of depth of a step, with two sections and "
     "the\n"
     "table of regions), history (all stages), stage (one of them), plain (the same with nothing drawn over it, for a "
     "panel),\n"
     "standing (the last one on its floor, with its sizes and its case). A step is named by the stage that it leads "
     "to.\n"
     "Of a skeleton: bone-map (elements in their states on the block, at a stage or else at the last), body-plan (its\n"
     "rows laid flat), directions (nets of poles and of motions, and a rose). Of a --piece that is put back: joint "
     "(both\n"
     "faces laid open, with the gap between them).",
     "Print a sheet at 100 % and lay a ruler against its control length before you measure on it.\n"
     "The sides dorsal, ventral, left-lateral, right-lateral, anterior and posterior need to know how the body lies.",
     RENDER, command_render},
    {"report", "SPECIMEN", 1, 1, "folder",
     "all that can be measured of a specimen, as a page with its tables and pictures",
     "Reads the record in SPECIMEN with all its meshes, measures each step, and writes report.html, report.json, "
     "tables/ "
     "and\n"
     "pictures/ into SPECIMEN/out, or DIR. That folder is replaced whole: it is the old one or the new one at any "
     "moment.\n"
     "Where it is there and holds no report.html, it is left alone (exit status 2).",
     "A figure is advice to a trained person, not a certificate. Stone dust can hold silica, and a block can tip: your "
     "local\n"
     "exposure limits, the maker's data sheets and a qualified person decide.",
     REPORT, command_report},
};
static const size_t command_count = sizeof commands / sizeof commands[0];

typedef enum option_kind
{
    OPTION_HELP,
    OPTION_VERSION,
    OPTION_JSON,
    OPTION_OUT,
    OPTION_UNIT,
    OPTION_UNIT_AFTER,
    OPTION_THREADS,
    OPTION_SCALE_SD,
    OPTION_SCALE_SD_AFTER,
    OPTION_ALIGNED,
    OPTION_BEFORE,
    OPTION_FILM,
    OPTION_PIECE,
    OPTION_PICTURE,
    OPTION_STAGE,
    OPTION_VIEW,
    OPTION_SCALE,
    OPTION_FORMAT,
    OPTION_KINDS,
} option_kind;

typedef struct option_row
{
    const char* name;
    const char* value; ///< as help shows it; NULL: takes none
    unsigned commands; ///< which commands take it
    const char* help;
} option_row;

static const option_row option_table[OPTION_KINDS] = {
    [OPTION_UNIT] = {"--unit", "mm|cm|m|in", NEW | MEASURING | REJOIN,
                     "unit of the meshes; must be said to read one, except for glTF (metres)"},
    [OPTION_UNIT_AFTER] = {"--unit-after", "mm|cm|m|in", PAIR, "unit of AFTER, where it is not BEFORE's"},
    [OPTION_SCALE_SD] = {"--scale-sd", "S", PAIR,
                         "relative sd of BEFORE's scale: 0.001 is 1 mm in a metre (else exact)"},
    [OPTION_SCALE_SD_AFTER] = {"--scale-sd-after", "S", PAIR, "relative sd of AFTER's scale (else exact)"},
    [OPTION_ALIGNED] = {"--aligned", NULL, CHANGE, "AFTER is in BEFORE's frame already: do not align"},
    [OPTION_BEFORE] = {"--before", "MESH", REJOIN, "the mesh from before the two were apart, in the same unit"},
    [OPTION_FILM] = {"--film", "MM", REJOIN, "thickness of a film of adhesive to reckon with (else 0.1)"},
    [OPTION_PIECE] = {"--piece", "ID", RENDER, "which piece, of the picture joint"},
    [OPTION_PICTURE] = {"--picture", "NAME", RENDER, "which: see above"},
    [OPTION_STAGE] = {"--stage", "ID", RENDER, "which stage, or which step, by the stage that it leads to"},
    [OPTION_VIEW] = {"--view", "SIDE", RENDER,
                     "upper, dorsal, ventral, left-lateral, right-lateral, anterior, posterior, or AZIMUTH,ELEVATION"},
    [OPTION_SCALE] = {"--scale", "A:B|fit", RENDER, "1:2 prints at half size; fit: as large as A3 holds"},
    [OPTION_FORMAT] = {"--format", "png|pdf|svg", RENDER, "of the file (else png)"},
    [OPTION_OUT] = {"--out", "DIR", MEASURING | ELEMENTS | ARTICULATION | REJOIN | RENDER | REPORT,
                    "write the tables, JSON and, where there are any, meshes and pictures here"},
    [OPTION_JSON] = {"--json", NULL, EVERY, "one JSON object on standard output, and nothing else"},
    [OPTION_THREADS] = {"--threads", "N", EVERY, "threads to use; the answer does not depend on it"},
    [OPTION_HELP] = {"--help", NULL, EVERY, "this text"},
    [OPTION_VERSION] = {"--version", NULL, EVERY, "the version, and nothing else"},
};

/// The order in which help tells the options.
static const option_kind help_order[] = {
    OPTION_UNIT,   OPTION_UNIT_AFTER, OPTION_SCALE_SD, OPTION_SCALE_SD_AFTER, OPTION_ALIGNED, OPTION_BEFORE,
    OPTION_FILM,   OPTION_PICTURE,    OPTION_STAGE,    OPTION_PIECE,          OPTION_VIEW,    OPTION_SCALE,
    OPTION_FORMAT, OPTION_OUT,        OPTION_JSON,     OPTION_THREADS,        OPTION_HELP,    OPTION_VERSION};

const rlv_command* command_table(size_t* count)
{
    *count = command_count;
    return commands;
}

/// Edit distance of two words of up to 31 letters (V. I. Levenshtein, Binary codes capable of correcting deletions,
/// insertions, and reversals, Soviet Physics Doklady 10, 1966), by rows.
static size_t distance_of_words(const char* a, const char* b)
{
    size_t a_length = strlen(a), b_length = strlen(b);
    size_t row[32];
    if (a_length > 31 || b_length > 31)
        return SIZE_MAX;
    for (size_t j = 0; j <= b_length; j++)
        row[j] = j;
    for (size_t i = 1; i <= a_length; i++)
    {
        size_t corner = row[0];
        row[0] = i;
        for (size_t j = 1; j <= b_length; j++)
        {
            size_t changed = corner + (a[i - 1] != b[j - 1]);
            size_t dropped = (row[j] < row[j - 1] ? row[j] : row[j - 1]) + 1;
            corner = row[j];
            row[j] = changed < dropped ? changed : dropped;
        }
    }
    return row[b_length];
}

const char* options_nearest(const char* word, const char* const* name, size_t count)
{
    const char* nearest = NULL;
    size_t least = SIZE_MAX;
    for (size_t i = 0; i < count; i++)
    {
        size_t distance = distance_of_words(word, name[i]);
        if (distance < least)
        {
            least = distance;
            nearest = name[i];
        }
    }
    // Half of a word's letters wrong is another word.
    return least <= strlen(word) / 2 ? nearest : NULL;
}

static rlv_status unknown_option(const char* word, size_t length, rlv_error* error)
{
    char name[64];
    const char* names[OPTION_KINDS];
    snprintf(name, sizeof name, "%.*s", (int)(length < sizeof name ? length : sizeof name - 1), word);
    for (size_t i = 0; i < OPTION_KINDS; i++)
        names[i] = option_table[i].name;
    const char* nearest = options_nearest(name, names, OPTION_KINDS);
    char mend[128];
    snprintf(mend, sizeof mend, nearest != NULL ? "did you mean %s?" : "rilievo COMMAND --help lists what there is",
             nearest);
    return rlv_fail(error, RLV_BAD_INPUT, NULL, mend, "there is no option %s", name);
}

static rlv_status unknown_command(const char* word, rlv_error* error)
{
    const char* names[sizeof commands / sizeof commands[0]];
    for (size_t i = 0; i < command_count; i++)
        names[i] = commands[i].name;
    const char* nearest = options_nearest(word, names, command_count);
    char mend[128];
    snprintf(mend, sizeof mend, nearest != NULL ? "did you mean %s?" : "rilievo --help lists the commands", nearest);
    return rlv_fail(error, RLV_BAD_INPUT, NULL, mend, "there is no command '%s'", word);
}

/// A number that fills the whole word, from `least` to `most`.
static bool number_of_word(const char* word, double least, double most, double* number)
{
    char* end = NULL;
    errno = 0;
    *number = strtod(word, &end);
    return end != word && *end == '\0' && errno == 0 && isfinite(*number) && *number >= least && *number <= most;
}

static rlv_status set_unit(rlv_unit* unit, const char* name, const char* value, rlv_error* error)
{
    *unit = rlv_unit_from_name(value);
    if (*unit == RLV_UNIT_NONE)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "say mm, cm, m or in", "%s: '%s' is not a unit", name, value);
    return RLV_DONE;
}

static rlv_status set_scale_sd(double* scale_sd, const char* name, const char* value, rlv_error* error)
{
    // A scale less sure than one in five is no scale, and a per cent sign or a millimetre figure ends up here.
    if (!number_of_word(value, 0.0, 0.2, scale_sd))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "say it as a share: 0.001 is 1 mm in a metre",
                        "%s: '%s' is not a number from 0 to 0.2", name, value);
    return RLV_DONE;
}

/// One of `count` words.
static rlv_status set_word(const char** word, const char* name, const char* value, size_t count,
                           const char* const* known, const char* mend, rlv_error* error)
{
    for (size_t i = 0; i < count; i++)
        if (strcmp(value, known[i]) == 0)
        {
            *word = value;
            return RLV_DONE;
        }
    return rlv_fail(error, RLV_BAD_INPUT, NULL, mend, "%s: there is no '%.60s'", name, value);
}

/// "1:2", "2:1" or "fit".
static rlv_status set_scale(rlv_options* options, const char* name, const char* value, rlv_error* error)
{
    double paper = 0.0, thing = 0.0;
    const char* colon = strchr(value, ':');
    char first[32];
    options->fit = strcmp(value, "fit") == 0;
    if (options->fit)
        return RLV_DONE;
    if (colon != NULL && (size_t)(colon - value) < sizeof first)
    {
        snprintf(first, sizeof first, "%.*s", (int)(colon - value), value);
        // Smaller than 1:1000 a block is a dot, larger than 100:1 it is a wall.
        if (number_of_word(first, 1e-3, 1e3, &paper) && number_of_word(colon + 1, 1e-3, 1e3, &thing) &&
            paper / thing >= 1e-3 && paper / thing <= 1e2)
        {
            options->scale = paper / thing;
            return RLV_DONE;
        }
    }
    return rlv_fail(error, RLV_BAD_INPUT, NULL, "say paper over thing, as 1:2, from 1:1000 to 100:1, or fit",
                    "%s: '%.60s' is not a scale", name, value);
}

static rlv_status set_option(rlv_options* options, option_kind kind, const char* value, rlv_error* error)
{
    const char* name = option_table[kind].name;
    static const char* const pictures[] = {"comparison", "depth",    "history",   "stage",      "plain",
                                           "standing",   "bone-map", "body-plan", "directions", "joint"};
    static const char* const formats[] = {"png", "pdf", "svg"};
    double number = 0.0;
    switch (kind)
    {
    case OPTION_HELP:
        options->help = true;
        return RLV_DONE;
    case OPTION_VERSION:
        options->version = true;
        return RLV_DONE;
    case OPTION_JSON:
        options->json = true;
        return RLV_DONE;
    case OPTION_ALIGNED:
        options->aligned = true;
        return RLV_DONE;
    case OPTION_BEFORE:
        options->before = value;
        return RLV_DONE;
    case OPTION_FILM:
        // A film as thick as a joint that is far open is no film.
        if (!number_of_word(value, 0.001, 10.0, &options->film_mm))
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "say it in mm: 0.1",
                            "%s: '%s' is not a number from 0.001 to 10", name, value);
        return RLV_DONE;
    case OPTION_OUT:
        options->out = value;
        if (*value == '\0')
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "name a folder", "%s is empty", name);
        return RLV_DONE;
    case OPTION_UNIT:
        return set_unit(&options->unit, name, value, error);
    case OPTION_UNIT_AFTER:
        return set_unit(&options->unit_after, name, value, error);
    case OPTION_SCALE_SD:
        return set_scale_sd(&options->scale_sd, name, value, error);
    case OPTION_SCALE_SD_AFTER:
        return set_scale_sd(&options->scale_sd_after, name, value, error);
    case OPTION_PICTURE:
        return set_word(
            &options->picture, name, value, sizeof pictures / sizeof *pictures, pictures,
            "say comparison, depth, history, stage, plain, standing, bone-map, body-plan, directions or joint", error);
    case OPTION_FORMAT:
        return set_word(&options->format, name, value, 3, formats, "say png, pdf or svg", error);
    case OPTION_PIECE:
        options->piece = value;
        return RLV_DONE;
    case OPTION_STAGE:
        options->stage = value;
        return RLV_DONE;
    case OPTION_VIEW:
        options->view = value;
        return RLV_DONE;
    case OPTION_SCALE:
        return set_scale(options, name, value, error);
    case OPTION_THREADS:
        if (!number_of_word(value, 1.0, 1024.0, &number) || number != floor(number))
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "say how many threads to use, or leave it out",
                            "%s: '%s' is not a whole number from 1 to 1024", name, value);
        options->threads = (int)number;
        return RLV_DONE;
    case OPTION_KINDS:
        break;
    }
    return RLV_DONE;
}

/// Read the option at argv[*at]; where its value is the next word, step over that.
static rlv_status read_option(rlv_options* options, bool seen[OPTION_KINDS], int argc, char** argv, int* at,
                              rlv_error* error)
{
    const char* word = argv[*at];
    const char* equals = strchr(word, '=');
    size_t length = equals != NULL ? (size_t)(equals - word) : strlen(word);
    size_t kind = 0;
    while (kind < OPTION_KINDS &&
           (strlen(option_table[kind].name) != length || strncmp(word, option_table[kind].name, length) != 0))
        kind++;
    if (kind == OPTION_KINDS)
        return unknown_option(word, length, error);
    const option_row* row = &option_table[kind];
    if (row->value == NULL && equals != NULL)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "leave out what follows the =", "%s takes no value", row->name);
    if (row->value != NULL && seen[kind])
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "leave one of them out", "%s is given twice", row->name);
    seen[kind] = true;
    const char* value = equals != NULL ? equals + 1 : NULL;
    if (row->value != NULL && value == NULL)
    {
        char mend[128];
        snprintf(mend, sizeof mend, "say %s %s", row->name, row->value);
        if (*at + 1 >= argc || strncmp(argv[*at + 1], "--", 2) == 0)
            return rlv_fail(error, RLV_BAD_INPUT, NULL, mend, "%s needs a value", row->name);
        value = argv[++*at];
    }
    return set_option(options, (option_kind)kind, value, error);
}

static rlv_status read_operand(rlv_options* options, const char* word, rlv_error* error)
{
    if (options->command != NULL)
    {
        options->path[options->path_count++] = word;
        return RLV_DONE;
    }
    for (size_t i = 0; i < command_count; i++)
        if (strcmp(word, commands[i].name) == 0)
            options->command = &commands[i];
    return options->command != NULL ? RLV_DONE : unknown_command(word, error);
}

/// Whether what was typed makes a call of its command.
static rlv_status check(const rlv_options* options, const bool seen[OPTION_KINDS], rlv_error* error)
{
    const rlv_command* command = options->command;
    if (command == NULL)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "rilievo --help lists the commands", "no command is given");
    char mend[256];
    for (size_t i = 0; i < OPTION_KINDS; i++)
        if (seen[i] && (option_table[i].commands & command->bit) == 0)
        {
            snprintf(mend, sizeof mend, "leave it out; rilievo %s --help lists what it takes", command->name);
            return rlv_fail(error, RLV_BAD_INPUT, NULL, mend, "%s takes no %s", command->name, option_table[i].name);
        }
    if (options->path_count < command->least || options->path_count > command->most)
    {
        snprintf(mend, sizeof mend, "say rilievo %s %s", command->name, command->operands);
        const bool many = options->path_count > command->most;
        return rlv_fail(error, RLV_BAD_INPUT, NULL, mend, "%s takes %s%s, and %zu %s given", command->name,
                        command->least == command->most ? ""
                        : many                          ? "at most "
                                                        : "at least ",
                        words_count(many ? command->most : command->least, command->operand).text, options->path_count,
                        options->path_count == 1 ? "is" : "are");
    }
    return RLV_DONE;
}

rlv_status options_read(rlv_options* options, int argc, char** argv, rlv_error* error)
{
    bool seen[OPTION_KINDS] = {false};
    bool ended = false;
    rlv_status status = RLV_DONE;
    options->path = rlv_reserve((size_t)argc, sizeof *options->path, error);
    if (options->path == NULL)
        return RLV_SYSTEM;
    for (int at = 1; at < argc && status == RLV_DONE; at++)
    {
        if (!ended && strcmp(argv[at], "--") == 0)
            ended = true;
        else if (!ended && argv[at][0] == '-' && argv[at][1] != '\0')
            status = read_option(options, seen, argc, argv, &at, error);
        else
            status = read_operand(options, argv[at], error);
    }
    if (status != RLV_DONE || options->help || options->version)
        return status;
    return check(options, seen, error);
}

void options_free(rlv_options* options)
{
    free(options->path);
    *options = (struct rlv_options){0};
}

bool options_opens_out(const rlv_options* options)
{
    return (options->command->bit & OPENS_OUT) != 0;
}

static void help_options(unsigned bit, FILE* stream)
{
    fputs("\noptions (they stand anywhere)\n", stream);
    for (size_t i = 0; i < OPTION_KINDS; i++)
    {
        const option_row* row = &option_table[help_order[i]];
        if ((row->commands & bit) == 0)
            continue;
        char left[64];
        snprintf(left, sizeof left, "%s%s%s", row->name, row->value != NULL ? " " : "",
                 row->value != NULL ? row->value : "");
        fprintf(stream, "  %-26s %s\n", left, row->help);
    }
}

void options_help(const rlv_command* command, FILE* stream)
{
    if (command != NULL)
    {
        fprintf(stream, "rilievo %s %s [options]: %s\n\n%s\n", command->name, command->operands, command->summary,
                command->about);
        help_options(command->bit, stream);
        fprintf(stream, "\n%s\n", command->next);
    }
    else
    {
        fputs("rilievo COMMAND ... [options]: measures a fossil block from one stage of preparation to the next\n\n"
              "commands\n",
              stream);
        for (size_t i = 0; i < command_count; i++)
            fprintf(stream, "  %s %s\n      %s\n", commands[i].name, commands[i].operands, commands[i].summary);
        fputs("\nrilievo COMMAND --help tells the options of a command; rilievo --version tells the version.\n",
              stream);
    }
    fputs(
        "\nexit status: 0 done; 2 the input or the call is at fault; 3 the input is sound but the measurement cannot\n"
        "be made; 4 the system failed (disk, memory)\n",
        stream);
}
