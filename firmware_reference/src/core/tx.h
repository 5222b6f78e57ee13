/* Frames onto the line, through a ring that the transmit interrupt empties (tx_next).
 *
 * What fits is decided by `credit`, which grows by a fixed number of bytes per tick, slower than any line drains:
 * so the same frames are sent or dropped on the board, in the native build and in the twin.
 */
#ifndef RODBENCH_TX_H
#define RODBENCH_TX_H

#include <stdint.h>

#define TX_SIZE 128                             /* a power of two */
#ifndef TX_BYTES_PER_TICK
#define TX_BYTES_PER_TICK 120                   /* 250 000 baud brings 125; at 115 200 build with 52 */
#endif
#define TX_FRAME_EXTRA 4                        /* CRC, COBS and the closing zero */
#define TX_REPLIES_MAX 80                       /* of one tick: the longest reply and that of a stop, encoded */

typedef struct {
    volatile uint8_t head;                      /* free running */
    volatile uint8_t tail;
    uint8_t credit;
    uint8_t counter;                            /* of unasked frames */
    uint8_t ring[TX_SIZE];
} tx_t;

void tx_init(tx_t *tx);
void tx_tick(tx_t *tx);
uint8_t tx_room_for_replies(const tx_t *tx);
void tx_reply(tx_t *tx, const uint8_t *payload, uint8_t size);

/* Sends, or drops and returns 0, when room kept for replies would be used up. */
uint8_t tx_unasked(tx_t *tx, const uint8_t *payload, uint8_t size);

/* Next byte, or -1. Inline, since an interrupt that calls nothing saves few registers. */
static inline int16_t tx_next(tx_t *tx)
{
    uint8_t tail = tx->tail;
    if (tail == tx->head) {
        return -1;
    }
    uint8_t byte = tx->ring[tail % TX_SIZE];
    tx->tail = (uint8_t)(tail + 1);
    return byte;
}

#endif
