#ifndef RODBENCH_GUARD_H
#define RODBENCH_GUARD_H

#include <stdint.h>

typedef struct {
    int32_t place_holder;
} guard_t;

#endif
