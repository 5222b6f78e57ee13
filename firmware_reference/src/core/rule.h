/* Cross rules of the settings, reckoned from a program in the schema's tables.
 *
 * A rule is a condition and what must then be true, each with its operands before its operators, on a stack of 32-bit
 * numbers; 0 is false and all else true. A byte up to 126 fetches that key of the settings checked. The generator
 * proves that nothing leaves 32 bits and no divisor is 0, whatever the values within their ranges.
 */
#ifndef RODBENCH_RULE_H
#define RODBENCH_RULE_H

#include <stdint.h>

#include "../generated/schema.h"

#define RULE_END 0u
#define RULE_FROM_LIVE 0x7Fu                    /* before a key: of the settings in force until now */
#define RULE_FROM_OTHER 0x80u                   /* of the other axis */
#define RULE_AXIS 0x81u                         /* number of this axis */
#define RULE_TABLE 0x82u                        /* whether the linearity table is in order */
#define RULE_NUMBER 0x83u                       /* two bytes behind it */
#define RULE_CHECK 0x84u                        /* behind it the rule's number, and the key that it is about */
#define RULE_ABS 0x85u
#define RULE_ADD 0x86u                          /* from here on two operands */
#define RULE_SUBTRACT 0x87u
#define RULE_MULTIPLY 0x88u
#define RULE_DIVIDE 0x89u
#define RULE_LESS 0x8Au                         /* from here on true or false; an odd number turns that round */
#define RULE_NOT_LESS 0x8Bu
#define RULE_EQUAL 0x8Cu
#define RULE_NOT_EQUAL 0x8Du
#define RULE_AND 0x8Eu
#define RULE_OR 0x90u
#define RULE_SMALLEST 0xC0u                     /* from here on the numbers 0 .. 63 */

#define RULE_LIVE(key) RULE_FROM_LIVE, key
#define RULE_OTHER(key) RULE_FROM_OTHER, key
#define RULE_WORD(value) RULE_NUMBER, (value) & 0xFF, (value) >> 8
#define RULE_SMALL(value) RULE_SMALLEST + value

/* 0, or rule << 8 | key of the first rule that the settings of a scope break. `live` are those in force before, `other`
 * those of the other axis. */
uint16_t rule_broken(uint8_t scope, const void *set, const void *live, const void *other);

#endif
