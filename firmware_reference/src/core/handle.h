/* What each request does. A handler returns STATUS_...; it puts reply fields at call->end only when it is ok. */
#ifndef RODBENCH_HANDLE_H
#define RODBENCH_HANDLE_H

#include "core.h"

#define HANDLE_REPLY_HEAD (HEADER_SIZE + 7)     /* header, tick, status, detail */

typedef struct {
    const uint8_t *body;
    uint8_t size;                       /* of the body */
    uint8_t barred;                     /* a stop came in beside this frame: it may start no motion */
    uint16_t detail;
    uint8_t *reply;
    uint8_t *end;                       /* of the reply so far */
} call_t;

uint8_t handle_hello(core_t *core, call_t *call);
uint8_t handle_open(core_t *core, call_t *call, uint8_t session, uint8_t seq);
uint8_t handle_bad_value(call_t *call, uint8_t place);     /* of the field, from 1 */
uint8_t handle_request(core_t *core, call_t *call, uint8_t id);     /* all others, by id */

#endif
