/// Welding, in blocks of vertices: a small table in the cache joins what lies together within a block; only the first
/// vertex of a place in each block goes on to one large table that all threads fill at once. A slot there holds the
/// lowest vertex seen at its place, so that what comes out does not depend on who came first.

#include "mesh.h"

#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

#define BLOCK 49152        ///< vertices in a block: the index in it, and one more, fits 16 bits
#define BLOCK_SLOTS 131072 ///< of the small table
#define AHEAD 12           ///< vertices that the large table's memory is asked for in advance

typedef _Atomic uint32_t shared;

typedef struct place_table
{
    const rlv_mesh* mesh;
    size_t slots;    ///< of the large table, a power of two
    unsigned shift;  ///< from a hash to a slot of it
    shared* slot;    ///< 0, or one more than the lowest vertex there; later, the place's new number
    uint32_t* at;    ///< one a vertex: its slot where it is its block's first at its place, else that first vertex
    uint64_t* first; ///< one bit a vertex: it is its block's first at its place
} place_table;

/// What one thread works with in a block.
typedef struct block_table
{
    uint16_t slot[BLOCK_SLOTS]; ///< 0, or one more than the index in the block
    uint16_t first[BLOCK];      ///< firsts, in order
    uint64_t hash[BLOCK];       ///< of each first
} block_table;

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

static size_t block_end(const place_table* places, size_t begin)
{
    return begin + BLOCK < places->mesh->vertex_count ? begin + BLOCK : places->mesh->vertex_count;
}

static bool is_first(const place_table* places, size_t vertex)
{
    return places->first[vertex / 64] >> (vertex % 64) & 1; // BLOCK is a multiple of 64: no word is two threads'
}

/// Join what lies together in a block. Returns how many firsts there are.
static size_t join_block(place_table* places, block_table* own, size_t begin)
{
    size_t count = 0, end = block_end(places, begin);
    memset(own->slot, 0, sizeof own->slot);
    memset(places->first + begin / 64, 0, (end - begin + 63) / 64 * sizeof *places->first);
    for (size_t i = begin; i < end; i++)
    {
        uint64_t hash = hash_of(places->mesh, i);
        size_t slot = hash % BLOCK_SLOTS;
        while (own->slot[slot] != 0 && !same_place(places->mesh, i, begin + own->slot[slot] - 1))
            slot = (slot + 1) % BLOCK_SLOTS;
        if (own->slot[slot] != 0)
        {
            places->at[i] = (uint32_t)(begin + own->slot[slot] - 1);
            continue;
        }
        own->slot[slot] = (uint16_t)(i - begin + 1);
        own->first[count] = (uint16_t)(i - begin);
        own->hash[count++] = hash;
        places->first[i / 64] |= (uint64_t)1 << (i % 64);
    }
    return count;
}

/// Put a vertex into its slot of the large table. Returns whether the place is new.
static bool settle(place_table* places, size_t vertex, uint64_t hash)
{
    const uint32_t mine = (uint32_t)vertex + 1;
    size_t slot = (size_t)(hash >> places->shift);
    for (;; slot = (slot + 1) & (places->slots - 1))
    {
        uint32_t there = atomic_load_explicit(&places->slot[slot], memory_order_relaxed);
        bool empty = there == 0;
        if (empty && atomic_compare_exchange_strong_explicit(&places->slot[slot], &there, mine, memory_order_relaxed,
                                                             memory_order_relaxed))
        {
            places->at[vertex] = (uint32_t)slot;
            return true;
        }
        if (!same_place(places->mesh, vertex, there - 1))
            continue;
        while (mine < there && !atomic_compare_exchange_weak_explicit(&places->slot[slot], &there, mine,
                                                                      memory_order_relaxed, memory_order_relaxed))
            ;
        places->at[vertex] = (uint32_t)slot;
        return false;
    }
}

/// Settle a block's firsts. Returns how many places were new.
static size_t settle_block(place_table* places, const block_table* own, size_t begin, size_t count)
{
    size_t fresh = 0;
    for (size_t i = 0; i < count; i++)
    {
        if (i + AHEAD < count)
            __builtin_prefetch(&places->slot[own->hash[i + AHEAD] >> places->shift], 1);
        fresh += settle(places, begin + own->first[i], own->hash[i]);
    }
    return fresh;
}

/// Settle all vertices. RLV_IMPOSSIBLE where the large table would grow too full; it is then of no use.
static rlv_status settle_all(place_table* places)
{
    size_t count = places->mesh->vertex_count, room = places->slots / 4 * 3;
    _Atomic size_t taken = 0;
    _Atomic bool failed = false;
#pragma omp parallel if (count > BLOCK)
    {
        block_table* own = malloc(sizeof *own);
        if (own == NULL)
            atomic_store(&failed, true);
#pragma omp for schedule(dynamic)
        for (size_t begin = 0; begin < count; begin += BLOCK)
        {
            if (atomic_load(&failed) || atomic_load(&taken) > room)
                continue;
            size_t firsts = join_block(places, own, begin);
            // A block claims room for all its firsts before it settles them: the table cannot fill up under a probe.
            if (atomic_fetch_add(&taken, firsts) + firsts <= room)
                atomic_fetch_sub(&taken, firsts - settle_block(places, own, begin, firsts));
            else
                atomic_fetch_add(&taken, places->slots); // stays too much whatever the others give back
        }
        free(own);
    }
    return atomic_load(&failed) ? RLV_SYSTEM : atomic_load(&taken) <= room ? RLV_DONE : RLV_IMPOSSIBLE;
}

static rlv_status no_memory(const rlv_mesh* mesh, rlv_error* error)
{
    return rlv_fail(error, RLV_SYSTEM, NULL, "close other programs, or use a smaller mesh",
                    "no memory to weld %zu vertices", mesh->vertex_count);
}

/// Find the place of every vertex, in a table that grows until it is large enough.
static rlv_status find_places(place_table* places, rlv_error* error)
{
    const rlv_mesh* mesh = places->mesh;
    // Formats that repeat a vertex for each triangle hold every place about six times; others about once.
    bool repeats = mesh->vertex_count / 5 * 2 > mesh->triangle_count;
    size_t wanted = repeats ? mesh->vertex_count / 5 * 2 : mesh->vertex_count / 2 * 3;
    places->slots = 1024;
    places->shift = 64 - 10;
    places->at = malloc((mesh->vertex_count != 0 ? mesh->vertex_count : 1) * sizeof *places->at);
    places->first = malloc((mesh->vertex_count / 64 + 1) * sizeof *places->first);
    if (places->at == NULL || places->first == NULL)
        return no_memory(mesh, error);
    for (;; places->slots *= 2, places->shift--)
    {
        if (places->slots < wanted)
            continue;
        places->slot = rlv_reserve(places->slots, sizeof *places->slot, error);
        if (places->slot == NULL)
            return RLV_SYSTEM;
        rlv_status status = settle_all(places);
        if (status == RLV_SYSTEM)
            return no_memory(mesh, error);
        if (status == RLV_DONE)
            return RLV_DONE;
        free(places->slot);
        places->slot = NULL;
    }
}

static bool is_lowest(const place_table* places, size_t vertex)
{
    return is_first(places, vertex) &&
           atomic_load_explicit(&places->slot[places->at[vertex]], memory_order_relaxed) == vertex + 1;
}

/// Count the places by the block that their lowest vertex is in, and sum: `start` has one number a block, and one more.
static void count_places(const place_table* places, size_t blocks, uint32_t* start)
{
#pragma omp parallel for schedule(static) if (blocks > 1)
    for (size_t block = 0; block < blocks; block++)
    {
        uint32_t count = 0;
        for (size_t i = block * BLOCK; i < block_end(places, block * BLOCK); i++)
            count += is_lowest(places, i);
        start[block + 1] = count;
    }
    for (size_t block = 0; block < blocks; block++)
        start[block + 1] += start[block];
}

/// Carry the lowest vertex of every place to its new number in `position` and `colour`, and leave that number in its
/// slot. A number is never above its place's lowest vertex, so that no later one takes it for its own index.
static void move_places(place_table* places, size_t blocks, const uint32_t* start, float* position, uint8_t* colour)
{
    const rlv_mesh* mesh = places->mesh;
#pragma omp parallel for schedule(static) if (blocks > 1)
    for (size_t block = 0; block < blocks; block++)
    {
        size_t next = start[block];
        for (size_t i = block * BLOCK; i < block_end(places, block * BLOCK); i++)
        {
            if (!is_lowest(places, i))
                continue;
            memcpy(position + 3 * next, mesh->position_mm + 3 * i, 3 * sizeof *position);
            if (colour != NULL)
                memcpy(colour + 3 * next, mesh->colour + 3 * i, 3);
            atomic_store_explicit(&places->slot[places->at[i]], (uint32_t)next, memory_order_relaxed);
            next++;
        }
    }
}

/// Leave every vertex's new number in `at`.
static void look_up_numbers(place_table* places, size_t blocks)
{
#pragma omp parallel for schedule(static) if (blocks > 1)
    for (size_t block = 0; block < blocks; block++)
        for (size_t i = block * BLOCK; i < block_end(places, block * BLOCK); i++)
            places->at[i] = is_first(places, i)
                                ? atomic_load_explicit(&places->slot[places->at[i]], memory_order_relaxed)
                                : places->at[places->at[i]]; // a first comes before: its number is there already
}

static rlv_status renumber(rlv_mesh* mesh, place_table* places, rlv_error* error)
{
    size_t blocks = (mesh->vertex_count + BLOCK - 1) / BLOCK;
    uint32_t* start = rlv_reserve(blocks + 1, sizeof *start, error);
    if (start == NULL)
        return RLV_SYSTEM;
    count_places(places, blocks, start);
    size_t count = start[blocks];
    float* position = rlv_reserve(3 * count, sizeof *position, error);
    uint8_t* colour = position != NULL && mesh->colour != NULL ? rlv_reserve(3 * count, 1, error) : NULL;
    if (position == NULL || (mesh->colour != NULL && colour == NULL))
    {
        free(position);
        free(start);
        return RLV_SYSTEM;
    }
    move_places(places, blocks, start, position, colour);
    look_up_numbers(places, blocks);
    free(start);
    free(mesh->position_mm);
    free(mesh->colour);
    mesh->position_mm = position;
    mesh->colour = colour;
    mesh->vertex_count = count;
#pragma omp parallel for schedule(static) if (blocks > 1)
    for (size_t i = 0; i < 3 * mesh->triangle_count; i++)
        mesh->corner[i] = places->at[mesh->corner[i]];
    return RLV_DONE;
}

rlv_status rlv_mesh_weld(rlv_mesh* mesh, rlv_error* error)
{
    place_table places = {.mesh = mesh};
    rlv_status status = find_places(&places, error);
    if (status == RLV_DONE)
        status = renumber(mesh, &places, error);
    free(places.slot);
    free(places.at);
    free(places.first);
    return status;
}
