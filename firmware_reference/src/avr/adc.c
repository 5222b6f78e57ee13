#include "adc.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <stddef.h>

#include "../core/port.h"
#include "pins.h"

#define BIT(n) ((uint8_t)(1u << (n)))
#define REFERENCE_AVCC BIT(REFS0)
#define BANDGAP_CHANNEL 14u
#define BANDGAP_EVERY 16u
#define PRESCALE_128 (BIT(ADPS2) | BIT(ADPS1) | BIT(ADPS0))

typedef struct {
    uint8_t channel;
    uint8_t drop;
    uint8_t keep;
    uint8_t place;      /* offset in readings_t */
} step_t;

#define AT(field) ((uint8_t)offsetof(readings_t, field))

static const step_t steps[] PROGMEM = {
    { BANDGAP_CHANNEL, 3, 1, AT(bandgap) },     /* the long way in: every sixteenth tick */
    { STICK1_CHANNEL, 1, 1, AT(local) },        /* the usual way in */
    { STICK2_CHANNEL, 1, 1, AT(local) + 2u },
    { SUPPLY_CHANNEL, 1, 1, AT(supply) },
    { CURRENT1_CHANNEL, 1, 4, AT(current) },
    { CURRENT2_CHANNEL, 1, 4, AT(current) + 2u },
    { POT1_CHANNEL, 1, 8, AT(pot) },
    { POT2_CHANNEL, 1, 8, AT(pot) + 2u },
};
#define STEPS (sizeof steps / sizeof steps[0])
#define STEP_BANDGAP ((uint8_t)0)
#define STEP_STICKS ((uint8_t)1)
#define STEP_SUPPLY ((uint8_t)3)

static uint16_t scan[offsetof(readings_t, inputs) / 2u];    /* being filled: the beginning of a readings_t */
static readings_t latest;

static struct {
    uint8_t running;
    uint8_t step;
    uint8_t turn;                   /* 0..15; the bandgap has turn 0 */
    step_t at;                      /* the step under way; drop and keep are those left */
    uint16_t sum;
} now;

static CORE_ONCE void take_step(uint8_t step)
{
    now.step = step;
    uint32_t at = pgm_read_dword(&steps[step]);     /* no call: this is where an interrupt goes deepest */
    memcpy(&now.at, &at, sizeof now.at);
    ADMUX = (uint8_t)(REFERENCE_AVCC | now.at.channel);
    now.sum = 0;
}

/* Sets the channel of the next scan a while before it starts, so that it has settled. */
static CORE_INSIDE void park(void)
{
    now.turn = (uint8_t)((now.turn + 1u) % BANDGAP_EVERY);
    take_step(now.turn == 0 ? STEP_BANDGAP : STEP_STICKS);
}

uint16_t adc_noise(void)
{
    uint16_t noise = 0;
    ADCSRA = (uint8_t)(BIT(ADEN) | PRESCALE_128);
    ADMUX = (uint8_t)(REFERENCE_AVCC | BANDGAP_CHANNEL);
    for (uint8_t n = 0; n < 16u; n++) {
        ADCSRA |= BIT(ADSC);
        while (ADCSRA & BIT(ADSC)) { }
        noise = (uint16_t)((uint16_t)(noise << 1) ^ (uint16_t)(noise >> 15) ^ ADC);
    }
    return noise;
}

void adc_start(void)
{
    DIDR0 = 0x3F;                   /* A0 to A5 are analog only */
    ADCSRB = 0;
    ADCSRA = (uint8_t)(BIT(ADEN) | BIT(ADIE) | BIT(ADIF) | PRESCALE_128);
    now.turn = BANDGAP_EVERY - 1u;
    now.running = 0;
    park();
}

void adc_latch(void)
{
    if (!now.running) { memcpy(&latest, scan, sizeof scan); }
}

void adc_scan(void)
{
    if (now.running) { return; }
    now.running = 1;
    ADCSRA |= BIT(ADSC);
}

readings_t *adc_latest(void)
{
    return &latest;
}

ISR(ADC_vect)
{
    uint16_t value = ADC;
    if (now.at.drop != 0) {
        now.at.drop--;
    } else {
        now.sum = (uint16_t)(now.sum + value);
        now.at.keep--;
    }
    if (now.at.keep == 0) {
        *(uint16_t *)(void *)((uint8_t *)scan + now.at.place) = now.sum;
        uint8_t next = now.step == STEP_BANDGAP ? STEP_SUPPLY : (uint8_t)(now.step + 1u);
        if (next == STEPS) {
            park();
            now.running = 0;
            return;
        }
        take_step(next);
    }
    ADCSRA |= BIT(ADSC);
}
