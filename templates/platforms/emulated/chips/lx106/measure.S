// Measuring on the emulated lx106 (call0 convention: a0 return, a1 stack, a2.. arguments, a12 to a15 kept).

// void tn_on_stack(void *top, void (*work)(void *), void *with): calls work(with) on the stack that ends at `top`.
        .section .text.tn_on_stack, "ax"
        .align  4
        .global tn_on_stack
tn_on_stack:
        addi    a1, a1, -16
        s32i    a0, a1, 0
        s32i    a12, a1, 4
        mov     a12, a1
        mov     a1, a2
        mov     a2, a4
        callx0  a3
        mov     a1, a12
        l32i    a0, a1, 0
        l32i    a12, a1, 4
        addi    a1, a1, 16
        ret

// uint32_t tn_count(void): a counter that goes on with the instructions executed, under -icount.
        .section .text.tn_count, "ax"
        .align  4
        .global tn_count
tn_count:
        rsr.ccount a2
        ret

// void tn_loop(uint32_t n): two instructions, n times.
        .section .text.tn_loop, "ax"
        .align  4
        .global tn_loop
tn_loop:
        addi    a2, a2, -1
        bnez    a2, tn_loop
        ret
