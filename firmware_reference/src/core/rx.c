#include "rx.h"

#include "port.h"

void rx_init(rx_t *rx)
{
    memset(rx, 0, sizeof *rx);
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
