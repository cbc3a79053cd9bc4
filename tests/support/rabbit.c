#include "rabbit.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double scale_mm = 10.0;

static void die(const char* what)
{
    fprintf(stderr, "the scanned rabbit could not be read: %s\n", what);
    exit(EXIT_FAILURE);
}

static char* read_text(const char* path)
{
    FILE* file = fopen(path, "rb");
    if (file == NULL)
        return NULL;
    fseek(file, 0, SEEK_END);
    const long size = ftell(file);
    rewind(file);
    char* text = calloc((size_t)size + 1, 1);
    const size_t got = fread(text, 1, (size_t)size, file);
    fclose(file);
    if (got != (size_t)size)
        die(path);
    return text;
}

/// The numbers of `exports.NAME=[[…],[…]]`. Returns how many there are.
static size_t read_array(const char* text, const char* name, double** number)
{
    const char* at = strstr(text, name);
    if (at == NULL)
        die(name);
    const char* end = strstr(at, "]]");
    size_t count = 0, room = 0;
    for (at = strchr(at, '['); at < end;)
    {
        char* after = NULL;
        const double value = strtod(at, &after);
        if (after == at)
        {
            at++;
            continue;
        }
        if (count == room)
            *number = realloc(*number, (room = 2 * room + 64) * sizeof **number);
        (*number)[count++] = value;
        at = after;
    }
    return count;
}

bool rabbit_read(double** position, size_t* points, uint32_t** corner, size_t* cells)
{
    const char* folder = getenv("RLV_OUTSIDE");
    char path[4096];
    if (folder != NULL)
        snprintf(path, sizeof path, "%s/node_modules/bunny/index.js", folder);
    else
        snprintf(path, sizeof path, "%s/../build/outside/node_modules/bunny/index.js", RLV_TESTS_DIR);
    char* text = read_text(path);
    if (text == NULL)
        return false;
    double* index = NULL;
    *position = NULL;
    *points = read_array(text, "positions", position) / 3;
    *cells = read_array(text, "cells", &index) / 3;
    *corner = calloc(3 * *cells, sizeof **corner);
    for (size_t i = 0; i < 3 * *points; i++)
        (*position)[i] *= scale_mm;
    for (size_t i = 0; i < 3 * *cells; i++)
        (*corner)[i] = (uint32_t)index[i];
    free(index);
    free(text);
    return true;
}
