/* Made by pins.py from pins.toml: change it there. */
#ifndef PINS_H
#define PINS_H

/* D0: serial line in */
#define UART_RX_PORT PORTD
#define UART_RX_DDR DDRD
#define UART_RX_PIN PIND
#define UART_RX_BIT 0u

/* D1: serial line out */
#define UART_TX_PORT PORTD
#define UART_TX_DDR DDRD
#define UART_TX_PIN PIND
#define UART_TX_BIT 1u

/* D2: axis 1 extend button or servo pulse */
#define LOCAL1_A_PORT PORTD
#define LOCAL1_A_DDR DDRD
#define LOCAL1_A_PIN PIND
#define LOCAL1_A_BIT 2u

/* D3: axis 2 extend button or servo pulse */
#define LOCAL2_A_PORT PORTD
#define LOCAL2_A_DDR DDRD
#define LOCAL2_A_PIN PIND
#define LOCAL2_A_BIT 3u

/* D4: axis 1 direction A */
#define AXIS1_A_PORT PORTD
#define AXIS1_A_DDR DDRD
#define AXIS1_A_PIN PIND
#define AXIS1_A_BIT 4u

/* D5: axis 1 direction B */
#define AXIS1_B_PORT PORTD
#define AXIS1_B_DDR DDRD
#define AXIS1_B_PIN PIND
#define AXIS1_B_BIT 5u

/* D6: axis 2 direction A */
#define AXIS2_A_PORT PORTD
#define AXIS2_A_DDR DDRD
#define AXIS2_A_PIN PIND
#define AXIS2_A_BIT 6u

/* D7: axis 2 direction B */
#define AXIS2_B_PORT PORTD
#define AXIS2_B_DDR DDRD
#define AXIS2_B_PIN PIND
#define AXIS2_B_BIT 7u

/* D8: stop input, normally closed to ground */
#define STOP_INPUT_PORT PORTB
#define STOP_INPUT_DDR DDRB
#define STOP_INPUT_PIN PINB
#define STOP_INPUT_BIT 0u

/* D9: axis 1 PWM, 20 kHz */
#define AXIS1_PWM_PORT PORTB
#define AXIS1_PWM_DDR DDRB
#define AXIS1_PWM_PIN PINB
#define AXIS1_PWM_BIT 1u

/* D10: axis 2 PWM, 20 kHz */
#define AXIS2_PWM_PORT PORTB
#define AXIS2_PWM_DDR DDRB
#define AXIS2_PWM_PIN PINB
#define AXIS2_PWM_BIT 2u

/* D11: axis 1 retract button */
#define LOCAL1_B_PORT PORTB
#define LOCAL1_B_DDR DDRB
#define LOCAL1_B_PIN PINB
#define LOCAL1_B_BIT 3u

/* D12: axis 2 retract button */
#define LOCAL2_B_PORT PORTB
#define LOCAL2_B_DDR DDRB
#define LOCAL2_B_PIN PINB
#define LOCAL2_B_BIT 4u

/* D13: alarm light */
#define ALARM_PORT PORTB
#define ALARM_DDR DDRB
#define ALARM_PIN PINB
#define ALARM_BIT 5u

/* A0: axis 1 pot */
#define POT1_CHANNEL 0u

/* A1: axis 2 pot */
#define POT2_CHANNEL 1u

/* A2: axis 1 current */
#define CURRENT1_CHANNEL 2u

/* A3: axis 2 current */
#define CURRENT2_CHANNEL 3u

/* A4: motor supply */
#define SUPPLY_CHANNEL 4u

/* A5: stick 1 */
#define STICK1_CHANNEL 5u

/* A6: stick 2 (boards with A6 only) */
#define STICK2_CHANNEL 6u

#endif
