#include "grow.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

bool rlv_grow(void* block, size_t* room, size_t count, size_t size)
{
    if (count <= *room)
        return true;
    size_t more = *room + *room / 2 + 64;
    more = more < count ? count : more;
    if (more > SIZE_MAX / 2 / size)
        return false;
    void* old;
    memcpy(&old, block, sizeof old);
    void* larger = realloc(old, more * size);
    if (larger == NULL)
        return false;
    memcpy(block, &larger, sizeof larger);
    *room = more;
    return true;
}
