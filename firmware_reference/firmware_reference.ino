// The sketch way in: the same core and the same AVR layer as `make` builds. Open this folder in the IDE,
// choose the board (ATmega328P, 5 V, 16 MHz) and load it. What may be chosen is in src/avr/config.h.
// A main of our own takes the place of the Arduino core's, whose timer and clock nothing here needs.

extern "C" {
#include "src/avr/board.h"
}

int main()
{
    board_start();
    for (;;) { board_loop(); }
}
