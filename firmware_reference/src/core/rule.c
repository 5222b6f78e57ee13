#include "rule.h"

#include "key.h"
#include "number.h"
#include "port.h"
#include "position.h"

static int32_t result(int32_t a, int32_t b, uint8_t step)
{
    uint8_t truth;
    if (step == RULE_ADD) {
        return a + b;
    }
    if (step == RULE_SUBTRACT) {
        return a - b;
    }
    if (step == RULE_MULTIPLY) {
        return a * b;
    }
    if (step == RULE_DIVIDE) {
        return a / b;
    }
    if (step <= RULE_NOT_LESS) {
        truth = a < b;
    } else if (step <= RULE_NOT_EQUAL) {
        truth = a == b;
    } else if (step == RULE_AND) {
        truth = a != 0 && b != 0;
    } else {
        truth = (a | b) != 0;
    }
    return truth ^ (step & 1u);
}

uint16_t rule_broken(uint8_t scope, const void *set, const void *live, const void *other)
{
    const uint8_t *at = scope == 0 ? rules_board : rules_axis;
    int32_t stack[RULE_DEPTH];
    int32_t *below = stack;                     /* what lies below the last value */
    int32_t last = 1;                           /* the condition of a rule that has none */
    uint8_t step;
    while ((step = CORE_ROM_READ_U8(at++)) != RULE_END) {
        if (step < RULE_CHECK || step >= RULE_SMALLEST) {
            *below++ = last;
            if (step < RULE_FROM_LIVE) {        /* most are: a commit's tick is the longest of all */
                last = key_value(scope, step, set);
            } else if (step >= RULE_SMALLEST) {
                last = (uint8_t)(step - RULE_SMALLEST);
            } else if (step == RULE_AXIS) {
                last = scope;
            } else if (step == RULE_TABLE) {
                last = position_table_good(set);
            } else if (step == RULE_NUMBER) {
                last = CORE_ROM_READ_U8(at) | (uint16_t)CORE_ROM_READ_U8(at + 1) << 8;
                at += 2;
            } else {
                last = key_value(scope, CORE_ROM_READ_U8(at++), step == RULE_FROM_LIVE ? live : other);
            }
        } else if (step == RULE_CHECK) {
            if (last == 0 && below[-1] != 0) {
                return (uint16_t)((uint16_t)CORE_ROM_READ_U8(at) << 8 | CORE_ROM_READ_U8(at + 1));
            }
            at += 2;
            below = stack;
            last = 1;
        } else if (step == RULE_ABS) {
            last = absolute(last);
        } else {
            last = result(*--below, last, step);
        }
    }
    return 0;
}
