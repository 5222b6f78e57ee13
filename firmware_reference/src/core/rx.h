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

#define RX_FRAME_MAX ((uint8_t)(FRAME_MAX + 1)) /* encoded, without the closing zero */
#define RX_SLOTS 2

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
void rx_byte(rx_t *rx, uint8_t byte);
void rx_damage(rx_t *rx);                       /* the line saw a framing error or lost a byte */

/* Oldest frame, or NULL; its size in *size. Valid until rx_pop. */
uint8_t *rx_head(rx_t *rx, uint8_t *size);
void rx_pop(rx_t *rx);
uint8_t rx_waiting(const rx_t *rx);             /* frames that wait */

#endif
