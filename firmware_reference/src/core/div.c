#include "div.h"

#include "port.h"

int32_t div_toward_zero(int32_t a, int32_t b)
{
    CORE_ASSERT(b > 0);
    return a / b;
}

int32_t div_nearest(int32_t a, int32_t b)
{
    int32_t half = b >> 1;
    return div_toward_zero(a < 0 ? a - half : a + half, b);
}

uint32_t div_up(uint32_t a, uint32_t b)
{
    CORE_ASSERT(b > 0);
    return a == 0 ? 0 : (a - 1) / b + 1;
}
