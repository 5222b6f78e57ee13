#include "rule.h"

#include "key.h"
#include "number.h"
#include "port.h"

typedef struct {
    const uint8_t *at;          /* the next byte of the program */
    const void *set, *live, *other;
    uint8_t scope;
} run_t;

static CORE_ONCE uint8_t next(run_t *run)
{
    return CORE_ROM_READ_U8(run->at++);
}

static int32_t operand(run_t *run, uint8_t step)
{
    const void *from = run->set;
    if (step >= RULE_SMALLEST) {
        return (uint8_t)(step - RULE_SMALLEST);
    }
    if (step == RULE_AXIS) {
        return run->scope;
    }
    if (step == RULE_NUMBER) {
        step = next(run);
        return step | (uint16_t)next(run) << 8;
    }
    if (step >= RULE_FROM_LIVE) {
        from = step == RULE_FROM_LIVE ? run->live : run->other;
        step = next(run);
    }
    return key_value(run->scope, step, from);
}

static CORE_ONCE int32_t result(int32_t a, int32_t b, uint8_t step)
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
    run_t run = {scope == 0 ? rules_board : rules_axis, set, live, other, scope};
    int32_t stack[RULE_DEPTH];
    int32_t *top = stack;
    uint8_t step;
    *top = 1;                                   /* the condition of a rule that has none */
    while ((step = next(&run)) != RULE_END) {
        if (step < RULE_CHECK || step >= RULE_SMALLEST) {
            *++top = operand(&run, step);
        } else if (step == RULE_CHECK) {
            uint8_t rule = next(&run);
            uint8_t key = next(&run);
            if (top[0] == 0 && top[-1] != 0) {
                return (uint16_t)((uint16_t)rule << 8 | key);
            }
            top = stack;
        } else if (step == RULE_ABS) {
            *top = absolute(*top);
        } else {
            top--;
            *top = result(top[0], top[1], step);
        }
    }
    return 0;
}
