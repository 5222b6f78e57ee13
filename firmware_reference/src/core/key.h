/* Settings by their keys: where each lies in its scope, and what it may be. */
#ifndef RODBENCH_KEY_H
#define RODBENCH_KEY_H

#include <stdint.h>

/* Keys of a scope; 0 is the board, all others are axes. */
uint8_t key_last(uint8_t scope);

/* Where a key lies; the place behind the last key is the scope's size. */
uint8_t key_at(uint8_t scope, uint8_t key);
uint8_t key_width(uint8_t scope, uint8_t key);

int32_t key_value(uint8_t scope, uint8_t key, const void *data);
uint8_t key_allows(uint8_t scope, uint8_t key, int32_t value);

#endif
