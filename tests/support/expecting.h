/// What a run of the program has to tell, and a file of its to hold: else the test fails, with what was told instead.

#ifndef RLV_TEST_EXPECTING_H
#define RLV_TEST_EXPECTING_H

/// Expect a line to end with that status, nothing on standard output where it is 2, and what is wrong and what mends it
/// on standard error.
void expect_failure(const char* line, int status, const char* what, const char* mend);

/// Expect a file to be there and to hold a text.
void expect_in_file(const char* path, const char* text);

#endif
