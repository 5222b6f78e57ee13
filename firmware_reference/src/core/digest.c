#include "digest.h"

#include "port.h"

/* Entry n: the CRC of the one byte n, or of n << 4, from zero. A byte's CRC is the exclusive or of its halves', so that
 * these do the work of one table of 256 in an eighth of its room. */
static const uint32_t LOW[16] CORE_ROM = {
    0x00000000, 0x77073096, 0xEE0E612C, 0x990951BA, 0x076DC419, 0x706AF48F, 0xE963A535, 0x9E6495A3,
    0x0EDB8832, 0x79DCB8A4, 0xE0D5E91E, 0x97D2D988, 0x09B64C2B, 0x7EB17CBD, 0xE7B82D07, 0x90BF1D91,
};
static const uint32_t HIGH[16] CORE_ROM = {
    0x00000000, 0x1DB71064, 0x3B6E20C8, 0x26D930AC, 0x76DC4190, 0x6B6B51F4, 0x4DB26158, 0x5005713C,
    0xEDB88320, 0xF00F9344, 0xD6D6A3E8, 0xCB61B38C, 0x9B64C2B0, 0x86D3D2D4, 0xA00AE278, 0xBDBDF21C,
};

/* By an offset in bytes, of which the bits of whole entries count: a shift of 8 bits is quick. */
static inline uint32_t entry(const uint32_t *table, uint8_t offset)
{
    return CORE_ROM_READ_U32((const uint32_t *)(const void *)((const uint8_t *)table + (offset & 0x3C)));
}

uint32_t digest_more(uint32_t crc, const void *data, uint16_t size)
{
    const uint8_t *at = data;
    for (const uint8_t *end = at + size; at != end; at++) {
        uint8_t byte = (uint8_t)((uint8_t)crc ^ *at);
        crc = (crc >> 8) ^ entry(LOW, (uint8_t)(byte << 2)) ^ entry(HIGH, byte >> 2);
    }
    return crc;
}

uint32_t digest_byte(uint32_t crc, uint8_t byte)
{
    return digest_more(crc, &byte, 1);
}

uint32_t digest_of(const void *data, uint16_t size)
{
    return ~digest_more(DIGEST_START, data, size);
}
