/* The board: everything started once, then one call per turn of the main loop. */
#ifndef BOARD_H
#define BOARD_H

void board_start(void);
void board_loop(void);

#endif
