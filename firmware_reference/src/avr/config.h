/* What may be chosen when building: make BAUD=115200 WATCHDOG=noreset. */
#ifndef CONFIG_H
#define CONFIG_H

#ifndef F_CPU
#define F_CPU 16000000UL
#endif

/* 250000 is exact at 16 MHz; 115200 is 2.1 % fast, outside the chip's recommended 1.5 %, and wants
 * TX_BYTES_PER_TICK 52 (src/core/tx.h; make sets it). */
#ifndef BOARD_BAUD
#define BOARD_BAUD 250000UL
#endif

/* 1: after a watchdog bite or a restart request the program starts itself anew, without a hardware reset,
 * for the old 2 KB bootloader that would reset for ever. 0: a hardware reset. README.md tells which is which. */
#ifndef BOARD_WATCHDOG_NORESET
#define BOARD_WATCHDOG_NORESET 0
#endif

/* 1: a build for tests in which a jog on axis 2 at 77 permille hangs the main loop. Never load it on a machine. */
#ifndef BOARD_TEST_HANG
#define BOARD_TEST_HANG 0
#endif

#endif
