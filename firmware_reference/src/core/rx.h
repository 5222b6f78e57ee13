/* Bytes from the line into frames. rx_byte and rx_damage run in the receive interrupt; the rest in the tick.
 *
 * Two slots for frames in order of arrival, and one of its own for a stop, emptied in every tick. A frame that
 * begins while both slots are full is dropped, unless it is a stop and the stop's place is free. No lock: each length byte is written
 * non-zero by the interrupt only, and zero by the tick only.
 */
#ifndef RODBENCH_RX_H
#define RODBENCH_RX_H

#include <stdint.h>

#include "../generated/schema.h"
#include "port.h"

#define RX_FRAME_MAX ((uint8_t)(FRAME_MAX + 1)) /* encoded, without the closing zero */
#define RX_SLOTS 2
#define RX_DAMAGED 0xFF

typedef struct {
    volatile uint8_t length[RX_SLOTS];          /* 0: free */
    volatile uint8_t stop_length;
    volatile uint8_t bad;                       /* counts of the interrupt, read by difference */
    volatile uint8_t dropped;
    uint8_t fill;                               /* bytes of the frame that is coming in; RX_DAMAGED: not usable */
    uint8_t *into;                              /* where it goes: a slot, the stop's place, or NULL: it is lost */
    uint8_t write;                              /* slot of the next frame in */
    uint8_t read;                               /* slot of the next frame out */
    uint8_t stop[STOP_FRAME_MAX];
    uint8_t slot[RX_SLOTS][RX_FRAME_MAX];
} rx_t;

void rx_init(rx_t *rx);

/* Oldest frame, or NULL; its size in *size. Valid until rx_pop. */
uint8_t *rx_head(rx_t *rx, uint8_t *size);
void rx_pop(rx_t *rx);
uint8_t rx_waiting(const rx_t *rx);             /* frames that wait */

/* From here on for the interrupt, and inline: one that calls nothing saves few registers. */

/* The line saw a framing error or lost a byte. */
static inline void rx_damage(rx_t *rx)
{
    rx->fill = RX_DAMAGED;
}

/* The id follows the first code byte. (A frame this short with 1 there and the id's value next is no COBS.) */
static CORE_INSIDE uint8_t rx_is_stop(const uint8_t *frame, uint8_t size)
{
    return size >= 2 && size <= STOP_FRAME_MAX && frame[1] == MSG_STOP;
}

/* Where the frame that begins now goes; NULL: it is lost. */
static CORE_INSIDE uint8_t *rx_place(rx_t *rx)
{
    if (rx->length[rx->write] == 0) {
        return rx->slot[rx->write];
    }
    return rx->stop_length == 0 ? rx->stop : NULL;
}

static CORE_INSIDE void rx_end(rx_t *rx)
{
    uint8_t size = rx->fill;
    rx->fill = 0;
    if (size == 0) {
        return;                                 /* zeros between frames are allowed */
    }
    if (size > RX_FRAME_MAX) {
        rx->bad++;
    } else if (rx->into != NULL && rx->stop_length == 0 && rx_is_stop(rx->into, size)) {
        for (uint8_t n = 0; n < size; n++) {
            rx->stop[n] = rx->into[n];          /* or onto itself */
        }
        rx->stop_length = size;
    } else if (rx->into != rx->slot[rx->write]) {
        rx->dropped++;
    } else {
        rx->length[rx->write] = size;
        rx->write = (uint8_t)(rx->write ^ 1u);
    }
}

static CORE_INSIDE void rx_byte(rx_t *rx, uint8_t byte)
{
    if (byte == 0) {
        rx_end(rx);
        return;
    }
    if (rx->fill == 0) {
        rx->into = rx_place(rx);
    }
    if (rx->fill > RX_FRAME_MAX) {
        return;
    }
    if (rx->into != NULL && rx->fill < (rx->into == rx->stop ? STOP_FRAME_MAX : RX_FRAME_MAX)) {
        rx->into[rx->fill] = byte;
    }
    rx->fill++;
}

#endif
