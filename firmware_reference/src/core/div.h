/* Divisions, named by how they round, so that the twin rounds alike. The divisor is always above zero. */
#ifndef RODBENCH_DIV_H
#define RODBENCH_DIV_H

#include <stdint.h>

int32_t div_toward_zero(int32_t a, int32_t b);
int32_t div_nearest(int32_t a, int32_t b);          /* halves away from zero; |a| + b/2 must fit */
uint32_t div_up(uint32_t a, uint32_t b);            /* ceiling */

#endif
