#include "reading.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <omp.h>
#include <openssl/evp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

static const size_t large_page = (size_t)2 << 20;

void rlv_large_pages(void* block, size_t bytes)
{
    uintptr_t from = ((uintptr_t)block + large_page - 1) & ~(uintptr_t)(large_page - 1);
    uintptr_t to = ((uintptr_t)block + bytes) & ~(uintptr_t)(large_page - 1);
    if (to > from)
        (void)madvise((void*)from, to - from, MADV_HUGEPAGE); // advice: nothing is lost where it is not taken
}

/// Refuse what is no file: the status of a path that opened.
static rlv_status check_kind(const char* path, const struct stat* there, rlv_error* error)
{
    if (S_ISDIR(there->st_mode))
        return rlv_fail(error, RLV_BAD_INPUT, path, "name a mesh file in it", "a folder, not a mesh file");
    if (!S_ISREG(there->st_mode))
        return rlv_fail(error, RLV_BAD_INPUT, path, "save the mesh to a file first, and name that",
                        "a pipe or a device, not a file");
    if (there->st_size == 0)
        return rlv_fail(error, RLV_BAD_INPUT, path, "export or copy the mesh again", "the file is empty");
    return RLV_DONE;
}

static rlv_status fail_to_open(const char* path, int reason, rlv_error* error)
{
    if (reason == ENOENT || reason == ENOTDIR)
        return rlv_fail(error, RLV_BAD_INPUT, path, "check the name", "there is no such file");
    if (reason == EACCES || reason == EPERM)
        return rlv_fail(error, RLV_BAD_INPUT, path, "get leave to read it, or name a copy of it",
                        "no permission to read the file");
    if (reason == ENXIO) // a socket
        return rlv_fail(error, RLV_BAD_INPUT, path, "save the mesh to a file first, and name that",
                        "a pipe or a device, not a file");
    if (reason == ELOOP || reason == ENAMETOOLONG)
        return rlv_fail(error, RLV_BAD_INPUT, path, "check the name", "the name leads to no file: %s",
                        strerror(reason));
    return rlv_fail(error, RLV_SYSTEM, path, "check the disk", "the file cannot be opened: %s", strerror(reason));
}

/// Read one stretch of the file. 0, an errno, or -1 where the file ends before.
static int read_stretch(int descriptor, uint8_t* to, size_t from, size_t count)
{
    while (count > 0)
    {
        ssize_t got = pread(descriptor, to, count, (off_t)from);
        if (got < 0 && errno == EINTR)
            continue;
        if (got <= 0)
            return got < 0 ? errno : -1;
        to += got;
        from += (size_t)got;
        count -= (size_t)got;
    }
    return 0;
}

static rlv_status read_whole(rlv_reading* reading, int descriptor)
{
    const size_t stretch = large_page, count = (reading->size + stretch - 1) / stretch;
    int reason = 0;
#pragma omp parallel for schedule(dynamic) reduction(max : reason) if (count > 1)
    for (size_t i = 0; i < count; i++)
    {
        size_t from = i * stretch, rest = reading->size - from;
        int why = read_stretch(descriptor, reading->data + from, from, rest < stretch ? rest : stretch);
        reason = why < 0 ? 1 << 20 : why > reason ? why : reason;
    }
    if (reason == 1 << 20)
        return rlv_refuse(reading, "wait until it has been written whole", "the file was cut short while it was read");
    if (reason != 0)
        return rlv_fail(reading->error, RLV_SYSTEM, reading->path, "check the disk", "the file cannot be read: %s",
                        strerror(reason));
    return RLV_DONE;
}

/// Whether the file is still as it was when it was opened, so that no mesh is made of two halves.
static rlv_status check_unchanged(const rlv_reading* reading, int descriptor, const struct stat* before)
{
    struct stat after;
    if (fstat(descriptor, &after) == 0 && after.st_size == before->st_size &&
        after.st_mtim.tv_sec == before->st_mtim.tv_sec && after.st_mtim.tv_nsec == before->st_mtim.tv_nsec)
        return RLV_DONE;
    return rlv_refuse(reading, "wait until it has been written whole", "the file changed while it was read");
}

static rlv_status open_and_read(rlv_reading* reading, int descriptor)
{
    struct stat there;
    if (fstat(descriptor, &there) != 0)
        return fail_to_open(reading->path, errno, reading->error);
    rlv_status status = check_kind(reading->path, &there, reading->error);
    if (status != RLV_DONE)
        return status;
    reading->size = (size_t)there.st_size;
    reading->plain = newlocale(LC_ALL_MASK, "C", (locale_t)0);
    // Anonymous memory rather than the heap's: it goes back to the system as soon as it is let go.
    void* data =
        mmap(NULL, reading->size + RLV_READING_PADDING, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
    if (data == MAP_FAILED || reading->plain == (locale_t)0)
    {
        if (data != MAP_FAILED)
            munmap(data, reading->size + RLV_READING_PADDING);
        return rlv_fail(reading->error, RLV_SYSTEM, reading->path, "close other programs, or thin the mesh out",
                        "no memory for a file of %zu MB", reading->size >> 20);
    }
    reading->data = data;
    rlv_large_pages(data, reading->size);
    status = read_whole(reading, descriptor);
    return status == RLV_DONE ? check_unchanged(reading, descriptor, &there) : status;
}

rlv_status rlv_reading_open(rlv_reading* reading, const char* path, char* sha256, const rlv_progress* progress,
                            rlv_error* error)
{
    reading->path = path;
    reading->sha256 = sha256;
    reading->progress = progress;
    reading->error = error;
    rlv_tell(progress, "read file", 0.0);
    int descriptor = open(path, O_RDONLY | O_NONBLOCK | O_NOCTTY | O_CLOEXEC); // a pipe must not be waited for
    if (descriptor < 0)
        return fail_to_open(path, errno, error);
    rlv_status status = open_and_read(reading, descriptor);
    close(descriptor);
    return status;
}

void rlv_reading_close(rlv_reading* reading)
{
    if (reading->data != NULL)
        munmap(reading->data, reading->size + RLV_READING_PADDING);
    if (reading->plain != (locale_t)0)
        freelocale(reading->plain);
    memset(reading, 0, sizeof *reading);
}

static void take_digest(rlv_reading* reading)
{
    uint8_t digest[EVP_MAX_MD_SIZE];
    unsigned length = 0;
    char* text = reading->sha256;
    reading->sha256 = NULL;
    if (EVP_Digest(reading->data, reading->size, digest, &length, EVP_sha256(), NULL) != 1 || length != 32)
    {
        reading->digest_failed = true;
        return;
    }
    for (size_t i = 0; i < 32; i++)
        snprintf(text + 2 * i, 3, "%02x", digest[i]);
}

void rlv_reading_run(rlv_reading* reading, const char* step, size_t count, void (*work)(void* context, size_t block),
                     void* context)
{
    rlv_tell(reading->progress, step, 0.0);
    bool digest = reading->sha256 != NULL;
#pragma omp parallel if (reading->size > large_page) // a thread costs more than a small file
    {
#pragma omp single nowait
        if (digest)
            take_digest(reading);
#pragma omp for schedule(dynamic)
        for (size_t block = 0; block < count; block++)
        {
            work(context, block);
            if (omp_get_thread_num() == 0)
                rlv_tell(reading->progress, step, (double)(block + 1) / (double)count);
        }
    }
}

static rlv_status refuse_at(const rlv_reading* reading, const char* where, const char* mend, const char* format,
                            va_list words)
{
    char what[sizeof reading->error->what];
    vsnprintf(what, sizeof what, format, words);
    return rlv_fail(reading->error, RLV_BAD_INPUT, where, mend, "%s", what);
}

rlv_status rlv_refuse(const rlv_reading* reading, const char* mend, const char* format, ...)
{
    va_list words;
    va_start(words, format);
    refuse_at(reading, reading->path, mend, format, words);
    va_end(words);
    return RLV_BAD_INPUT;
}

rlv_status rlv_refuse_item(const rlv_reading* reading, const char* kind, size_t number, const char* mend,
                           const char* format, ...)
{
    char where[sizeof reading->error->where];
    snprintf(where, sizeof where, "%.900s: %s %zu", reading->path, kind, number);
    va_list words;
    va_start(words, format);
    refuse_at(reading, where, mend, format, words);
    va_end(words);
    return RLV_BAD_INPUT;
}

rlv_status rlv_reading_place_error(const rlv_reading* reading, rlv_status status)
{
    if (status != RLV_DONE && reading->error != NULL && reading->error->where[0] == '\0')
        snprintf(reading->error->where, sizeof reading->error->where, "%s", reading->path);
    return status;
}

/// The line, from 1, that a byte is on; a line ends with CR, LF or both.
static size_t line_of(const rlv_reading* reading, size_t offset)
{
    size_t line = 1;
    for (size_t i = 0; i < offset && i < reading->size; i++)
        line += reading->data[i] == '\n' || (reading->data[i] == '\r' && reading->data[i + 1] != '\n');
    return line;
}

rlv_status rlv_refuse_line(const rlv_reading* reading, size_t offset, const char* mend, const char* format, ...)
{
    char where[sizeof reading->error->where];
    snprintf(where, sizeof where, "%.900s:%zu", reading->path, line_of(reading, offset));
    va_list words;
    va_start(words, format);
    refuse_at(reading, where, mend, format, words);
    va_end(words);
    return RLV_BAD_INPUT;
}

rlv_box rlv_box_empty(void)
{
    return (rlv_box){{INFINITY, INFINITY, INFINITY}, {-INFINITY, -INFINITY, -INFINITY}};
}

void rlv_box_join(rlv_box* box, const rlv_box* other)
{
    for (int i = 0; i < 3; i++)
    {
        box->low[i] = fmin(box->low[i], other->low[i]);
        box->high[i] = fmax(box->high[i], other->high[i]);
    }
}

rlv_frame rlv_frame_choose(const rlv_box* box, double unit_mm)
{
    rlv_frame frame = {.unit_mm = unit_mm, .reach = RLV_REACH_MM / unit_mm};
    double size = 0.0, far = 0.0;
    for (int i = 0; i < 3; i++)
    {
        size = fmax(size, (box->high[i] - box->low[i]) * unit_mm);
        far = fmax(far, fmax(fabs(box->low[i]), fabs(box->high[i])) * unit_mm);
    }
    // Within four sizes of zero a float still holds a part in four million of the size; so what was written about zero
    // comes back to the bit.
    if (!(far > 4.0 * size))
        return frame;
    double step = size > 0.0 ? exp2(ceil(log2(size)) - 4.0) : 0.0;
    for (int i = 0; i < 3; i++)
    {
        double middle = 0.5 * (box->low[i] + box->high[i]) * unit_mm;
        double round_middle = step > 0.0 ? nearbyint(middle / step) * step : middle;
        frame.origin_mm[i] = rlv_float_rounded(round_middle);
    }
    return frame;
}
