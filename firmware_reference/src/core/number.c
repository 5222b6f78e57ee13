#include "number.h"

int32_t smaller(int32_t a, int32_t b)
{
    return a < b ? a : b;
}

int32_t larger(int32_t a, int32_t b)
{
    return a > b ? a : b;
}

int32_t between(int32_t value, int32_t low, int32_t high)
{
    if (value > high) {
        value = high;
    }
    return larger(value, low);
}

int32_t halved(int32_t value, uint8_t times)
{
    for (; times > 0; times--) {
        value >>= 1;
    }
    return value;
}

int32_t whole(int32_t value)
{
    return value >> 8;
}

int32_t along(int32_t value, int8_t direction)
{
    return direction < 0 ? -value : value;
}

int32_t absolute(int32_t value)
{
    return value < 0 ? -value : value;
}

uint16_t at_most_u16(int32_t value)
{
    return value > UINT16_MAX ? UINT16_MAX : (uint16_t)value;
}
