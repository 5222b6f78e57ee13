/* Little-endian fields in and out of message bodies. Each put returns where the next field goes. */
#ifndef RODBENCH_BYTES_H
#define RODBENCH_BYTES_H

#include <stdint.h>

uint8_t *put_u8(uint8_t *at, uint8_t value);
uint8_t *put_u16(uint8_t *at, uint16_t value);
uint8_t *put_u32(uint8_t *at, uint32_t value);
uint8_t *put_bytes(uint8_t *at, const void *from, uint8_t size);
uint16_t get_u16(const uint8_t *at);
uint32_t get_u32(const uint8_t *at);
uint32_t get_number(const uint8_t *at, uint8_t size);      /* of 1 to 4 bytes */

#endif
