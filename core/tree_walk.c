/// The walks of the spatial index for what every machine of a kind can do (SSE2 on x86-64, NEON on AArch64).

#define TREE_WALKS tree_walks_plain
#include "tree_walk.h"
