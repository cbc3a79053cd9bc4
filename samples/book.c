#include "book.h"

#include "scan.h"

#include <math.h>
#include <string.h>

#define DUST_SHARE 0.003 ///< of what is taken off: blown away
#define DAMP_SHARE 0.02  ///< water of a damp bag, over its rock
#define FILM_G_CM3 1.15  ///< of a film's dry resin,
#define FILL_G_CM3 1.40  ///< and of a filled one
#define ADHESIVE_G 2.1   ///< for the slab
#define SECOND_BAG_SHARE 0.4

static const double water_share[SPECIMEN_STAGES] = {0.0090, 0.0060, 0.0055, 0.0050, 0.0046, 0.0040};

static const struct
{
    const char* name;
    int stage;
    const char* area; ///< NULL: all
    double share;     ///< of what came off there
    bool damp;
    double sd_g;
} bags[BOOK_BAGS] = {
    {"S1", 1, NULL, 1.0 - SECOND_BAG_SHARE, false, 5.0},
    {"S2", 1, NULL, SECOND_BAG_SHARE, true, 5.0},
    {"S3", 2, NULL, 1.0, false, 1.0},
    {"S4", 3, NULL, 1.0, false, 1.0},
    {"S5", 4, "right flank", 1.0, false, 1.0},
    {"S6", 4, "tail", 1.0, false, 1.0},
    {"S7", 5, NULL, 1.0, false, 1.0},
};

static const struct
{
    int stage;
    const char* area;
    const char* tool;
    double rate_ml_h;
} works[BOOK_WORKS] = {
    {1, NULL, "hammer and chisel", 125.0},
    {2, "skull roof", "scribe", 14.0},
    {2, "dorsal row", "scribe", 17.0},
    {3, "left flank", "scribe", 19.0},
    {3, "corner dressed", "hammer and chisel", 60.0},
    {4, "right flank", "scribe", 18.0},
    {4, "tail", "scribe", 22.0},
    {5, NULL, "needle and brush", 6.5},
};

static double rounded(double value, double step)
{
    return round(value / step) * step;
}

static book_figure drawn(scan_random* random, double truly, double sd, double step)
{
    return (book_figure){truly, rounded(truly + sd * scan_random_normal(random), step), sd};
}

static int area_named(const demo_specimen* specimen, const char* name)
{
    for (int i = 0; name != NULL && i < SPECIMEN_AREAS; i++)
        if (strcmp(specimen->area[i].name, name) == 0)
            return i;
    return -1;
}

/// Rock that came off in an area (-1: over all of a stage, the pieces apart), in grams, dry.
static double rock_off_g(const demo_specimen* specimen, int stage, int area)
{
    if (area >= 0)
        return specimen->area[area].removed_mm3 * 1e-3 * BOOK_MATRIX_G_CM3;
    double volume[SPECIMEN_CLASSES];
    specimen_classes(specimen, stage, volume);
    double bone = volume[SPECIMEN_BONE_LOST] + (stage == 1 ? specimen->spoil_bone_mm3 : 0.0);
    double matrix = volume[SPECIMEN_MATRIX_REMOVED] - (stage == 1 ? specimen->spoil_bone_mm3 : 0.0);
    return 1e-3 * (matrix * BOOK_MATRIX_G_CM3 + bone * BOOK_BONE_G_CM3);
}

static void fill_bags(demo_book* book, const demo_specimen* specimen, scan_random* random)
{
    for (int k = 0; k < BOOK_BAGS; k++)
    {
        book_bag* bag = &book->bag[k];
        *bag = (book_bag){.name = bags[k].name, .stage = bags[k].stage, .area = area_named(specimen, bags[k].area)};
        bag->rock_g = bags[k].share * (1.0 - DUST_SHARE) * rock_off_g(specimen, bag->stage, bag->area);
        bag->water_g = bags[k].damp ? DAMP_SHARE * bag->rock_g : 0.0;
        bag->mass = drawn(random, bag->rock_g + bag->water_g, bags[k].sd_g, bags[k].sd_g / 5.0);
    }
}

static void log_hours(demo_book* book, const demo_specimen* specimen, scan_random* random)
{
    for (int k = 0; k < BOOK_WORKS; k++)
    {
        book_work* work = &book->work[k];
        *work = (book_work){.stage = works[k].stage,
                            .area = area_named(specimen, works[k].area),
                            .tool = works[k].tool,
                            .rate_ml_h = works[k].rate_ml_h};
        if (work->area >= 0)
            work->removed_ml = 1e-3 * specimen->area[work->area].removed_mm3;
        for (int i = 0; i < SPECIMEN_AREAS && work->area < 0; i++)
            if (specimen->area[i].stage == work->stage && specimen->area[i].kind == SPECIMEN_MATRIX_REMOVED)
                work->removed_ml += 1e-3 * specimen->area[i].removed_mm3;
        double hours = work->removed_ml / work->rate_ml_h;
        // Hours are written down to a quarter, within about 3 per cent.
        work->hours = drawn(random, hours, 0.03 * hours, 0.25);
        work->hours.written = fmax(work->hours.written, 0.25);
    }
}

static double brushed_on_mm3(const demo_specimen* specimen, const char* name)
{
    return specimen->area[area_named(specimen, name)].added_mm3;
}

static void weigh(demo_book* book, const demo_specimen* specimen, scan_random* random)
{
    for (int stage = 0; stage < SPECIMEN_STAGES; stage++)
    {
        const specimen_content* content = &specimen->content[stage];
        book->rock_g[stage] = 1e-3 * (content->matrix_mm3 * BOOK_MATRIX_G_CM3 + content->bone_mm3 * BOOK_BONE_G_CM3);
        book->water_g[stage] = water_share[stage] * book->rock_g[stage];
        book->resin_g[stage] = (stage >= SPECIMEN_SLAB_OFF ? book->film_g + book->fill_g : 0.0) +
                               (stage >= SPECIMEN_SLAB_BACK ? book->adhesive_g : 0.0);
        double sd = stage == 0 ? 20.0 : 2.0;
        book->block_g[stage] =
            drawn(random, book->rock_g[stage] + book->water_g[stage] + book->resin_g[stage], sd, sd / 4.0);
        if (stage == 0)
            continue;
        double dried = book->water_g[stage - 1] - book->water_g[stage], bagged = 0.0;
        for (int k = 0; k < BOOK_BAGS; k++)
            if (book->bag[k].stage == stage)
                dried -= book->bag[k].water_g, bagged += book->bag[k].rock_g;
        book->drying_g[stage] = drawn(random, dried, fmax(0.1 * dried, 1.0), 0.5);
        book->dust_g[stage] = rock_off_g(specimen, stage, -1) - bagged;
    }
}

demo_book book_make(const demo_specimen* specimen, uint64_t seed)
{
    demo_book book = {0};
    scan_random random = {noise_hash(seed, 400)};
    book.matrix_g_cm3 = drawn(&random, BOOK_MATRIX_G_CM3, 0.03, 0.01);
    book.bone_g_cm3 = drawn(&random, BOOK_BONE_G_CM3, 0.05, 0.01);
    book.film_g = 1e-3 * brushed_on_mm3(specimen, "consolidant film on the skull") * FILM_G_CM3;
    book.fill_g = 1e-3 * brushed_on_mm3(specimen, "gap fill in the snout") * FILL_G_CM3;
    book.adhesive_g = ADHESIVE_G;
    book.slab_g = drawn(&random, 1e-3 * specimen->slab.volume_mm3 * BOOK_MATRIX_G_CM3, 0.2, 0.1);
    fill_bags(&book, specimen, &random);
    log_hours(&book, specimen, &random);
    weigh(&book, specimen, &random);
    return book;
}
