/* 32-bit division for the whole program, in place of libgcc's: same name, same registers, same results.
 *
 * libgcc always turns 32 times, about 600 cycles. Here the quotient's halves are taken one by one, and bytes that can
 * only give zeros are skipped: 130 to 330 cycles for what the core divides.
 *
 *   in   r25..r22 dividend, r21..r18 divisor
 *   out  r21..r18 quotient, r25..r22 remainder
 *   uses r26, r27, r30, r31; leaves r0 and the T flag alone (libgcc's signed division keeps signs there), and r1
 */
    .section .text.__udivmodsi4, "ax", @progbits
    .global __udivmodsi4
    .type __udivmodsi4, @function

__udivmodsi4:
    mov r26, r20
    or r26, r21
    brne wide

    movw r26, r24                   ; divisor below 65536: the high half first
    clr r24
    clr r25
    cp r26, r18
    cpc r27, r19
    brcs low_half                   ; gives no quotient: it is the remainder
    movw r20, r22
    movw r22, r26
    clr r26
    clr r27
    rcall half
    movw r24, r22
    movw r22, r20
low_half:
    rcall half
    movw r18, r22
    movw r20, r24
    movw r22, r26
    clr r24
    clr r25
    ret

half:                               ; r27:r26:r23:r22 by r19:r18; quotient r23:r22, remainder r27:r26
    ldi r30, 16
    cpse r27, r1
    rjmp half_bit
    cp r23, r18
    cpc r26, r19
    brcc half_bit
    mov r27, r26                    ; eight bits of quotient are zero
    mov r26, r23
    mov r23, r22
    clr r22
    ldi r30, 8
half_bit:
    lsl r22
    rol r23
    rol r26
    rol r27
    brcs 1f
    cp r26, r18
    cpc r27, r19
    brcs 2f
1:  sub r26, r18
    sbc r27, r19
    inc r22
2:  dec r30
    brne half_bit
    ret

wide:                               ; divisor from 65536: the quotient has 16 bits at most
    movw r26, r24
    clr r30
    clr r31
    ldi r24, 16
    cp r23, r18
    cpc r26, r19
    cpc r27, r20
    cpc r30, r21
    brcc 3f
    mov r30, r27
    mov r27, r26
    mov r26, r23
    mov r23, r22
    clr r22
    ldi r24, 8
3:
wide_bit:
    lsl r22
    rol r23
    rol r26
    rol r27
    rol r30
    rol r31
    brcs 4f
    cp r26, r18
    cpc r27, r19
    cpc r30, r20
    cpc r31, r21
    brcs 5f
4:  sub r26, r18
    sbc r27, r19
    sbc r30, r20
    sbc r31, r21
    inc r22
5:  dec r24
    brne wide_bit
    movw r18, r22
    clr r20
    clr r21
    movw r22, r26
    movw r24, r30
    ret

    .size __udivmodsi4, . - __udivmodsi4
