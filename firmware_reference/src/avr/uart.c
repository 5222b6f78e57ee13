#include "uart.h"

#include <avr/interrupt.h>
#include <avr/io.h>

#include "../core/tx.h"
#include "config.h"

#define BIT(n) ((uint8_t)(1u << (n)))

#if BOARD_BAUD == 250000UL
#define UBRR_VALUE 3u           /* exact */
#define SPEED_BITS 0u
#elif BOARD_BAUD == 115200UL
#define UBRR_VALUE 16u          /* 117647: 2.1 % fast */
#define SPEED_BITS BIT(U2X0)
#else
#error "BAUD is 250000 or 115200"
#endif

#if TX_BYTES_PER_TICK * 10UL * 200UL > BOARD_BAUD
#error "the core would queue more in a tick than the line drains: set TX_BYTES_PER_TICK"
#endif

void uart_start(void)
{
    UBRR0 = UBRR_VALUE;
    UCSR0A = SPEED_BITS;
    UCSR0C = (uint8_t)(BIT(UCSZ01) | BIT(UCSZ00));
    UCSR0B = (uint8_t)(BIT(RXCIE0) | BIT(RXEN0) | BIT(TXEN0));
}

void uart_wake(void)
{
    UCSR0B |= BIT(UDRIE0);
}

/* A framing error spoils this byte; an overrun lost the one after it. */
ISR(USART_RX_vect)
{
    uint8_t seen = UCSR0A;
    uint8_t byte = UDR0;
    rx_t *rx = &core.rx;                        /* core_rx_byte and core_rx_damage, without the calls */
    if (seen & BIT(FE0)) { rx_damage(rx); }
    rx_byte(rx, byte);
    if (seen & BIT(DOR0)) { rx_damage(rx); }
}

ISR(USART_UDRE_vect)
{
    int16_t byte = tx_next(&core.tx);            /* core_tx_byte, without the call */
    if (byte < 0) {
        UCSR0B &= (uint8_t)~BIT(UDRIE0);
    } else {
        UDR0 = (uint8_t)byte;
    }
}
