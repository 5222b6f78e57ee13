#include "book.h"

uint16_t book_crc(const uint8_t *data, uint32_t size)
{
    uint32_t crc = 0xFFFF;
    for (uint32_t bit = 0; bit < size * 8; bit++) {
        uint32_t one = (uint32_t)data[bit / 8] >> (7 - bit % 8) & 1u;
        crc = (crc << 1) ^ ((((crc >> 15) ^ one) & 1u) ? 0x1021u : 0u);
        crc &= 0xFFFFu;
    }
    return (uint16_t)crc;
}

static uint32_t encode(const uint8_t *data, uint32_t size, uint8_t *to)
{
    uint32_t code_at = 0;
    uint32_t at = 1;
    for (uint32_t i = 0; i < size; i++) {
        if (data[i] == 0) {
            to[code_at] = (uint8_t)(at - code_at);
            code_at = at++;
        } else {
            to[at++] = data[i];
        }
    }
    to[code_at] = (uint8_t)(at - code_at);
    to[at++] = 0;
    return at;
}

uint32_t book_frame(uint8_t *payload, uint32_t size, uint8_t *to)
{
    uint16_t crc = book_crc(payload, size);
    payload[size] = (uint8_t)(crc >> 8);
    payload[size + 1] = (uint8_t)crc;
    return encode(payload, size + 2, to);
}

uint32_t book_payload(const uint8_t *run, uint32_t size, uint8_t *to)
{
    uint32_t got = 0;
    for (uint32_t at = 0; at < size;) {
        uint32_t next = at + run[at];
        if (next > size || size > BOOK_ENCODED_MOST) {
            return 0;
        }
        while (++at < next) {
            to[got++] = run[at];
        }
        if (at < size) {
            to[got++] = 0;                      /* each run but the last stands for a zero behind it */
        }
    }
    return got >= BOOK_DECODED_LEAST && book_crc(to, got) == 0 ? got - 2 : 0;
}
