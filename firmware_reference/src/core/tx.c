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

/* COBS on the way into the ring: `code_at` is where the distance to the next zero belongs. */
typedef struct {
    uint8_t *ring;
    uint8_t at;
    uint8_t code_at;
} cobs_t;

static void cobs_close(cobs_t *cobs)
{
    cobs->ring[cobs->code_at % TX_SIZE] = (uint8_t)(cobs->at - cobs->code_at);
    cobs->code_at = cobs->at++;
}

static void cobs_put(cobs_t *cobs, const uint8_t *from, uint8_t size)
{
    for (const uint8_t *end = from + size; from != end; from++) {
        if (*from == 0) {
            cobs_close(cobs);
        } else {
            cobs->ring[cobs->at++ % TX_SIZE] = *from;
        }
    }
}

void tx_reply(tx_t *tx, const uint8_t *payload, uint8_t size)
{
    uint8_t encoded = (uint8_t)(size + TX_FRAME_EXTRA);
    CORE_ASSERT(encoded <= tx->credit && encoded + (uint8_t)(tx->head - tx->tail) <= TX_SIZE);
    cobs_t cobs = {tx->ring, (uint8_t)(tx->head + 1), tx->head};
    uint16_t crc = frame_crc(payload, size);
    uint8_t check[2] = {(uint8_t)(crc >> 8), (uint8_t)crc};
    cobs_put(&cobs, payload, size);
    cobs_put(&cobs, check, sizeof check);
    cobs_close(&cobs);
    tx->ring[(uint8_t)(cobs.at - 1) % TX_SIZE] = 0;
    tx->credit = (uint8_t)(tx->credit - encoded);
    tx->head = cobs.at;                         /* last: only now may the interrupt see it */
}

uint8_t tx_unasked(tx_t *tx, const uint8_t *payload, uint8_t size)
{
    if (size + TX_FRAME_EXTRA + TX_RESERVE > tx->credit) {
        return 0;
    }
    tx_reply(tx, payload, size);
    return 1;
}
