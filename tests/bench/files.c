/// How long it takes to read a rock as PLY (in float and in double), STL and OBJ, without and with its SHA-256, beside
/// Assimp in the same run; and to write it.
///
/// bench_files [--triangles N] [--repeat N] [--assimp N]
///
/// Assimp is timed on a rock of its own size (--assimp, 500,000 triangles where nothing else is said), and its time is
/// multiplied by the ratio of the triangles: it joins corners in more than linear time, so that this is in its favour.

#include "mesh_file.h"
#include "rock.h"

#include <assimp/cimport.h>
#include <assimp/postprocess.h>
#include <omp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <unistd.h>

#define MOST_REPEATS 99

typedef struct settings
{
    size_t triangles, assimp_triangles;
    int repeat;
} settings;

/// One format: how a rock is written in it, and how long reading one of 5 million triangles may take.
typedef struct format
{
    const char* name;
    const char* extension;
    void (*write)(const rlv_mesh* mesh, const char* path);
    double aim_s; ///< of a rock of 5 million triangles
} format;

static void give_up(const char* what)
{
    fprintf(stderr, "bench_files: %s\n", what);
    exit(1);
}

static void write_float_ply(const rlv_mesh* mesh, const char* path)
{
    rlv_error error;
    if (rlv_mesh_file_write(mesh, path, &error) != RLV_DONE)
        give_up(error.what);
}

/// Far from zero the coordinates are doubles.
static void write_double_ply(const rlv_mesh* mesh, const char* path)
{
    rlv_mesh far = *mesh;
    far.origin_mm = rlv_vec3_of(1 << 20, 1 << 20, 0);
    write_float_ply(&far, path);
}

static void write_stl(const rlv_mesh* mesh, const char* path)
{
    char header[80] = "binary";
    uint32_t count = (uint32_t)mesh->triangle_count;
    FILE* stream = fopen(path, "wb");
    if (stream == NULL)
        give_up(path);
    fwrite(header, 1, sizeof header, stream);
    fwrite(&count, sizeof count, 1, stream);
    for (size_t t = 0; t < count; t++)
    {
        float number[12] = {0};
        for (size_t i = 0; i < 3; i++)
            memcpy(number + 3 + 3 * i, mesh->position_mm + 3 * (size_t)mesh->corner[3 * t + i], 3 * sizeof(float));
        fwrite(number, sizeof number, 1, stream);
        fwrite("\0\0", 1, 2, stream);
    }
    if (fclose(stream) != 0)
        give_up(path);
}

static void write_obj(const rlv_mesh* mesh, const char* path)
{
    FILE* stream = fopen(path, "wb");
    if (stream == NULL)
        give_up(path);
    for (size_t v = 0; v < mesh->vertex_count; v++)
    {
        const float* at = mesh->position_mm + 3 * v;
        fprintf(stream, "v %.6f %.6f %.6f\n", (double)at[0], (double)at[1], (double)at[2]);
    }
    for (size_t t = 0; t < mesh->triangle_count; t++)
        fprintf(stream, "f %u %u %u\n", mesh->corner[3 * t] + 1, mesh->corner[3 * t + 1] + 1,
                mesh->corner[3 * t + 2] + 1);
    if (fclose(stream) != 0)
        give_up(path);
}

static int by_size(const void* left, const void* right)
{
    double a = *(const double*)left, b = *(const double*)right;
    return (a > b) - (a < b);
}

static double median(double* time_s, int count)
{
    qsort(time_s, (size_t)count, sizeof *time_s, by_size);
    return time_s[count / 2];
}

static double time_ours(const char* path, bool digest, int repeat)
{
    double time_s[MOST_REPEATS];
    for (int i = 0; i < repeat; i++)
    {
        rlv_mesh mesh = {0};
        rlv_mesh_source source;
        rlv_error error;
        double start = omp_get_wtime();
        if (rlv_mesh_file_read(&mesh, digest ? &source : NULL, path, RLV_UNIT_MM, NULL, &error) != RLV_DONE)
            give_up(error.what);
        time_s[i] = omp_get_wtime() - start;
        rlv_mesh_free(&mesh);
    }
    return median(time_s, repeat);
}

/// `join` asks Assimp to weld, as we do for STL.
static double time_assimp(const char* path, bool join, int repeat)
{
    double time_s[MOST_REPEATS];
    for (int i = 0; i < repeat; i++)
    {
        double start = omp_get_wtime();
        const struct aiScene* scene = aiImportFile(path, join ? aiProcess_JoinIdenticalVertices : 0);
        time_s[i] = omp_get_wtime() - start;
        if (scene == NULL)
            give_up(aiGetErrorString());
        aiReleaseImport(scene);
    }
    return median(time_s, repeat);
}

static void make_rock(rlv_mesh* mesh, size_t triangles)
{
    const rock block = {
        .half_axes_mm = {110, 90, 60}, .relief_mm = 2, .relief_length_mm = 60, .facets = 0.5, .seed = 7};
    rlv_error error;
    if (rock_mesh(mesh, &block, triangles, 3, &error) != RLV_DONE)
        give_up(error.what);
}

static void run_format(const format* kind, const rlv_mesh* large, const rlv_mesh* small, const settings* set)
{
    char path[64];
    snprintf(path, sizeof path, "rock.%s", kind->extension);
    kind->write(large, path);
    double plain = time_ours(path, false, set->repeat), whole = time_ours(path, true, set->repeat);
    kind->write(small, path);
    double scale = (double)large->triangle_count / (double)small->triangle_count;
    double other = scale * time_assimp(path, strcmp(kind->extension, "stl") == 0, set->repeat);
    unlink(path);
    double aim = kind->aim_s * (double)large->triangle_count / 5e6;
    printf("%-11s %6.3f s, %6.3f s with SHA-256; aim %5.2f s: %s; Assimp %6.2f s%s: %.1f times ours\n", kind->name,
           plain, whole, aim, whole <= aim ? "held" : "missed", other, scale != 1.0 ? " (scaled)" : "", other / whole);
}

static settings read_settings(int count, char** word)
{
    settings set = {5000000, 500000, 3};
    for (int i = 1; i + 1 < count; i += 2)
    {
        long value = atol(word[i + 1]);
        if (value <= 0)
            give_up("a number is missing");
        if (strcmp(word[i], "--triangles") == 0)
            set.triangles = (size_t)value;
        else if (strcmp(word[i], "--assimp") == 0)
            set.assimp_triangles = (size_t)value;
        else if (strcmp(word[i], "--repeat") == 0 && value <= MOST_REPEATS)
            set.repeat = (int)value;
        else
            give_up("bench_files [--triangles N] [--repeat N] [--assimp N]");
    }
    set.assimp_triangles = set.assimp_triangles < set.triangles ? set.assimp_triangles : set.triangles;
    return set;
}

int main(int count, char** word)
{
    static const format formats[] = {{"PLY float", "ply", write_float_ply, 0.25},
                                     {"PLY double", "ply", write_double_ply, 0.25},
                                     {"STL, welded", "stl", write_stl, 1.0},
                                     {"OBJ", "obj", write_obj, 1.5}};
    settings set = read_settings(count, word);
    char folder[] = "/tmp/rilievo-bench-XXXXXX";
    rlv_mesh large = {0}, small = {0};
    if (mkdtemp(folder) == NULL || chdir(folder) != 0)
        give_up("no folder to work in");
    make_rock(&large, set.triangles);
    make_rock(&small, set.assimp_triangles);
    printf("%zu triangles, %d threads, medians of %d\n", large.triangle_count, omp_get_max_threads(), set.repeat);
    for (size_t i = 0; i < sizeof formats / sizeof *formats; i++)
        run_format(formats + i, &large, &small, &set);
    double start = omp_get_wtime();
    write_float_ply(&large, "rock.ply");
    printf("write PLY   %6.3f s, flushed to disk\n", omp_get_wtime() - start);
    unlink("rock.ply");
    struct rusage use;
    getrusage(RUSAGE_SELF, &use);
    printf("peak memory %ld MB, the rocks themselves and Assimp included\n", use.ru_maxrss / 1024);
    rlv_mesh_free(&large);
    rlv_mesh_free(&small);
    return chdir("/") == 0 ? rmdir(folder) : 1;
}
