/// Functions that are built for the wider registers too, and picked at run time. Addition, multiplication, division and
/// square root round the same at any width, so that no byte hangs on the machine.

#ifndef RLV_EACH_WIDTH_H
#define RLV_EACH_WIDTH_H

#if defined(__x86_64__) && defined(__GLIBC__)
#define EACH_WIDTH __attribute__((target_clones("avx2", "default")))
#else
#define EACH_WIDTH
#endif

#endif
