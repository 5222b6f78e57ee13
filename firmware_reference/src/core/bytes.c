#include "bytes.h"

#include "port.h"

uint8_t *put_u8(uint8_t *at, uint8_t value)
{
    *at = value;
    return at + 1;
}

uint8_t *put_u16(uint8_t *at, uint16_t value)
{
    return put_u8(put_u8(at, (uint8_t)value), (uint8_t)(value >> 8));
}

uint8_t *put_u32(uint8_t *at, uint32_t value)
{
    return put_u16(put_u16(at, (uint16_t)value), (uint16_t)(value >> 16));
}

uint8_t *put_bytes(uint8_t *at, const void *from, uint8_t size)
{
    memcpy(at, from, size);
    return at + size;
}

uint16_t get_u16(const uint8_t *at)
{
    return (uint16_t)(at[0] | (uint16_t)at[1] << 8);
}

uint32_t get_number(const uint8_t *at, uint8_t size)
{
    uint32_t value = 0;
    while (size > 0) {
        value = value << 8 | at[--size];
    }
    return value;
}

uint32_t get_u32(const uint8_t *at)
{
    return get_number(at, 4);
}
