/// Lists that grow as they are filled. Internal.

#ifndef RLV_GROW_H
#define RLV_GROW_H

#include <stdbool.h>
#include <stddef.h>

/// Make `*block`, of `*room` elements of `size` bytes, hold at least `count`. False where memory is not to be had.
bool rlv_grow(void* block, size_t* room, size_t count, size_t size);

#endif
