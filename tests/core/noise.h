/* Bytes on a line that nobody should obey: random ones, frames of a host that were damaged, and whole frames that a
 * board must refuse. A receiver by the book listens in, and knows when a damaged frame is good by chance. */
#ifndef NOISE_H
#define NOISE_H

#include <stdint.h>

#include "book.h"

#define NOISE_MOST 400
#define NOISE_FRAME 80

typedef struct {
    uint64_t random;
    uint8_t run[BOOK_ENCODED_MOST + 1];         /* what came since the last zero; one more marks it as too long */
    uint32_t fill;
    uint32_t runs;                              /* that ended, and were not empty */
    uint32_t good;
    uint32_t acts;                              /* good ones that a board carries out; of them */
    uint32_t stretched;                         /* the host's own request, with zeros more or fewer at its end */
    uint32_t undamaged;                         /* the host's own request as it was: never in what is sent */
    uint8_t own[NOISE_FRAME];                   /* that request and its CRC */
    uint32_t own_size;
    uint32_t session, seq, nonce, tick;         /* of the host whose frames are damaged; told by the driver */
} noise_t;

uint32_t noise_size(void);
void noise_start(noise_t *noise, uint64_t seed);
uint32_t noise_any(noise_t *noise, uint32_t below);

/* Bytes by which nothing may happen, but for those that `acts` counts. At most NOISE_MOST. */
uint32_t noise_next(noise_t *noise, uint8_t *to);

/* A zero, so that no half frame waits for what comes next. */
uint32_t noise_end(noise_t *noise, uint8_t *to);

/* What the driver itself sends goes past the receiver as well. */
void noise_hear(noise_t *noise, const uint8_t *data, uint32_t size);

#endif
