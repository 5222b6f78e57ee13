#ifndef RODBENCH_POSITION_H
#define RODBENCH_POSITION_H

#include <stdint.h>

typedef struct {
    int32_t place_holder;
} position_t;

#endif
