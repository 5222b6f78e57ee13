/* Frames: COBS over payload and CRC-16/IBM-3740 (high byte first), as SPEC.md says. */
#ifndef RODBENCH_FRAME_H
#define RODBENCH_FRAME_H

#include <stdint.h>

#define FRAME_BAD 0

uint16_t frame_crc(const void *data, uint8_t size);

/* Undoes COBS in place and checks the CRC. `size` is without the closing zero.
 * Returns the size of the payload (at least a header), or FRAME_BAD. */
uint8_t frame_decode(uint8_t *frame, uint8_t size);

#endif
