#include "own_folder.h"

#include <dirent.h>
#include <ftw.h>
#include <locale.h>
#include <sched.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mount.h>
#include <unistd.h>

static const char* base(void)
{
    const char* said = getenv("TMPDIR");
    return said != NULL ? said : "/tmp";
}

void folder_make(char path[4096])
{
    snprintf(path, 4096, "%s/rilievo-test-XXXXXX", base());
    if (mkdtemp(path) == NULL)
        abort();
}

void folder_name_shared(char path[4096], const char* name, pid_t runner)
{
    snprintf(path, 4096, "%s/rilievo-%s-%ld", base(), name, (long)runner);
}

static int remove_one(const char* path, const struct stat* at, int kind, struct FTW* walk)
{
    (void)at;
    (void)kind;
    (void)walk;
    return remove(path);
}

void folder_remove(const char* path)
{
    nftw(path, remove_one, 16, FTW_DEPTH | FTW_PHYS);
}

int folder_count(const char* path)
{
    DIR* stream = opendir(path);
    int count = 0;
    if (stream == NULL)
        return -1;
    for (const struct dirent* name = readdir(stream); name != NULL; name = readdir(stream))
        count += strcmp(name->d_name, ".") != 0 && strcmp(name->d_name, "..") != 0;
    closedir(stream);
    return count;
}

bool folder_mount_memory(const char* path, const char* options)
{
    return unshare(CLONE_NEWNS) == 0 && mount("none", "/", NULL, MS_REC | MS_PRIVATE, NULL) == 0 &&
           mount("small", path, "tmpfs", 0, options) == 0;
}

bool folder_comma_locale(void)
{
    char here[4096];
    const bool made = system("localedef -i de_DE -f UTF-8 ./de_DE.UTF-8 >/dev/null 2>&1") == 0;
    return made && getcwd(here, sizeof here) != NULL && setenv("LOCPATH", here, 1) == 0 &&
           setlocale(LC_ALL, "de_DE.UTF-8") != NULL && strcmp(localeconv()->decimal_point, ",") == 0;
}
