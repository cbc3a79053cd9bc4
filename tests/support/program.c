#include "program.h"

#include <fcntl.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

static char folder[4096];

void program_enter(void)
{
    folder_make(folder);
    if (chdir(folder) != 0)
        abort();
}

void program_leave(void)
{
    if (chdir("/") == 0)
        folder_remove(folder);
}

char* program_read(const char* path, size_t* size)
{
    FILE* file = fopen(path, "rb");
    char* bytes = NULL;
    size_t held = 0;
    FILE* kept = file != NULL ? open_memstream(&bytes, &held) : NULL;
    char block[65536];
    for (size_t got = 1; kept != NULL && got > 0;)
    {
        got = fread(block, 1, sizeof block, file);
        fwrite(block, 1, got, kept);
    }
    if (kept != NULL)
        fclose(kept);
    if (file != NULL)
        fclose(file);
    if (size != NULL)
        *size = held;
    return bytes;
}

void program_write_bytes(const char* path, const void* bytes, size_t size)
{
    FILE* file = fopen(path, "wb");
    if (file == NULL || fwrite(bytes, 1, size, file) != size || fclose(file) != 0)
        abort();
}

void program_write(const char* path, const char* text)
{
    program_write_bytes(path, text, strlen(text));
}

char* program_changed(const char* text, const char* from, const char* to)
{
    const char* at = strstr(text, from);
    char* changed = NULL;
    if (at == NULL || asprintf(&changed, "%.*s%s%s", (int)(at - text), text, to, at + strlen(from)) < 0)
    {
        fprintf(stderr, "'%s' does not stand in the text\n", from);
        abort();
    }
    return changed;
}

void program_change(const char* path, const char* from, const char* to)
{
    char* text = program_read(path, NULL);
    char* changed = program_changed(text != NULL ? text : "", from, to);
    program_write(path, changed);
    free(changed);
    free(text);
}

/// In the child: standard output and error to files, limits set, and the program in place of the child.
static void become_program(char** argv, const program_limits* limits, const char* out, const char* err)
{
    int out_file = open(limits != NULL && limits->out != NULL ? limits->out : out, O_WRONLY | O_CREAT | O_TRUNC, 0600);
    int err_file = open(err, O_WRONLY | O_CREAT | O_TRUNC, 0600);
    int in_file = open("/dev/null", O_RDONLY);
    dup2(in_file, STDIN_FILENO);
    dup2(out_file, STDOUT_FILENO);
    dup2(err_file, STDERR_FILENO);
    if (limits != NULL && limits->file_bytes > 0)
    {
        signal(SIGXFSZ, SIG_IGN);
        setrlimit(RLIMIT_FSIZE, &(struct rlimit){limits->file_bytes, limits->file_bytes});
    }
    alarm(300);
    execv(RLV_PROGRAM, argv);
    _exit(127);
}

program_run program_call(const char* line, const program_limits* limits)
{
    char words[8192], out[4200], err[4200];
    char* argv[128] = {(char*)"rilievo"};
    size_t count = 1;
    snprintf(words, sizeof words, "%s", line);
    for (char* word = strtok(words, " "); word != NULL && count < 127; word = strtok(NULL, " "))
        argv[count++] = word;
    // Beside the folder, not in it, so that a test may count what is there.
    snprintf(out, sizeof out, "%s.out", folder);
    snprintf(err, sizeof err, "%s.err", folder);
    pid_t child = fork();
    if (child == 0)
        become_program(argv, limits, out, err);
    int ended = 0;
    waitpid(child, &ended, 0);
    program_run run = {.status = WIFEXITED(ended) ? WEXITSTATUS(ended) : -1};
    run.out = program_read(out, &run.out_size);
    run.err = program_read(err, NULL);
    unlink(out);
    unlink(err);
    return run;
}

void program_free(program_run* run)
{
    free(run->out);
    free(run->err);
    *run = (program_run){0};
}

int program_shell(const char* format, ...)
{
    char line[9000];
    va_list list;
    va_start(list, format);
    vsnprintf(line, sizeof line, format, list);
    va_end(list);
    const int ended = system(line);
    return WIFEXITED(ended) ? WEXITSTATUS(ended) : -1;
}
