/* Requests that start, stop and judge motions. */
#ifndef RODBENCH_HANDLE_MOTION_H
#define RODBENCH_HANDLE_MOTION_H

#include "gang.h"
#include "handle.h"

uint8_t handle_stop(core_t *core, call_t *call);
uint8_t handle_motion(core_t *core, call_t *call, uint8_t id);

/* One axis's own part of gang_start; of a trial the status alone. */
uint8_t start_axis(core_t *core, uint8_t index, const order_t *order, uint8_t trial);

#endif
