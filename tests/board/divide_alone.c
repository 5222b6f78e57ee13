/* Our 32-bit division alone: reads two numbers, writes what C's operators give, signed and unsigned. */
#include <avr/io.h>
#include <stdint.h>

static uint32_t get32(void)
{
    uint32_t value = 0;
    for (uint8_t n = 0; n < 32; n = (uint8_t)(n + 8)) { value |= (uint32_t)GPIOR1 << n; }
    return value;
}

static void put32(uint32_t value)
{
    for (uint8_t n = 0; n < 4; n++) {
        GPIOR2 = (uint8_t)value;
        value >>= 8;
    }
}

int main(void)
{
    for (;;) {
        uint32_t a = get32();
        uint32_t b = get32();
        GPIOR0 = 1;
        uint32_t quotient = a / b;
        GPIOR0 = 0;
        put32(quotient);
        put32(a % b);
        put32((uint32_t)((int32_t)a / (int32_t)b));
        put32((uint32_t)((int32_t)a % (int32_t)b));
    }
}
