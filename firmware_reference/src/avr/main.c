#include "board.h"

int main(void)
{
    board_start();
    board_run();
}
