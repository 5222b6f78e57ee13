/* The board: everything started once, then one tick after another. What never returns keeps nobody's registers. */
#ifndef BOARD_H
#define BOARD_H

void board_start(void);
void board_run(void) __attribute__((noreturn, OS_task));

#endif
