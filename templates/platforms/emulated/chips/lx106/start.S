// Reset of the emulated lx106: the machine starts at 0x50000000 with everything loaded in place, so there is no copying to do.
// Then the stack, bss, static constructors, main, and the end of the emulation with main's result.

        .section .reset, "ax"
        .global tn_reset
tn_reset:
        j       1f
        .align  4
        .literal_position
1:
        movi    a0, tn_start
        jx      a0

// Every exception ends the emulation with status 120: an access that the chip would not do, or an illegal instruction.
// Offsets from VECBASE as in the Arduino core's and the boot ROM's vectors (from memory): debug, NMI, kernel, user, double.
        .section .vectors, "ax"
        .macro  vector offset
        .org    \offset
        movi    a2, 1
        movi    a3, 120
        simcall
        .endm
        .global tn_vectors
tn_vectors:
        vector  0x10
        vector  0x20
        vector  0x30
        vector  0x50
        vector  0x70

        .section .text.tn_start, "ax"
        .literal_position
        .align  4
        .global tn_start
tn_start:
        movi    a2, tn_vectors
        wsr.vecbase a2
        movi    a2, 0x20          // user vector mode, interrupts let in (none is enabled), no exception under way
        wsr.ps  a2
        rsync
        movi    a1, __stack
        movi    a2, __bss_start
        movi    a3, __bss_end
        movi    a4, 0
        bgeu    a2, a3, 2f
1:
        s32i    a4, a2, 0
        addi    a2, a2, 4
        bltu    a2, a3, 1b
2:
        movi    a12, __ctors_end  // the last constructor of .ctors runs first
        movi    a13, __ctors_start
        bgeu    a13, a12, 4f
3:
        addi    a12, a12, -4
        l32i    a2, a12, 0
        callx0  a2
        bltu    a13, a12, 3b
4:
        call0   tn_arguments      // a2: how many
        movi    a3, tn_argument_texts
        call0   main
        call0   exit
