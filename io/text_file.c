#include "text_file.h"

#include <ctype.h>
#include <errno.h>
#include <glib.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

/// Refuse, before it is read, what is no file of text or too long for one.
static rlv_status check_kind(const char* path, size_t most_bytes, rlv_error* error)
{
    struct stat there;
    if (stat(path, &there) != 0)
        return RLV_DONE; // opening tells why
    if (S_ISDIR(there.st_mode))
        return rlv_fail(error, RLV_BAD_INPUT, path, "give the folder another name, and put the file in its place",
                        "a folder stands in place of the file");
    if (!S_ISREG(there.st_mode))
        return rlv_fail(error, RLV_BAD_INPUT, path, "save it as a file", "a pipe or a device, not a file");
    if (there.st_size == 0)
        return rlv_fail(error, RLV_BAD_INPUT, path, "write it, or copy it again", "the file is empty");
    if ((size_t)there.st_size > most_bytes)
        return rlv_fail(error, RLV_BAD_INPUT, path, "see what it holds: no specimen takes that much",
                        "the file has %zu MB, and %zu MB are read at most", (size_t)there.st_size >> 20,
                        most_bytes >> 20);
    return RLV_DONE;
}

/// Why the byte at which UTF-8 ends, a zero byte included, is none.
static rlv_status check_utf8(const rlv_reading* reading)
{
    const char* end = NULL;
    const char* text = (const char*)reading->data;
    if (g_utf8_validate_len(text, reading->size, &end))
        return RLV_DONE;
    size_t at = (size_t)(end - text);
    if (text[at] == '\0')
        return rlv_refuse_line(reading, at, "copy or export it again as text", "a zero byte: this is no text");
    return rlv_refuse_line(reading, at, "save it as UTF-8", "byte 0x%02x is not UTF-8", reading->data[at]);
}

rlv_status rlv_text_file_open(rlv_reading* reading, const char* path, size_t most_bytes, char* sha256, rlv_error* error)
{
    rlv_status status = check_kind(path, most_bytes, error);
    if (status == RLV_DONE)
        status = rlv_reading_open(reading, path, sha256, NULL, error);
    if (status != RLV_DONE)
        return status;
    if (reading->size > most_bytes) // it grew between the two
        return rlv_refuse(reading, "wait until it has been written whole", "the file changed while it was read");
    rlv_reading_run(reading, "read file", 0, NULL, NULL);
    if (reading->digest_failed)
        return rlv_fail(error, RLV_SYSTEM, path, "close other programs", "the digest of the file cannot be taken");
    return check_utf8(reading);
}

size_t rlv_text_start(const rlv_reading* reading)
{
    return reading->size >= 3 && memcmp(reading->data, "\xEF\xBB\xBF", 3) == 0 ? 3 : 0;
}

bool rlv_text_is_id(const char* text, const char** why)
{
    size_t length = strlen(text);
    *why = length == 0                                    ? "is empty"
           : text[0] == '.' || text[0] == ' '             ? "begins with a dot or a space"
           : text[length - 1] == ' '                      ? "ends with a space"
           : length > 100                                 ? "has more than 100 bytes"
           : !g_utf8_validate(text, (gssize)length, NULL) ? "is not UTF-8"
                                                          : NULL;
    for (const char* at = text; *why == NULL && *at != '\0'; at = g_utf8_next_char(at))
    {
        gunichar letter = g_utf8_get_char(at);
        if (!g_unichar_isalnum(letter) && !g_unichar_ismark(letter) && strchr(" _-.", *at) == NULL)
            *why = "holds a character that is no letter, digit, space, _, - or .";
    }
    return *why == NULL;
}

/// Read `count` digits. -1 where there are none.
static int digits(const char** at, int count)
{
    int value = 0;
    for (int i = 0; i < count; i++, (*at)++)
    {
        if (!isdigit((unsigned char)**at))
            return -1;
        value = 10 * value + (**at - '0');
    }
    return value;
}

/// Read a year, a month or a day as one number that sorts as time does; -1 where there is none.
static int read_day(const char** at)
{
    static const int days[12] = {31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    int year = digits(at, 4), month = 0, day = 0;
    if (year < 0 || **at != '-')
        return year < 0 ? -1 : 10000 * year;
    (*at)++;
    month = digits(at, 2);
    if (month < 1 || month > 12)
        return -1;
    if (**at == '-')
    {
        (*at)++;
        day = digits(at, 2);
        bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
        if (day < 1 || day > days[month - 1] || (month == 2 && day == 29 && !leap))
            return -1;
    }
    return 10000 * year + 100 * month + day;
}

bool rlv_text_is_date(const char* text)
{
    int first = read_day(&text), second = first;
    if (first >= 0 && *text == '/')
    {
        text++;
        second = read_day(&text);
    }
    return first >= 0 && second >= 0 && *text == '\0' && first <= second;
}
