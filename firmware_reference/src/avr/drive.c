#include "drive.h"

#include <avr/io.h>

#include "../generated/schema.h"
#include "pins.h"

#define BIT(n) ((uint8_t)(1u << (n)))
#define LINES_D \
    ((uint8_t)(BIT(AXIS1_A_BIT) | BIT(AXIS1_B_BIT) | BIT(AXIS2_A_BIT) | BIT(AXIS2_B_BIT)))
#define LINES_B ((uint8_t)(BIT(AXIS1_PWM_BIT) | BIT(AXIS2_PWM_BIT)))

/* The chip decides these: OC1A and OC1B, and one port for the four direction lines. */
_Static_assert(AXIS1_PWM_BIT == 1 && AXIS2_PWM_BIT == 2, "PWM pins are OC1A and OC1B");

void drive_low(void)
{
    TCCR1A = 0;                                    /* pins back to the port */
    PORTD &= (uint8_t)~LINES_D;
    PORTB &= (uint8_t)~(LINES_B | BIT(ALARM_BIT));
    DDRD |= LINES_D;
    DDRB |= (uint8_t)(LINES_B | BIT(ALARM_BIT));
}

void drive_start(void)
{
    drive_low();
    TCCR1B = 0;
    TIMSK1 = 0;
    TCNT1 = 0;
    ICR1 = DRIVE_TOP;
    OCR1A = 0;
    OCR1B = 0;
    TCCR1A = BIT(COM1A1) | BIT(COM1B1) | BIT(WGM11);
    TCCR1B = BIT(WGM13) | BIT(CS10);
}

static uint16_t compare_of(uint8_t bridge, uint16_t permille)
{
    if (bridge == BRIDGE_BRAKE) { return DRIVE_TOP; }
    if (bridge != BRIDGE_DRIVE) { return 0; }
    if (permille > 1000u) { permille = 1000u; }
    return (uint16_t)((2u * permille + 2u) / 5u);
}

void drive_set(uint8_t axis, uint8_t bridge, int16_t drive)
{
    uint8_t a = axis == 0 ? BIT(AXIS1_A_BIT) : BIT(AXIS2_A_BIT);
    uint8_t b = axis == 0 ? BIT(AXIS1_B_BIT) : BIT(AXIS2_B_BIT);
    uint8_t on = 0;
    if (bridge == BRIDGE_DRIVE && drive != 0) { on = drive > 0 ? a : b; }
    uint16_t permille = (uint16_t)(drive < 0 ? -drive : drive);

    PORTD = (uint8_t)((PORTD & (uint8_t)~(a | b)) | on);
    if (axis == 0) {
        OCR1A = compare_of(bridge, permille);
    } else {
        OCR1B = compare_of(bridge, permille);
    }
}

void drive_alarm(uint8_t on)
{
    if (on) {
        ALARM_PORT |= BIT(ALARM_BIT);
    } else {
        ALARM_PORT &= (uint8_t)~BIT(ALARM_BIT);
    }
}
