#include "thermal.h"

#include "div.h"
#include "number.h"
#include "port.h"

#define ROOT 2024                       /* its square is 1000 with 12 fraction bits, and a little more */
#define RATIO_MOST 46000u               /* 22 times the rated current: keeps its square within 32 bits */
#define HEAT_MOST UINT32_C(0xE0000000)  /* 3584 permille: so much that one tick more fits 32 bits */

uint16_t thermal_permille(const uint32_t *heat)
{
    return (uint16_t)((uint16_t)(*heat >> 16) >> (THERMAL_BITS - 16));
}

void thermal_tick(uint32_t *heat, const settings_axis_t *set, int16_t current_ma)
{
    uint32_t next = 0;
    if (set->rated_ma != 0) {
        uint16_t size = (uint16_t)absolute(current_ma);
        uint32_t ratio = (uint32_t)size * ROOT / set->rated_ma;
        uint16_t most = ratio > RATIO_MOST ? RATIO_MOST : (uint16_t)ratio;
        next = *heat;
        int32_t step = (int32_t)((uint32_t)most * most - (next >> 8));
        step = div_toward_zero(step, set->thermal_time_s);
        if (step < 0 || next < HEAT_MOST) {
            next += (uint32_t)(step + halved(step * 9, 5));     /* 256 of 200 */
        }
    }
    *heat = next;
}

void thermal_rest(uint32_t *heat, const settings_axis_t *set, uint16_t off_s)
{
    uint16_t time_s = set->thermal_time_s;
    uint32_t next = *heat;
    for (uint8_t left = 8; left > 0; left--) {
        next = next / (time_s + off_s / 8u) * time_s;
    }
    *heat = next;
}
