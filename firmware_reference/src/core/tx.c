#include "tx.h"

#include "frame.h"
#include "port.h"

#if TX_BYTES_PER_TICK < TX_REPLIES_MAX
#define TX_RESERVE (TX_REPLIES_MAX - TX_BYTES_PER_TICK)
#else
#define TX_RESERVE 0                            /* the next tick brings enough */
#endif

void tx_init(tx_t *tx)
{
    memset(tx, 0, sizeof *tx);
    tx->credit = TX_SIZE;
}

void tx_tick(tx_t *tx)
{
    uint8_t lacking = (uint8_t)(TX_SIZE - tx->credit);
    tx->credit = lacking > TX_BYTES_PER_TICK ? (uint8_t)(tx->credit + TX_BYTES_PER_TICK) : TX_SIZE;
}

uint8_t tx_room_for_replies(const tx_t *tx)
{
    return tx->credit >= TX_REPLIES_MAX;
}

/* COBS on the way into the ring: `code_at` is where the distance to the next zero belongs. A zero of its own behind the
 * CRC closes the last distance, and stands where the frame's closing zero goes. */
void tx_reply(tx_t *tx, const uint8_t *payload, uint8_t size)
{
    uint8_t encoded = (uint8_t)(size + TX_FRAME_EXTRA);
    CORE_ASSERT(encoded <= tx->credit);
    if (encoded + (uint8_t)(tx->head - tx->tail) > TX_SIZE) {
        return;                                 /* ticks came closer than 5 ms, after a late one: as if the line lost it */
    }
    uint16_t crc = frame_crc(payload, size);
    uint8_t tail[3] = {(uint8_t)(crc >> 8), (uint8_t)crc, 0};
    uint8_t code_at = tx->head;
    uint8_t at = code_at;
    for (uint8_t left = (uint8_t)(encoded - 1); left > 0; left--) {
        uint8_t byte = left > sizeof tail ? *payload++ : tail[sizeof tail - left];
        at++;
        if (byte == 0) {
            tx->ring[code_at % TX_SIZE] = (uint8_t)(at - code_at);
            code_at = at;
        } else {
            tx->ring[at % TX_SIZE] = byte;
        }
    }
    tx->ring[at % TX_SIZE] = 0;
    tx->credit = (uint8_t)(tx->credit - encoded);
    CORE_IN_ORDER();
    tx->head = (uint8_t)(at + 1);               /* last: only now may the interrupt see it */
}

uint8_t tx_unasked(tx_t *tx, const uint8_t *payload, uint8_t size)
{
    if (size + TX_FRAME_EXTRA + TX_RESERVE > tx->credit) {
        return 0;
    }
    tx_reply(tx, payload, size);
    return 1;
}
