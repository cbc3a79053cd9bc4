/// A Python script that measures a library: what it works on lies in a folder, and what it has to say is put there.

#ifndef RLV_BENCH_PYTHON_H
#define RLV_BENCH_PYTHON_H

#include <stdbool.h>
#include <stddef.h>

/// A folder of its own under $TMPDIR, for what is handed over.
typedef struct hand_over
{
    char path[256];
} hand_over;

/// A Python in which `module` can be imported (the one on the path, or else the system's own), or NULL.
const char* python_with(const char* module);

/// Make the folder, put bytes into a file of it, and take away as many. False where that fails.
bool hand_over_open(hand_over* folder);
bool hand_over_put(const hand_over* folder, const char* name, const void* data, size_t bytes);
bool hand_over_take(const hand_over* folder, const char* name, void* data, size_t bytes);

/// Run tests/bench/beside/SCRIPT with the folder's path and one number. False where it fell, with the trouble in words.
bool hand_over_run(const hand_over* folder, const char* python, const char* script, size_t number, char* trouble,
                   size_t room);

/// Remove the folder and all in it.
void hand_over_close(const hand_over* folder);

#endif
