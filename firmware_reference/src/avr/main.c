/* The start without an Arduino core; with one, firmware_reference.ino takes this place. */
#ifndef ARDUINO

#include "board.h"

int main(void)
{
    board_start();
    for (;;) { board_loop(); }
}

#endif
