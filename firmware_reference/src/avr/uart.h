/* The serial line. Bytes go to core_rx_byte and come from core_tx_byte, in interrupts. */
#ifndef UART_H
#define UART_H

#include "../core/core.h"

void uart_start(core_t *core);

/* After a tick: there may be bytes to send. */
void uart_wake(void);

#endif
