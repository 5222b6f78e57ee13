#include "board.h"

int main(void)
{
    board_start();
    for (;;) { board_loop(); }
}
