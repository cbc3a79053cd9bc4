#include "python.h"

#include <dirent.h>
#include <fcntl.h>
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

extern char** environ;

/// Run a program found on the path and wait for it; what it prints is dropped where `quiet`. Its status, or -1.
static int run(const char* const* word, bool quiet)
{
    posix_spawn_file_actions_t actions;
    pid_t child = 0;
    int status = -1;
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_addopen(&actions, STDOUT_FILENO, "/dev/null", O_WRONLY, 0);
    if (quiet)
        posix_spawn_file_actions_adddup2(&actions, STDOUT_FILENO, STDERR_FILENO);
    if (posix_spawnp(&child, word[0], &actions, NULL, (char* const*)(const void*)word, environ) != 0 ||
        waitpid(child, &status, 0) < 0)
        status = -1;
    posix_spawn_file_actions_destroy(&actions);
    return status;
}

const char* python_with(const char* module)
{
    static const char* const python[] = {"python3", "/usr/bin/python3"};
    char wish[128];
    snprintf(wish, sizeof wish, "import %s", module);
    for (size_t i = 0; i < sizeof python / sizeof *python; i++)
        if (run((const char* const[]){python[i], "-c", wish, NULL}, true) == 0)
            return python[i];
    return NULL;
}

bool hand_over_open(hand_over* folder)
{
    const char* under = getenv("TMPDIR");
    const int length = snprintf(folder->path, sizeof folder->path, "%s/bench-XXXXXX", under != NULL ? under : "/tmp");
    return length > 0 && (size_t)length < sizeof folder->path && mkdtemp(folder->path) != NULL;
}

static FILE* open_file(const hand_over* folder, const char* name, const char* how)
{
    char path[512];
    snprintf(path, sizeof path, "%s/%s", folder->path, name);
    return fopen(path, how);
}

bool hand_over_put(const hand_over* folder, const char* name, const void* data, size_t bytes)
{
    FILE* file = open_file(folder, name, "wb");
    if (file == NULL)
        return false;
    const bool whole = fwrite(data, 1, bytes, file) == bytes;
    return fclose(file) == 0 && whole;
}

bool hand_over_take(const hand_over* folder, const char* name, void* data, size_t bytes)
{
    FILE* file = open_file(folder, name, "rb");
    if (file == NULL)
        return false;
    const bool whole = fread(data, 1, bytes, file) == bytes && fgetc(file) == EOF;
    fclose(file);
    return whole;
}

bool hand_over_run(const hand_over* folder, const char* python, const char* script, size_t number, char* trouble,
                   size_t room)
{
    char path[1024], text[32];
    snprintf(path, sizeof path, "%s/bench/beside/%s", RLV_TESTS_DIR, script);
    snprintf(text, sizeof text, "%zu", number);
    const int status = run((const char* const[]){python, path, folder->path, text, NULL}, false);
    if (status == 0)
        return true;
    if (status > 0 && WIFSIGNALED(status))
        snprintf(trouble, room, "%s was ended by signal %d", script, WTERMSIG(status));
    else
        snprintf(trouble, room, "%s ended with status %d", script, status > 0 ? WEXITSTATUS(status) : status);
    return false;
}

void hand_over_close(const hand_over* folder)
{
    DIR* files = opendir(folder->path);
    for (struct dirent* file; files != NULL && (file = readdir(files)) != NULL;)
    {
        char path[512];
        if (file->d_name[0] == '.')
            continue;
        snprintf(path, sizeof path, "%s/%s", folder->path, file->d_name);
        unlink(path);
    }
    if (files != NULL)
        closedir(files);
    rmdir(folder->path);
}
