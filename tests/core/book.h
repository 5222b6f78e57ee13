/* CRC and COBS by the book (SPEC.md, section 2), not the core's own. */
#ifndef BOOK_H
#define BOOK_H

#include <stdint.h>

#define BOOK_DECODED_LEAST 5
#define BOOK_DECODED_MOST 64
#define BOOK_ENCODED_MOST (BOOK_DECODED_MOST + 1)

uint16_t book_crc(const uint8_t *data, uint32_t size);

/* `size` bytes that hold no CRC yet (there must be room for it behind them), as a frame with its closing zero. */
uint32_t book_frame(uint8_t *payload, uint32_t size, uint8_t *to);

/* Payload of a run of bytes between two zeros; 0: it is no good frame. */
uint32_t book_payload(const uint8_t *run, uint32_t size, uint8_t *to);

#endif
