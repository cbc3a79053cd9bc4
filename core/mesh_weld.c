/// Welding: an open-addressed table of places that all threads fill at once. A slot holds the lowest vertex seen at its
/// place, so that what comes out does not depend on who came first.

#include "mesh.h"

#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

#define BLOCK 8192 ///< vertices that a thread takes at a time

typedef _Atomic uint32_t shared;

/// The places found so far. A slot is 0, or one more than the lowest vertex there.
typedef struct place_table
{
    const rlv_mesh* mesh;
    size_t slots; ///< a power of two
    shared* slot;
    uint32_t* slot_of; ///< one a vertex
} place_table;

/// What is compared: -0 and 0 are one place.
static bool same_place(const rlv_mesh* mesh, size_t a, size_t b)
{
    const float *p = mesh->position_mm + 3 * a, *q = mesh->position_mm + 3 * b;
    if (!(p[0] == q[0] && p[1] == q[1] && p[2] == q[2]))
        return false;
    return mesh->colour == NULL || memcmp(mesh->colour + 3 * a, mesh->colour + 3 * b, 3) == 0;
}

static uint64_t hash_of(const rlv_mesh* mesh, size_t vertex)
{
    uint32_t word[4] = {0};
    for (size_t i = 0; i < 3; i++)
    {
        float value = mesh->position_mm[3 * vertex + i] + 0.0f; // -0 becomes 0
        memcpy(&word[i], &value, sizeof value);
    }
    if (mesh->colour != NULL)
        memcpy(&word[3], mesh->colour + 3 * vertex, 3);
    uint64_t hash = (word[0] | (uint64_t)word[1] << 32) * 0x9E3779B97F4A7C15u;
    hash ^= hash >> 29;
    hash = (hash + (word[2] | (uint64_t)word[3] << 32)) * 0xD6E8FEB86659FD93u;
    hash ^= hash >> 32;
    return hash * 0x9E3779B97F4A7C15u;
}

/// Put a vertex into its slot. Returns whether the place is new.
static bool settle(place_table* places, size_t vertex, unsigned shift)
{
    const uint32_t mine = (uint32_t)vertex + 1;
    size_t slot = (size_t)(hash_of(places->mesh, vertex) >> shift);
    for (;; slot = (slot + 1) & (places->slots - 1))
    {
        uint32_t there = atomic_load_explicit(&places->slot[slot], memory_order_relaxed);
        if (there == 0 && atomic_compare_exchange_strong_explicit(&places->slot[slot], &there, mine,
                                                                  memory_order_relaxed, memory_order_relaxed))
        {
            places->slot_of[vertex] = (uint32_t)slot;
            return true;
        }
        if (!same_place(places->mesh, vertex, there - 1))
            continue;
        while (mine < there && !atomic_compare_exchange_weak_explicit(&places->slot[slot], &there, mine,
                                                                      memory_order_relaxed, memory_order_relaxed))
            ;
        places->slot_of[vertex] = (uint32_t)slot;
        return false;
    }
}

/// Settle all vertices. False where the table would grow too full; it is then of no use.
static bool settle_all(place_table* places)
{
    size_t blocks = (places->mesh->vertex_count + BLOCK - 1) / BLOCK, room = places->slots - places->slots / 4;
    unsigned shift = 64;
    for (size_t n = places->slots; n > 1; n /= 2)
        shift--;
    _Atomic size_t taken = 0;
#pragma omp parallel for schedule(dynamic) if (blocks > 2)
    for (size_t block = 0; block < blocks; block++)
    {
        // Each block claims room for all of its vertices before it starts: the table cannot fill up under a probe.
        if (atomic_fetch_add(&taken, BLOCK) > room)
            continue;
        size_t end =
            (block + 1) * BLOCK < places->mesh->vertex_count ? (block + 1) * BLOCK : places->mesh->vertex_count;
        size_t known = 0;
        for (size_t i = block * BLOCK; i < end; i++)
            known += !settle(places, i, shift);
        atomic_fetch_sub(&taken, known);
    }
    return atomic_load(&taken) <= room;
}

/// Find the place of every vertex, in a table that grows until it is large enough.
static rlv_status find_places(place_table* places, rlv_error* error)
{
    const rlv_mesh* mesh = places->mesh;
    // Formats that repeat a vertex for each triangle hold every place about six times; others about once.
    bool repeats = mesh->vertex_count / 5 * 2 > mesh->triangle_count;
    size_t wanted = repeats ? mesh->vertex_count / 5 * 2 : mesh->vertex_count / 2 * 3;
    places->slots = 8 * BLOCK;
    while (places->slots < wanted)
        places->slots *= 2;
    places->slot_of = malloc((mesh->vertex_count != 0 ? mesh->vertex_count : 1) * sizeof *places->slot_of);
    if (places->slot_of == NULL)
        return rlv_fail(error, RLV_SYSTEM, NULL, "close other programs, or use a smaller mesh",
                        "no memory to weld %zu vertices", mesh->vertex_count);
    for (;; places->slots *= 2)
    {
        places->slot = rlv_reserve(places->slots, sizeof *places->slot, error);
        if (places->slot == NULL)
            return RLV_SYSTEM;
        if (settle_all(places))
            return RLV_DONE;
        free(places->slot);
    }
}

/// Number the places in the order of their first vertices: afterwards a slot holds its place's new number. Returns how
/// many there are. `start` has room for one number a block.
static size_t number_places(place_table* places, size_t blocks, uint32_t* start)
{
    size_t count = places->mesh->vertex_count;
#pragma omp parallel for schedule(static) if (blocks > 2)
    for (size_t block = 0; block < blocks; block++)
    {
        uint32_t firsts = 0;
        for (size_t i = block * BLOCK; i < (block + 1) * BLOCK && i < count; i++)
            firsts += atomic_load_explicit(&places->slot[places->slot_of[i]], memory_order_relaxed) == i + 1;
        start[block] = firsts;
    }
    uint32_t total = 0;
    for (size_t block = 0; block < blocks; block++)
    {
        uint32_t firsts = start[block];
        start[block] = total;
        total += firsts;
    }
    return total;
}

/// Carry the first vertex of every place to its new number in `position` and `colour`, and leave that number in its
/// slot.
static void move_places(place_table* places, size_t blocks, const uint32_t* start, float* position, uint8_t* colour)
{
    const rlv_mesh* mesh = places->mesh;
#pragma omp parallel for schedule(static) if (blocks > 2)
    for (size_t block = 0; block < blocks; block++)
    {
        size_t next = start[block];
        for (size_t i = block * BLOCK; i < (block + 1) * BLOCK && i < mesh->vertex_count; i++)
        {
            // A number is never above its place's first vertex, so a later one cannot take it for its own index.
            shared* slot = &places->slot[places->slot_of[i]];
            if (atomic_load_explicit(slot, memory_order_relaxed) != i + 1)
                continue;
            memcpy(position + 3 * next, mesh->position_mm + 3 * i, 3 * sizeof *position);
            if (colour != NULL)
                memcpy(colour + 3 * next, mesh->colour + 3 * i, 3);
            atomic_store_explicit(slot, (uint32_t)next, memory_order_relaxed);
            next++;
        }
    }
}

static rlv_status renumber(rlv_mesh* mesh, place_table* places, rlv_error* error)
{
    size_t blocks = (mesh->vertex_count + BLOCK - 1) / BLOCK;
    uint32_t* start = rlv_reserve(blocks, sizeof *start, error);
    if (start == NULL)
        return RLV_SYSTEM;
    size_t count = number_places(places, blocks, start);
    float* position = rlv_reserve(3 * count, sizeof *position, error);
    uint8_t* colour = position != NULL && mesh->colour != NULL ? rlv_reserve(3 * count, 1, error) : NULL;
    if (position == NULL || (mesh->colour != NULL && colour == NULL))
    {
        free(position);
        free(start);
        return RLV_SYSTEM;
    }
    move_places(places, blocks, start, position, colour);
    free(start);
    free(mesh->position_mm);
    free(mesh->colour);
    mesh->position_mm = position;
    mesh->colour = colour;
    mesh->vertex_count = count;
#pragma omp parallel for schedule(static) if (blocks > 2)
    for (size_t i = 0; i < 3 * mesh->triangle_count; i++)
        mesh->corner[i] = atomic_load_explicit(&places->slot[places->slot_of[mesh->corner[i]]], memory_order_relaxed);
    return RLV_DONE;
}

rlv_status rlv_mesh_weld(rlv_mesh* mesh, rlv_error* error)
{
    place_table places = {.mesh = mesh};
    rlv_status status = find_places(&places, error);
    if (status == RLV_DONE)
        status = renumber(mesh, &places, error);
    free(places.slot);
    free(places.slot_of);
    return status;
}
