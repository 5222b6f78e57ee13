/* Requests that start, stop and judge motions. */
#ifndef RODBENCH_HANDLE_MOTION_H
#define RODBENCH_HANDLE_MOTION_H

#include "handle.h"

uint8_t handle_stop(core_t *core, call_t *call);
uint8_t handle_motion(core_t *core, call_t *call, uint8_t id);

#endif
