/* Small sums on signed numbers, each once in flash. */
#ifndef RODBENCH_NUMBER_H
#define RODBENCH_NUMBER_H

#include <stdint.h>

int32_t smaller(int32_t a, int32_t b);
int32_t larger(int32_t a, int32_t b);
int32_t between(int32_t value, int32_t low, int32_t high);
int32_t absolute(int32_t value);
uint16_t at_most_u16(int32_t value);
int32_t halved(int32_t value, uint8_t times);         /* rounded down each time */
int32_t whole(int32_t value);                         /* of 8 fraction bits, rounded down */
int32_t along(int32_t value, int8_t direction);     /* the value, with its sign turned if direction is below 0 */

#endif
