#include "adc.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <stddef.h>

#include "pins.h"

#define BIT(n) ((uint8_t)(1u << (n)))
#define REFERENCE_AVCC BIT(REFS0)
#define BANDGAP_CHANNEL 14u
#define BANDGAP_EVERY 16u
#define NOWHERE 0xFFu
#define PRESCALE_128 (BIT(ADPS2) | BIT(ADPS1) | BIT(ADPS0))

typedef struct {
    uint8_t channel;
    uint8_t drop;
    uint8_t keep;
    uint8_t place;      /* offset in adc_sums_t, or NOWHERE */
} step_t;

#define AT(field) ((uint8_t)offsetof(adc_sums_t, field))

static const step_t steps[] PROGMEM = {
    { BANDGAP_CHANNEL, 3, 1, AT(bandgap) },     /* the long way in: every sixteenth tick */
    { STICK1_CHANNEL, 1, 1, NOWHERE },          /* the usual way in */
    { STICK2_CHANNEL, 1, 1, NOWHERE },
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

static adc_sums_t scan;             /* being filled */
static adc_sums_t latest;
static volatile uint8_t running;
static uint8_t step;
static uint8_t turn;                /* 0..15; the bandgap has turn 0 */
static uint8_t drop_left;
static uint8_t keep_left;
static uint8_t place;
static uint16_t sum;

static void take_step(void)
{
    ADMUX = (uint8_t)(REFERENCE_AVCC | pgm_read_byte(&steps[step].channel));
    drop_left = pgm_read_byte(&steps[step].drop);
    keep_left = pgm_read_byte(&steps[step].keep);
    place = pgm_read_byte(&steps[step].place);
    sum = 0;
}

/* Sets the channel of the next scan a while before it starts, so that it has settled. */
static void park(void)
{
    turn = (uint8_t)((turn + 1u) % BANDGAP_EVERY);
    step = turn == 0 ? STEP_BANDGAP : STEP_STICKS;
    take_step();
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
    turn = BANDGAP_EVERY - 1u;
    running = 0;
    park();
}

void adc_latch(void)
{
    if (!running) { latest = scan; }
}

void adc_scan(void)
{
    if (running) { return; }
    running = 1;
    ADCSRA |= BIT(ADSC);
}

const adc_sums_t *adc_latest(void)
{
    return &latest;
}

static void keep_sum(void)
{
    if (place != NOWHERE) { *(uint16_t *)(void *)((uint8_t *)&scan + place) = sum; }
}

ISR(ADC_vect)
{
    uint16_t value = ADC;
    if (drop_left != 0) {
        drop_left--;
    } else {
        sum = (uint16_t)(sum + value);
        keep_left--;
    }
    if (keep_left == 0) {
        keep_sum();
        step = step == STEP_BANDGAP ? STEP_SUPPLY : (uint8_t)(step + 1u);
        if (step == STEPS) {
            park();
            running = 0;
            return;
        }
        take_step();
    }
    ADCSRA |= BIT(ADSC);
}
