/* Requests about settings: drafts, store, reading back. */
#ifndef RODBENCH_HANDLE_SETTINGS_H
#define RODBENCH_HANDLE_SETTINGS_H

#include "handle.h"

uint8_t handle_settings(core_t *core, call_t *call, uint8_t id);

#endif
