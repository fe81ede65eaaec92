// SPDX-License-Identifier: GPL-3.0-or-later
//
// Forced into every source file by the build. Calls that cannot be used safely, or that depend on a
// locale or on hidden state, do not compile here. The C headers come first, since they declare what
// is banned after them.
#ifndef LW_BASE_BANNED_H
#define LW_BASE_BANNED_H

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <wchar.h>

// The drawing library's headers use what is banned below; who draws gets them before.
#ifdef LW_DRAWS
#include <pango/pangocairo.h>
#endif

// glibc makes alloca a macro; poisoning a macro is a warning.
#undef alloca

#pragma GCC poison strcpy strcat strncpy strncat sprintf vsprintf gets strtok atoi atol atoll atof
#pragma GCC poison localtime gmtime ctime asctime rand srand tmpnam mktemp alloca

#endif
