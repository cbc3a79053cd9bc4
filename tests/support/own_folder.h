/// Folders of a test's own, and a locale that is made in one.

#ifndef RLV_TEST_OWN_FOLDER_H
#define RLV_TEST_OWN_FOLDER_H

#include <stdbool.h>
#include <sys/types.h>

/// Make an empty folder, in TMPDIR where that is set.
void folder_make(char path[4096]);

/// Name a folder that all tests of one program share: `runner` is the process that runs them, of each test the parent.
void folder_name_shared(char path[4096], const char* name, pid_t runner);

/// Remove a file, or a folder with all that it holds. Links are not followed.
void folder_remove(const char* path);

/// How many names a folder holds; -1 where it is not there.
int folder_count(const char* path);

/// Mount a file system of memory on a folder, for this process alone; false where only the system's owner may.
/// `options` as tmpfs(5) has them. Unmount it with umount(2).
bool folder_mount_memory(const char* path, const char* options);

/// Make a locale with decimal commas in the folder at hand, and go into it. False where its sources are not installed.
bool folder_comma_locale(void);

#endif
