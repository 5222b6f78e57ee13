// The sketch way in: the same core and the same AVR layer as `make` builds. Open this folder in the IDE,
// choose the board (ATmega328P, 5 V, 16 MHz) and load it. What may be chosen is in src/avr/config.h.

extern "C" {
#include "src/avr/board.h"
}

void setup() { board_start(); }

void loop() { board_loop(); }
