/* Frames into acts: session, sequence, remembered reply, and one handler per message. */
#ifndef RODBENCH_DISPATCH_H
#define RODBENCH_DISPATCH_H

#include "core.h"

/* A stop first, then frames in order of arrival up to and with the first request. */
void dispatch_tick(core_t *core);

#endif
