// Stand-in for the header of this name (see Arduino.h beside it), core 3.1.2. The core's macro is assembler that calls the function
// on the second stack; here only the name is made.
#ifndef STANDIN_STACKTHUNK_H
#define STANDIN_STACKTHUNK_H

extern "C" {
extern void stack_thunk_add_ref();
extern void stack_thunk_del_ref();
}
#define make_stack_thunk(fcnToThunk) static_assert(true, "thunk_" #fcnToThunk)

#endif
