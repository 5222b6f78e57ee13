#ifndef RODBENCH_SEEK_H
#define RODBENCH_SEEK_H

#include <stdint.h>

typedef struct {
    int32_t place_holder;
} seek_t;

#endif
