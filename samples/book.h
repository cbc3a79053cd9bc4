/// The workshop's book of the demo: masses of the block, the slab and the spoil, water, resins and hours, as they truly
/// were and as they were written down.
///
/// All follows from the volumes of the specimen and densities. Block before - block after = spoil (as in the bags, dry)
/// + dust + slab + water lost - resin, exactly so for what truly was.

#ifndef RLV_SAMPLES_BOOK_H
#define RLV_SAMPLES_BOOK_H

#include "demo_specimen.h"

#define BOOK_MATRIX_G_CM3 2.31
#define BOOK_BONE_G_CM3 2.90
#define BOOK_BAGS 7
#define BOOK_WORKS 8

/// A quantity as it was, and as it was written down with its sd.
typedef struct book_figure
{
    double truly, written, sd;
} book_figure;

typedef struct book_bag
{
    const char* name;
    int stage;
    int area;         ///< of the specimen, or -1: of all that was worked on
    double rock_g;    ///< dry, in the bag
    double water_g;   ///< with it, where damp
    book_figure mass; ///< as weighed
} book_bag;

typedef struct book_work
{
    int stage;
    int area; ///< or -1
    const char* tool;
    double removed_ml, rate_ml_h;
    book_figure hours;
} book_work;

typedef struct demo_book
{
    book_figure matrix_g_cm3, bone_g_cm3;
    book_figure block_g[SPECIMEN_STAGES];
    double rock_g[SPECIMEN_STAGES], water_g[SPECIMEN_STAGES], resin_g[SPECIMEN_STAGES]; ///< what the block's mass is of
    book_figure drying_g[SPECIMEN_STAGES]; ///< lost by the block to the air since the stage before
    double dust_g[SPECIMEN_STAGES];        ///< lost unweighed
    book_figure slab_g;
    double film_g, fill_g, adhesive_g; ///< resins, dry
    book_bag bag[BOOK_BAGS];
    book_work work[BOOK_WORKS];
} demo_book;

/// The book of a specimen.
demo_book book_make(const demo_specimen* specimen, uint64_t seed);

#endif
