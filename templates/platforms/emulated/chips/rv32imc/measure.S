// Measuring on the emulated rv32imc.

// void tn_on_stack(void *top, void (*work)(void *), void *with): calls work(with) on the stack that ends at `top`.
        .section .text.tn_on_stack, "ax"
        .align  2
        .global tn_on_stack
tn_on_stack:
        addi    sp, sp, -16
        sw      ra, 0(sp)
        sw      s0, 4(sp)
        mv      s0, sp
        mv      sp, a0
        mv      a0, a2
        jalr    a1
        mv      sp, s0
        lw      ra, 0(sp)
        lw      s0, 4(sp)
        addi    sp, sp, 16
        ret

// uint32_t tn_count(void): instructions retired (low half of minstret); exact under -icount.
        .section .text.tn_count, "ax"
        .align  2
        .global tn_count
tn_count:
        .option arch, +zicsr
        csrr    a0, minstret
        ret

// void tn_loop(uint32_t n): two instructions, n times.
        .section .text.tn_loop, "ax"
        .align  2
        .global tn_loop
tn_loop:
        addi    a0, a0, -1
        bnez    a0, tn_loop
        ret
