#include "rx.h"

#include "port.h"

#define RX_DAMAGED 0xFF

void rx_init(rx_t *rx)
{
    memset(rx, 0, sizeof *rx);
}

/* The id follows the first code byte. (A frame this short with 1 there and the id's value next is no COBS.) */
static uint8_t rx_is_stop(const uint8_t *frame, uint8_t size)
{
    return size >= 2 && size <= STOP_FRAME_MAX && frame[1] == MSG_STOP;
}

/* Where the frame that begins now goes; NULL: it is lost. */
static uint8_t *rx_place(rx_t *rx)
{
    if (rx->length[rx->write] == 0) {
        return rx->slot[rx->write];
    }
    return rx->stop_length == 0 ? rx->stop : NULL;
}

static CORE_ONCE void rx_end(rx_t *rx)
{
    uint8_t size = rx->fill;
    rx->fill = 0;
    if (size == 0) {
        return;                                 /* zeros between frames are allowed */
    }
    if (size > RX_FRAME_MAX) {
        rx->bad++;
    } else if (rx->into != NULL && rx->stop_length == 0 && rx_is_stop(rx->into, size)) {
        memmove(rx->stop, rx->into, size);
        rx->stop_length = size;
    } else if (rx->into != rx->slot[rx->write]) {
        rx->dropped++;
    } else {
        rx->length[rx->write] = size;
        rx->write = (uint8_t)(rx->write ^ 1u);
    }
}

void rx_byte(rx_t *rx, uint8_t byte)
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

void rx_damage(rx_t *rx)
{
    rx->fill = RX_DAMAGED;
}

uint8_t *rx_head(rx_t *rx, uint8_t *size)
{
    *size = rx->length[rx->read];
    return *size ? rx->slot[rx->read] : NULL;
}

void rx_pop(rx_t *rx)
{
    rx->length[rx->read] = 0;
    rx->read = (uint8_t)(rx->read ^ 1u);
}

uint8_t rx_waiting(const rx_t *rx)
{
    return (uint8_t)((rx->length[0] != 0) + (rx->length[1] != 0));
}
