#include "drive.h"

#include <avr/io.h>
#include <util/atomic.h>

#include "../core/port.h"
#include "../generated/schema.h"
#include "pins.h"

#define BIT(n) ((uint8_t)(1u << (n)))
#define LINES_D \
    ((uint8_t)(BIT(AXIS1_A_BIT) | BIT(AXIS1_B_BIT) | BIT(AXIS2_A_BIT) | BIT(AXIS2_B_BIT)))
#define LINES_B ((uint8_t)(BIT(AXIS1_PWM_BIT) | BIT(AXIS2_PWM_BIT)))

/* The chip decides these: OC1A and OC1B, and one port for the four direction lines. */
_Static_assert(AXIS1_PWM_BIT == 1 && AXIS2_PWM_BIT == 2, "PWM pins are OC1A and OC1B");

_Static_assert(AXIS1_B_BIT == AXIS1_A_BIT + 1 && AXIS2_A_BIT == AXIS1_A_BIT + 2 && AXIS2_B_BIT == AXIS1_A_BIT + 3,
               "direction lines side by side");

#define PWM_MODE ((uint8_t)(BIT(COM1A1) | BIT(COM1B1) | BIT(WGM11)))

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
    TCCR1A = BIT(COM1A1) | BIT(COM1B1);
    TCCR1C = BIT(FOC1A) | BIT(FOC1B);              /* what the compare units show is low from here on */
    TIMSK1 = 0;
    TCNT1 = 0;
    ICR1 = DRIVE_TOP;
    OCR1A = 0;
    OCR1B = 0;
    TCCR1A = PWM_MODE;
    TCCR1B = BIT(WGM13) | BIT(CS10);
}

/* What each driver does at rest, braking, and in drive + and -: bits of axis 1 where the chip has them. Those of axis 2
 * lie beside them. */
#define A BIT(AXIS1_A_BIT)
#define B BIT(AXIS1_B_BIT)
#define HIGH BIT(AXIS1_PWM_BIT)     /* of a PWM pin that is not connected to its compare unit */
#define PWM BIT(COM1A1)             /* connected */
#define INVERTED BIT(COM1A0)
#define TOP BIT(0)                  /* compare value TOP: high all the time */
#define KEEP BIT(2)                 /* direction lines stay as they are */
enum { OFF, BRAKE, PLUS, MINUS, STATES };

static const uint8_t lines_of[DRIVER_LAST + 1u][STATES] CORE_ROM = {
    [DRIVER_PWM_AND_TWO_DIRECTION_LINES] = {PWM, PWM | TOP, PWM | A, PWM | B},
    [DRIVER_PWM_AND_ONE_DIRECTION_LINE] = {PWM | KEEP, PWM | KEEP, PWM | A, PWM},
    [DRIVER_TWO_PWM_INPUTS] = {PWM, PWM | TOP, PWM, PWM},
    [DRIVER_PWM_INPUT_AND_LINE] = {0, HIGH | A, PWM, PWM | INVERTED | A},
};

/* All low for a driver that only a later firmware knows. */
static CORE_ONCE uint8_t lines_for(const outputs_t *out, uint8_t n)
{
    if (out->driver[n] > DRIVER_LAST) { return 0; }
    uint8_t state = out->bridge[n] == BRIDGE_BRAKE ? BRAKE : OFF;
    if (out->drive[n] > 0) { state = PLUS; }
    if (out->drive[n] < 0) { state = MINUS; }
    return CORE_ROM_READ_U8(&lines_of[out->driver[n]][state]);
}

static CORE_ONCE uint16_t compare_of(int16_t drive, uint8_t lines)
{
    if (lines & TOP) { return DRIVE_TOP; }
    uint16_t permille = (uint16_t)(drive < 0 ? -drive : drive);
    return (uint16_t)((2u * permille + 2u) / 5u);
}

void drive_put(const outputs_t *out)
{
    uint8_t one = lines_for(out, 0), two = lines_for(out, 1);
    uint16_t on_1 = compare_of(out->drive[0], one), on_2;
    if (out->driver[0] == DRIVER_TWO_PWM_INPUTS) {      /* both pins are this axis's: the other has none */
        two = one;
        on_2 = compare_of(0, one);
        if (out->drive[0] < 0) {
            on_2 = on_1;
            on_1 = 0;
        }
    } else {
        on_2 = compare_of(out->drive[1], two);
    }
    uint8_t port = (uint8_t)((PORTB & (uint8_t)~(LINES_B | BIT(ALARM_BIT))) | (one & HIGH));
    if (two & HIGH) { port |= (uint8_t)(HIGH << 1); }
    if (out->alarm) { port |= BIT(ALARM_BIT); }
    uint8_t level = PORTD;
    if (!(one & KEEP)) { level = (uint8_t)((level & (uint8_t)~(A | B)) | (one & (A | B))); }
    if (!(two & KEEP)) {
        level &= (uint8_t)~((A | B) << 2);
        if (two & A) { level |= (uint8_t)(A << 2); }
        if (two & B) { level |= (uint8_t)(B << 2); }
    }
    uint8_t mode = (uint8_t)((one & (PWM | INVERTED)) | BIT(WGM11));
    if (two & PWM) { mode |= (uint8_t)(PWM >> 2); }
    if (two & INVERTED) { mode |= (uint8_t)(INVERTED >> 2); }
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)                   /* an interrupt would make cycles into microseconds */
    {
        while (TCNT1 > DRIVE_TOP - 32u) { }             /* no TOP between the two: 4 us at most */
        OCR1A = on_1;
        OCR1B = on_2;
        PORTB = port;
        TCCR1A = mode;
        PORTD = level;
    }
}
