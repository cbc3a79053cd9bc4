#include "objects.h"

#include "grow.h"

#include <stdlib.h>
#include <string.h>

/// Bytes of the UTF-8 character at `at`, of which `left` remain, or 0 where it is none (Unicode standard, table 3-7).
static size_t character_length(const uint8_t* at, size_t left)
{
    if (at[0] < 0x80)
        return at[0] >= 0x20 && at[0] != 0x7f;
    size_t length = at[0] >= 0xf0 ? 4 : at[0] >= 0xe0 ? 3 : 2;
    if (at[0] < 0xc2 || at[0] > 0xf4 || length > left)
        return 0;
    uint8_t low = at[0] == 0xe0   ? 0xa0
                  : at[0] == 0xf0 ? 0x90
                                  : 0x80,
            high = at[0] == 0xed   ? 0x9f
                   : at[0] == 0xf4 ? 0x8f
                                   : 0xbf;
    if (at[1] < low || at[1] > high)
        return 0;
    for (size_t i = 2; i < length; i++)
        if ((at[i] & 0xc0) != 0x80)
            return 0;
    return length;
}

char* rlv_clean_text(const char* text, size_t length)
{
    char* clean = malloc(3 * length + 1);
    if (clean == NULL)
        return NULL;
    char* to = clean;
    for (size_t i = 0; i < length;)
    {
        size_t step = character_length((const uint8_t*)text + i, length - i);
        memcpy(to, step > 0 ? text + i : "\xef\xbf\xbd", step > 0 ? step : 3);
        to += step > 0 ? step : 3;
        i += step > 0 ? step : 1;
    }
    *to = '\0';
    return clean;
}

/// FNV-1a (G. Fowler, L. C. Noll & K.-P. Vo).
static size_t hash_of(const char* name)
{
    uint64_t hash = 14695981039346656037u;
    for (; *name != '\0'; name++)
        hash = (hash ^ (uint8_t)*name) * 1099511628211u;
    return (size_t)hash;
}

static uint32_t* find_slot(const rlv_objects* objects, const char* name)
{
    size_t at = hash_of(name) & (objects->slot_count - 1);
    while (objects->slot[at] != 0 && strcmp(objects->name[objects->slot[at] - 1], name) != 0)
        at = (at + 1) & (objects->slot_count - 1);
    return objects->slot + at;
}

/// Keep the table at most half full.
static bool widen(rlv_objects* objects)
{
    if (2 * (objects->count + 1) <= objects->slot_count)
        return true;
    size_t wider = objects->slot_count > 0 ? 2 * objects->slot_count : 64;
    uint32_t* slot = calloc(wider, sizeof *slot);
    if (slot == NULL)
        return false;
    free(objects->slot);
    objects->slot = slot;
    objects->slot_count = wider;
    for (size_t i = 0; i < objects->count; i++)
        *find_slot(objects, objects->name[i]) = (uint32_t)(i + 1);
    return true;
}

uint32_t rlv_objects_number(rlv_objects* objects, const char* name, size_t length)
{
    char* clean = rlv_clean_text(name, length);
    if (clean == NULL || !widen(objects) ||
        !rlv_grow(&objects->name, &objects->room, objects->count + 1, sizeof *objects->name))
    {
        free(clean);
        return UINT32_MAX;
    }
    uint32_t* slot = find_slot(objects, clean);
    if (*slot == 0)
    {
        objects->name[objects->count++] = clean;
        *slot = (uint32_t)objects->count;
    }
    else
        free(clean);
    return *slot - 1;
}

void rlv_objects_give(rlv_objects* objects, rlv_mesh* mesh)
{
    mesh->object_name = objects->name;
    mesh->object_count = objects->count;
    objects->name = NULL;
    objects->count = 0;
    rlv_objects_free(objects);
}

void rlv_objects_free(rlv_objects* objects)
{
    for (size_t i = 0; i < objects->count; i++)
        free(objects->name[i]);
    free(objects->name);
    free(objects->slot);
    memset(objects, 0, sizeof *objects);
}
