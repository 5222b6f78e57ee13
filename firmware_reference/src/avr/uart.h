/* The serial line. Bytes go to core_rx_byte and come from core_tx_byte, in interrupts. */
#ifndef UART_H
#define UART_H

#include "../core/core.h"

/* Of board.c: what the line's interrupts work on. */
extern core_t core;

void uart_start(void);

/* After a tick: there may be bytes to send. */
void uart_wake(void);

#endif
