/* What differs between compilers: constant tables in program memory, and checks of our own bugs.
 *
 * CORE_ASSERT is for what can only be a mistake in this firmware; data from the wire, the memory or a sensor
 * is judged by ordinary code. core_assert_failed comes from the layer below (src/avr, or the native test build):
 * it takes the outputs off, marks the record with noinit_mark and starts the board anew; it never returns.
 */
#ifndef RODBENCH_PORT_H
#define RODBENCH_PORT_H

#include <stddef.h>
#include <stdint.h>
#include <string.h>

#ifdef __AVR__
#include <avr/pgmspace.h>
#include <util/crc16.h>
#define CORE_ROM PROGMEM
#define CORE_ROM_READ_U8(at) pgm_read_byte(at)
#define CORE_ROM_READ_U16(at) pgm_read_word(at)
#define CORE_ROM_READ_U32(at) pgm_read_dword(at)
#define CORE_ROM_COPY(to, from, size) memcpy_P((to), (from), (size))
#else
#define CORE_ROM
#define CORE_ROM_READ_U8(at) (*(at))
#define CORE_ROM_READ_U16(at) (*(at))
#define CORE_ROM_READ_U32(at) (*(at))
#define CORE_ROM_COPY(to, from, size) memcpy((to), (from), (size))
#endif

/* The figures of the board's kind, from the schema's table. */
#ifndef CORE_KIND
#define CORE_KIND ATMEGA328P_5V
#endif
#define CORE_JOIN_(kind, figure) kind##_##figure
#define CORE_JOIN(kind, figure) CORE_JOIN_(kind, figure)
#define CORE_FULL_SCALE CORE_JOIN(CORE_KIND, ADC_FULL_SCALE)
#define CORE_REFERENCE_MV CORE_JOIN(CORE_KIND, ADC_REFERENCE_MV)
#define CORE_CURRENT_FULL_SCALE CORE_JOIN(CORE_KIND, CURRENT_FULL_SCALE)
#define CORE_SUPPLY_FULL_SCALE CORE_JOIN(CORE_KIND, SUPPLY_FULL_SCALE)
#define CORE_BOARD_KIND CORE_JOIN(CORE_KIND, ID)
#define CORE_BOARD_AXES CORE_JOIN(CORE_KIND, AXIS_COUNT)

/* 0: a board that moves no two rods as one, and while a gang is set nothing at all. make GANG=0. */
#ifndef CORE_GANG
#define CORE_GANG (CORE_BOARD_AXES > 1)
#endif

/* 0: a board without a black box. make BOX=0. */
#ifndef CORE_BLACK_BOX
#define CORE_BLACK_BOX 1
#endif

/* 0: a board without buttons, sticks and pulses. On the chip they take 1.6 KB of flash: make LOCAL=0. */
#ifndef CORE_LOCAL_INPUTS
#ifdef __AVR__
#define CORE_LOCAL_INPUTS 0
#else
#define CORE_LOCAL_INPUTS 1
#endif
#endif

/* Kept as one function: copied into its callers, as the compiler would have it, the code grows. */
#define CORE_ONCE __attribute__((noinline))
/* Copied into its callers, where that is the smaller code. */
#define CORE_INSIDE inline __attribute__((always_inline))

/* Stores before it are done before those after it: for what a reset may cut through. */
#define CORE_IN_ORDER() __asm__ volatile("" ::: "memory")

void core_assert_failed(void) __attribute__((noreturn));

#define CORE_ASSERT(good)               \
    do {                                \
        if (!(good)) {                  \
            core_assert_failed();       \
        }                               \
    } while (0)

#endif
