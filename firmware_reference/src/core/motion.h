#ifndef RODBENCH_MOTION_H
#define RODBENCH_MOTION_H

#include <stdint.h>

typedef struct {
    int32_t place_holder;
} motion_t;

#endif
