/* The core alone, without board or peripherals: readings and line bytes in, all that it decided out.
 *
 * The same file is built for the AVR, where a simulator feeds GPIOR1 and collects GPIOR2, and natively, where it
 * reads standard input and writes standard output. Both builds must answer the same bytes with the same bytes:
 * this is what finds a product or a shift that overflows where int has 16 bits.
 *
 * In: 1024 bytes EEPROM (native only), reset flags u8, seed u16, then for each tick: pot u16 x2, current u16 x2,
 * supply u16, bandgap u16, ee_ready u8, count u8, bytes of the line. Little-endian. The input ends where it ends.
 * Out, for each tick: outputs, state of both axes, count u8, bytes for the line.
 */
#include "../../firmware_reference/src/core/core.h"

static core_t core;

#ifdef __AVR__
#include <avr/io.h>

static noinit_t record __attribute__((section(".noinit")));

static uint8_t get(void) { return GPIOR1; }
static void put(uint8_t byte) { GPIOR2 = byte; }
static uint8_t memory_read(uint16_t address)
{
    EEAR = address;
    EECR |= 1 << EERE;
    return EEDR;
}
static void memory_write(uint16_t address, uint8_t value)
{
    EEAR = address;
    EEDR = value;
    EECR |= 1 << EEMPE;
    EECR |= 1 << EEPE;
}
static void begin(void) { }
static void told(void) { }

void core_assert_failed(void)
{
    put(0xAA);
    for (;;) { (void)get(); }
}
#else
#include <stdio.h>
#include <stdlib.h>

static noinit_t record;
static uint8_t memory[1024];

static uint8_t get(void)
{
    int byte = getchar();
    if (byte == EOF) {
        fflush(stdout);
        exit(0);
    }
    return (uint8_t)byte;
}
static void put(uint8_t byte) { putchar(byte); }
static void told(void) { fflush(stdout); }
static uint8_t memory_read(uint16_t address) { return memory[address]; }
static void memory_write(uint16_t address, uint8_t value) { memory[address] = value; }
static void begin(void)
{
    for (size_t n = 0; n < sizeof memory; n++) { memory[n] = get(); }
}

void core_assert_failed(void)
{
    put(0xAA);
    fflush(stdout);
    exit(0);
}
#endif

static uint16_t get16(void)
{
    uint16_t low = get();
    return (uint16_t)(low | (uint16_t)(get() << 8));
}

static void put16(uint16_t value)
{
    put((uint8_t)value);
    put((uint8_t)(value >> 8));
}

static void put32(uint32_t value)
{
    put16((uint16_t)value);
    put16((uint16_t)(value >> 16));
}

static void get_tick(readings_t *in)
{
    for (uint8_t n = 0; n < 2; n++) { in->pot[n] = get16(); }
    for (uint8_t n = 0; n < 2; n++) { in->current[n] = get16(); }
    in->supply = get16();
    in->bandgap = get16();
    for (uint8_t n = 0; n < 2; n++) { in->local[n] = get16(); }
    in->inputs = get();
    in->ee_ready = get();
    for (uint8_t n = get(); n != 0; n--) { core_rx_byte(&core, get()); }
}

static void put_axis(const axis_t *axis)
{
    put(axis->state);
    put(axis->flags);
    put(axis->ended);
    put(axis->cause);
    put16(axis->motion);
    put16(axis->raw);
    put32(axis->faults);
    put32((uint32_t)axis->position_um);
    put32((uint32_t)axis->speed_um_s);
    put32((uint32_t)axis->reference_um);
    put16((uint16_t)axis->current_ma);
    put16((uint16_t)axis->output_permille);
    put16(axis->rest_raw);
    put32(axis->on_ticks);
}

static void put_tick(const outputs_t *out)
{
    for (uint8_t n = 0; n < 2; n++) {
        put16((uint16_t)out->drive[n]);
        put(out->bridge[n]);
        put_axis(&core.axis[n]);
    }
    put(out->ee_write);
    put16(out->ee_write ? out->ee_address : 0);
    put(out->ee_write ? out->ee_value : 0);
    put(out->restart);
    put(out->alarm);
    int16_t byte;
    while ((byte = core_tx_byte(&core)) >= 0) {
        put(1);
        put((uint8_t)byte);
    }
    put(0);
    told();
}

int main(void)
{
    readings_t in;
    outputs_t out;
    begin();
    uint8_t flags = get();
    core_init(&core, &record, flags, get16(), memory_read);
    for (;;) {
        get_tick(&in);
        core_tick(&core, &in, &out);
        if (out.ee_write) { memory_write(out.ee_address, out.ee_value); }
        put_tick(&out);
    }
}
