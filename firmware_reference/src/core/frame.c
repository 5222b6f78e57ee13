#include "frame.h"

#include "../generated/schema.h"
#include "port.h"

#define CRC_SIZE 2

#ifdef __AVR__
#define crc_byte _crc_xmodem_update
#else
static uint16_t crc_byte(uint16_t crc, uint8_t byte)
{
    crc = (uint16_t)(crc ^ (uint16_t)((uint16_t)byte << 8));
    for (uint8_t bit = 0; bit < 8; bit++) {
        uint16_t shifted = (uint16_t)((uint32_t)crc << 1);
        crc = (crc & 0x8000u) ? (uint16_t)(shifted ^ 0x1021u) : shifted;
    }
    return crc;
}
#endif

uint16_t frame_crc(const void *data, uint8_t size)
{
    const uint8_t *at = data;
    uint16_t crc = 0xFFFF;
    for (const uint8_t *end = at + size; at != end; at++) {
        crc = crc_byte(crc, *at);
    }
    return crc;
}

/* In place: the write index never passes the read index. Returns the decoded size, or FRAME_BAD. */
static uint8_t cobs_decode(uint8_t *frame, uint8_t size)
{
    uint8_t from = 0;
    uint8_t to = 0;
    while (from < size) {
        uint8_t code = frame[from++];
        if (code == 0 || code - 1 > size - from) {
            return FRAME_BAD;
        }
        for (uint8_t left = (uint8_t)(code - 1); left > 0; left--) {
            frame[to++] = frame[from++];
        }
        if (from < size) {
            frame[to++] = 0;
        }
    }
    return to;
}

uint8_t frame_decode(uint8_t *frame, uint8_t size)
{
    uint8_t decoded = cobs_decode(frame, size);
    if (decoded < HEADER_SIZE + CRC_SIZE) {
        return FRAME_BAD;
    }
    return frame_crc(frame, decoded) == 0 ? (uint8_t)(decoded - CRC_SIZE) : FRAME_BAD;    /* the residue of a good frame is zero */
}
