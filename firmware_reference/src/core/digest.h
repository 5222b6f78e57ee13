/* CRC-32 (the one of zip and Ethernet: reflected 0x04C11DB7) over settings. */
#ifndef RODBENCH_DIGEST_H
#define RODBENCH_DIGEST_H

#include <stdint.h>

#define DIGEST_START UINT32_C(0xFFFFFFFF)

/* Before the final inversion. */
uint32_t digest_more(uint32_t crc, const void *data, uint16_t size);
uint32_t digest_byte(uint32_t crc, uint8_t byte);

uint32_t digest_of(const void *data, uint16_t size);

#endif
